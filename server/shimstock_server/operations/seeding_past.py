"""A shop's past from a compact file: rows as an import brings them, in the year before today.

The file knows the day of the year of each job, not its date: a job of a January stands in the last January,
so that the seasons are those of the air that the instruments stood in. Where today lies between the two
visits of an instrument, its later visit would come first: that is taken for another of the same model.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server import catalogue, jobs, keys, owners, transfer
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.shop import Bench, Technician, Tool
from shimstock_server.database.words import (
    ConsentKind,
    JobState,
    Part,
    Position,
    Quantity,
    Scope,
    SettleLook,
    Side,
    Stage,
)

from .seeding_benches import Records
from .seeding_rooms import air_on

YEAR = 365
LEAST_BACK = 3
"""Days before today on which the newest job can be: it has been collected."""
KEY = "records of the past"
FIRST = ("Abelard", "Bettina", "Corvin", "Dorit", "Elmo", "Fenja", "Gorm", "Hedda", "Ivo", "Jonna", "Klaas")
LAST = ("Brindlecote", "Farnholt", "Gessamine", "Hollowbeck", "Immerlund", "Kestrelow", "Lorrimast")
"""Invented names of owners."""
RECEIVED, QUEUED = timedelta(minutes=-40), timedelta(minutes=-30)
CHECKED, COLLECTED = timedelta(minutes=3), timedelta(hours=20)
OPTIONAL = frozenset({"claim_id", "available_at", "look", "readings_asked", "reason"})
"""What not every move says."""
WANTED = "Plays stiffly; please set it up."
FORECAST_STEPS = 10_000
"""Steps of a forecast's whole numbers in the file [1/mm; 1/cents]."""

