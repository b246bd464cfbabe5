"""From the catalogue's rows to the plan's records: geometry, hardware, strings with pitch and weight."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.pitch import note_number
from shimstock_calc.plan import model as plan
from shimstock_server.database.tables.catalogue import StringSet, Tuning
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Handedness

from .lacks import Lack, lacks_of_model
from .models import values_of
from .problems import InstrumentIncomplete
from .string_sets import frequencies
from .strings import core_diameter, linear_density


def plan_instrument(session: Session, instrument: Instrument) -> plan.Instrument:
    """Return an instrument as the plan takes it: its model's fields with its own over them, strung and tuned.

    Raises
    ------
    InstrumentIncomplete
        When the plan needs something that nobody has entered; the problem points to each field.
    """
    values = own_values(instrument)
    string_set, tuning = strung(session, instrument)
    found = lacks_of_model(values, tuned=tuning is not None)
    found += _misfits(values["strings"], string_set, tuning)
    if found:
        raise InstrumentIncomplete.of(found)
    assert tuning is not None
    strings = _strings(string_set, tuning, values.get("courses"))
    return instrument_of(values, strings, left_handed=instrument.handedness is Handedness.LEFT)


def strung(session: Session, instrument: Instrument) -> tuple[StringSet | None, Tuning | None]:
    """Return the string set and the tuning of an instrument: its own, else its model's."""
    set_id = instrument.string_set_id or instrument.model.string_set_id
    tuning_id = instrument.tuning_id or instrument.model.tuning_id
    return (
        None if set_id is None else session.get_one(StringSet, set_id),
        None if tuning_id is None else session.get_one(Tuning, tuning_id),
    )


def own_values(instrument: Instrument) -> dict[str, Any]:
    """Return a model's fields with what is known of this one instrument over them."""
    return with_own(
        values_of(instrument.model), instrument.bridge, instrument.truss_rod, instrument.named_consents
    )


def with_own(
    model: Mapping[str, Any], bridge: Mapping[str, Any], rod: Mapping[str, Any], named_consents: bool
) -> dict[str, Any]:
    """Lay what is known of one instrument over its model's fields; what is said there, even null, counts."""
    return {
        **model,
        "bridge": {**model["bridge"], **bridge},
        "truss_rod": {**model["truss_rod"], **rod},
        "named_consents": model["named_consents"] or named_consents,
    }


def _misfits(strings: int, string_set: StringSet | None, tuning: Tuning | None) -> list[Lack]:
    found = []
    if string_set is not None and len(string_set.strings) != strings:
        why = f"the set has {len(string_set.strings)} strings, the model {strings}"
        found.append(Lack("instruments", "string_set_id", why))
    if tuning is not None and len(tuning.notes) != strings:
        why = f"the tuning has {len(tuning.notes)} notes, the model {strings} strings"
        found.append(Lack("instruments", "tuning_id", why))
    return found


def plan_string_set(
    session: Session,
    string_set: StringSet | UUID,
    tuning: Tuning | UUID,
    courses: Sequence[Sequence[int]] | None = None,
) -> plan.StringSet:
    """Return a string set as the plan takes it, each string with the pitch that the tuning gives it.

    Parameters
    ----------
    string_set, tuning : row or UUID
        With as many notes as strings.
    courses : sequence of sequences of int, optional
        Strings that are played together.
    """
    chosen = session.get_one(StringSet, string_set) if isinstance(string_set, UUID) else string_set
    tuned = session.get_one(Tuning, tuning) if isinstance(tuning, UUID) else tuning
    if len(chosen.strings) != len(tuned.notes):
        raise InstrumentIncomplete.of(_misfits(len(tuned.notes), chosen, None))
    return plan.StringSet(chosen.name, _strings(chosen, tuned, courses))


def plan_other_sets(session: Session, instrument: Instrument) -> tuple[plan.StringSet, ...]:
    """Return the sets of the catalogue that could be fitted to an instrument in its tuning, by name.

    Only sets for its kind, of as many strings, for the pull that it is built for, whose weight is known.
    """
    model = instrument.model
    present, tuning = strung(session, instrument)
    if tuning is None or len(tuning.notes) != model.strings:
        return ()
    rows = session.scalars(
        select(StringSet).where(StringSet.built_for == model.built_for).order_by(StringSet.name, StringSet.id)
    )
    return tuple(
        plan_string_set(session, row, tuning, model.courses)
        for row in rows
        if len(row.strings) == model.strings
        and (present is None or row.id != present.id)
        and (not row.kinds or model.kind.value in row.kinds)
        and all(linear_density(string)[0] is not None for string in row.strings)
    )


def _strings(
    string_set: StringSet | None, tuning: Tuning, courses: Sequence[Sequence[int]] | None
) -> tuple[plan.InstrumentString, ...]:
    return string_records(
        None if string_set is None else string_set.strings, tuning.notes, frequencies(tuning), courses
    )


