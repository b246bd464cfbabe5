"""A simulated shop written past the service: models, instruments, jobs with sheets and adjustments."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from sqlalchemy import func, insert, select, update

from shimstock_server.database.session import Database
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.bench import Adjustment, Reading, ReadingSheet
from shimstock_server.database.tables.catalogue import InstrumentModel, SetupSpec
from shimstock_server.database.tables.jobs import Claim, Job, JobMove, JobNumber, JobPart
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import JobState as S
from shimstock_server.database.words import Part, Position, Quantity, Side, Stage
from shimstock_server.jobs.work import stored_wants

FROM = datetime(2024, 1, 2, 7, 30, tzinfo=UTC)
HISTORY = (S.RECEIVED, S.QUEUED, S.ON_BENCH, S.FINAL_CHECK, S.READY, S.COLLECTED)

Place = tuple[Quantity, Side | None, int | None, int | None, int | None, int | None]

PLACES: list[Place] = [
    (Quantity.RELIEF, Side.BASS, None, 9, 1, 22),
    (Quantity.RELIEF, Side.TREBLE, None, 9, 1, 22),
    (Quantity.ACTION, Side.BASS, None, 12, None, None),
    (Quantity.ACTION, Side.TREBLE, None, 12, None, None),
    (Quantity.NUT_ACTION, Side.BASS, None, None, None, None),
    (Quantity.NUT_ACTION, Side.TREBLE, None, None, None, None),
    *((Quantity.INTONATION, None, string, 12, None, None) for string in range(1, 7)),
    *((Quantity.ACTION, None, string, 12, None, None) for string in range(2, 6)),
    *((Quantity.NUT_ACTION, None, string, None, None, None) for string in range(2, 6)),
]
"""Twenty places of an instrument."""

TARGETS = {
    (Quantity.RELIEF, Side.BASS): 0.20,
    (Quantity.RELIEF, Side.TREBLE): 0.20,
    (Quantity.ACTION, Side.BASS): 1.7,
    (Quantity.ACTION, Side.TREBLE): 1.5,
    (Quantity.NUT_ACTION, Side.BASS): 0.45,
    (Quantity.NUT_ACTION, Side.TREBLE): 0.35,
}
TOOLS = {
    Quantity.RELIEF: (0.05, 0.03),
    Quantity.ACTION: (0.01, 0.03),
    Quantity.NUT_ACTION: (0.05, None),  # only its step is known
    Quantity.INTONATION: (None, None),  # no tool named
}


@dataclass(frozen=True)
class Size:
    """How large the shop is; every instrument has `jobs` jobs of 50 readings each."""

    models: int = 3
    instruments: int = 21
    jobs: int = 2
    days: int = 700
    seed: int = 20260302

    @property
    def readings(self) -> int:
        return self.instruments * self.jobs * 50


def fill(
    database: Database, ids: dict[str, str], key_id: UUID, technician_id: UUID, size: Size
) -> list[UUID]:
    """Write the shop, and return the ids of its models."""
    random = np.random.default_rng(size.seed)
    with database.write({"now": FROM}) as session:
        pattern = session.get_one(InstrumentModel, UUID(ids["model"]))
        like = {column.name: getattr(pattern, column.name) for column in InstrumentModel.__table__.columns}
        thing = session.get_one(Instrument, UUID(ids["instrument"]))
        one = {column.name: getattr(thing, column.name) for column in Instrument.__table__.columns}
        spec_ids = [str(each) for each in session.scalars(select(SetupSpec.id).where(SetupSpec.current))]
        models = [
            like | {"id": new_id(), "maker": f"Maker {n % 20}", "name": f"Model {n:03d}"}
            for n in range(size.models)
        ]
        session.execute(insert(InstrumentModel), models)
        first = (session.scalar(select(func.max(Job.number))) or 0) + 1
    numbers = iter(range(first, 10**9))
    for part in _parts(range(size.instruments), 400):
        rows = _Rows(random, spec_ids, key_id, technician_id, size, numbers)
        for n in part:
            rows.instrument(one | {"id": new_id(), "serial": None, "model_id": models[n % size.models]["id"]})
        rows.write(database)
    with database.write({"now": FROM}) as session:
        session.execute(update(JobNumber).values(last=next(numbers) - 1))
    return [model["id"] for model in models]


class _Rows:
    """Rows of some instruments, ready to be written."""

    def __init__(
        self,
        random: np.random.Generator,
        spec_ids: list[str],
        key_id: UUID,
        technician_id: UUID,
        size: Size,
        numbers: Iterator[int],
    ) -> None:
        self.random, self.spec_ids, self.size, self.numbers = random, spec_ids, size, numbers
        self.by = {"key_id": key_id, "technician_id": technician_id, "bench_id": None}
        self.tables: dict[Any, list[dict[str, Any]]] = {
            table: []
            for table in (Instrument, Job, JobMove, Claim, ReadingSheet, Reading, Adjustment, JobPart)
        }

    def instrument(self, row: dict[str, Any]) -> None:
        self.tables[Instrument].append(row)
        days = np.sort(self.random.integers(0, self.size.days, self.size.jobs))
        own = self.random.normal(0.0, 1.0, len(PLACES))
        for day in days:
            self.job(
                row["id"], FROM + timedelta(days=int(day), minutes=int(self.random.integers(0, 300))), own
            )

    def job(self, instrument_id: UUID, start: datetime, own: Any) -> None:
        job_id, moves = new_id(), [new_id() for _ in HISTORY]
        minutes = int(self.random.integers(20, 120))
        steps = [0, 30, 60, 60 + minutes, 70 + minutes + int(self.random.integers(0, 3000)), 9000]
        times = [start + timedelta(minutes=step) for step in steps]
        self.tables[Job].append(
            {
                "id": job_id, "number": next(self.numbers), "instrument_id": instrument_id,
                "state": S.COLLECTED, "move_id": moves[-1], "priority": 5, "promised_on": date(9999, 12, 31),
                "queued_at": times[1], "wants": stored_wants({}), "services": [], "worked_minutes": minutes,
                "spec_ids": self.spec_ids, "created_at": start, "updated_at": times[-1], "version": 1,
            }
        )  # fmt: skip
        self.tables[JobMove] += [
            {
                "id": move_id, "job_id": job_id, "sequence": n + 1, "to_state": state,
                "from_state": HISTORY[n - 1] if n else None, "created_at": times[n],
            }
            for n, (move_id, state) in enumerate(zip(moves, HISTORY, strict=True))
        ]  # fmt: skip
        claim_id = new_id()
        self.tables[Claim].append(
            {
                "id": claim_id, "job_id": job_id, "technician_id": self.by["technician_id"], "bench_id": None,
                "created_at": times[2], "last_act_at": times[3], "ended_at": times[4], "end_reason": "ready",
            }
        )  # fmt: skip
        received = times[2] + timedelta(minutes=1)
        before = self.sheet(job_id, Stage.AS_RECEIVED, received, len(PLACES), own, 1.6)
        turns = float(np.clip(np.round((before[0] - 0.20) / 0.4 * 8) / 8, -0.5, 0.5)) or 0.125
        self.adjustment(job_id, claim_id, received + timedelta(minutes=5), Part.TRUSS_ROD, turns)
        if self.random.random() < 0.4:
            self.adjustment(job_id, claim_id, received + timedelta(minutes=8), Part.STRINGS, None)
        self.sheet(job_id, Stage.IN_PROGRESS, received + timedelta(minutes=12), 10, own, 0.8)
        self.sheet(job_id, Stage.FINAL, times[3], len(PLACES), own, 0.45)
        if self.random.random() < 0.5:
            self.tables[JobPart].append(
                {"id": new_id(), "job_id": job_id, "name": "strings", "quantity": 1.0, "price": 8.5,
                 "created_at": times[3]}
            )  # fmt: skip

    def sheet(
        self, job_id: UUID, stage: Stage, at: datetime, count: int, own: Any, wide: float
    ) -> list[float]:
        sheet_id = new_id()
        season = float(np.cos((at.timetuple().tm_yday - 30) / 365 * 2 * np.pi))
        humidity = 45.0 - 12.0 * season + float(self.random.normal(0, 3))
        self.tables[ReadingSheet].append(
            {
                "id": sheet_id, "job_id": job_id, "fingerprint": "simulated", "stage": stage, "taken_at": at,
                "received_at": at, "outside_claim": False, "clock_ahead_confirmed": False,
                "position": Position.PLAYING, "at_pitch": bool(self.random.random() < 0.98),
                "acclimatised": True, "room_temperature": 21.0, "room_humidity": humidity,
                "room_typed": {
                    "temperature_value": 21.0, "temperature_unit": "degC",
                    "relative_humidity_value": humidity, "relative_humidity_unit": "percent",
                },
                "findings": [{"code": "frets-worn"}]
                if stage is Stage.AS_RECEIVED and self.random.random() < 0.2
                else [],
                **self.by,
            }
        )  # fmt: skip
        values = []
        noise = self.random.normal(0.0, 1.0, count)
        for number, place in enumerate(PLACES[:count]):
            quantity, side, string, fret, low, high = place
            target = TARGETS.get((quantity, side or Side.BASS), 0.0)
            spread = {Quantity.RELIEF: 0.07, Quantity.ACTION: 0.14, Quantity.NUT_ACTION: 0.05}.get(
                quantity, 2.0
            )
            shift = wide - 0.45 if stage is not Stage.FINAL else 0.0
            value = target + spread * (wide * noise[number] + 0.3 * own[number] + shift + 0.3 * season)
            touching = quantity is Quantity.RELIEF and value <= 0.0
            value = 0.0 if touching else max(0.02, value) if quantity is not Quantity.INTONATION else value
            resolution, repeatability = TOOLS[quantity]
            self.tables[Reading].append(
                {
                    "sheet_id": sheet_id, "number": number, "quantity": quantity, "side": side,
                    "string": string, "fret": fret, "hold_low": low, "hold_high": high, "value": float(value),
                    "typed_value": float(value), "typed_unit": "mm", "zero_or_less": touching,
                    "resolution": resolution, "repeatability": repeatability, "confirmed": False,
                    "accepted": False,
                }
            )  # fmt: skip
            values.append(float(value))
        return values

    def adjustment(self, job_id: UUID, claim_id: UUID, at: datetime, part: Part, turns: float | None) -> None:
        self.tables[Adjustment].append(
            {
                "id": new_id(), "job_id": job_id, "fingerprint": "simulated", "claim_id": claim_id,
                "done_at": at, "received_at": at, "part": part, "turns": turns, "typed": {},
                "large_turn": False, "confirmed": False, "outside_plan": True, **self.by,
            }
        )  # fmt: skip

    def write(self, database: Database) -> None:
        with database.write({"now": FROM}) as session:
            for table, rows in self.tables.items():
                for part in _parts(rows, 5000):
                    session.execute(insert(table), part)


def _parts(rows: Any, size: int) -> Iterator[Any]:
    for start in range(0, len(rows), size):
        yield rows[start : start + size]
