"""What another set or tuning does to an instrument, before the first string is cut."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from shimstock_calc import fitted, neck_pull, restring
from shimstock_calc.errors import CalculationError, Contradiction, Missing
from shimstock_calc.fitted import FittedString
from shimstock_calc.neck_pull import NeckReadings, Spread
from shimstock_calc.pitch import note_at, note_name
from shimstock_calc.response import Response
from shimstock_server.web.fields import Choice, ListOf, Nested, Number, StrictSchema, Text, Truth, Whole

from .entry import Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told
from .notes import scale_note
from .pitch import note_field
from .strings import WIRE_SOURCE, StringFields, sounding, string_of

MOST_STRINGS = 24


class TunedStringIn(StringFields):
    """A string of a set, tuned: pitch by frequency or note, mass by linear density or gauge and materials."""

    number = Whole(1, 24, required=True, metadata={"description": "Course; 1 = treble side."})
    member = Choice(
        fitted.MEMBERS, load_default="principal",
        metadata={"description": "Which string of its course: a second one is its octave or unison."},
    )  # fmt: skip
    frequency = asked("pitch", 10.0, 2000.0, "Pitch of the open string")
    note = note_field("Pitch of the open string, instead of its frequency")
    scale_length = asked("scale-length", 100.0, 2000.0, "Its own scale length, else that of the instrument")
    slot_width = asked("gauge", 0.05, 10.0, "Width of its nut slot, where known")


class NeckIn(StrictSchema):
    """Geometry of the neck, and the newest readings."""

    scale_length = asked(
        "scale-length", 100.0, 2000.0, "Scale length, of the middle of a multi-scale board", required=True
    )
    body_joint_fret = Number(8, 24, required=True, metadata={"description": "Fret at the body joint."})
    held = ListOf(
        Whole(0, 36, metadata={"description": "A hold fret."}), min=2, max=2, required=True,
        metadata={"description": "The two frets at which the string is held to read relief."},
    )  # fmt: skip
    fret = Whole(1, 35, required=True, metadata={"description": "Fret at which relief is read."})
    frets = Whole(
        12,
        36,
        load_default=None,
        allow_none=True,
        metadata={"description": "Frets of the neck; the upper hold fret where it is not given."},
    )
    relief = asked("relief", -2.0, 4.0, "Relief")
    action_bass = asked("action", 0.0, 15.0, "Action at the 12th fret, bass side")
    action_treble = asked("action", 0.0, 15.0, "Action at the 12th fret, treble side")
    nut_action_bass = asked("nut-action", 0.0, 10.0, "Nut action, bass side")
    nut_action_treble = asked("nut-action", 0.0, 10.0, "Nut action, treble side")


class RestringQuestion(Question):
    """A set before and after, or what is wanted of the pull or the tuning."""

    old = ListOf(
        Nested(TunedStringIn),
        min=1,
        max=MOST_STRINGS,
        metadata={"description": "The set as it is tuned now."},
    )
    new = ListOf(
        Nested(TunedStringIn),
        min=1,
        max=MOST_STRINGS,
        metadata={"description": "The set as it will be tuned."},
    )
    scale_length = asked("scale-length", 100.0, 2000.0, "Scale length of every string that names none")
    reference_pitch = asked("pitch", 380.0, 480.0, "Pitch of A4 that the notes belong to; 440 Hz else")
    neck = Nested(
        NeckIn,
        metadata={"description": "Geometry and readings; without it only the relief's change is told."},
    )
    compliance = asked("compliance", 1e-5, 0.1, "How far relief follows the total pull, where learned")
    compliance_sd = asked(
        "compliance", 0.0, 0.1, "Standard deviation of the compliance; a quarter of it else"
    )
    greatest_pull = asked("tension", 10.0, 10000.0, "Largest total pull that the instrument allows")
    built_for = Choice(
        ("steel", "nylon"),
        metadata={"description": "The strings that it is built for; steel else."},
    )
    relief_change = asked("relief", -2.0, 2.0, "Wanted change of relief; positive = more")


class SpreadOut(StrictSchema):
    """A forecast, with the range that it may take."""

    value = told("relief", "What is expected")
    low = told("relief", "Lower end")
    high = told("relief", "Upper end")


class ActionSpreadOut(StrictSchema):
    """A forecast of action, with the range that it may take."""

    value = told("action", "What is expected")
    low = told("action", "Lower end")
    high = told("action", "Upper end")


class NutActionSpreadOut(StrictSchema):
    """A forecast of nut action, with the range that it may take."""

    value = told("nut-action", "What is expected")
    low = told("nut-action", "Lower end")
    high = told("nut-action", "Upper end")


class StringForecastOut(StrictSchema):
    """A string after the restring."""

    number = Whole()
    member = Choice(fitted.MEMBERS)
    tension = told("tension", "Pull afterwards")
    old_tension = told("tension", "Pull before", maybe=True)
    strength_used = told("share", "Stress over tensile strength; refused from 95 %", maybe=True)
    margin = Choice(("holds", "near its limit", "margin unknown"))
    inharmonicity = Number(allow_none=True, metadata={"description": "B of the open string."})
    slot = Choice(
        ("unchanged", "wide enough", "too tight", "wide", "check"), metadata={"description": "Its nut slot."}
    )


class HighestPitchOut(StrictSchema):
    """How high a string may be tuned."""

    number = Whole()
    member = Choice(fitted.MEMBERS)
    frequency = told("pitch", "Pitch at which it stands at 80 % of its strength", maybe=True)
    nearest_note = Text(allow_none=True, metadata={"description": "The highest note that is not above it."})


class RestringResult(Result):
    """What the restring will do."""

    calculated = calculated("forecast", "pull_change", "highest_tuning")
    strings = ListOf(Nested(StringForecastOut))
    old_total = told("tension", "Total pull before", maybe=True)
    new_total = told("tension", "Total pull afterwards", maybe=True)
    pull_change = told("tension", "Change of the total pull", maybe=True)
    pull_share = told(
        "share", "The same as a share of the pull before: springs of a tremolo need as much more", maybe=True
    )
    compliance = told("compliance", "How far relief follows the pull", maybe=True)
    compliance_source = Text(max=300, allow_none=True, metadata={"description": "Where that comes from."})
    relief_change = Nested(SpreadOut, allow_none=True)
    relief = Nested(SpreadOut, allow_none=True)
    action_bass = Nested(ActionSpreadOut, allow_none=True)
    action_treble = Nested(ActionSpreadOut, allow_none=True)
    nut_action_bass = Nested(NutActionSpreadOut, allow_none=True)
    nut_action_treble = Nested(NutActionSpreadOut, allow_none=True)
    intonation_again = Truth(metadata={"description": "Whether intonation must be set again."})
    tuning_shift = told("intonation", "How far all strings may go up together; negative = down", maybe=True)
    bounded_by = Text(
        allow_none=True, metadata={"description": "The string, or the limit of pull, met first."}
    )
    highest = ListOf(Nested(HighestPitchOut))


def _fitted(given: Given, name: str) -> list[FittedString]:
    """Return a set, tuned; what is wrong with a string is blamed on that string."""
    return [_tuned(given, name, n, string) for n, string in enumerate(given[name])]


def _tuned(given: Given, name: str, n: int, string: Given) -> FittedString:
    length = string.get("scale_length", given.get("scale_length"))
    at = f"{name}.{n}."
    if length is None:
        raise Missing("a scale length is needed, here or for the whole set", at + "scale_length")
    if ("frequency" in string) == ("note" in string):
        raise Contradiction("give frequency or note, one of them", at + "frequency")
    reference = {"reference_pitch": given["reference_pitch"]} if "reference_pitch" in given else {}
    try:
        found = string_of(
            string,
            sounding({**string, **reference}),
            length,
            number=string["number"],
            member=string["member"],
        )
        fitted.pull(found)
    except CalculationError as error:
        raise type(error)(error.message, at + _OWN.get(error.field or "", error.field or "gauge")) from None
    return found


_OWN = {"wrap": "gauge", "diameter": "gauge", "reference": "note", "tension": "gauge"}


def _neck(given: Given) -> NeckReadings | None:
    sent = given.get("neck")
    if sent is None:
        return None
    low, high = sent["held"]
    if low >= high:
        raise Contradiction("the lower hold fret comes first", "neck.held")
    return NeckReadings(**{**sent, "held": (low, high)})


def _compliance(given: Given) -> Response | None:
    mean = given.get("compliance")
    if mean is None:
        if "compliance_sd" in given:
            raise Missing("the standard deviation belongs to a compliance: give it too", "compliance")
        return None
    sd = given.get("compliance_sd", mean / 4.0)
    return Response(mean, sd, "given in the request", "instrument", 1)


def _told_compliance(found: Response) -> float:
    """Return how far relief follows the pull, an estimate within a factor 2 to two digits [mm/N]."""
    return float(f"{found.mean:.2g}") if found.level == "prior" else found.mean


def _forecast(given: Given) -> dict[str, Any]:
    old, new = _fitted(given, "old"), _fitted(given, "new")
    widths = {
        (each["number"], each["member"]): each["slot_width"] for each in given["new"] if "slot_width" in each
    }
    found = restring.restring_forecast(
        old, new, neck=_neck(given), compliance=_compliance(given), slot_widths=widths,
        built_for=given.get("built_for", "steel"), pull_limit=given.get("greatest_pull"),
    )  # fmt: skip
    return {
        "strings": [_string(each) for each in found.strings],
        "old_total": found.old_total,
        "new_total": found.new_total,
        "pull_change": found.change,
        "pull_share": 100.0 * found.change_share,
        "compliance": _told_compliance(found.compliance),
        "compliance_source": found.compliance.source,
        "relief_change": found.relief_change,
        "relief": found.relief,
        "action_bass": found.action_bass,
        "action_treble": found.action_treble,
        "nut_action_bass": found.nut_action_bass,
        "nut_action_treble": found.nut_action_treble,
        "intonation_again": found.intonation_again,
        "highest": [],
        "note": [*_sentences(found.notes), *_scale_notes([*old, *new])],
    }


def _string(found: restring.StringForecast) -> dict[str, Any]:
    share = found.strength_used
    return {**vars(found), "strength_used": None if share is None else 100.0 * share}


def _sentences(notes: Iterable[str]) -> list[str]:
    return [note[0].upper() + note[1:] + "." for note in notes]


def _scale_notes(strings: Iterable[FittedString]) -> list[str]:
    return list(dict.fromkeys(note for each in strings for note in scale_note(each.scale_length)))


def _pull_change(given: Given) -> dict[str, Any]:
    follow = _compliance(given) or neck_pull.neck_compliance(_neck(given))
    change = neck_pull.pull_for_relief_change(given["relief_change"], follow)
    wanted = given["relief_change"]
    return {
        "strings": [],
        "pull_change": change,
        "compliance": _told_compliance(follow),
        "compliance_source": follow.source,
        "relief_change": Spread(wanted, wanted, wanted),
        "intonation_again": True,
        "highest": [],
        "note": [f"The compliance is uncertain: {follow.source}."] if follow.level == "prior" else [],
    }


def _highest_tuning(given: Given) -> dict[str, Any]:
    new = _fitted(given, "new")
    restring.refuse_wrong_build(new, given.get("built_for", "steel"))
    found = fitted.safe_tuning(new, given.get("greatest_pull"))
    unknown = [each.name for each in new if found.highest[each.key] is None]
    return {
        "strings": [],
        "new_total": sum(fitted.pull(each) for each in new),
        "intonation_again": True,
        "tuning_shift": found.shift,
        "bounded_by": found.bounded_by,
        "highest": [_highest(given, each, found.highest[each.key]) for each in new],
        "note": _left_out(unknown),
    }


def _left_out(unknown: list[str]) -> list[str]:
    """Say which strings the answer knows nothing of."""
    if not unknown:
        return []
    names = ", ".join(unknown)
    return [
        f"Margin unknown, core not known or not steel: {names}. What is told leaves them out: tune them no "
        "higher than their maker says."
    ]


def _highest(given: Given, string: FittedString, top: float | None) -> dict[str, Any]:
    note = None
    if top is not None:
        number = int(float(note_at(top, given.get("reference_pitch", 440.0))) // 1)
        note = note_name(number) if 0 <= number <= 127 else None
    return {"number": string.number, "member": string.member, "frequency": top, "nearest_note": note}


_FOLLOW = ("compliance", "compliance_sd")

RESTRING_FORECAST = Calculation(
    name="restring-forecast",
    title="What another set or another tuning does to an instrument",
    about=(
        "The old and the new set, tuned, give the pull of every string and in total, margins, the change of "
        "relief and action, and whether each nut slot is wide enough. A wanted change of relief gives the "
        "change of pull that would bring it. The new set alone tells how high it may be tuned. A string "
        "beyond 95 % of its strength, steel on an instrument built for nylon, and more pull than the "
        "instrument allows are refused."
    ),
    question=RestringQuestion,
    result=RestringResult,
    ways=(
        Way("forecast", ("old", "new"), _forecast, may=("neck", "greatest_pull", *_FOLLOW, "built_for")),
        Way("pull_change", ("relief_change",), _pull_change, may=("neck", *_FOLLOW)),
        Way("highest_tuning", ("new",), _highest_tuning, may=("greatest_pull", "built_for")),
    ),
    source=(
        "Tension mu·(2·X·f)² of the ideal string: M. Mersenne (1636), B. Taylor (1713)",
        WIRE_SOURCE,
        "Relief follows the pull as a beam under a constant moment bends, by M/(E·I), about 5e-8 per mm and "
        "N of a 25.5 in maple neck: from memory, within a factor 2 either way (judgement)",
    ),
    validity=(
        "Necks of about 25.5 in scale in maple, unless a learned compliance is given; the range of the "
        "forecast says how far it can be off. Settled necks: relief moves for hours after a restring."
    ),
    formulas=(restring.restring_forecast, neck_pull.neck_compliance, neck_pull.heights_after,
              fitted.safe_tuning),
    blame={
        "hold_frets": "neck.held", "reading_fret": "neck.fret", "body_joint_fret": "neck.body_joint_fret",
        "scale_length": "neck.scale_length", "relief": "neck.relief", "action": "neck.action_bass",
        "nut_action": "neck.nut_action_bass", "change": "new", "pull_limit": "greatest_pull",
        "tension": "new", "frequency": "new", "linear_density": "new", "core": "new", "gauge": "new",
        "diameter": "new", "slot_width": "new",
    },
)  # fmt: skip
