"""Names of a package that load their module when they are first used (PEP 562)."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def loading(package: str, homes: Mapping[str, str]) -> Callable[[str], Any]:
    """Return the `__getattr__` of a package.

    Parameters
    ----------
    package : str
        Its `__name__` [-].
    homes : mapping
        From each name to the module below the package that holds it [-].
    """

    def load(name: str) -> Any:
        home = homes.get(name)
        if home is None:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value = getattr(import_module(f".{home}", package), name)
        setattr(sys.modules[package], name, value)
        return value

    return load
