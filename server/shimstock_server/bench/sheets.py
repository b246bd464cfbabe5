"""Reading sheets: checked whole, kept whole, never edited; a correction supersedes another sheet."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from marshmallow import ValidationError
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.conformity import standard_uncertainty
from shimstock_calc.errors import Contradiction
from shimstock_calc.neck import string_line
from shimstock_server.catalogue import resolve_spec, spec_items
from shimstock_server.database.history import emit
from shimstock_server.database.tables.bench import Reading, ReadingSheet
from shimstock_server.database.tables.jobs import Claim, Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.shop import Tool
from shimstock_server.database.words import Method, Quantity, Side
from shimstock_server.web.context import Actor
from shimstock_server.web.idempotency import client_made
from shimstock_server.web.problems import ClockAhead, IdTaken, InvalidFields
from shimstock_server.web.quantities import KINDS, read_quantity
from shimstock_server.web.schemas import field_errors

from .plausible import KIND_OF_VALUE, plausible_range
from .problems import InstrumentUnknown, SheetSuperseded

CLOCK_TOLERANCE = timedelta(minutes=5)
OCTAVE = 12
UNNAMED_TOOL = 0.03
SIDED = (Quantity.ACTION, Quantity.NUT_ACTION, Quantity.PICKUP_HEIGHT, Quantity.SADDLE_OUT)
"""Quantities that are read on a side or a string."""

Errors = list[dict[str, str]]


def record_sheet(
    session: Session, job: Job, wish: dict[str, Any], *, fingerprint: str, actor: Actor, now: datetime
) -> tuple[ReadingSheet, bool]:
    """Keep a sheet of readings, all or nothing; tell whether it is new.

    Raises
    ------
    InvalidFields
        With every bad field at once: unknown strings, frets and tools, wrong units, impossible values.
    IdTaken
        When another sheet has this id.
    SheetSuperseded
        When the sheet that this one corrects was corrected before.
    """
    known = client_made(session, ReadingSheet, wish["id"], fingerprint)
    if known is not None:
        if known.job_id != job.id:
            raise IdTaken
        return known, False
    if job.instrument_id is None:
        raise InstrumentUnknown
    refuse_clock_ahead(wish["taken_at"], "/taken_at", confirmed=wish["confirm_clock"], now=now)
    instrument = session.get_one(Instrument, job.instrument_id)
    readings = _read(session, job, instrument, wish)
    _check_superseded(session, job, wish)
    claim = session.get(Claim, job.claim_id) if job.claim_id is not None else None
    holds = claim is not None and claim.technician_id == actor.technician_id
    if claim is not None and holds:
        claim.last_act_at = now
    room = wish["room"]
    sheet = ReadingSheet(
        id=wish["id"],
        job_id=job.id,
        fingerprint=fingerprint,
        stage=wish["stage"],
        taken_at=wish["taken_at"],
        received_at=now,
        bench_id=actor.bench_id,
        technician_id=actor.technician_id,
        key_id=actor.key_id,
        outside_claim=not holds,
        clock_ahead_confirmed=wish["confirm_clock"] and wish["taken_at"] > now + CLOCK_TOLERANCE,
        position=wish["position"],
        at_pitch=wish["at_pitch"],
        acclimatised=wish["acclimatised"],
        room_temperature=room["temperature"].value if room else None,
        room_humidity=room["relative_humidity"].value if room else None,
        room_typed=_room_typed(room),
        string_set_id=instrument.string_set_id or instrument.model.string_set_id,
        findings=[dict(finding, code=finding["code"].value) for finding in wish["findings"]],
        note=wish["note"],
        supersedes_id=wish["supersedes"],
        supersedes_reason=wish["supersedes_reason"],
        readings=readings,
    )
    session.add(sheet)
    session.flush()
    emit(session, "job.readings", job, sheet=str(sheet.id), stage=sheet.stage.value)
    return sheet, True


def refuse_clock_ahead(instant: datetime, pointer: str, *, confirmed: bool, now: datetime) -> None:
    """Refuse a time that lies ahead of the service's clock, unless it is confirmed."""
    if instant > now + CLOCK_TOLERANCE and not confirmed:
        ahead = round((instant - now).total_seconds() / 60)
        raise ClockAhead(
            errors=[
                {
                    "pointer": pointer,
                    "message": f"lies {ahead} minutes ahead of the service's clock: set the bench's clock, "
                    "or confirm it with confirm_clock",
                }
            ]
        )


