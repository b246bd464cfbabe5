"""Guided studies: who reads what in which order, blind; and what the readings say of the benches."""

from __future__ import annotations

import random
import secrets
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.agreement import Agreement, AgreementMethod, bench_agreement
from shimstock_calc.errors import CalculationError
from shimstock_server.database.tables.learning import BenchRepeatability, Study, StudyReading
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.shop import Bench, Technician, Tool
from shimstock_server.database.words import Quantity, StudyState
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.quantities import Quantity as Value
from shimstock_server.web.quantities import write

from .kinds import KINDS
from .problems import NothingVaries, NotTheNextReading, StudyEnded, StudyIncomplete, StudyOpen

METHODS: tuple[AgreementMethod, ...] = ("anova", "average-range")
MOST_READINGS = 2000
_SEEDS = 2**53


def drawn_order(pieces: int, readers: int, trials: int, seed: int) -> list[list[int]]:
    """Draw the order of a study: [piece, reader, trial] from 0, the same for the same seed.

    Every reader reads all pieces once before the next trial begins, each in an order of its own.

    >>> drawn_order(2, 2, 2, 7) == drawn_order(2, 2, 2, 7)
    True
    """
    dice = random.Random(seed)  # noqa: S311 - an order, no secret
    order: list[list[int]] = []
    for trial in range(trials):
        turns = list(range(readers))
        dice.shuffle(turns)
        for reader in turns:
            numbers = list(range(pieces))
            dice.shuffle(numbers)
            order += [[piece, reader, trial] for piece in numbers]
    return order


def begin_study(session: Session, wish: dict[str, Any]) -> Study:
    """Keep a study with its drawn order.

    Raises
    ------
    InvalidFields
        When a bench, technician, tool or instrument is not known, or the tool measures something else.
    """
    _check(session, wish)
    seed = wish["seed"] if wish["seed"] is not None else secrets.randbelow(_SEEDS)
    tolerance: Value | None = wish["tolerance"]
    study = Study(
        name=wish["name"],
        quantity=wish["quantity"],
        state=StudyState.OPEN,
        pieces=[_plain(piece) for piece in wish["pieces"]],
        readers=[_plain(reader) for reader in wish["readers"]],
        trials=wish["trials"],
        tolerance=None if tolerance is None else tolerance.value,
        seed=seed,
        order=drawn_order(len(wish["pieces"]), len(wish["readers"]), wish["trials"], seed),
        note=wish["note"],
    )
    session.add(study)
    session.flush()
    return study


def _plain(entry: dict[str, Any]) -> dict[str, Any]:
    def told(value: Any) -> Any:
        return str(value) if isinstance(value, UUID) else getattr(value, "value", value)

    return {name: told(value) for name, value in entry.items()}


def _check(session: Session, wish: dict[str, Any]) -> None:
    errors: dict[str, str] = {}
    quantity: Quantity = wish["quantity"]
    if len(wish["pieces"]) * len(wish["readers"]) * wish["trials"] > MOST_READINGS:
        errors["/trials"] = f"a study has {MOST_READINGS} readings at most"
    for number, piece in enumerate(wish["pieces"]):
        if piece["instrument_id"] is not None and session.get(Instrument, piece["instrument_id"]) is None:
            errors[f"/pieces/{number}/instrument_id"] = "no instrument of this shop has this id"
        if piece["side"] is not None and piece["string"] is not None:
            errors[f"/pieces/{number}/side"] = "name the side or the string, not both"
    seen: set[tuple[Any, ...]] = set()
    for number, reader in enumerate(wish["readers"]):
        where = f"/readers/{number}"
        known = (reader["bench_id"], reader["technician_id"], reader["tool_id"])
        if known in seen:
            errors[where] = "stands in the list already"
        seen.add(known)
        if session.get(Bench, reader["bench_id"]) is None:
            errors[f"{where}/bench_id"] = "no bench of this shop has this id"
        technician = reader["technician_id"]
        if technician is not None and session.get(Technician, technician) is None:
            errors[f"{where}/technician_id"] = "no technician of this shop has this id"
        tool = None if reader["tool_id"] is None else session.get(Tool, reader["tool_id"])
        if reader["tool_id"] is not None and tool is None:
            errors[f"{where}/tool_id"] = "no tool of this shop has this id"
        elif tool is not None and quantity.value not in tool.quantities:
            errors[f"{where}/tool_id"] = f"{tool.name} does not measure {quantity.value.replace('-', ' ')}"
    if errors:
        raise InvalidFields.of(errors)


