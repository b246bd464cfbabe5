"""The list of calculations, in the order in which they are shown."""

from __future__ import annotations

from .entry import Calculation
from .pitch import CENTS, PITCH

CALCULATIONS: tuple[Calculation, ...] = (
    PITCH,
    CENTS,
)