Rows = defaultdict[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class _Owned:
    """An instrument of the past, and what its jobs begin with."""

    row: Instrument
    owner: str
    spec_ids: list[str]


@dataclass(frozen=True)
class _Visit:
    """A job of the file."""

    owned: _Owned
    begun: datetime
    bench: Bench
    technician: Technician
    end: str
    entries: Sequence[Sequence[Any]]
    air: tuple[float, float]


def load_past(session: Session, told: Mapping[str, Any]) -> int:
    """Put the past into a shop whose models and tools stand; return how many jobs it had.

    Nothing is put in twice. What the jobs teach is learned by the worker, from their sheets.
    """
    if session.scalar(select(ApiKey.id).where(ApiKey.name == KEY)) is not None:
        return 0
    now = session.info["now"]
    key, _ = keys.make_key(session, name=KEY, scope=Scope.MANAGER, now=now)
    keys.revoke_key(key, now)
    past = _Past(session, told, key.id)
    visits = past.visits()
    for number, visit in enumerate(visits, start=jobs.next_number(session, len(visits))):
        past.job(visit, number)
    transfer.put_rows(session, past.rows)
    records = Records(session, past.zone, key.id)
    for study in told.get("studies", ()):
        records.study(study)
    for check in told.get("checks", ()):
        records.check(check)
    return len(past.rows["jobs"])


class _Past:
    """Turns the file into rows."""

    def __init__(self, session: Session, told: Mapping[str, Any], key_id: UUID) -> None:
        self.session, self.told, self.key_id = session, told, key_id
        self.zone = ZoneInfo(told["zone"])
        self.today = session.info["now"].astimezone(self.zone).date()
        self.tools = {row.name: row for row in session.scalars(select(Tool))}
        self.benches = list(session.scalars(select(Bench).order_by(Bench.created_at, Bench.id)))
        self.people = list(session.scalars(select(Technician).order_by(Technician.created_at, Technician.id)))
        models = {row.name: row for row in session.scalars(select(InstrumentModel))}
        self.models = [models[name] for name, many in told["instruments"].items() for _ in range(many)]
        self.owners: dict[int, Any] = {}
        self.spec_ids: dict[UUID, list[str]] = {}
        """By model; no instrument has targets of its own yet."""
        self.owned: dict[tuple[int, int], _Owned] = {}
        self.rows: Rows = defaultdict(list)

    # ------------------------------------------------------------ who and when

    def visits(self) -> list[_Visit]:
        """The jobs, the oldest first."""
        found = []
        visits: dict[int, int] = {}
        for number, day, minute, bench, end, *entries in self.told["jobs"]:
            back = (self.today.timetuple().tm_yday - 1 - day) % YEAR
            back += YEAR if back < LEAST_BACK else 0
            later = visits.get(number, back) < back  # today lies between the two visits
            visits[number] = back
            on = self.today - timedelta(days=back)
            begun = datetime.combine(on, time(minute // 60, minute % 60), tzinfo=self.zone)
            found.append((begun, number, int(later), bench, end, entries, on))
        return [
            _Visit(
                self._of(number, other),
                begun,
                self.benches[bench],
                self.people[bench],
                end,
                entries,
                air_on(on, self.told["months"]),
            )
            for begun, number, other, bench, end, entries, on in sorted(found, key=lambda each: each[:3])
        ]

    def _of(self, number: int, other: int) -> _Owned:
        if (number, other) not in self.owned:
            model = self.models[number]
            owner = self._owner(number // 2)
            body = {
                "model_id": str(model.id),
                "owner_id": str(owner.id),
                "serial": f"{model.name[:2].upper()}-{4000 + 2 * number + other}",
            }
            row = owners.add_instrument(self.session, owners.InstrumentIn().load(body))
            if model.id not in self.spec_ids:
                ids = catalogue.current_spec_ids(
                    self.session, kind=model.kind, model_id=model.id, instrument_id=row.id
                )
                self.spec_ids[model.id] = [str(each) for each in ids]
            self.owned[number, other] = _Owned(row, owner.name, self.spec_ids[model.id])
        return self.owned[number, other]

    def _owner(self, number: int) -> Any:
        if number not in self.owners:
            first, last = FIRST[number % len(FIRST)], LAST[number % len(LAST)]
            body = owners.OwnerIn().load({"name": f"{first} {last}"})
            self.owners[number] = owners.add_owner(self.session, body)
        return self.owners[number]

    # ------------------------------------------------------------ a job's rows

    def job(self, visit: _Visit, number: int) -> None:
        """Add the rows of a job."""
        job_id = new_id()
        claims = list(_claims(visit))
        moves = self._moves(job_id, visit, claims)
        closed = moves[-1]["created_at"]
        row = visit.owned.row
        self.rows["jobs"].append(
            {
                "id": job_id, "number": number, "instrument_id": row.id,
                "owner_id": row.owner_id, "state": moves[-1]["to_state"], "move_id": moves[-1]["id"],
                "queued_at": visit.begun + QUEUED, "last_technician_id": visit.technician.id,
                "complaints": WANTED, "spec_ids": visit.owned.spec_ids,
                "worked_minutes": round(sum((b - a).total_seconds() for _, a, b in claims) / 60),
                "created_at": visit.begun + RECEIVED, "updated_at": closed, "version": len(moves),
            }
        )  # fmt: skip
        consent = self._consent(job_id, visit)
        for claim_id, begun, ended in claims:
            self._claim(job_id, visit, (claim_id, begun, ended), last=claim_id == claims[-1][0])
        for entry in visit.entries:
            at = visit.begun + timedelta(minutes=entry[0])
            if entry[1] == "done":
                claim = next(each for each, begun, ended in claims if begun <= at <= ended)
                for n, act in enumerate(entry[3:]):
                    entered = self._entered(job_id, visit, at) | {"done_at": at, "claim_id": claim}
                    self._act(entered | {"minutes": None if n else entry[2]}, act, consent)
            elif entry[1] != "rest":
                self._sheet(job_id, visit, at, entry)
        # these jobs were played with nothing learned: their plans stay so
        self.rows["job_priors"].append(
            {"job_id": job_id, "instrument_id": row.id, "learned": {}, "kept_at": visit.begun}
        )

    def _moves(
        self, job_id: UUID, visit: _Visit, claims: Sequence[tuple[UUID, datetime, datetime]]
    ) -> list[dict[str, Any]]:
        told: list[dict[str, Any]] = [
            {"to_state": JobState.RECEIVED, "created_at": visit.begun + RECEIVED},
            {"to_state": JobState.QUEUED, "created_at": visit.begun + QUEUED},
        ]
        for n, (claim_id, begun, ended) in enumerate(claims):
            told.append({"to_state": JobState.ON_BENCH, "created_at": begun, "claim_id": claim_id})
            if n + 1 < len(claims):
                told.append(
                    {
                        "to_state": JobState.SETTLING, "created_at": ended, "claim_id": claim_id,
                        "available_at": claims[n + 1][1], "look": SettleLook.DAY if n else SettleLook.HOUR,
                        "readings_asked": [Quantity.RELIEF.value],
                    }
                )  # fmt: skip
        claim_id, _, ended = claims[-1]
        if visit.end == "ready":
            told.append(
                {"to_state": JobState.FINAL_CHECK, "created_at": ended - CHECKED, "claim_id": claim_id}
            )
            told.append({"to_state": JobState.READY, "created_at": ended, "claim_id": claim_id})
            told.append({"to_state": JobState.COLLECTED, "created_at": ended + COLLECTED})
        else:
            told.append(
                {
                    "to_state": JobState.RETURNED_UNREPAIRED, "created_at": ended, "claim_id": claim_id,
                    "reason": visit.end,
                }
            )  # fmt: skip
        states = [None, *[move["to_state"] for move in told]]
        moves = [
            {
                **dict.fromkeys(OPTIONAL), **move, "id": new_id(), "job_id": job_id, "sequence": sequence,
                "from_state": before, "key_id": self.key_id, "technician_id": visit.technician.id,
            }
            for sequence, (before, move) in enumerate(zip(states, told, strict=False), start=1)
        ]  # fmt: skip
        self.rows["job_moves"] += moves
        return moves

    def _claim(
        self, job_id: UUID, visit: _Visit, claim: tuple[UUID, datetime, datetime], *, last: bool
    ) -> None:
        end = "settling" if not last else "ready" if visit.end == "ready" else "returned-unrepaired"
        claim_id, begun, ended = claim
        self.rows["claims"].append(
            {
                "id": claim_id, "job_id": job_id, "technician_id": visit.technician.id,
                "bench_id": visit.bench.id, "last_act_at": ended, "ended_at": ended, "end_reason": end,
                "created_at": begun,
            }
        )  # fmt: skip

    def _consent(self, job_id: UUID, visit: _Visit) -> UUID:
        at, consent = visit.begun + RECEIVED, new_id()
        self.rows["consents"].append(
            {
                "id": consent, "job_id": job_id, "covers": ConsentKind.GENERAL, "given": True,
                "given_by": visit.owned.owner, "how": "in-person", "given_at": at, "created_at": at,
            }
        )  # fmt: skip
        return consent

    def _entered(self, job_id: UUID, visit: _Visit, at: datetime) -> dict[str, Any]:
        entry_id = new_id()
        return {
            "id": entry_id, "job_id": job_id, "fingerprint": hashlib.sha256(entry_id.bytes).hexdigest(),
            "received_at": at, "bench_id": visit.bench.id, "technician_id": visit.technician.id,
            "key_id": self.key_id,
        }  # fmt: skip

    def _sheet(self, job_id: UUID, visit: _Visit, at: datetime, entry: Sequence[Any]) -> None:
        warm, damp = (round(each, 1) for each in visit.air)
        sheet = self._entered(job_id, visit, at) | {
            "stage": Stage(entry[1]), "taken_at": at, "outside_claim": False, "position": Position.PLAYING,
            "at_pitch": True, "acclimatised": True, "looked_over": entry is visit.entries[0],
            "room_temperature": warm, "room_humidity": damp,
            "room_typed": {
                "temperature_value": warm, "temperature_unit": "degC",
                "relative_humidity_value": damp, "relative_humidity_unit": "percent",
            },
            "string_set_id": visit.owned.row.string_set_id or visit.owned.row.model.string_set_id,
        }  # fmt: skip
        tremolo = "tremolo" in visit.owned.row.model.bridge["kind"]
        level = {"code": "plate-level", "fret": None, "string": None, "note": None}
        sheet["findings"] = [level] if tremolo and sheet["looked_over"] else []
        self.rows["reading_sheets"].append(sheet)
        told = zip(entry[2::3], entry[3::3], entry[4::3], strict=True)
        for number, (spot, value, forecast) in enumerate(told):
            which = {"sheet_id": sheet["id"], "number": number}
            self.rows["readings"].append(which | self._reading(spot, value))
            if forecast:
                self.rows["reading_forecasts"].append(which | _forecast(*forecast))

    def _reading(self, spot: int, value: float | None) -> dict[str, Any]:
        quantity, side, string, pickup, fret, held, tool_name = self.told["spots"][spot]
        tool = self.tools[tool_name]
        low, high = [*(held or ()), None, None][:2]
        shown = 0.0 if value is None else value
        return {
            "quantity": Quantity(quantity), "side": side and Side(side), "string": string, "pickup": pickup,
            "fret": fret, "hold_low": low, "hold_high": high, "value": shown,
            "typed_value": shown, "typed_unit": "cents" if quantity == "intonation" else "mm",
            "zero_or_less": value is None, "tool_id": tool.id, "tool_name": tool.name,
            "resolution": tool.resolution, "repeatability": tool.repeatability,
        }  # fmt: skip

    def _act(self, entered: dict[str, Any], act: Sequence[Any], consent: UUID) -> None:
        part, side, string, pickup, turns, amount = act
        typed = {} if turns is None else {"turns_value": turns, "turns_unit": "turn"}
        typed |= {} if amount is None else {"amount_value": amount, "amount_unit": "mm"}
        filed = part in (Part.NUT_SLOT, Part.SADDLE)
        self.rows["adjustments"].append(
            entered | {
                "part": Part(part), "side": side and Side(side), "string": string, "pickup": pickup,
                "turns": turns, "amount": amount, "typed": typed,
                "consent_id": consent if filed else None,
            }
        )  # fmt: skip


def _forecast(expected: int, spread: int, level: int, own: int, doubtful: int = 0) -> dict[str, float | bool]:
    """What a reading was expected to show; the file has standard deviations for variances."""
    return {
        "expected": expected / FORECAST_STEPS, "spread": spread / FORECAST_STEPS,
        "level": (level / FORECAST_STEPS) ** 2, "own": (own / FORECAST_STEPS) ** 2,
        "noise": 1.0,  # nothing was learned before these jobs
        "doubtful": bool(doubtful),
    }  # fmt: skip


def _claims(visit: _Visit) -> Iterator[tuple[UUID, datetime, datetime]]:
    """Stretches on the bench, from a claim to a rest or the end."""
    begun, at = visit.begun, visit.begun
    for minute, what, *rest in visit.entries:
        at = visit.begun + timedelta(minutes=minute)
        if what == "rest":
            yield new_id(), begun, at
            begun = visit.begun + timedelta(minutes=rest[0])
    yield new_id(), begun, max(at, begun) + CHECKED + timedelta(minutes=1)


def day_of(number: int) -> date:
    """Return a day of a usual year, the first of January as 0."""
    return date(2025, 1, 1) + timedelta(days=number)
