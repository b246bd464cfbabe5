"""An instrument that stands in a request, alone or over one of the catalogue; nothing is stored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from shimstock_calc.pitch import frequency, note_number
from shimstock_calc.plan import model as plan
from shimstock_server.database.tables.catalogue import InstrumentModel, StringSet, Tuning
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Handedness, Kind, Quantity
from shimstock_server.web.fields import Choice, Id, ListOf, Nested, StrictSchema, Text
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.quantities import QuantityIn
from shimstock_server.web.typed import kept, without_defaults

from .lacks import lacks_of_model
from .model_schemas import ModelFields
from .models import values_of, whole
from .plan_instrument import instrument_of, own_values, string_records, strung
from .resolving import resolve_spec, spec_items, usual_held
from .schemas import MOST_STRINGS, StringIn
from .spec_checks import Frame, spec_errors
from .string_sets import STANDARD_REFERENCE, frequencies, note_errors, spelt
from .strings import string_errors

_NEEDED = ("kind", "strings", "scale_bass", "scale_treble", "frets", "bridge", "truss_rod")
_DEFAULTS: dict[str, Any] = {
    "built_for": None,
    "courses": None,
    "perpendicular_fret": None,
    "body_joint_fret": None,
    "radius_nut": None,
    "radius_body_end": None,
    "nut": None,
    "neck_joint": None,
    "pickups": [],
    "parts": [],
    "greatest_pull": None,
    "named_consents": False,
    "delicate_finish": False,
}


class InlineStringSetIn(StrictSchema):
    """Strings that stand in the request."""

    name = Text(max=200, load_default="the strings given")
    strings = ListOf(Nested(StringIn), min=3, max=MOST_STRINGS, required=True)


class InlineTuningIn(StrictSchema):
    """A tuning that stands in the request."""

    notes = ListOf(Text(max=6), min=3, max=MOST_STRINGS, required=True)
    reference_pitch = QuantityIn("pitch", min=380.0, max=480.0, load_default=None)


_Model: Any = without_defaults(ModelFields, "PlanInstrumentModel", "A model's fields, all optional.")


class PlanInstrumentIn(_Model):  # type: ignore[misc]
    """An instrument to make a plan for: its fields, over those of the model or instrument that it names."""

    model_id = Id()
    instrument_id = Id()
    handedness = Choice(Handedness)
    string_set_id = Id()
    string_set = Nested(InlineStringSetIn)
    tuning_id = Id()
    tuning = Nested(InlineTuningIn)


def plan_instrument_from_body(
    session: Session, body: Mapping[str, Any], at: str = "/instrument"
) -> plan.Instrument:
    """Return the instrument that a request describes.

    Parameters
    ----------
    body : mapping
        As `PlanInstrumentIn` loads it.
    at : str
        Where it stands in the request, for the pointers of errors.

    Raises
    ------
    InvalidFields
        When something is missing, does not exist, or cannot be true of an instrument.
    """
    try:
        return _instrument(session, body)
    except InvalidFields as problem:
        raise InvalidFields(
            errors=[{**error, "pointer": at + error["pointer"]} for error in problem.errors or []]
        ) from None


def _instrument(session: Session, body: Mapping[str, Any]) -> plan.Instrument:
    for one, other in (
        ("model_id", "instrument_id"),
        ("string_set_id", "string_set"),
        ("tuning_id", "tuning"),
    ):
        if one in body and other in body:
            raise InvalidFields.at(f"/{other}", f"give {one} or {other}, not both")
    instrument = _found(session, Instrument, body, "instrument_id")
    model = instrument.model if instrument is not None else _found(session, InstrumentModel, body, "model_id")
    sent, _ = kept({name: body[name] for name in _Model().fields if name in body})
    values = _values(sent, model, instrument)
    strings, notes, pitches = _strings_and_notes(session, body, model, instrument)
    _check_counts(values["strings"], body, strings, notes)
    lacks = lacks_of_model(values, tuned=notes is not None)
    if lacks:
        renamed = {"tuning_id": "tuning"}
        raise InvalidFields.of({f"/{renamed.get(lack.field, lack.field)}": lack.why for lack in lacks})
    left = body.get("handedness", instrument.handedness if instrument is not None else Handedness.RIGHT)
    records = string_records(strings, notes or (), pitches, values["courses"])
    return instrument_of(values, records, left_handed=left is Handedness.LEFT)


def _values(
    sent: Mapping[str, Any], model: InstrumentModel | None, instrument: Instrument | None
) -> dict[str, Any]:
    if instrument is not None:
        base = own_values(instrument)
    elif model is not None:
        base = values_of(model)
    else:
        base = dict(_DEFAULTS)
        missing = {
            f"/{field}": "is required; or name a model_id or an instrument_id"
            for field in _NEEDED
            if field not in sent
        }
        if missing:
            raise InvalidFields.of(missing)
    return whole({**base, **sent})


def _found(session: Session, table: type[Any], body: Mapping[str, Any], field: str) -> Any:
    if field not in body:
        return None
    row = session.get(table, body[field])
    if row is None:
        raise InvalidFields.at(f"/{field}", "there is nothing with this id in the catalogue")
    return row


def _strings_and_notes(
    session: Session, body: Mapping[str, Any], model: InstrumentModel | None, instrument: Instrument | None
) -> tuple[Sequence[Mapping[str, Any]] | None, Sequence[str] | None, list[float]]:
    string_set, tuning = _strung(session, model, instrument)
    string_set = _found(session, StringSet, body, "string_set_id") or string_set
    tuning = _found(session, Tuning, body, "tuning_id") or tuning
    strings = string_set.strings if string_set is not None else None
    if "string_set" in body:
        strings = [kept(string)[0] for string in body["string_set"]["strings"]]
        errors = string_errors(strings, "steel")
        if errors:
            raise InvalidFields.of({f"/string_set{below}": told for below, told in errors.items()})
    if "tuning" not in body:
        return (
            strings,
            None if tuning is None else tuning.notes,
            [] if tuning is None else frequencies(tuning),
        )
    asked = body["tuning"]["reference_pitch"]
    reference = STANDARD_REFERENCE if asked is None else asked.value
    errors = note_errors(body["tuning"]["notes"], reference)
    if errors:
        raise InvalidFields.of({f"/tuning{below}": told for below, told in errors.items()})
    notes = [spelt(note) for note in body["tuning"]["notes"]]
    return strings, notes, [float(frequency(note_number(note), reference)) for note in notes]


def _strung(
    session: Session, model: InstrumentModel | None, instrument: Instrument | None
) -> tuple[StringSet | None, Tuning | None]:
    if instrument is not None:
        return strung(session, instrument)
    if model is None:
        return None, None
    return (
        None if model.string_set_id is None else session.get(StringSet, model.string_set_id),
        None if model.tuning_id is None else session.get(Tuning, model.tuning_id),
    )


def _check_counts(
    strings: int, body: Mapping[str, Any], given: Sequence[Any] | None, notes: Sequence[str] | None
) -> None:
    errors: dict[str, str] = {}
    if given is not None and len(given) != strings:
        field = "string_set/strings" if "string_set" in body else "string_set_id"
        errors[f"/{field}"] = f"the set has {len(given)} strings, the instrument {strings}"
    if notes is not None and len(notes) != strings:
        field = "tuning/notes" if "tuning" in body else "tuning_id"
        errors[f"/{field}"] = f"the tuning has {len(notes)} notes, the instrument {strings} strings"
    if errors:
        raise InvalidFields.of(errors)


def spec_from_body(
    session: Session,
    items: Sequence[Mapping[str, Any]] | None,
    instrument: plan.Instrument,
    *,
    model_id: UUID | None = None,
    instrument_id: UUID | None = None,
    at: str = "/spec",
) -> tuple[plan.SpecItem, ...]:
    """Return the spec that a request gives, or the one that applies to what it names.

    Parameters
    ----------
    items : sequence of mapping or None
        As `SpecItemIn` loads them; None takes the spec of the kind, the model and the instrument.
    instrument : Instrument
        What they are for.
    at : str
        Where the items stand in the request.

    Raises
    ------
    InvalidFields
        When an item cannot stand.
    """
    if items is None:
        if instrument_id is not None and model_id is None:
            model_id = session.get_one(Instrument, instrument_id).model_id
        kind = Kind(instrument.kind)
        return spec_items(resolve_spec(session, kind=kind, model_id=model_id, instrument_id=instrument_id))
    values = [kept(item)[0] for item in items]
    frame = Frame(len(instrument.strings), instrument.frets, tuple(each.name for each in instrument.pickups))
    errors = spec_errors(values, frame)
    if errors:
        raise InvalidFields.of(
            {at + pointer.removeprefix("/items"): message for pointer, message in errors.items()}
        )
    return tuple(_spec_item(item, instrument.frets) for item in values)


def _spec_item(item: Mapping[str, Any], frets: int) -> plan.SpecItem:
    quantity = Quantity(item["quantity"])
    return plan.SpecItem(
        quantity=item["quantity"],
        target=item["target"],
        lower=item["lower"],
        upper=item["upper"],
        side=item["side"],
        string=item["string"],
        pickup=item["pickup"],
        fret=item["fret"] or quantity.term.fret,
        held=tuple(item["held"]) or usual_held(quantity, frets),
        source="this request",
    )
