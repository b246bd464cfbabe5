"""The trade's words stand in one place: nobody keeps a list of them beside the vocabulary."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import Any, get_args

import pytest

from shimstock_calc import vocabulary
from tests.house.files import CHECKOUT, read, tracked

PLACE = "server/shimstock_calc/vocabulary/"
MADE = ("client/shimstock_client/_trade.py", "client/shimstock_client/_contract/")
"""Written by scripts from the vocabulary and the document; other tests compare them."""
FROZEN = "migrations/versions/"

WORDS: dict[str, tuple[frozenset[str], int]] = {
    "quantities": (frozenset(vocabulary.QUANTITIES), 3),
    "kinds of bridges": (frozenset(vocabulary.BRIDGES), 3),
    "findings": (frozenset(vocabulary.FINDINGS), 4),
    "parts": (frozenset(vocabulary.PARTS), 4),
}
"""The words of each topic, and how many of them in one place make a list."""


def names(node: ast.AST) -> list[str]:
    """Return the words that a literal, or the body of a class, lists."""
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return [word for each in node.elts if (word := said(each))]
    if isinstance(node, ast.Dict):
        return [word for each in node.keys if each is not None and (word := said(each))]
    if isinstance(node, ast.ClassDef):
        return [word for each in node.body if isinstance(each, ast.Assign) and (word := said(each.value))]
    return []


def said(node: ast.AST) -> str | None:
    """Return the word that a literal, a member of an enum or the head of a row says."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.Attribute):
        return node.attr.lower().replace("_", "-")
    return said(node.elts[0]) if isinstance(node, ast.Tuple) and node.elts else None


def copies(source: str) -> Iterator[tuple[int, str]]:
    """Yield the line and the topic of each list that is kept by hand.

    >>> list(copies('HELD = {"relief", "action", "twist"}'))
    [(1, 'quantities')]
    >>> list(copies('STEPS = ("tune", "settle", "measure", "balance", "relief", "action", "intonation")'))
    []
    """
    for node in ast.walk(ast.parse(source)):
        listed = names(node)
        for topic, (words, few) in WORDS.items():
            found = words.intersection(listed)
            if len(found) >= few and 2 * len(found) >= len(listed):
                yield int(getattr(node, "lineno", 0)), topic


def watched() -> list[Path]:
    """Return the modules of the server and the client that are written by hand."""
    return [
        path
        for path in tracked()
        if path.suffix == ".py"
        and path.parts[0] in ("server", "client")
        and not str(path).startswith((PLACE, *MADE))
        and FROZEN not in str(path)
    ]


def test_no_module_keeps_a_list_of_its_own() -> None:
    found = [f"{path}:{line}: {topic}" for path in watched() for line, topic in copies(read(path))]
    assert not found, f"read {PLACE} instead: {found}"


@pytest.mark.parametrize(
    "source",
    [
        'X = ("relief", "action", "twist")',
        "X = frozenset({Quantity.RELIEF, Quantity.ACTION, Quantity.NUT_ACTION})",
        'X = {"relief": 1.0, "action": 0.5, "nut-action": 0.75}',
        'X: Literal["relief", "action", "twist"]',
        'X = [("relief", 1), ("action", 2), ("twist", 3)]',
        'class X(StrEnum):\n    A = "relief"\n    B = "action"\n    C = "twist"',
        'X = {"two-post", "movable", "one-piece"}',
        'X = ("frets", "tuners", "strings", "instrument")',
    ],
)
def test_a_list_is_found_in_every_dress(source: str) -> None:
    assert list(copies(source))


@pytest.mark.parametrize(
    "members, word, terms",
    [
        (vocabulary.Quantity, vocabulary.QuantityWord, vocabulary.QUANTITIES),
        (vocabulary.Part, vocabulary.PartWord, vocabulary.PARTS),
        (vocabulary.BridgeKind, vocabulary.BridgeWord, vocabulary.BRIDGES),
        (vocabulary.FindingCode, vocabulary.FindingWord, vocabulary.FINDINGS),
    ],
    ids=["quantities", "parts", "bridges", "findings"],
)
def test_each_word_has_a_type_a_member_and_a_record(members: type[StrEnum], word: Any, terms: Any) -> None:
    assert set(get_args(word)) == {each.value for each in members} == set(terms)
    assert all(term.word == key for key, term in terms.items())


def test_each_quantity_is_moved_by_what_is_adjusted_for_it() -> None:
    for term in vocabulary.QUANTITIES.values():
        assert term.adjusted_by <= term.moved_by, term.word
        assert term.part is None or term.part in term.adjusted_by, term.word
        assert term.aims[0] <= term.plausible[0] < term.plausible[1] <= term.aims[1], term.word


def test_each_price_is_of_a_part_that_something_is_adjusted_by() -> None:
    adjusted = frozenset().union(*(term.adjusted_by for term in vocabulary.QUANTITIES.values()))
    chosen = {term.raised_by for term in vocabulary.BRIDGES.values()}
    chosen |= {term.part for term in vocabulary.QUANTITIES.values() if term.part is not None}
    assert chosen <= adjusted
    assert all(vocabulary.PARTS[part].minutes is not None for part in chosen)


def test_the_client_has_the_words_of_this_vocabulary() -> None:
    ran = subprocess.run(
        [sys.executable, "client/generate_words.py", "--check"],
        cwd=CHECKOUT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr


def test_the_client_is_found_out_when_it_has_others(tmp_path: Path) -> None:
    package = tmp_path / "shimstock_client"
    package.mkdir()
    (package / "_trade.py").write_text(
        read(Path("client/shimstock_client/_trade.py")).replace("relief", "bow")
    )
    script = tmp_path / "generate_words.py"
    script.write_text(read(Path("client/generate_words.py")))
    ran = subprocess.run(
        [sys.executable, str(script), "--check"], capture_output=True, text=True, check=False
    )
    assert (ran.returncode, "run python client/generate_words.py" in ran.stderr) == (1, True)
