"""Guided studies: who reads what in which order, blind to what was read before."""

from __future__ import annotations

import random
import secrets
from collections import Counter
from collections.abc import Collection
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.learning import Study, StudyReading
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.shop import Bench, Technician, Tool
from shimstock_server.database.words import Kind, Quantity, StudyState
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import IdTaken, InvalidFields
from shimstock_server.web.quantities import Quantity as Value

from .kinds import KINDS
from .problems import NotTheNextReading, StudyEnded

MOST_READINGS = 2000
_SEEDS = 2**53


def drawn_order(pieces: int, readers: int, trials: int, seed: int) -> list[list[int]]:
    """Draw the order of a study: [piece, reader, trial] from 0, the same for the same seed.

    Every reader reads all pieces once before the next trial begins, each in an order of its own, and nobody
    reads a piece twice running: what it showed would still be in the head.

    >>> drawn_order(2, 2, 2, 7) == drawn_order(2, 2, 2, 7)
    True
    """
    dice = random.Random(seed)  # noqa: S311 - an order, no secret
    order: list[list[int]] = []
    last = [-1] * readers
    for trial in range(trials):
        turns = list(range(readers))
        dice.shuffle(turns)
        for reader in turns:
            numbers = list(range(pieces))
            dice.shuffle(numbers)
            while numbers[0] == last[reader] and pieces > 1:
                dice.shuffle(numbers)
            last[reader] = numbers[-1]
            order += [[piece, reader, trial] for piece in numbers]
    return order


