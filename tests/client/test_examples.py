"""The examples in the client's docstrings, and that everything public has one."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from types import ModuleType

import pytest

import shimstock_client


def modules() -> list[ModuleType]:
    """Return every module of the client but its starter."""
    found = pkgutil.walk_packages(shimstock_client.__path__, "shimstock_client.")
    return [importlib.import_module(each.name) for each in found if not each.name.endswith("__main__")]


def told() -> Iterator[object]:
    """Yield every function, class and method whose name is public."""
    for module in modules():
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(thing, "__module__", None) != module.__name__:
                continue
            if inspect.isclass(thing):
                yield thing
                yield from (
                    each for key, each in vars(thing).items() if inspect.isfunction(each) and key[0] != "_"
                )
            elif inspect.isfunction(thing):
                yield thing


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.__name__)
def test_examples_are_true(module: ModuleType) -> None:
    assert doctest.testmod(module).failed == 0


def test_everything_public_says_what_it_is() -> None:
    silent = [f"{thing.__module__}.{thing.__qualname__}" for thing in told() if not thing.__doc__]  # type: ignore[attr-defined]
    assert silent == []
