"""The words of the card, chosen by the owner's language; one file a language, English where one is silent."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any

from shimstock_calc.vocabulary import QUANTITIES

FALLBACK = "en"
_TAG = re.compile(r"[a-z]{2,3}(?:-[a-z0-9]{2,8})*")


class Language:
    """The words of one language, looked up by section and name.

    Parameters
    ----------
    tag : str
        The language's tag, as the page says it.
    words : mapping
        Sections of texts.
    """

    def __init__(self, tag: str, words: Mapping[str, Mapping[str, Any]]) -> None:
        self.tag = tag
        self._words = words

    @property
    def fingerprint(self) -> str:
        """Return what changes when a word changes."""
        return hashlib.sha256(json.dumps(self._words, sort_keys=True).encode()).hexdigest()

    def say(self, section: str, name: str, **values: object) -> str:
        """Return a text with its places filled.

        Raises
        ------
        KeyError
            When no language has this text.
        """
        text = self._words[section][name]
        return str(text).format_map(values) if values else str(text)

    def knows(self, section: str, name: str) -> bool:
        """Whether there is such a text."""
        return name in self._words.get(section, {})

    def months(self) -> list[str]:
        """Return the names of the months, January first."""
        return list(self._words["dates"]["months"])

    def weekdays(self) -> list[str]:
        """Return the names of the days of the week, Monday first."""
        return list(self._words["dates"]["weekdays"])


def available() -> frozenset[str]:
    """Return the tags that a file of words is there for, in lower case."""
    folder = files(__package__) / "languages"
    return frozenset(
        entry.name.removesuffix(".toml").lower() for entry in folder.iterdir() if entry.name.endswith(".toml")
    )


@lru_cache(maxsize=64)
def language(tag: str) -> Language:
    """Return the words for a language tag: the closest file there is, English where it is silent.

    Parameters
    ----------
    tag : str
        A BCP 47 tag such as ``de-CH``; what is no tag counts as English.

    Notes
    -----
    Lookup as in RFC 4647, section 3.4: the tag is shortened from its end until a file fits.
    """
    wanted = tag.lower().replace("_", "-")
    there = available()
    while _TAG.fullmatch(wanted) and wanted not in there and "-" in wanted:
        wanted = wanted.rsplit("-", 1)[0]
    found = wanted if _TAG.fullmatch(wanted) and wanted in there else FALLBACK
    words = {**_read(FALLBACK), **_quantities()}
    if found != FALLBACK:
        own = _read(found)
        words = {section: {**texts, **own.get(section, {})} for section, texts in words.items()}
    return Language(str(words["page"]["language"]), words)


def _quantities() -> dict[str, dict[str, Any]]:
    """Name and explanation of each quantity in English, from the trade's vocabulary."""
    return {
        "quantity": {word: term.title for word, term in QUANTITIES.items()},
        "explained": {word: term.explained for word, term in QUANTITIES.items()},
    }


def _read(tag: str) -> dict[str, dict[str, Any]]:
    folder = files(__package__) / "languages"
    entry = next(each for each in folder.iterdir() if each.name.lower() == f"{tag}.toml")
    return tomllib.loads(entry.read_text(encoding="utf-8"))
