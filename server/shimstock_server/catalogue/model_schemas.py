"""Schemas of instrument models and their parts; the fields are named as the plan names them."""

from __future__ import annotations

from typing import Any

from shimstock_server.database.words import BridgeKind, BuiltFor, Kind, RodKind
from shimstock_server.web.fields import (
    Choice,
    Id,
    Instant,
    ListOf,
    MapOf,
    Nested,
    Number,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.paging import PageQuery
from shimstock_server.web.quantities import QuantityIn, QuantityOut
from shimstock_server.web.typed import AsTyped, without_defaults

from .schemas import MOST_STRINGS
from .woods import PARTS

# Plausible ranges (judgement) [mm, turns, N].
SCALE = {"min": 300.0, "max": 920.0}
RADIUS = {"min": 150.0, "max": 1000.0}
MOST_FRETS = 36


def _unknown(**bounds: Any) -> dict[str, Any]:
    """What an optional field takes: null and absence mean not known."""
    return {"load_default": None, "allow_none": True, **bounds}


class StringTravelIn(StrictSchema):
    """How far the saddle of one string can still go."""

    string = Whole(1, MOST_STRINGS, required=True)
    distance = QuantityIn("distance", min=0.0, max=40.0, required=True)


class StringTravelOut(StrictSchema):
    """How far the saddle of one string can still go."""

    string = Whole()
    distance = QuantityOut("distance")


class SidesIn(StrictSchema):
    """A height on the bass and on the treble side."""

    bass = QuantityIn("saddle-height", min=2.0, max=30.0, required=True)
    treble = QuantityIn("saddle-height", min=2.0, max=30.0, required=True)


class SidesOut(StrictSchema):
    """A height on the bass and on the treble side."""

    bass = QuantityOut("saddle-height")
    treble = QuantityOut("saddle-height")


class BridgeLeftIn(StrictSchema):
    """What an instrument's own bridge still has to give; what is left out is as on the model."""

    height_left_up = QuantityIn("saddle-height", min=0.0, max=30.0, allow_none=True)
    height_left_down = QuantityIn("saddle-height", min=0.0, max=30.0, allow_none=True)
    travel_away = ListOf(Nested(StringTravelIn), max=MOST_STRINGS)
    travel_toward = ListOf(Nested(StringTravelIn), max=MOST_STRINGS)
    saddle_total_height = Nested(SidesIn, allow_none=True)


class BridgeIn(StrictSchema):
    """The bridge. Fields that its kind does not have are left out."""

    kind = Choice(BridgeKind, required=True)
    post_spacing = QuantityIn("distance", **_unknown(min=20.0, max=200.0))
    string_spread = QuantityIn("distance", **_unknown(min=15.0, max=180.0))
    height_thread_pitch = QuantityIn("thread-pitch", **_unknown(min=0.2, max=3.0))
    screws_per_saddle = Whole(1, 2, **_unknown())
    height_left_up = QuantityIn("saddle-height", **_unknown(min=0.0, max=30.0))
    height_left_down = QuantityIn("saddle-height", **_unknown(min=0.0, max=30.0))
    intonation_screw_pitch = QuantityIn("thread-pitch", **_unknown(min=0.2, max=3.0))
    intonation_screw_head = Choice(("tail", "nut"), **_unknown())
    travel_away = ListOf(Nested(StringTravelIn), max=MOST_STRINGS, load_default=list)
    travel_toward = ListOf(Nested(StringTravelIn), max=MOST_STRINGS, load_default=list)
    saddle_total_height = Nested(SidesIn, load_default=None, allow_none=True)
    undersaddle_pickup = Truth(load_default=False)
    left_hand_thread = Truth(load_default=False)
    springs = Whole(1, 8, **_unknown())


class BridgeOut(StrictSchema):
    """The bridge."""

    kind = Choice(BridgeKind)
    post_spacing = QuantityOut("distance", allow_none=True)
    string_spread = QuantityOut("distance", allow_none=True)
    height_thread_pitch = QuantityOut("thread-pitch", allow_none=True)
    screws_per_saddle = Whole(allow_none=True)
    height_left_up = QuantityOut("saddle-height", allow_none=True)
    height_left_down = QuantityOut("saddle-height", allow_none=True)
    intonation_screw_pitch = QuantityOut("thread-pitch", allow_none=True)
    intonation_screw_head = Choice(("tail", "nut"), allow_none=True)
    travel_away = ListOf(Nested(StringTravelOut))
    travel_toward = ListOf(Nested(StringTravelOut))
    saddle_total_height = Nested(SidesOut, allow_none=True)
    undersaddle_pickup = Truth()
    left_hand_thread = Truth()
    springs = Whole(allow_none=True)


class BridgeLeftOut(StrictSchema):
    """What is known of an instrument's own bridge."""

    height_left_up = QuantityOut("saddle-height", allow_none=True)
    height_left_down = QuantityOut("saddle-height", allow_none=True)
    travel_away = ListOf(Nested(StringTravelOut))
    travel_toward = ListOf(Nested(StringTravelOut))
    saddle_total_height = Nested(SidesOut, allow_none=True)


class RodLeftIn(StrictSchema):
    """What an instrument's own rod still has to give; what is left out is as on the model."""

    turns_left_tighten = QuantityIn("turns", min=0.0, max=12.0, allow_none=True)
    turns_left_loosen = QuantityIn("turns", min=0.0, max=12.0, allow_none=True)
    reversed = Truth(allow_none=True)


class TrussRodIn(StrictSchema):
    """The truss rod; `reversed` null means that nobody knows yet which way tightens."""

    kind = Choice(RodKind, required=True)
    reversed = Truth(load_default=False, allow_none=True)
    wrench_end = Choice(("head", "body"), **_unknown())
    turns_left_tighten = QuantityIn("turns", **_unknown(min=0.0, max=12.0))
    turns_left_loosen = QuantityIn("turns", **_unknown(min=0.0, max=12.0))
    free_play = QuantityIn("turns", **_unknown(min=0.0, max=3.0))


class TrussRodOut(StrictSchema):
    """The truss rod."""

    kind = Choice(RodKind)
    reversed = Truth(allow_none=True)
    wrench_end = Choice(("head", "body"), allow_none=True)
    turns_left_tighten = QuantityOut("turns", allow_none=True)
    turns_left_loosen = QuantityOut("turns", allow_none=True)
    free_play = QuantityOut("turns", allow_none=True)


class RodLeftOut(StrictSchema):
    """What is known of an instrument's own rod."""

    turns_left_tighten = QuantityOut("turns", allow_none=True)
    turns_left_loosen = QuantityOut("turns", allow_none=True)
    reversed = Truth(allow_none=True)


class SlotWidthIn(StrictSchema):
    """Width of one slot of the nut."""

    string = Whole(1, MOST_STRINGS, required=True)
    width = QuantityIn("gauge", min=0.15, max=5.0, required=True)


class SlotWidthOut(StrictSchema):
    """Width of one slot of the nut."""

    string = Whole()
    width = QuantityOut("gauge")


class NutIn(StrictSchema):
    """The nut."""

    slot_widths = ListOf(Nested(SlotWidthIn), max=MOST_STRINGS, load_default=list)
    locking = Truth(load_default=False)
    zero_fret = Truth(
        load_default=False,
        metadata={"description": "A fret at the nut carries the strings: no slot is filed for height."},
    )


class NutOut(StrictSchema):
    """The nut."""

    slot_widths = ListOf(Nested(SlotWidthOut))
    locking = Truth()
    zero_fret = Truth()


class NeckJointIn(StrictSchema):
    """How the neck sits on the body."""

    kind = Choice(("bolt-on", "set", "through"), required=True)
    pocket_length = QuantityIn("length", **_unknown(min=20.0, max=150.0))
    pocket_front = QuantityIn("length", **_unknown(min=150.0, max=800.0))


class NeckJointOut(StrictSchema):
    """How the neck sits on the body."""

    kind = Choice(("bolt-on", "set", "through"))
    pocket_length = QuantityOut("length", allow_none=True)
    pocket_front = QuantityOut("length", allow_none=True)


class PickupIn(StrictSchema):
    """A pickup; `screw` tells what its height screws run through, null that it has none."""

    name = Text(max=100, required=True)
    screw = Choice(("ring", "body"), load_default="ring", allow_none=True)
    thread_pitch = QuantityIn("thread-pitch", **_unknown(min=0.2, max=3.0))


class PickupOut(StrictSchema):
    """A pickup."""

    name = Text()
    screw = Choice(("ring", "body"), allow_none=True)
    thread_pitch = QuantityOut("thread-pitch", allow_none=True)


class WoodPartIn(StrictSchema):
    """Wood and finish of one part; species as the Wood Handbook names them, or free text."""

    part = Choice(PARTS, required=True)
    species = Text(max=100, **_unknown())
    finish = Text(max=100, **_unknown())
    coats = Whole(0, 30, **_unknown())


class WoodPartOut(StrictSchema):
    """Wood and finish of one part."""

    part = Choice(PARTS)
    species = Text(allow_none=True)
    finish = Text(allow_none=True)
    coats = Whole(allow_none=True)


class LackOut(StrictSchema):
    """Something that the plan needs and nobody has entered."""

    field = Text()
    why = Text()


class ModelFields(StrictSchema):
    """Geometry and hardware of a model: what the plan reckons with."""

    kind = Choice(Kind, required=True)
    built_for = Choice(BuiltFor, **_unknown())
    strings = Whole(3, MOST_STRINGS, required=True)
    courses = ListOf(
        ListOf(Whole(1, MOST_STRINGS), min=1, max=3),
        max=MOST_STRINGS,
        min=1,
        load_default=None,
        allow_none=True,
    )
    scale_bass = QuantityIn("scale-length", **SCALE, required=True)
    scale_treble = QuantityIn("scale-length", **SCALE, required=True)
    perpendicular_fret = Number(0.0, float(MOST_FRETS), **_unknown())
    frets = Whole(12, MOST_FRETS, required=True)
    body_joint_fret = Number(8.0, 24.0, **_unknown())
    radius_nut = QuantityIn("radius", **_unknown(**RADIUS))
    radius_body_end = QuantityIn("radius", **_unknown(**RADIUS))
    bridge = Nested(BridgeIn, required=True)
    truss_rod = Nested(TrussRodIn, required=True)
    nut = Nested(NutIn, load_default=None, allow_none=True)
    neck_joint = Nested(NeckJointIn, load_default=None, allow_none=True)
    pickups = ListOf(Nested(PickupIn), max=8, load_default=list)
    parts = ListOf(Nested(WoodPartIn), max=len(PARTS), load_default=list)
    greatest_pull = QuantityIn("tension", **_unknown(min=50.0, max=3000.0))
    named_consents = Truth(load_default=False)
    delicate_finish = Truth(load_default=False)


class InstrumentModelIn(ModelFields):
    """An instrument model to add to the catalogue."""

    maker = Text(max=200, required=True)
    name = Text(max=200, required=True)
    string_set_id = Id(load_default=None, allow_none=True)
    tuning_id = Id(load_default=None, allow_none=True)
    notes = Text(max=4000, multiline=True, **_unknown())


InstrumentModelChange: Any = without_defaults(
    InstrumentModelIn,
    "InstrumentModelChange",
    "A change of an instrument model; nested objects are replaced whole.",
)


class InstrumentModelOut(StrictSchema):
    """An instrument model; `lacks` lists what the plan needs and nobody has entered yet."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    maker = Text()
    name = Text()
    kind = Choice(Kind)
    built_for = Choice(BuiltFor)
    strings = Whole()
    courses = ListOf(ListOf(Whole()), allow_none=True)
    scale_bass = QuantityOut("scale-length")
    scale_treble = QuantityOut("scale-length")
    perpendicular_fret = Number(allow_none=True)
    frets = Whole()
    body_joint_fret = Number(allow_none=True)
    radius_nut = QuantityOut("radius", allow_none=True)
    radius_body_end = QuantityOut("radius", allow_none=True)
    bridge = Nested(BridgeOut)
    truss_rod = Nested(TrussRodOut)
    nut = Nested(NutOut, allow_none=True)
    neck_joint = Nested(NeckJointOut, allow_none=True)
    pickups = ListOf(Nested(PickupOut))
    parts = ListOf(Nested(WoodPartOut))
    greatest_pull = QuantityOut("tension", allow_none=True)
    named_consents = Truth()
    delicate_finish = Truth()
    string_set_id = Id(allow_none=True)
    tuning_id = Id(allow_none=True)
    notes = Text(max=4000, allow_none=True)
    typed = MapOf(AsTyped())
    lacks = ListOf(Nested(LackOut))


class ModelQuery(PageQuery):
    """Which models to list."""

    kind = Choice(Kind)
    maker = Text()
