"""What the readings of a study say: of the benches together, and of each by itself."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.agreement import Agreement, AgreementMethod, bench_agreement
from shimstock_calc.errors import CalculationError
from shimstock_server.database.tables.learning import BenchRepeatability, Study
from shimstock_server.database.words import Quantity, StudyState
from shimstock_server.web.quantities import write

from .kinds import KINDS
from .problems import NothingVaries, StudyEnded, StudyIncomplete, StudyOpen
from .studies import reader_names, taken

METHODS: tuple[AgreementMethod, ...] = ("anova", "average-range")
LEAST = 2
"""Readers and trials that a comparison takes."""


@dataclass(frozen=True)
class Judged:
    """The part of a study that is judged: readers who read every piece as often as the others."""

    readers: tuple[int, ...]
    trials: int

    @classmethod
    def of(cls, study: Study, done: Mapping[int, float]) -> Judged | None:
        """Return the largest complete part; None when nothing can be compared."""
        missing = [study.trials] * len(study.readers)
        for number, (_, reader, trial) in enumerate(study.order, start=1):
            if number not in done:
                missing[reader] = min(missing[reader], trial)
        found = []
        for trials in range(LEAST, study.trials + 1):
            readers = tuple(reader for reader, whole in enumerate(missing) if whole >= trials)
            if len(readers) >= LEAST:
                found.append(cls(readers, trials))
        return max(found, key=lambda each: (len(each.readers) * each.trials, len(each.readers)), default=None)

    def left_out(self, study: Study, names: Sequence[str]) -> list[str]:
        """Say in words what of the study is not judged."""
        gone = [name for number, name in enumerate(names) if number not in self.readers]
        told = []
        if gone:
            told.append(f"Without {' and '.join(gone)}, who did not read everything.")
        if self.trials < study.trials:
            told.append(f"From {self.trials} of {study.trials} rounds: the others were not read by all.")
        return told


def end_study(session: Session, study: Study, *, abandon: bool, as_it_stands: bool, now: datetime) -> Study:
    """End a study: its benches' repeatability counts from now on, their offsets in jobs not yet read.

    Parameters
    ----------
    abandon : bool
        Whether it is given up instead of judged.
    as_it_stands : bool
        Whether the readers and rounds that are complete are judged without the others.

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
    done = taken(session, study)
    left, part = len(study.order) - len(done), Judged.of(study, done)
    if part is None and as_it_stands:
        raise StudyIncomplete(
            "Nothing can be compared yet: at least two readers must have read every piece twice.", left=left
        )
    if part is None or (left and not as_it_stands):
        raise StudyIncomplete(
            f"{left} readings are still to be taken: take them, end it as it stands, or abandon it.",
            left=left,
        )
    found = agreement(session, study, "anova")
    study.state, study.ended_at = StudyState.ENDED, now
    for place, number in enumerate(part.readers):
        reader = study.readers[number]
        session.add(
            BenchRepeatability(
                study_id=study.id,
                reader=number,
                bench_id=UUID(reader["bench_id"]),
                quantity=study.quantity,
                tool_id=None if reader["tool_id"] is None else UUID(reader["tool_id"]),
                repeatability=float(found.bench_repeatability[place]),
                difference=float(found.bench_offsets[place]),
                found_at=now,
            )
        )
    session.flush()
    return study


def agreement(session: Session, study: Study, method: AgreementMethod, units: str = "mm") -> Agreement:
    """Judge what of a study is complete.

    Raises
    ------
    NothingVaries
        When all readings are the same.
    """
    values = taken(session, study)
    part = _judged(study, values)
    columns = {reader: column for column, reader in enumerate(part.readers)}
    table = np.zeros((len(study.pieces), len(part.readers), part.trials))
    for number, (piece, reader, trial) in enumerate(study.order, start=1):
        if reader in columns and trial < part.trials:
            table[piece, columns[reader], trial] = values[number]
    names = reader_names(session, study)
    try:
        return bench_agreement(
            table,
            method=method,
            tolerance=study.tolerance,
            benches=[names[reader] for reader in part.readers],
            write=_writer(study.quantity, units),
        )
    except CalculationError as error:
        raise NothingVaries from error


def _judged(study: Study, values: Mapping[int, float]) -> Judged:
    part = Judged.of(study, values)
    if part is None:
        raise StudyOpen
    return part


def _writer(quantity: Quantity, units: str) -> Callable[[float], str]:
    kind = KINDS[quantity.value]
    return lambda value: write(kind, value, units)


def in_words(session: Session, study: Study, found: Agreement) -> list[str]:
    """What a study means for the shop, and what of it was left out."""
    part = _judged(study, taken(session, study))
    return [*found.words, *part.left_out(study, reader_names(session, study))]


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
    part = _judged(study, values)
    names = [reader_names(session, study)[reader] for reader in part.readers]
    anova, ranges = (agreement(session, study, method, units) for method in METHODS)
    return {
        "study_id": study.id,
        "quantity": study.quantity,
        "kind": kind,
        "tolerance": study.tolerance,
        "methods": [_method(each, kind, names) for each in (anova, ranges)],
        "words": in_words(session, study, anova),
        "readings": [
            {
                "kind": kind,
                "number": number,
                "piece": piece,
                "reader": reader,
                "trial": trial + 1,
                "value": values[number],
                "judged": reader in part.readers and trial < part.trials,
            }
            for number, (piece, reader, trial) in enumerate(study.order, start=1)
            if number in values
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


@dataclass(frozen=True)
class Repeatability:
    """How well a bench repeats, and which study found it."""

    value: float
    source: str


def bench_repeatabilities(
    session: Session, bench_id: UUID | None
) -> dict[tuple[Quantity, UUID | None], Repeatability]:
    """How well a bench repeats each quantity with each tool, as its newest study of these found.

    Notes
    -----
    Several readers of a study at this bench count together, by the mean of their variances. A study that saw
    no spread tells only that it is finer than the tool's step: the tool's own figure stands.
    """
    if bench_id is None:
        return {}
    rows = session.execute(
        select(
            BenchRepeatability.quantity,
            BenchRepeatability.tool_id,
            BenchRepeatability.study_id,
            BenchRepeatability.repeatability,
            Study.name,
        )
        .join(Study, Study.id == BenchRepeatability.study_id)
        .where(BenchRepeatability.bench_id == bench_id)
        .order_by(BenchRepeatability.found_at.desc(), BenchRepeatability.study_id.desc())
    )
    newest: dict[tuple[Quantity, UUID | None], list[Any]] = {}
    for row in rows:
        alike = newest.setdefault((row.quantity, row.tool_id), [])
        if not alike or alike[0].study_id == row.study_id:
            alike.append(row)
    return {
        key: Repeatability(
            statistics.fmean(row.repeatability**2 for row in alike) ** 0.5, f'the study "{alike[0].name}"'
        )
        for key, alike in newest.items()
        if any(row.repeatability > 0.0 for row in alike)
    }
