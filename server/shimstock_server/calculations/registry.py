"""The list of calculations, in the order in which they are shown."""

from __future__ import annotations

from .agreement import BENCH_AGREEMENT
from .air import INDOOR_HUMIDITY
from .bridge import BRIDGE_HEIGHT
from .clearance import STRING_CLEARANCE
from .compensation import COMPENSATION
from .conformity import CONFORMITY
from .entry import Calculation
from .frets import FRET_POSITIONS
from .hygrometer import HYGROMETER_CHECK
from .moisture import MOISTURE_RESPONSE
from .neck import ACTION_FORECAST, RELIEF_AT_FRET
from .nut import NUT_SLOTS
from .pitch import CENTS, PITCH
from .response import ADJUSTMENT_RESPONSE
from .restring import RESTRING_FORECAST
from .saddle import SADDLE_POSITION
from .seasons import SEASONAL_DRIFT
from .strings import STRING_INHARMONICITY, STRING_TENSION
from .summary import SUMMARY
from .wood import WOOD_MOISTURE, WOOD_MOVEMENT

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
    COMPENSATION,
    STRING_CLEARANCE,
    WOOD_MOISTURE,
    WOOD_MOVEMENT,
    INDOOR_HUMIDITY,
    MOISTURE_RESPONSE,
    SEASONAL_DRIFT,
    HYGROMETER_CHECK,
    CONFORMITY,
    ADJUSTMENT_RESPONSE,
    BENCH_AGREEMENT,
    SUMMARY,
)