def begin_study(session: Session, wish: dict[str, Any]) -> Study:
    """Keep a study with its drawn order.

    Raises
    ------
    InvalidFields
        When a bench, technician, tool or instrument is not known, the tool measures something else, or an
        open study has this name.
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
    open_ones = session.scalars(select(Study.name).where(Study.state == StudyState.OPEN))
    if wish["name"].casefold() in {name.casefold() for name in open_ones}:
        errors["/name"] = "an open study has this name: choose another, or end or abandon that one first"
    named: set[str] = set()
    for number, piece in enumerate(wish["pieces"]):
        errors |= _piece_errors(session, piece, f"/pieces/{number}")
        if piece["name"].casefold() in named:
            errors[f"/pieces/{number}/name"] = "stands in the list already: nobody could tell them apart"
        named.add(piece["name"].casefold())
    seen: set[tuple[Any, ...]] = set()
    for number, reader in enumerate(wish["readers"]):
        where = f"/readers/{number}"
        known = (reader["bench_id"], reader["technician_id"], reader["tool_id"])
        if known in seen:
            errors[where] = "stands in the list already"
        seen.add(known)
        errors |= _reader_errors(session, reader, quantity, where)
    if errors:
        raise InvalidFields.of(errors)


def _piece_errors(session: Session, piece: dict[str, Any], where: str) -> dict[str, str]:
    errors: dict[str, str] = {}
    if piece["side"] is not None and piece["string"] is not None:
        errors[f"{where}/side"] = "name the side or the string, not both"
    if piece["instrument_id"] is None:
        return errors
    instrument = session.get(Instrument, piece["instrument_id"])
    if instrument is None:
        return errors | {f"{where}/instrument_id": "no instrument of this shop has this id"}
    model = instrument.model
    if (piece["string"] or 1) > model.strings:
        errors[f"{where}/string"] = f"this instrument has strings 1 to {model.strings}"
    if (piece["fret"] or 1) > model.frets:
        errors[f"{where}/fret"] = f"this instrument has frets 1 to {model.frets}"
    for place, fret in enumerate(piece["held"] or ()):
        if fret > model.frets:
            errors[f"{where}/held/{place}"] = f"this instrument has frets 0 to {model.frets}"
    pickups = [pickup["name"] for pickup in model.pickups]
    if piece["pickup"] is not None and piece["pickup"] not in pickups:
        told = ", ".join(pickups) or "none"
        errors[f"{where}/pickup"] = f"name one of this instrument's pickups: {told}"
    return errors


def _reader_errors(
    session: Session, reader: dict[str, Any], quantity: Quantity, where: str
) -> dict[str, str]:
    errors: dict[str, str] = {}
    for name, table in (("bench", Bench), ("technician", Technician), ("tool", Tool)):
        if reader[f"{name}_id"] is None:
            continue
        found: Any = session.get(table, reader[f"{name}_id"])
        if found is None:
            errors[f"{where}/{name}_id"] = f"no {name} of this shop has this id"
        elif not found.active:
            errors[f"{where}/{name}_id"] = f"{found.name} is no longer in use"
        elif isinstance(found, Tool) and quantity.value not in found.quantities:
            told = quantity.value.replace("-", " ")
            errors[f"{where}/{name}_id"] = f"{found.name} does not measure {told}"
    return errors


def taken(session: Session, study: Study) -> dict[int, float]:
    """Return the readings of a study by their number."""
    rows = session.execute(
        select(StudyReading.number, StudyReading.value).where(StudyReading.study_id == study.id)
    )
    return {row.number: row.value for row in rows}


def next_reading(study: Study, done: Collection[int], reader: int) -> dict[str, Any] | None:
    """Return what a reader takes next; None when it is through."""
    left = [
        (number, piece, trial)
        for number, (piece, who, trial) in enumerate(study.order, start=1)
        if who == reader and number not in done
    ]
    if not left:
        return None
    number, piece, trial = left[0]
    return {
        "number": number,
        "reader": reader,
        "piece": piece,
        "trial": trial + 1,
        "what": {"pickup": None} | study.pieces[piece],
        "left": len(left),
    }


def known_reading(session: Session, study: Study, wish: dict[str, Any], sameness: str) -> StudyReading | None:
    """Return the reading that has the client's id already; None when it is new.

    Raises
    ------
    IdTaken
        When that reading says something else.
    """
    if wish["id"] is None:
        return None
    known = session.scalar(select(StudyReading).where(StudyReading.id == wish["id"]))
    if known is not None and (known.study_id, known.fingerprint) != (study.id, sameness):
        raise IdTaken
    return known


def record_reading(
    session: Session,
    study: Study,
    wish: dict[str, Any],
    value: Value,
    *,
    fingerprint: str,
    actor: Actor,
    now: datetime,
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
    number = wish["number"]
    wanted = next_reading(study, taken(session, study), reader_of(study, number))
    if wanted is None or wanted["number"] != number:
        raise NotTheNextReading(next=None if wanted is None else wanted["number"])
    reading = StudyReading(
        study_id=study.id,
        number=number,
        id=wish["id"],
        fingerprint=fingerprint,
        confirmed=wish["confirmed"],
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


def reader_of(study: Study, number: int) -> int:
    """Return which reader takes a reading.

    Raises
    ------
    InvalidFields
        When the study has no such reading.
    """
    if not 1 <= number <= len(study.order):
        raise InvalidFields.at("/number", f"this study has readings 1 to {len(study.order)}")
    return int(study.order[number - 1][1])


def kind_read(session: Session, study: Study, number: int) -> Kind | None:
    """Return the kind of instrument of a reading; None for a piece that is none."""
    instrument_id = study.pieces[study.order[number - 1][0]].get("instrument_id")
    return None if instrument_id is None else session.get_one(Instrument, UUID(instrument_id)).model.kind


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


def show_study(session: Session, study: Study, actor: Actor) -> dict[str, Any]:
    """A study as it is answered: no values while it is open."""
    done = taken(session, study)
    left = Counter(who for number, (_, who, _) in enumerate(study.order, start=1) if number not in done)
    here = None if actor.bench_id is None else str(actor.bench_id)
    names = (
        "id", "name", "quantity", "state", "trials", "tolerance", "seed", "note", "created_at", "updated_at",
        "ended_at", "version",
    )  # fmt: skip
    return {name: getattr(study, name) for name in names} | {
        "kind": KINDS[study.quantity.value],
        "pieces": [{"pickup": None} | piece for piece in study.pieces],
        "readers": [
            reader | {"name": name, "left": left[number], "here": reader["bench_id"] == here}
            for number, (reader, name) in enumerate(
                zip(study.readers, reader_names(session, study), strict=True)
            )
        ],
        "readings": len(study.order),
        "taken": len(done),
    }