def taken(session: Session, study: Study) -> dict[int, float]:
    """Return the readings of a study by their number."""
    rows = session.execute(
        select(StudyReading.number, StudyReading.value).where(StudyReading.study_id == study.id)
    )
    return {row.number: row.value for row in rows}


def next_reading(study: Study, done: Sequence[int] | dict[int, float], reader: int) -> dict[str, Any] | None:
    """Return what a reader takes next; None when it is through."""
    for number, (piece, who, trial) in enumerate(study.order, start=1):
        if who == reader and number not in done:
            return {
                "number": number,
                "reader": reader,
                "piece": piece,
                "trial": trial + 1,
                "what": study.pieces[piece],
                "left": sum(
                    each == reader and place not in done
                    for place, (_, each, _) in enumerate(study.order, start=1)
                ),
            }
    return None


def record_reading(
    session: Session, study: Study, wish: dict[str, Any], value: Value, *, actor: Actor, now: datetime
) -> StudyReading:
    """Keep a reading of a study.

    Raises
    ------
    StudyEnded
        When the study is not open.
    NotTheNextReading
        When its reader takes another one first.
    """
    if study.state is not StudyState.OPEN:
        raise StudyEnded
    number: int = wish["number"]
    if not 1 <= number <= len(study.order):
        raise InvalidFields.at("/number", f"this study has readings 1 to {len(study.order)}")
    reader = study.order[number - 1][1]
    wanted = next_reading(study, taken(session, study), reader)
    if wanted is None or wanted["number"] != number:
        raise NotTheNextReading(next=None if wanted is None else wanted["number"])
    reading = StudyReading(
        study_id=study.id,
        number=number,
        value=value.value,
        typed_value=value.typed_value,
        typed_unit=str(value.typed_unit),
        taken_at=wish["taken_at"] or now,
        key_id=actor.key_id,
        technician_id=actor.technician_id,
    )
    session.add(reading)
    session.flush()
    return reading


def end_study(session: Session, study: Study, *, abandon: bool, now: datetime) -> Study:
    """End a study: its benches' repeatability counts for their readings from now on.

    Raises
    ------
    StudyEnded, StudyIncomplete, NothingVaries
    """
    if study.state is not StudyState.OPEN:
        raise StudyEnded
    if abandon:
        study.state, study.ended_at = StudyState.ABANDONED, now
        session.flush()
        return study
    left = len(study.order) - len(taken(session, study))
    if left:
        raise StudyIncomplete(left=left)
    found = agreement(session, study, "anova")
    study.state, study.ended_at = StudyState.ENDED, now
    session.add_all(
        BenchRepeatability(
            study_id=study.id,
            reader=number,
            bench_id=UUID(reader["bench_id"]),
            quantity=study.quantity,
            tool_id=None if reader["tool_id"] is None else UUID(reader["tool_id"]),
            repeatability=float(found.bench_repeatability[number]),
            difference=float(found.bench_offsets[number]),
            found_at=now,
        )
        for number, reader in enumerate(study.readers)
        if found.bench_repeatability[number] > 0.0
    )
    session.flush()
    return study


def agreement(session: Session, study: Study, method: AgreementMethod, units: str = "mm") -> Agreement:
    """Judge a study whose readings are all in.

    Raises
    ------
    NothingVaries
        When all readings are the same.
    """
    table = np.zeros((len(study.pieces), len(study.readers), study.trials))
    values = taken(session, study)
    for number, (piece, reader, trial) in enumerate(study.order, start=1):
        table[piece, reader, trial] = values[number]
    try:
        return bench_agreement(
            table,
            method=method,
            tolerance=study.tolerance,
            benches=reader_names(session, study),
            write=_writer(study.quantity, units),
        )
    except CalculationError as error:
        raise NothingVaries from error


def _writer(quantity: Quantity, units: str) -> Callable[[float], str]:
    kind = KINDS[quantity.value]
    return lambda value: write(kind, value, units)