def sheets_of(session: Session, job_id: UUID) -> list[ReadingSheet]:
    """Every sheet of a job, the oldest first, corrected ones included."""
    return list(
        session.scalars(
            select(ReadingSheet)
            .where(ReadingSheet.job_id == job_id)
            .order_by(ReadingSheet.taken_at, ReadingSheet.id)
        )
    )


def standing(sheets: Iterable[ReadingSheet]) -> list[ReadingSheet]:
    """The sheets that no later one corrects, in the order given."""
    sheets = list(sheets)
    corrected = {sheet.supersedes_id for sheet in sheets if sheet.supersedes_id is not None}
    return [sheet for sheet in sheets if sheet.id not in corrected]


def show_sheet(sheet: ReadingSheet, superseded_by: UUID | None) -> dict[str, Any]:
    """A sheet as it is answered."""
    names = (
        "id", "job_id", "stage", "taken_at", "received_at", "bench_id", "technician_id", "outside_claim",
        "position", "at_pitch", "acclimatised", "string_set_id", "findings", "note", "supersedes_reason",
    )  # fmt: skip
    shown: dict[str, Any] = {name: getattr(sheet, name) for name in names}
    room = None
    if sheet.room_temperature is not None:
        room = {
            "temperature": sheet.room_temperature,
            "relative_humidity": sheet.room_humidity,
            "typed": sheet.room_typed,
        }
    return shown | {
        "room": room,
        "supersedes": sheet.supersedes_id,
        "superseded_by": superseded_by,
        "readings": [show_reading(reading) for reading in sheet.readings],
    }


def show_reading(reading: Reading) -> dict[str, Any]:
    """A reading as it is answered."""
    names = (
        "number", "quantity", "side", "string", "pickup", "fret", "capo", "method", "value", "typed_value",
        "typed_unit", "zero_or_less", "tool_id", "tool_name", "resolution", "repeatability", "confirmed",
        "accepted", "note",
    )  # fmt: skip
    shown: dict[str, Any] = {name: getattr(reading, name) for name in names}
    return shown | {
        "kind": KIND_OF_VALUE[reading.quantity],
        "held": [fret for fret in (reading.hold_low, reading.hold_high) if fret is not None],
    }


def standing_readings(session: Session, job_id: UUID, *, wish: dict[str, Any]) -> list[dict[str, Any]]:
    """The readings that stand, the oldest first; only the newest of each place when that is asked for."""
    shown = [
        show_reading(reading)
        | {
            "sheet_id": sheet.id,
            "stage": sheet.stage,
            "taken_at": sheet.taken_at,
            "at_pitch": sheet.at_pitch,
        }
        for sheet in standing(sheets_of(session, job_id))
        for reading in sheet.readings
        if wish.get("stage") in (None, sheet.stage) and wish.get("quantity") in (None, reading.quantity)
    ]
    if not wish.get("newest"):
        return shown
    newest = {(each["quantity"], each["side"], each["string"], each["pickup"]): each for each in shown}
    return [
        each
        for each in shown
        if newest[each["quantity"], each["side"], each["string"], each["pickup"]] is each
    ]


def _uncertainty(reading: Reading) -> float:
    """Standard uncertainty of a height, that of feelers where no tool is named [mm]."""
    if reading.repeatability is None and reading.resolution is None:
        return UNNAMED_TOOL
    return float(standard_uncertainty(reading.repeatability, reading.resolution))


def _room_typed(room: dict[str, Any] | None) -> dict[str, Any] | None:
    if room is None:
        return None
    return {
        f"{name}_{part}": str(value) if part == "unit" else value
        for name, quantity in room.items()
        for part, value in (("value", quantity.typed_value), ("unit", quantity.typed_unit))
    }


def _check_superseded(session: Session, job: Job, wish: dict[str, Any]) -> None:
    before, reason = wish["supersedes"], wish["supersedes_reason"]
    if before is None:
        if reason is not None:
            raise InvalidFields.at("/supersedes_reason", "only a sheet that supersedes another has this")
        return
    if reason is None:
        raise InvalidFields.at("/supersedes_reason", "say why the earlier sheet is corrected")
    corrected = session.get(ReadingSheet, before)
    if corrected is None or corrected.job_id != job.id:
        raise InvalidFields.at("/supersedes", "no sheet of this job has this id")
    later = session.scalar(select(ReadingSheet.id).where(ReadingSheet.supersedes_id == before))
    if later is not None:
        raise SheetSuperseded(superseded_by=str(later))


