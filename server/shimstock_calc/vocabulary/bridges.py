"""The kinds of bridges: each with what raises the strings on it and what it has and lacks.

A word stands here three times: for the type checker, as a member of the enum, and in its record.
Common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Literal, TypeAlias

from .parts import PartWord

BridgeWord: TypeAlias = Literal[
    "two-post",
    "one-piece",
    "individual-saddles",
    "paired-saddles",
    "fixed-saddle",
    "movable",
    "resting-tremolo",
    "floating-tremolo",
    "locking-tremolo",
]


class BridgeKind(StrEnum):
    """What carries the strings' far end."""

    TWO_POST = "two-post"
    ONE_PIECE = "one-piece"
    INDIVIDUAL_SADDLES = "individual-saddles"
    PAIRED_SADDLES = "paired-saddles"
    FIXED_SADDLE = "fixed-saddle"
    MOVABLE = "movable"
    RESTING_TREMOLO = "resting-tremolo"
    FLOATING_TREMOLO = "floating-tremolo"
    LOCKING_TREMOLO = "locking-tremolo"

    @property
    def term(self) -> BridgeTerm:
        """All that is said of it."""
        return BRIDGES[self.value]


@dataclass(frozen=True)
class BridgeTerm:
    """One kind of bridge.

    Parameters
    ----------
    word : str
        As it travels.
    raised_by : str
        The part that sets the strings' height.
    post : str or None
        What the two posts are called on it; None where it stands on none.
    lacks : frozenset of str
        Parts that it does not have.
    moves_whole : bool
        Whether it moves along the strings in one piece.
    has_tailpiece : bool
        Whether the strings are anchored in a tailpiece that can be raised.
    tremolo : bool
        Whether springs hold it against the strings.
    floats : bool
        Whether springs and strings hold it in balance.
    """

    word: BridgeWord
    raised_by: PartWord
    post: str | None = None
    lacks: frozenset[PartWord] = frozenset()
    moves_whole: bool = False
    has_tailpiece: bool = False
    tremolo: bool = False
    floats: bool = False

    @property
    def on_posts(self) -> bool:
        """Whether it stands on two posts, so that inner strings follow the outer two."""
        return self.post is not None

    @property
    def one_saddle(self) -> bool:
        """Whether its inner strings lie on one piece with the outer two."""
        return self.raised_by != "saddle-screw"


_TERMS = (
    BridgeTerm("two-post", "bridge-post", "post", frozenset({"spring-claw"}), has_tailpiece=True),
    BridgeTerm(
        "one-piece", "bridge-post", "stud", frozenset({"saddle-screw", "spring-claw"}), moves_whole=True
    ),
    BridgeTerm("individual-saddles", "saddle-screw", lacks=frozenset({"bridge-post", "spring-claw"})),
    BridgeTerm("paired-saddles", "saddle-screw", lacks=frozenset({"bridge-post", "spring-claw"})),
    BridgeTerm(
        "fixed-saddle",
        "saddle",
        lacks=frozenset({"bridge-post", "saddle-screw", "saddle-position", "spring-claw"}),
    ),
    BridgeTerm(
        "movable", "bridge-post", "thumbwheel", frozenset({"saddle-screw", "spring-claw"}), moves_whole=True
    ),
    BridgeTerm("resting-tremolo", "saddle-screw", tremolo=True),
    BridgeTerm("floating-tremolo", "bridge-post", "pivot", tremolo=True, floats=True),
    BridgeTerm("locking-tremolo", "bridge-post", "pivot", tremolo=True, floats=True),
)

BRIDGES: Mapping[BridgeWord, BridgeTerm] = MappingProxyType({term.word: term for term in _TERMS})
"""Every kind of bridge."""
