"""The list of calculations, in the order in which they are shown."""

from __future__ import annotations

from .bridge import BRIDGE_HEIGHT
from .conformity import CONFORMITY
from .entry import Calculation
from .frets import FRET_POSITIONS
from .neck import ACTION_FORECAST, RELIEF_AT_FRET
from .nut import NUT_SLOTS
from .pitch import CENTS, PITCH
from .restring import RESTRING_FORECAST
from .saddle import SADDLE_POSITION
from .strings import STRING_INHARMONICITY, STRING_TENSION

CALCULATIONS: tuple[Calculation, ...] = (
    PITCH,
    CENTS,
    FRET_POSITIONS,
    STRING_TENSION,
    STRING_INHARMONICITY,
    RESTRING_FORECAST,
    RELIEF_AT_FRET,
    ACTION_FORECAST,
    BRIDGE_HEIGHT,
    NUT_SLOTS,
    SADDLE_POSITION,
    CONFORMITY,
)
