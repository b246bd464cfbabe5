"""How a room is kept: what is stored of it, and what the calculation takes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shimstock_calc.air import HOME, SHOP, RoomProfile
from shimstock_calc.errors import CalculationError
from shimstock_server.database.tables.seasons import SeasonSettings
from shimstock_server.database.words import RoomUse
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.typed import kept

FIELDS = {
    "moisture_excess": "moisture_excess",
    "heating_set_point": "heating_set_point",
    "cooled": "cools",
    "cooling_set_point": "cooling_set_point",
    "cooling_dew_point": "cooling_dew_point",
    "humidifier_set_point": "humidifier",
    "dehumidifier_set_point": "dehumidifier",
}
"""On the wire and in the tables, to the calculation's."""

USUAL = {RoomUse.SHOP: SHOP, RoomUse.HOME: HOME}


def stored(sent: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return what is kept of a profile: what was said of it, and as it was typed."""
    values, typed = kept(sent or {})
    said = {name: values[name] for name in FIELDS if values.get(name) is not None}
    return said | ({"typed": typed} if typed else {})


def profile_over(base: RoomProfile, said: Mapping[str, Any]) -> RoomProfile:
    """Lay what is said of a room over how such rooms are usually kept.

    Raises
    ------
    CalculationError
        When the two contradict each other.
    """
    values = {theirs: getattr(base, theirs) for theirs in FIELDS.values()}
    values |= {theirs: said[ours] for ours, theirs in FIELDS.items() if said.get(ours) is not None}
    return RoomProfile(**values)


def usual(settings: SeasonSettings | None, use: RoomUse) -> RoomProfile:
    """How the shop's rooms, or its owners' homes, are kept where nothing else is said."""
    if settings is None:
        return USUAL[use]
    said = settings.shop_profile if use is RoomUse.SHOP else settings.home_profile
    return profile_over(USUAL[use], said)


def checked(base: RoomProfile, said: Mapping[str, Any], pointer: str) -> dict[str, Any]:
    """Return a profile to keep after trying it on.

    Raises
    ------
    InvalidFields
        When it contradicts itself, at the field.
    """
    keep = stored(said)
    try:
        profile_over(base, keep)
    except CalculationError as error:
        names = {theirs: ours for ours, theirs in FIELDS.items()}
        raise InvalidFields.at(f"{pointer}/{names.get(error.field or '', '')}", error.message) from None
    return keep


def told(profile: RoomProfile, said: Mapping[str, Any]) -> dict[str, Any]:
    """Return a profile as it is answered: whole, with what was typed of it."""
    return {ours: getattr(profile, theirs) for ours, theirs in FIELDS.items()} | {
        "typed": said.get("typed", {})
    }
