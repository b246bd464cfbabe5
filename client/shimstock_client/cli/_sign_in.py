"""Who works here, and where the service is: from the environment, else from the sign-in file."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any, Literal

from .._wire import read_as
from ._exits import Exit, Stop
from ._measures import Units
from ._places import read_json, readable_by_others, sign_in_file, write_private

_NAMES = ("url", "key", "technician", "units")


@dataclass(frozen=True)
class SignIn:
    """Address, key and technician."""

    url: str
    key: str
    technician: str | None = None
    technician_name: str | None = None
    units: Units | None = None
    tools: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return f"SignIn({self.url!r}, technician={self.technician_name or self.technician!r})"


def load() -> SignIn:
    """Return the sign-in; each of SHIMSTOCK_URL, _KEY, _TECHNICIAN and _UNITS goes before the file.

    Raises
    ------
    Stop
        When there is no address or key.
    """
    kept = _kept()
    found = {name: os.environ.get(f"SHIMSTOCK_{name.upper()}") or kept.get(name) for name in _NAMES}
    missing = [name for name in ("url", "key") if not found[name]]
    if missing:
        raise Stop(
            "not signed in: shimstock sign-in asks for the service's address and your key "
            "(or set SHIMSTOCK_URL, SHIMSTOCK_KEY and SHIMSTOCK_TECHNICIAN)",
            Exit.SIGN_IN,
        )
    same = found["technician"] == kept.get("technician")
    return SignIn(
        url=str(found["url"]),
        key=str(found["key"]),
        technician=found["technician"],
        technician_name=kept.get("technician_name") if same else None,
        units=checked_units(found["units"]),
        tools=tuple(kept.get("tools") or ()),
    )


def _kept() -> dict[str, Any]:
    kinds = dict.fromkeys((*_NAMES, "technician_name"), str) | {"tools": list[str]}
    try:
        kept = read_json(sign_in_file()) or {}
        return {name: read_as(kinds.get(name, Any), value, name) for name, value in kept.items()}
    except ValueError as error:
        raise Stop(str(error), Exit.SIGN_IN) from error


def checked_units(text: Any) -> Literal["mm", "inch"] | None:
    """Return mm or inch.

    Raises
    ------
    Stop
        When it is something else.
    """
    if text in (None, ""):
        return None
    if text == "mm":
        return "mm"
    if text == "inch":
        return "inch"
    raise Stop(f"units: mm or inch was expected, not {text!r}", Exit.USAGE)


def save(sign_in: SignIn) -> str:
    """Keep a sign-in in a file that only its owner can read; return where."""
    path = sign_in_file()
    write_private(
        path,
        {
            "url": sign_in.url,
            "key": sign_in.key,
            "technician": sign_in.technician,
            "technician_name": sign_in.technician_name,
            "units": sign_in.units,
            "tools": list(sign_in.tools),
        },
    )
    return str(path)


def remember_tools(names: tuple[str, ...]) -> None:
    """Keep the names of the technician's tools; what comes from the environment is not written down."""
    write_private(sign_in_file(), {**_kept(), "tools": list(names)})


def forget() -> bool:
    """Remove the sign-in file; False when there was none."""
    try:
        sign_in_file().unlink()
    except FileNotFoundError:
        return False
    return True


def exposed() -> str | None:
    """Return a caution when others may read the key, None when all is well."""
    path = sign_in_file()
    if path.exists() and readable_by_others(path):
        return f"{path} can be read by others on this machine; chmod 600 it, and let the key be replaced"
    return None