def string_records(
    strings: Sequence[Mapping[str, Any]] | None,
    notes: Sequence[str],
    pitches: Sequence[float],
    courses: Sequence[Sequence[int]] | None = None,
) -> tuple[plan.InstrumentString, ...]:
    """Return strings as the plan takes them; without a set only their pitches are known."""
    roles = course_roles(courses, notes)
    records = []
    for n, (note, pitch) in enumerate(zip(notes, pitches, strict=True)):
        course, role = roles.get(n + 1, (None, None))
        details: dict[str, Any] = {}
        if strings is not None:
            string = strings[n]
            details = {
                "gauge": string["gauge"],
                "linear_density": linear_density(string)[0],
                "core_diameter": core_diameter(string),
                "material": string["material"],
                "wound": string["wound"],
            }
        records.append(
            plan.InstrumentString(
                number=n + 1, frequency=pitch, note=note, course=course, course_role=role, **details
            )
        )
    return tuple(records)


def course_roles(courses: Sequence[Sequence[int]] | None, notes: Sequence[str]) -> dict[int, tuple[int, Any]]:
    """Return course number and role of each string that shares a course with another.

    The lowest note of a course is its principal; another string of that note is its unison string, one above
    its octave string.

    >>> course_roles([[1, 2], [3, 4]], ["E4", "E4", "G3", "G4"])[4]
    (2, 'octave')
    """
    roles: dict[int, tuple[int, Any]] = {}
    for n, course in enumerate(courses or [], start=1):
        if len(course) < 2:
            continue
        pitches = {number: note_number(notes[number - 1]) for number in course}
        principal = min(course, key=lambda number: (pitches[number], number))
        for number in course:
            if number == principal:
                roles[number] = (n, "principal")
            else:
                roles[number] = (n, "unison" if pitches[number] == pitches[principal] else "octave")
    return roles


def instrument_of(
    values: Mapping[str, Any], strings: tuple[plan.InstrumentString, ...], *, left_handed: bool = False
) -> plan.Instrument:
    """Return the plan's record of an instrument from a model's fields and its strings."""
    nut, joint = values.get("nut") or {}, values.get("neck_joint")
    return plan.Instrument(
        kind=values["kind"],
        strings=strings,
        scale_bass=values["scale_bass"],
        scale_treble=values["scale_treble"],
        frets=values["frets"],
        body_joint_fret=values["body_joint_fret"],
        bridge=_bridge(values["bridge"]),
        rod=_rod(values["truss_rod"]),
        built_for=values["built_for"],
        perpendicular_fret=values.get("perpendicular_fret") or 0.0,
        radius_nut=values.get("radius_nut"),
        radius_end=values.get("radius_body_end"),
        left_handed=left_handed,
        nut=plan.Nut(
            tuple((slot["string"], slot["width"]) for slot in nut.get("slot_widths", ())),
            bool(nut.get("locking")),
            bool(nut.get("zero_fret")),
        ),
        neck_joint=plan.NeckJoint()
        if joint is None
        else plan.NeckJoint(joint["kind"], joint.get("pocket_length"), joint.get("pocket_front")),
        pickups=tuple(
            plan.Pickup(pickup["name"], pickup["screw"], pickup.get("thread_pitch"))
            for pickup in values["pickups"]
        ),
        max_total_pull=values.get("greatest_pull"),
        delicate=bool(values["named_consents"]),
        delicate_finish=bool(values["delicate_finish"]),
    )


def _bridge(bridge: Mapping[str, Any]) -> plan.Bridge:
    total = bridge.get("saddle_total_height")
    return plan.Bridge(
        kind=bridge["kind"],
        post_spacing=bridge.get("post_spacing"),
        string_spread=bridge.get("string_spread"),
        height_thread_pitch=bridge.get("height_thread_pitch"),
        screws_per_saddle=bridge.get("screws_per_saddle") or 1,
        height_left_up=bridge.get("height_left_up"),
        height_left_down=bridge.get("height_left_down"),
        intonation_screw_pitch=bridge.get("intonation_screw_pitch"),
        intonation_screw_head=bridge.get("intonation_screw_head") or "tail",
        travel_away=_travel(bridge.get("travel_away")),
        travel_toward=_travel(bridge.get("travel_toward")),
        saddle_total_height=None if total is None else (total["bass"], total["treble"]),
        undersaddle_pickup=bool(bridge.get("undersaddle_pickup")),
        left_hand_thread=bool(bridge.get("left_hand_thread")),
        springs=bridge.get("springs"),
    )


def _travel(entries: Sequence[Mapping[str, Any]] | None) -> tuple[tuple[int, float], ...]:
    return tuple(sorted((entry["string"], entry["distance"]) for entry in entries or ()))


def _rod(rod: Mapping[str, Any]) -> plan.TrussRod:
    return plan.TrussRod(
        kind=rod["kind"],
        reversed=rod.get("reversed"),
        wrench_end=rod.get("wrench_end"),
        turns_left_tighten=rod.get("turns_left_tighten"),
        turns_left_loosen=rod.get("turns_left_loosen"),
        free_play=rod.get("free_play") or 0.0,
    )
