"""Writes the trade's words into the client, which never imports the server.

With `--check` nothing is changed; the exit code is 1 when the file is not what the vocabulary says.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

from shimstock_calc.vocabulary import PARTS, QUANTITIES, WAYS, ConsentKind, FindingCode

TARGET = Path(__file__).parent / "shimstock_client" / "_trade.py"
HEAD = '''"""The trade's words as they are typed and shown at the bench.

Written by `python client/generate_words.py` from the server's vocabulary: change that, not this.
"""

from __future__ import annotations
'''
TYPED = [term for term in PARTS.values() if term.example]
"""Parts that are typed at the prompt."""


def _text(value: object) -> str:
    if isinstance(value, tuple):
        inner = ", ".join(_text(each) for each in value)
        return f"({inner},)" if len(value) == 1 else f"({inner})"
    return f'"{value}"' if isinstance(value, str) else repr(value)


def _table(name: str, kind: str, rows: dict[str, object], said: str) -> str:
    lines = "".join(f"    {_text(key)}: {_text(value)},\n" for key, value in rows.items())
    return f'{name}: {kind} = {{\n{lines}}}\n"""{said}"""\n'


def _set(name: str, words: Iterable[str], said: str) -> str:
    lines = "".join(f"        {_text(word)},\n" for word in words)
    return f'{name}: frozenset[str] = frozenset(\n    {{\n{lines}    }}\n)\n"""{said}"""\n'


def _row(name: str, words: Iterable[str], said: str) -> str:
    lines = "".join(f"    {_text(str(word))},\n" for word in words)
    return f'{name}: tuple[str, ...] = (\n{lines})\n"""{said}"""\n'


def _quantities() -> list[str]:
    terms = QUANTITIES.values()
    return [
        _table(
            "QUANTITIES",
            "dict[str, str]",
            {name: term.word for term in terms for name in (term.word, *term.short)},
            "What a quantity is called at the prompt.",
        ),
        _table(
            "READINGS", "dict[str, str]", {term.word: term.example for term in terms}, "How one is typed."
        ),
        _table(
            "UNITS",
            "dict[str, tuple[str, str]]",
            {term.word: (term.unit, term.inch) for term in terms},
            "The unit of a bare number, metric and in inches.",
        ),
        _set(
            "SIGNED",
            (term.word for term in terms if term.dimension == "pitch difference"),
            "Quantities that are shown with their sign.",
        ),
        _table("PLACES", "dict[str, str]", {term.word: term.place for term in terms}, "Where one is read."),
    ]


def _parts() -> list[str]:
    return [
        _table(
            "PARTS",
            "dict[str, str]",
            {name: term.word for term in TYPED for name in (*term.short, term.word)},
            "What a part is called at the prompt.",
        ),
        _table(
            "DOINGS",
            "dict[str, str]",
            {term.word: term.example for term in TYPED},
            "How its adjustment is typed.",
        ),
        _table(
            "SIGNS",
            "dict[str, tuple[str, int]]",
            {
                word: (way.verb, sign)
                for way in WAYS
                for sign, words in ((1, way.more), (-1, way.less))
                for word in words
            },
            "Which way a word goes, and its sign.",
        ),
        _table(
            "EITHER_WAY",
            "dict[str, str]",
            {way.verb: f"{way.more[0]} or {way.less[0]}" for way in WAYS},
            "A way and its opposite.",
        ),
        _set(
            "IN_MM",
            (way.verb for way in WAYS if way.unit == "mm"),
            "Ways that are measured as a length, not in turns.",
        ),
        _table(
            "WAYS",
            "dict[str, tuple[str, ...]]",
            {term.word: tuple(way.verb for way in term.ways) for term in TYPED if term.ways},
            "Which ways a part goes.",
        ),
        _table(
            "MOVES",
            "dict[str, tuple[str, str]]",
            {term.word: term.told for term in PARTS.values() if term.measured},
            "What a positive and a negative move of a part is called.",
        ),
        _set("PLACED", (term.word for term in TYPED if term.places), "Parts that there are several of."),
        _set(
            "SIMPLY_DONE",
            (term.word for term in PARTS.values() if not term.measured),
            "Parts of which nothing more is said than that they were seen to.",
        ),
        _set(
            "UNTIL_SEEN",
            (term.word for term in PARTS.values() if term.until_seen),
            "Parts that the plan moves until something is seen, not by so and so much.",
        ),
        _set(
            "FILED",
            (term.word for term in PARTS.values() if term.is_filed),
            "Parts whose amount is what was taken off.",
        ),
    ]


def words() -> str:
    """Return the file's text."""
    return "\n".join(
        [
            HEAD,
            *_quantities(),
            *_parts(),
            _row("FINDINGS", FindingCode, "What a look over can find."),
            _row("CONSENTS", ConsentKind, "What the owner says yes or no to."),
        ]
    )


def main(arguments: list[str]) -> str | None:
    """Write the file, or with `--check` compare it and say so when it differs."""
    if "--check" not in arguments:
        TARGET.write_text(words(), encoding="utf-8")
    elif TARGET.read_text(encoding="utf-8") != words():
        return f"{TARGET.name} is not what the vocabulary says: run python client/generate_words.py"
    return None


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