def reader_names(session: Session, study: Study) -> list[str]:
    """Names of a study's readers: the bench, and what tells readers of one bench apart."""
    benches = [session.get_one(Bench, UUID(reader["bench_id"])).name for reader in study.readers]
    twice = Counter(benches)
    names = []
    for bench, reader in zip(benches, study.readers, strict=True):
        more = []
        if twice[bench] > 1 and reader["technician_id"] is not None:
            more.append(session.get_one(Technician, UUID(reader["technician_id"])).name)
        if twice[bench] > 1 and reader["tool_id"] is not None:
            more.append(session.get_one(Tool, UUID(reader["tool_id"])).name)
        names.append(", ".join([bench, *more]))
    return names


def show_study(session: Session, study: Study) -> dict[str, Any]:
    """A study as it is answered: no values while it is open."""
    done = taken(session, study)
    names = reader_names(session, study)
    return {
        "id": study.id,
        "name": study.name,
        "quantity": study.quantity,
        "kind": KINDS[study.quantity.value],
        "state": study.state,
        "pieces": study.pieces,
        "readers": [
            reader | {"name": name, "left": sum(
                each == number and place not in done
                for place, (_, each, _) in enumerate(study.order, start=1)
            )}
            for number, (reader, name) in enumerate(zip(study.readers, names, strict=True))
        ],
        "trials": study.trials,
        "tolerance": study.tolerance,
        "seed": study.seed,
        "readings": len(study.order),
        "taken": len(done),
        "note": study.note,
        "created_at": study.created_at,
        "updated_at": study.updated_at,
        "ended_at": study.ended_at,
        "version": study.version,
    }  # fmt: skip


def show_agreement(session: Session, study: Study, units: str) -> dict[str, Any]:
    """What a study says, by both methods.

    Raises
    ------
    StudyOpen
        While readings are still to come, or when it was abandoned.
    """
    if study.state is not StudyState.ENDED:
        raise StudyOpen
    kind = KINDS[study.quantity.value]
    values = taken(session, study)
    names = reader_names(session, study)
    anova = agreement(session, study, "anova", units)
    return {
        "study_id": study.id,
        "quantity": study.quantity,
        "kind": kind,
        "tolerance": study.tolerance,
        "methods": [_method(agreement(session, study, method, units), kind, names) for method in METHODS],
        "words": list(anova.words),
        "readings": [
            {
                "kind": kind,
                "number": number,
                "piece": piece,
                "reader": reader,
                "trial": trial + 1,
                "value": values[number],
            }
            for number, (piece, reader, trial) in enumerate(study.order, start=1)
        ],
    }


def _method(found: Agreement, kind: str, names: Sequence[str]) -> dict[str, Any]:
    parts = found.variances
    return {
        "kind": kind,
        "method": found.method,
        "repeatability": parts.repeatability**0.5,
        "reproducibility": parts.reproducibility**0.5,
        "agreement": parts.agreement**0.5,
        "pieces": parts.pieces**0.5,
        "total": parts.total**0.5,
        "interaction_pooled": found.pooled,
        "percent_of_total": found.percent_of_total,
        "percent_of_tolerance": found.percent_of_tolerance,
        "classes": found.classes,
        "difference_limit": found.difference_limit,
        "readers": [
            {
                "kind": kind,
                "name": name,
                "difference": float(found.bench_offsets[number]),
                "repeatability": float(found.bench_repeatability[number]),
            }
            for number, name in enumerate(names)
        ],
        "table": [
            {
                "source": row.source,
                "squares": row.squares,
                "freedom": row.freedom,
                "mean_square": row.mean_square,
                "ratio": row.ratio,
                "probability": row.probability,
            }
            for row in found.table
        ],
    }


def bench_repeatability(
    session: Session, bench_id: UUID | None, quantity: Quantity, tool_id: UUID | None
) -> float | None:
    """How well a bench repeats a quantity with a tool, as its newest study found; None without a study."""
    if bench_id is None:
        return None
    same_tool = (
        BenchRepeatability.tool_id.is_(None) if tool_id is None else BenchRepeatability.tool_id == tool_id
    )
    return session.scalar(
        select(BenchRepeatability.repeatability)
        .where(BenchRepeatability.bench_id == bench_id, BenchRepeatability.quantity == quantity, same_tool)
        .order_by(BenchRepeatability.found_at.desc(), BenchRepeatability.study_id.desc())
        .limit(1)
    )
