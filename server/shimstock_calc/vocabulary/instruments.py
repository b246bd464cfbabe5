"""The kinds of instruments and rods, and the two sides of a neck."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal, TypeAlias

KindWord: TypeAlias = Literal["electric", "acoustic-steel", "classical-nylon", "bass"]
SideWord: TypeAlias = Literal["bass", "treble"]
RodKindWord: TypeAlias = Literal["none", "single-action", "dual-action"]


class Kind(StrEnum):
    """What is set up."""

    ELECTRIC = "electric"
    ACOUSTIC_STEEL = "acoustic-steel"
    CLASSICAL_NYLON = "classical-nylon"
    BASS = "bass"


class Side(StrEnum):
    """The side of the lowest string, and of the highest."""

    BASS = "bass"
    TREBLE = "treble"


class RodKind(StrEnum):
    """How a truss rod works: not there, against the strings alone, or both ways."""

    NONE = "none"
    SINGLE_ACTION = "single-action"
    DUAL_ACTION = "dual-action"
