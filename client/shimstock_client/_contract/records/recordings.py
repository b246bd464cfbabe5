"""Records of recordings, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..._quantity import Quantity
from ..._wire import Record


@dataclass(kw_only=True, repr=False, eq=False)
class StringSound(Record):
    """`StringSoundOut` of the document."""

    inharmonicity: float | None = None
    """B of f_n = n·f0·√(1 + B·n²); null with fewer than three partials."""
    inharmonicity_uncertainty: float | None = None
    """Standard uncertainty of the inharmonicity."""
    intonation: Quantity | None = None
    """How far it lies from the note; positive = sharp."""
    note_name: str = ""
    """The note asked for, or the nearest."""
    partials: list[int] = field(default_factory=list)
    """The partials that were measured."""
    pitch: Quantity | None = None
    """Frequency of the lowest partial, which is what a tuner shows."""
    seconds: float = 0.0
    """How much of the recording was listened to [s]."""
    source: list[str] = field(default_factory=list)
    """Where the method is published."""
    uncertainty: Quantity | None = None
    """Standard uncertainty of the pitch."""
