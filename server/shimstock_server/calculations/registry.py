"""The list of calculations, in the order in which they are shown."""

from __future__ import annotations

from .entry import Calculation
from .frets import FRET_POSITIONS
from .pitch import CENTS, PITCH
from .restring import RESTRING_FORECAST
from .strings import STRING_INHARMONICITY, STRING_TENSION

CALCULATIONS: tuple[Calculation, ...] = (
    PITCH,
    CENTS,
    FRET_POSITIONS,
    STRING_TENSION,
    STRING_INHARMONICITY,
    RESTRING_FORECAST,
)
