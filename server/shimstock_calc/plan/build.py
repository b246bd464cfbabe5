"""From spec, geometry, readings and learned responses to ordered steps."""

from __future__ import annotations

from ..errors import Contradiction, Missing, OutOfRange
from ..vocabulary import GEOMETRY, QUANTITIES
from .break_clearance_steps import break_clearance
from .closing import say_offsets
from .draft import Draft
from .final_steps import final_readings
from .height_steps import action
from .intonation_steps import intonation
from .look_over import fret_check, look_over
from .model import Plan, PlanInput
from .nut_steps import nut, say_low_to_come
from .pickup_steps import pickups
from .plate_steps import distrust_heights, plate
from .reading_steps import measure, read_outliers, surprised, tune_first
from .relief_steps import relief, settle
from .string_steps import restring, restring_to_come, say_strings_on_it, stop_at_steel_on_nylon
from .words import say


def make_plan(plan_input: PlanInput) -> Plan:
    """Make the plan of a setup.

    Parameters
    ----------
    plan_input : PlanInput
        Instrument, spec, readings, adjustments done, findings, wishes, responses, consents and settings.

    Returns
    -------
    Plan
        Verdicts, ordered steps, notes; the same for the same input on any machine.

    Raises
    ------
    Missing
        When the instrument lacks what a step needs; the field says what.
    Contradiction
        When limits are not in order.
    OutOfRange
        When a reading names a string or fret that the instrument does not have.
    """
    check(plan_input)
    draft = Draft(plan_input)
    look_over(draft)
    if stop_at_steel_on_nylon(draft):
        return draft.plan()
    say_strings_on_it(draft)
    tune_first(draft)
    if not restring_to_come(draft):
        plate(draft)
    distrust_heights(draft)
    surprised(draft)
    _read(draft)
    restring(draft)
    relief(draft)
    settle(draft)
    fret_check(draft)
    nut(draft)
    action(draft)
    say_low_to_come(draft)
    if not draft.relief_unreachable:
        _only_read(draft)
        break_clearance(draft)
        pickups(draft)
        intonation(draft)
        final_readings(draft)
    read_outliers(draft)
    say_offsets(draft)
    draft.note("judgement", say("computed from the readings given; the technician's eye and hand decide"))
    return draft.plan()


def _only_read(draft: Draft) -> None:
    """Ask for what no step is about."""
    measure(draft, tuple(word for word, term in QUANTITIES.items() if not term.has_step), gate="nothing")


def _read(draft: Draft) -> None:
    """Ask for the readings that fix the geometry, unless new strings will change them all anyway."""
    if restring_to_come(draft):
        never = [known for known in draft.of(*GEOMETRY) if known.reading is None]
        damaged = any(finding.code == "string-damaged" for finding in draft.plan_input.findings)
        if not never or damaged:
            return
    measure(draft, GEOMETRY, gate="everything", never=True)


def check(plan_input: PlanInput) -> None:
    """Refuse an instrument that the plan cannot reckon with, and readings that it cannot have.

    Raises
    ------
    Missing, OutOfRange, Contradiction
        Naming the field.
    """
    instrument = plan_input.instrument
    numbers = sorted(string.number for string in instrument.strings)
    if not numbers:
        raise Missing("the instrument's strings are needed", "strings")
    if numbers != list(range(1, len(numbers) + 1)):
        raise OutOfRange(f"strings must be numbered 1 to {len(numbers)}, each once", "strings")
    if not min(instrument.scale_bass, instrument.scale_treble) >= 300.0:
        raise OutOfRange("scale length must be 300 to 920 mm", "scale_length")
    if max(instrument.scale_bass, instrument.scale_treble) > 920.0:
        raise OutOfRange("scale length must be 300 to 920 mm", "scale_length")
    if not 12 <= instrument.frets <= 36:
        raise OutOfRange("an instrument has 12 to 36 frets", "frets")
    if not 8 <= instrument.body_joint_fret <= 24:
        raise OutOfRange("the body joint lies at fret 8 to 24", "body_joint_fret")
    if (instrument.radius_nut is None) != (instrument.radius_end is None):
        raise Missing(
            "fretboard radius is needed at the nut and at the body end, or at neither (flat)", "radius"
        )
    _check_readings(plan_input)


def _check_readings(plan_input: PlanInput) -> None:
    frets = plan_input.instrument.frets
    for reading in plan_input.readings:
        for fret in (*reading.held, *((reading.fret,) if reading.fret is not None else ())):
            if not 0 <= fret <= frets:
                raise OutOfRange(f"this instrument has {frets} frets; {fret} was given", "fret")
        if (reading.value is None) != reading.zero_or_less:
            raise Contradiction("a reading has a value, or is zero or less: one of the two", "value")
        if reading.quantity == "relief" and len(reading.held) == 2 and reading.fret is not None:
            low, high = reading.held
            if not low < reading.fret < high:
                raise OutOfRange("relief is read between its two hold frets", "reading_fret")
