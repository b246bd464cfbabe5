"""The calculation module: documented with units, standing alone, its examples true."""

from __future__ import annotations

import ast
import doctest
import enum
import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
import textwrap
from collections.abc import Callable, Iterator
from dataclasses import is_dataclass
from itertools import zip_longest
from types import ModuleType
from typing import Any, cast

import pytest
from numpydoc.docscrape import ClassDoc, FunctionDoc  # type: ignore[import-untyped]

import shimstock_calc

UNIT = re.compile(r"\[[^\[\]]+\]")  # [mm], [-]
QUANTITY = re.compile(r"\bfloat\b|\bArrayLike\b|\bFloatArray\b")
FOREIGN = ("flask", "flask_smorest", "marshmallow", "sqlalchemy", "pint", "requests", "click", "pandas")
SLOW = ("scipy.stats", "matplotlib")  # 0.6 s and 0.3 s of import time, measured


def modules() -> list[ModuleType]:
    """Return every module of the calculation package."""
    found = pkgutil.walk_packages(shimstock_calc.__path__, "shimstock_calc.")
    return [importlib.import_module(module.name) for module in found]


def is_public(name: str) -> bool:
    """Tell whether a dotted name has no private part."""
    return not any(part.startswith("_") for part in name.split("."))


def public_modules() -> list[ModuleType]:
    """Return the modules that callers use; those inside plan/ are its workings and its records.

    The records of plan/ name their units once, at the head of their module.
    """
    inside = "shimstock_calc.plan."
    return [each for each in modules() if is_public(each.__name__) and not each.__name__.startswith(inside)]


def documented_things() -> Iterator[tuple[str, Callable[..., Any]]]:
    """Yield the public functions and classes, and the public methods of those classes."""
    for module in public_modules():
        exported = getattr(module, "__all__", ()) if hasattr(module, "__path__") else ()
        for name, thing in vars(module).items():
            own = name in exported or getattr(thing, "__module__", None) == module.__name__
            if not (own and is_public(name) and (inspect.isfunction(thing) or inspect.isclass(thing))):
                continue
            yield f"{module.__name__}.{name}", thing
            if inspect.isclass(thing):
                yield from methods(f"{module.__name__}.{name}", thing)


def methods(owner: str, thing: type) -> Iterator[tuple[str, Callable[..., Any]]]:
    """Yield the public methods that a class itself defines."""
    for name, method in vars(thing).items():
        if is_public(name) and inspect.isfunction(method):
            yield f"{owner}.{name}", method


def parameters(thing: Callable[..., Any]) -> dict[str, str]:
    """Return what a caller passes, each with its annotation."""
    marks: dict[Any, str] = {inspect.Parameter.VAR_POSITIONAL: "*", inspect.Parameter.VAR_KEYWORD: "**"}
    given = inspect.signature(thing).parameters.values()
    return {
        marks.get(each.kind, "") + each.name: str(each.annotation)
        for each in given
        if each.name not in {"self", "cls"}
    }


def described_in_sections(thing: Callable[..., Any]) -> dict[str, str]:
    """Return the description of each parameter that the docstring lists."""
    entries = (ClassDoc(thing) if inspect.isclass(thing) else FunctionDoc(thing))["Parameters"]
    return {name: " ".join(entry.desc) for entry in entries for name in re.split(r",\s*", entry.name)}


def described_beside_fields(record: type) -> dict[str, str]:
    """Return the text that stands under each field of a record; a field without a text has an empty one."""
    (definition,) = ast.parse(textwrap.dedent(inspect.getsource(record))).body
    assert isinstance(definition, ast.ClassDef)
    texts = {}
    for statement, following in zip_longest(definition.body, definition.body[1:]):
        if isinstance(statement, ast.AnnAssign) and isinstance(statement.target, ast.Name):
            texts[statement.target.id] = ""
            if isinstance(following, ast.Expr) and isinstance(following.value, ast.Constant):
                texts[statement.target.id] = str(following.value.value)
    return texts


def description(thing: Callable[..., Any]) -> dict[str, str]:
    """Return what is said of each parameter: in the docstring, or for a record under its fields."""
    listed = described_in_sections(thing)
    if listed or not is_dataclass(thing):
        return listed
    whole = thing.__doc__ or ""  # a small record may say it all in its first lines
    return {name: text or whole for name, text in described_beside_fields(cast(type, thing)).items()}


def is_made_elsewhere(thing: Callable[..., Any]) -> bool:
    """Tell whether a class is only ever an answer: it lists its attributes, not what it is made from."""
    return (
        inspect.isclass(thing) and not ClassDoc(thing)["Parameters"] and bool(ClassDoc(thing)["Attributes"])
    )


def is_word_list_or_error(thing: Callable[..., Any]) -> bool:
    """Tell whether a class is a list of words or an error, which callers do not make from quantities."""
    return inspect.isclass(thing) and issubclass(thing, enum.Enum | BaseException)


THINGS = dict(documented_things())
METHODS = {
    name for name, thing in THINGS.items() if "." in thing.__qualname__
}  # a line may be enough for them
WITH_PARAMETERS = [
    name for name, thing in THINGS.items() if not (is_word_list_or_error(thing) or is_made_elsewhere(thing))
]
FUNCTIONS = [name for name, thing in THINGS.items() if inspect.isfunction(thing) and name not in METHODS]


@pytest.mark.parametrize("name", THINGS)
def test_public_things_are_documented(name: str) -> None:
    assert (THINGS[name].__doc__ or "").strip(), f"{name} has no docstring"


@pytest.mark.parametrize("name", WITH_PARAMETERS)
def test_parameters_agree_with_the_signature_and_carry_units(name: str) -> None:
    taken, described = parameters(THINGS[name]), description(THINGS[name])
    if name in METHODS and not described:
        return
    assert sorted(described) == sorted(taken), f"{name} describes other parameters than it takes"
    quantities = [each for each, annotation in taken.items() if QUANTITY.search(annotation)]
    without = [each for each in quantities if not UNIT.search(described[each])]
    assert not without, f"{name}: no [unit] in the description of {without}"


@pytest.mark.parametrize("name", FUNCTIONS)
def test_what_is_returned_is_described(name: str) -> None:
    answer = str(inspect.signature(THINGS[name]).return_annotation)
    if QUANTITY.search(answer):
        parts = FunctionDoc(THINGS[name])
        assert parts["Returns"] or parts["Yields"], f"{name} does not say what it returns"


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.__name__)
def test_examples_in_docstrings_are_true(module: ModuleType) -> None:
    result = doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert result.failed == 0


def test_some_docstrings_hold_examples() -> None:
    finder = doctest.DocTestFinder(exclude_empty=True)
    assert sum(len(found.examples) for module in modules() for found in finder.find(module)) >= 20


def test_it_stands_alone_and_starts_fast() -> None:
    names = [module.__name__ for module in modules()]
    program = (
        f"import sys, importlib\nfor name in {names!r}: importlib.import_module(name)\nprint(*sys.modules)"
    )
    loaded = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    ).stdout.split()
    assert "shimstock_calc.pitch" in loaded
    assert not {name for name in (*FOREIGN, *SLOW) if name in loaded}
