"""String sets and tunings: adding, changing, and what follows from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.errors import CalculationError
from shimstock_calc.pitch import frequency, note_name, note_number
from shimstock_server.database.tables.catalogue import InstrumentModel, StringSet, Tuning
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import BuiltFor
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.typed import kept

from .problems import NameTaken
from .strings import linear_density, string_errors

# Plausible pitches of open strings (judgement) [Hz].
LOWEST_PITCH, HIGHEST_PITCH = 23.0, 1200.0
STANDARD_REFERENCE = 440.0


def create_string_set(session: Session, body: Mapping[str, Any]) -> StringSet:
    """Add a string set to the catalogue."""
    row = StringSet(
        name=body["name"],
        built_for=body["built_for"],
        kinds=[kind.value for kind in body["kinds"]],
        strings=_strings(body["strings"]),
    )
    _check_set(row)
    _check_name(session, StringSet, row.name)
    session.add(row)
    session.flush()
    return row


def change_string_set(session: Session, row: StringSet, body: Mapping[str, Any]) -> StringSet:
    """Change a string set; how many strings it has stays, once an instrument or model is strung with it."""
    strings = _strings(body["strings"]) if "strings" in body else row.strings
    if len(strings) != len(row.strings) and _in_use(session, "string_set_id", row.id):
        raise InvalidFields.at(
            "/strings",
            f"models or instruments are strung with this set: it keeps its {len(row.strings)} strings",
        )
    if "name" in body and body["name"] != row.name:
        _check_name(session, StringSet, body["name"])
    row.name = body.get("name", row.name)
    row.built_for = body.get("built_for", row.built_for)
    if "kinds" in body:
        row.kinds = [kind.value for kind in body["kinds"]]
    row.strings = strings
    with session.no_autoflush:
        _check_set(row)
    session.flush()
    return row


def _strings(strings: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    stored = []
    for string in strings:
        values, typed = kept(string)
        stored.append({**values, "typed": typed})
    return stored


def _check_set(row: StringSet) -> None:
    errors = string_errors(row.strings, row.built_for.value)
    if errors:
        raise InvalidFields.of(errors)


def set_told(row: StringSet) -> dict[str, Any]:
    """Return a string set as it is answered: each string with what it weighs and how that is known."""
    strings = []
    for string in row.strings:
        density, source = linear_density(string)
        strings.append({**string, "linear_density": density, "linear_density_source": source})
    return {
        **_marks(row),
        "name": row.name,
        "built_for": row.built_for,
        "kinds": row.kinds,
        "strings": strings,
    }


def tuning_told(row: Tuning) -> dict[str, Any]:
    """Return a tuning as it is answered: each note with its pitch."""
    return {
        **_marks(row),
        "name": row.name,
        "notes": row.notes,
        "frequencies": frequencies(row),
        "reference_pitch": row.reference_pitch,
    }


def _marks(row: StringSet | Tuning) -> dict[str, Any]:
    return {"id": row.id, "version": row.version, "created_at": row.created_at, "updated_at": row.updated_at}


def create_tuning(session: Session, body: Mapping[str, Any]) -> Tuning:
    """Add a tuning to the catalogue."""
    reference = body["reference_pitch"]
    row = Tuning(
        name=body["name"],
        notes=list(body["notes"]),
        reference_pitch=STANDARD_REFERENCE if reference is None else reference.value,
    )
    row.notes = _spelt(row.notes, row.reference_pitch)
    _check_name(session, Tuning, row.name)
    session.add(row)
    session.flush()
    return row


def change_tuning(session: Session, row: Tuning, body: Mapping[str, Any]) -> Tuning:
    """Change a tuning; how many notes it has stays, once an instrument or model is tuned to it."""
    reference = body["reference_pitch"].value if "reference_pitch" in body else row.reference_pitch
    notes = _spelt(body.get("notes", row.notes), reference)
    if len(notes) != len(row.notes) and _in_use(session, "tuning_id", row.id):
        raise InvalidFields.at(
            "/notes", f"models or instruments are tuned to this: it keeps its {len(row.notes)} notes"
        )
    if "name" in body and body["name"] != row.name:
        _check_name(session, Tuning, body["name"])
    row.name = body.get("name", row.name)
    row.notes, row.reference_pitch = notes, reference
    session.flush()
    return row


def _spelt(notes: Sequence[str], reference: float) -> list[str]:
    errors = note_errors(notes, reference)
    if errors:
        raise InvalidFields.of(errors)
    return [spelt(note) for note in notes]


def spelt(note: str) -> str:
    """Return a note in the spelling that is kept: capital letter, `#` and `b`.

    >>> spelt("e4"), spelt("B♭2")
    ('E4', 'Bb2')
    """
    return note[0].upper() + note[1:].replace("♯", "#").replace("♭", "b")


def note_errors(notes: Sequence[str], reference: float) -> dict[str, str]:
    """Return what is wrong with the notes of a tuning: pointer to message."""
    errors: dict[str, str] = {}
    for n, note in enumerate(notes):
        try:
            pitch = float(frequency(note_number(note), reference))
        except CalculationError as error:
            errors[f"/notes/{n}"] = error.message
            continue
        if not LOWEST_PITCH <= pitch <= HIGHEST_PITCH:
            errors[f"/notes/{n}"] = (
                f"{note} is {pitch:.0f} Hz; an open string sounds between {LOWEST_PITCH:.0f} and "
                f"{HIGHEST_PITCH:.0f} Hz ({note_name(18)} to {note_name(86)})"
            )
    return errors


def frequencies(tuning: Tuning) -> list[float]:
    """Return the pitch of each open string, from string 1 [Hz]."""
    return [float(frequency(note_number(note), tuning.reference_pitch)) for note in tuning.notes]


def _check_name(session: Session, table: type[StringSet] | type[Tuning], name: str) -> None:
    if session.scalar(select(table.id).where(table.name == name)) is not None:
        raise NameTaken(
            f"There is {name!r} in the catalogue already.",
            errors=[{"pointer": "/name", "message": "is taken"}],
        )


def _in_use(session: Session, column: str, identifier: UUID) -> bool:
    return any(
        session.scalar(select(table.id).where(getattr(table, column) == identifier).limit(1)) is not None
        for table in (InstrumentModel, Instrument)
    )


def fitting_errors(
    string_set: StringSet | None, tuning: Tuning | None, *, strings: int, built_for: str
) -> dict[str, str]:
    """Return why a set or a tuning does not fit an instrument: pointer to message.

    Parameters
    ----------
    string_set, tuning
        What is to be fitted; None is not checked.
    strings : int
        How many strings the instrument has.
    built_for : str
        What pull it is built for: `steel` or `nylon`.
    """
    errors: dict[str, str] = {}
    if string_set is not None and len(string_set.strings) != strings:
        errors["/string_set_id"] = (
            f"{string_set.name!r} has {len(string_set.strings)} strings, the instrument {strings}"
        )
    elif string_set is not None and built_for == "nylon" and string_set.built_for is not BuiltFor.NYLON:
        errors["/string_set_id"] = (
            f"{string_set.name!r} is for instruments built for steel; this one is built for nylon and would "
            "be pulled apart"
        )
    if tuning is not None and len(tuning.notes) != strings:
        errors["/tuning_id"] = (
            f"{tuning.name!r} has {len(tuning.notes)} notes, the instrument {strings} strings"
        )
    return errors


def named_in(
    session: Session, values: Mapping[str, Any]
) -> tuple[StringSet | None, Tuning | None, dict[str, str]]:
    """Look up the set and the tuning that a body names, and tell which of them does not exist."""
    errors: dict[str, str] = {}
    string_set = tuning = None
    if values.get("string_set_id") is not None:
        string_set = session.get(StringSet, values["string_set_id"])
        if string_set is None:
            errors["/string_set_id"] = "there is no string set with this id"
    if values.get("tuning_id") is not None:
        tuning = session.get(Tuning, values["tuning_id"])
        if tuning is None:
            errors["/tuning_id"] = "there is no tuning with this id"
    return string_set, tuning, errors


def refuse_misfits(session: Session, instrument: Instrument, values: Mapping[str, Any], at: str = "") -> None:
    """Refuse a set or a tuning that does not exist or does not fit an instrument.

    Parameters
    ----------
    instrument : Instrument
        What they are for.
    values : mapping
        With `string_set_id` and `tuning_id`.
    at : str
        Where both stand in the request.

    Raises
    ------
    InvalidFields
        With a pointer to each field that does not fit.
    """
    string_set, tuning, errors = named_in(session, values)
    model = instrument.model
    errors |= fitting_errors(string_set, tuning, strings=model.strings, built_for=model.built_for.value)
    if errors:
        raise InvalidFields.of({at + pointer: message for pointer, message in errors.items()})