def _read(session: Session, job: Job, instrument: Instrument, wish: dict[str, Any]) -> list[Reading]:
    """Turn what was sent into readings, or refuse it with every bad field at once."""
    model = instrument.model
    spec = spec_items(
        resolve_spec(
            session,
            kind=model.kind,
            model_id=model.id,
            instrument_id=instrument.id,
            job_id=job.id,
            frozen_ids=[UUID(each) for each in job.spec_ids],
        )
    )
    reader = _SheetReader(session, instrument, spec, wish)
    readings = [reader.read(number, dict(sent)) for number, sent in enumerate(wish["readings"])]
    reader.check_findings(wish["findings"])
    if not reader.errors:
        reader.check_contradictions([reading for reading in readings if reading is not None])
    if reader.errors:
        bad = len(
            {
                error["pointer"].split("/")[2]
                for error in reader.errors
                if error["pointer"].startswith("/readings/")
            }
        )
        detail = (
            f"{bad} of {len(readings)} readings cannot be taken; nothing was stored."
            if bad
            else "Some fields cannot be taken; nothing was stored."
        )
        raise InvalidFields(detail, errors=reader.errors)
    return [reading for reading in readings if reading is not None]


class _SheetReader:
    """Reads the readings of one sheet, collecting what is wrong with them."""

    def __init__(
        self, session: Session, instrument: Instrument, spec: tuple[Any, ...], wish: dict[str, Any]
    ) -> None:
        self.session, self.instrument, self.model = session, instrument, instrument.model
        self.spec = spec
        self.wish = wish
        self.errors: Errors = []
        self.tools: dict[UUID, Tool | None] = {}
        self.sheet_tool = self._tool(wish["tool_id"], "/tool_id")
        self.pickups = [pickup["name"] for pickup in self.model.pickups]

    def read(self, number: int, sent: dict[str, Any]) -> Reading | None:
        """Read one reading; None when it cannot be taken."""
        before = len(self.errors)
        quantity: Quantity = sent["quantity"]
        at = f"/readings/{number}"
        self._check_place(at, quantity, sent)
        self._fill_from_spec(quantity, sent)
        self._check_frets(at, quantity, sent)
        value, typed_value, typed_unit = self._value(at, quantity, sent)
        tool = self._tool(sent["tool_id"], f"{at}/tool_id") or self._sheet_tool_for(quantity)
        if tool is not None and sent["tool_id"] is not None and quantity.value not in tool.quantities:
            self._wrong(f"{at}/tool_id", f"{tool.name} does not measure {quantity.value.replace('-', ' ')}")
        if sent["accepted"] and not sent["note"]:
            self._wrong(f"{at}/note", "say why a reading that is too close to call is accepted")
        if len(self.errors) > before:
            return None
        held = sent["held"] or []
        return Reading(
            number=number,
            quantity=quantity,
            side=sent["side"],
            string=sent["string"],
            pickup=sent["pickup"],
            fret=sent["fret"],
            hold_low=held[0] if held else None,
            hold_high=held[1] if len(held) > 1 else None,
            capo=sent["capo"],
            method=sent["method"],
            value=value,
            typed_value=typed_value,
            typed_unit=typed_unit,
            zero_or_less=sent["zero_or_less"],
            tool_id=tool.id if tool is not None else None,
            tool_name=tool.name if tool is not None else None,
            resolution=tool.resolution if tool is not None else None,
            repeatability=tool.repeatability if tool is not None else None,
            confirmed=sent["confirmed"],
            accepted=sent["accepted"],
            note=sent["note"],
        )

    def check_findings(self, findings: list[dict[str, Any]]) -> None:
        """Refuse findings at strings and frets that the instrument does not have."""
        for number, finding in enumerate(findings):
            if finding["string"] is not None:
                self._check_string(f"/findings/{number}/string", finding["string"])
            if finding["fret"] is not None and finding["fret"] > self.model.frets:
                self._wrong(f"/findings/{number}/fret", self._fret_message(finding["fret"], 0))

    def check_contradictions(self, readings: list[Reading]) -> None:
        """Refuse readings that cannot all be true: a slot or saddle below the board, a string on a fret."""
        joint = self.model.body_joint_fret
        if joint is None:
            return
        for side in Side:
            found = {
                reading.quantity: reading
                for reading in readings
                if self._side_of(reading) in (side, None) and self._plain(reading)
            }
            three = [found.get(each) for each in (Quantity.RELIEF, Quantity.NUT_ACTION, Quantity.ACTION)]
            if any(each is None for each in three) or all(each.confirmed for each in three if each):
                continue
            relief, nut_action, action = (each for each in three if each is not None)
            scale = self.model.scale_bass if side is Side.BASS else self.model.scale_treble
            try:
                string_line(
                    relief.value,
                    nut_action.value,
                    action.value,
                    scale_length=scale,
                    body_joint_fret=joint,
                    held=(relief.hold_low or 0, relief.hold_high or self.model.frets),
                    fret=relief.fret or OCTAVE,
                    action_fret=action.fret or OCTAVE,
                    slack=2.0 * max(_uncertainty(each) for each in (relief, nut_action, action)),
                )
            except Contradiction as contradiction:
                blamed = {"relief": relief, "nut_action": nut_action}.get(contradiction.field or "", action)
                self._wrong(
                    f"/readings/{blamed.number}/value",
                    f"{contradiction.message} (with relief, nut action and action of the {side} side); "
                    "read again, or confirm all three",
                )

    def _wrong(self, pointer: str, message: str) -> None:
        self.errors.append({"pointer": pointer, "message": message})

    def _tool(self, tool_id: UUID | None, pointer: str) -> Tool | None:
        if tool_id is None:
            return None
        if tool_id not in self.tools:
            self.tools[tool_id] = self.session.get(Tool, tool_id)
        tool = self.tools[tool_id]
        if tool is None:
            self._wrong(pointer, "no tool of this shop has this id")
        return tool

    def _sheet_tool_for(self, quantity: Quantity) -> Tool | None:
        tool = self.sheet_tool
        return tool if tool is not None and quantity.value in tool.quantities else None

    def _check_place(self, at: str, quantity: Quantity, sent: dict[str, Any]) -> None:
        side, string, pickup = sent["side"], sent["string"], sent["pickup"]
        if string is not None:
            self._check_string(f"{at}/string", string)
        if side is not None and string is not None:
            self._wrong(f"{at}/side", "name the side or the string, not both")
        if quantity in (Quantity.INTONATION, Quantity.BREAK_CLEARANCE) and string is None:
            self._wrong(
                f"{at}/string", f"{quantity.value.replace('-', ' ')} is read string by string: name it"
            )
        if quantity in SIDED and side is None and string is None:
            self._wrong(f"{at}/side", "name the side, bass or treble, or the string")
        if quantity is Quantity.TWIST and (side is not None or string is not None):
            self._wrong(f"{at}/side", "twist is the difference of both sides and has none itself")
        if quantity is Quantity.PICKUP_HEIGHT:
            if pickup is None and len(self.pickups) == 1:
                sent["pickup"] = self.pickups[0]
            elif pickup not in self.pickups:
                known = ", ".join(self.pickups) or "none"
                self._wrong(f"{at}/pickup", f"name one of this model's pickups: {known}")
        elif pickup is not None:
            self._wrong(f"{at}/pickup", "only a pickup height has this")

    def _check_string(self, pointer: str, string: int) -> None:
        if not 1 <= string <= self.model.strings:
            self._wrong(
                pointer,
                f"this instrument has {self.model.strings} strings, "
                f"1 to {self.model.strings}; {string} was given",
            )

    def _fret_message(self, fret: int, lowest: int) -> str:
        return f"this instrument has frets {lowest} to {self.model.frets}; {fret} was given"

    def _fill_from_spec(self, quantity: Quantity, sent: dict[str, Any]) -> None:
        """Take hold frets and reading fret from the spec where the bench left them out."""
        items = [item for item in self.spec if item.quantity == quantity.value]
        item = next(
            (each for each in items if each.side == sent["side"] and each.string == sent["string"]),
            items[0] if items else None,
        )
        if quantity is Quantity.RELIEF:
            sent["method"] = sent["method"] or Method.STRING
        if item is None:
            if quantity in (Quantity.ACTION, Quantity.INTONATION) and sent["fret"] is None:
                sent["fret"] = OCTAVE
            return
        if sent["fret"] is None and quantity in (Quantity.RELIEF, Quantity.ACTION, Quantity.INTONATION):
            sent["fret"] = item.fret or (OCTAVE if quantity is not Quantity.RELIEF else None)
        if sent["held"] is None and quantity in (Quantity.RELIEF, Quantity.PICKUP_HEIGHT):
            sent["held"] = [fret for fret in item.held if fret is not None]

    def _check_frets(self, at: str, quantity: Quantity, sent: dict[str, Any]) -> None:
        fret, held, capo = sent["fret"], sent["held"] or [], sent["capo"]
        if fret is not None and not 1 <= fret <= self.model.frets:
            self._wrong(f"{at}/fret", self._fret_message(fret, 1))
        for place, hold in enumerate(held):
            if not 0 <= hold <= self.model.frets:
                self._wrong(f"{at}/held/{place}", self._fret_message(hold, 0))
        if capo is not None:
            if quantity is not Quantity.ACTION:
                self._wrong(f"{at}/capo", "only an action is read with a capo")
            elif not 1 <= capo < (fret or OCTAVE):
                self._wrong(f"{at}/capo", "the capo sits between the nut and the fret that is read")
        if quantity is Quantity.RELIEF:
            if len(held) != 2:
                self._wrong(f"{at}/held", "name the two frets at which the string is held, such as [1, 22]")
            elif fret is None:
                self._wrong(f"{at}/fret", "name the fret at which relief is read")
            elif not held[0] < fret < held[1]:
                self._wrong(f"{at}/fret", f"relief is read between the hold frets {held[0]} and {held[1]}")
        elif quantity is Quantity.NUT_ACTION:
            if held not in ([], [3]):
                self._wrong(
                    f"{at}/held", "leave it out for the open string, or [3] for the gap with fret 3 held"
                )
        elif quantity is Quantity.PICKUP_HEIGHT:
            if not held:
                sent["held"] = [self.model.frets]
        elif held:
            self._wrong(f"{at}/held", "only relief, nut action and pickup height are read with frets held")

    def _value(self, at: str, quantity: Quantity, sent: dict[str, Any]) -> tuple[float, float, str]:
        kind = KINDS[KIND_OF_VALUE[quantity]]
        if sent["zero_or_less"]:
            if quantity is not Quantity.RELIEF or sent["method"] is not Method.STRING:
                self._wrong(f"{at}/zero_or_less", "only relief by the string method can be zero or less")
            if sent["value"] is not None:
                self._wrong(f"{at}/value", "zero or less has no value")
            return 0.0, 0.0, str(kind.unit)
        if sent["value"] is None:
            self._wrong(f"{at}/value", "is required, such as " + f'{{"value": 1.7, "unit": "{kind.unit}"}}')
            return 0.0, 0.0, str(kind.unit)
        try:
            read = read_quantity(sent["value"], kind)
        except ValidationError as error:
            where = at.strip("/").split("/")
            self.errors.extend(field_errors(error.messages, *where, "value"))
            return 0.0, 0.0, str(kind.unit)
        low, high = plausible_range(quantity, self.model.kind)
        if not low - 1e-9 <= read.value <= high + 1e-9 and not sent["confirmed"]:
            self._wrong(
                f"{at}/value",
                f"{kind.words} from {low:g} to {high:g} {kind.unit} is plausible; "
                f"{read.value:.4g} {kind.unit} was given: read again, or confirm it",
            )
        if quantity is Quantity.RELIEF and sent["method"] is Method.STRING and read.value < 0:
            self._wrong(
                f"{at}/value",
                "the string method shows nothing below zero: say zero_or_less, or use a straightedge",
            )
        return read.value, read.typed_value, str(read.typed_unit)

    def _side_of(self, reading: Reading) -> Side | None:
        if reading.side is not None:
            return reading.side
        if reading.string == 1:
            return Side.TREBLE
        if reading.string == self.model.strings:
            return Side.BASS
        return None

    def _plain(self, reading: Reading) -> bool:
        """Whether a reading can be put into the geometry as it stands."""
        if reading.quantity is Quantity.RELIEF:
            return not reading.zero_or_less and reading.hold_high is not None and reading.fret is not None
        if reading.string is not None and self._side_of(reading) is None:
            return False
        if reading.quantity is Quantity.NUT_ACTION:
            return reading.hold_low is None
        return reading.quantity is Quantity.ACTION and reading.capo is None
