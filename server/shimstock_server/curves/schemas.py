"""What a map and a curve look like as data."""

from __future__ import annotations

from typing import Any

from shimstock_server.database.words import Quantity
from shimstock_server.web.context import current
from shimstock_server.web.fields import Choice, Id, Instant, ListOf, Nested, StrictSchema, Text, Whole
from shimstock_server.web.quantities import QuantityOut
from shimstock_server.web.units import KINDS, convert, decimals

from .playing import TOUCHES


class Fine(QuantityOut):
    """A small quantity that is computed: one more decimal than a reading has."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **options: Any) -> dict[str, Any] | None:
        told = super()._serialize(value, attr, obj, **options)
        if told is None or self.kind_name is None:
            return told
        kind = KINDS[self.kind_name]
        unit = kind.out(current.units)
        return {"value": round(convert(value, kind.unit, unit), decimals(unit) + 1) + 0.0, "unit": unit.value}


class ClearanceQuery(StrictSchema):
    """How hard the instrument is played."""

    touch = Choice(
        tuple(TOUCHES), load_default="usual",
        metadata={
            "description": "Force of the pluck that the margins stand for: light "
            f"{TOUCHES['light']} N, usual {TOUCHES['usual']} N, hard {TOUCHES['hard']} N (judgement)."
        },
    )  # fmt: skip


class UsedReadingOut(StrictSchema):
    """A reading that it stands on, at the frets of the spec."""

    quantity = Choice(Quantity)
    side = Choice(("bass", "treble"), allow_none=True)
    string = Whole(allow_none=True)
    value = QuantityOut(kind_from="quantity")
    taken_at = Instant()


class FrettedPositionOut(StrictSchema):
    """A string held at a fret, or open."""

    position = Whole(metadata={"description": "0 = open."})
    touches = Whole(allow_none=True, metadata={"description": "The fret that it touches first."})
    margin = QuantityOut(
        "fret-height", allow_none=True,
        metadata={"description": "Least between swing and frets at that touch; below 0 = touches."},
    )  # fmt: skip
    free_force = Fine("tension", allow_none=True, metadata={"description": "How hard it may be plucked."})
    free_amplitude = QuantityOut(
        "fret-height", allow_none=True, metadata={"description": "How far it may be drawn aside."}
    )


class ClearanceStringOut(StrictSchema):
    """A string over all its positions."""

    string = Whole()
    note = Text(allow_none=True)
    scale_length = QuantityOut("scale-length")
    relief = QuantityOut("relief")
    nut_action = QuantityOut("nut-action")
    action = QuantityOut("action")
    tension = QuantityOut("tension", allow_none=True)
    pluck_distance = QuantityOut("distance", metadata={"description": "From the bridge."})
    positions = ListOf(Nested(FrettedPositionOut))


class TightestOut(StrictSchema):
    """A tight place."""

    string = Whole()
    position = Whole()
    fret = Whole()
    margin = QuantityOut("fret-height")


class ClearanceOut(StrictSchema):
    """Where the strings touch first, and how hard one may pick."""

    instrument_id = Id()
    instrument = Text(max=300)
    read_at = Instant(metadata={"description": "When the newest reading behind it was taken."})
    readings = ListOf(Nested(UsedReadingOut))
    touch = Choice(tuple(TOUCHES))
    force = Fine("tension", allow_none=True)
    strings = ListOf(Nested(ClearanceStringOut))
    tightest = ListOf(Nested(TightestOut))
    note = ListOf(Text(max=500))


class CurvePointOut(StrictSchema):
    """A fretted note."""

    fret = Whole()
    now = QuantityOut(
        "intonation", allow_none=True,
        metadata={"description": "With the saddle where the reading says that it stands."},
    )  # fmt: skip
    suggested = QuantityOut(
        "intonation",
        metadata={"description": "With the saddle where it leaves the first twelve least wrong."},
    )


class IntonationStringOut(StrictSchema):
    """A string's fretted notes."""

    string = Whole()
    note = Text(allow_none=True)
    intonation = QuantityOut("intonation", allow_none=True, metadata={"description": "As read."})
    fret = Whole(metadata={"description": "Where it is read."})
    saddle_setback = QuantityOut(
        "compensation", allow_none=True,
        metadata={"description": "Saddle beyond the scale length, judged by that reading."},
    )  # fmt: skip
    suggested_setback = QuantityOut("compensation")
    saddle_move = QuantityOut(
        "saddle-position", allow_none=True, metadata={"description": "Positive = away from the nut."}
    )
    rms = QuantityOut(
        "intonation", allow_none=True,
        metadata={"description": "Root mean square of the first twelve frets now."},
    )  # fmt: skip
    suggested_rms = QuantityOut("intonation")
    answers = Text(max=200, metadata={"description": "How its answer to stretching is known."})
    frets = ListOf(Nested(CurvePointOut))


class UnknownStringOut(StrictSchema):
    """A string of which nothing can be said."""

    string = Whole()
    why = Text(max=300)


class IntonationOut(StrictSchema):
    """How sharp each fretted note is, and where the saddles should stand."""

    instrument_id = Id()
    instrument = Text(max=300)
    read_at = Instant(metadata={"description": "When the newest reading behind it was taken."})
    readings = ListOf(Nested(UsedReadingOut))
    strings = ListOf(Nested(IntonationStringOut))
    not_known = ListOf(Nested(UnknownStringOut))
    source = ListOf(Text(max=500))
    note = ListOf(Text(max=500))
