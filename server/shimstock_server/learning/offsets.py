"""By how much each bench reads too high with a tool: from studies, and from check pieces of known size."""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.learning import BenchRepeatability, CheckPiece, Study
from shimstock_server.database.tables.shop import Bench, Tool
from shimstock_server.database.words import Quantity

from .check_pieces import limits_of
from .study_findings import agreement

SURE = 1e-6
"""Least standard uncertainty of what a check piece says [mm; cents]: two pieces can then be weighed."""


class Place(NamedTuple):
    """A bench with a tool, and what it reads."""

    bench_id: UUID
    tool_id: UUID | None
    quantity: Quantity


class Known(NamedTuple):
    """What is known of an offset: its mean and variance, and how far benches differ beyond it."""

    mean: float
    variance: float
    reproducibility: float
    source: str


def learned_offsets(session: Session) -> list[dict[str, Any]]:
    """What is known now of every bench in use with every tool, as it is kept with a job.

    Notes
    -----
    A check piece of known size tells a bench's offset itself. A study tells how benches differ: from their
    mean, or from the truth as soon as one of them has a check piece. A bench that took no part differs from
    the mean as benches do; one that took part still does so from piece to piece.
    """
    names = {row.id: row.name for row in session.execute(select(Bench.id, Bench.name).where(Bench.active))}
    known = _from_pieces(session)
    for place, found in _from_studies(session, known, list(names)).items():
        own = known.get(place)
        known[place] = found if own is None else own._replace(reproducibility=found.reproducibility)
    return [
        {
            "bench_id": str(place.bench_id),
            "tool_id": None if place.tool_id is None else str(place.tool_id),
            "quantity": place.quantity.value,
            "bench": names[place.bench_id],
            "mean": six_digits(found.mean),
            "sd": six_digits(math.sqrt(found.variance)),
            "reproducibility": six_digits(found.reproducibility),
            "source": found.source,
        }
        for place, found in sorted(known.items(), key=lambda each: tuple(map(str, each[0])))
        if place.bench_id in names
    ]


def six_digits(value: float) -> float:
    """Round as what a job begins with is kept."""
    return float(f"{value:.6g}")


def _from_pieces(session: Session) -> dict[Place, Known]:
    """What check pieces of known size say, several of a kind weighed by how sure they are."""
    found: defaultdict[Place, list[Known]] = defaultdict(list)
    for piece in session.scalars(
        select(CheckPiece).where(CheckPiece.active, CheckPiece.stated.is_not(None)).order_by(CheckPiece.id)
    ):
        limits = limits_of(session, piece)
        if limits is None or limits.bias is None or limits.bias_uncertainty is None:
            continue
        place = Place(piece.bench_id, piece.tool_id, piece.quantity)
        variance = max(limits.bias_uncertainty, SURE) ** 2
        found[place].append(Known(limits.bias, variance, 0.0, f'the check piece "{piece.name}"'))
    return {place: _weighed(several) for place, several in found.items()}


def _weighed(several: list[Known]) -> Known:
    total = sum(1.0 / each.variance for each in several)
    mean = sum(each.mean / each.variance for each in several) / total
    return Known(mean, 1.0 / total, 0.0, several[-1].source)


@dataclass(frozen=True)
class _Read:
    """What a study says: each bench's difference from the mean, its variance, and how benches differ."""

    differences: Mapping[Place, float]
    variance: float
    interaction: float
    reproducibility: float
    source: str

    def found(self, known: Mapping[Place, Known], benches: Collection[Place]) -> dict[Place, Known]:
        """The offset of each of some benches, as far as check pieces tell where the truth lies."""
        fixed = [
            (known[place].mean - difference, known[place].variance + self.variance)
            for place, difference in self.differences.items()
            if place in known
        ]
        shift = statistics.fmean(by for by, _ in fixed) if fixed else 0.0
        unsure = sum(variance for _, variance in fixed) / len(fixed) ** 2 if fixed else 0.0
        found = {}
        for place in benches:
            took_part = place in self.differences
            differs = self.interaction if took_part or place in known else self.reproducibility
            found[place] = Known(
                self.differences.get(place, 0.0) + shift,
                unsure + (self.variance if took_part else 0.0),
                math.sqrt(differs),
                self.source,
            )
        return found


def _from_studies(
    session: Session, known: Mapping[Place, Known], benches: Collection[UUID]
) -> dict[Place, Known]:
    """What studies say, the newest of each bench, tool and quantity; others fill in where it is silent."""
    rows = session.execute(
        select(BenchRepeatability, Study)
        .join(Study, Study.id == BenchRepeatability.study_id)
        .order_by(BenchRepeatability.found_at, BenchRepeatability.study_id, BenchRepeatability.reader)
    ).all()
    newest = {Place(row.bench_id, row.tool_id, row.quantity): study.id for row, study in rows}
    of_study: dict[UUID, tuple[Study, list[BenchRepeatability]]] = {}
    for row, study in rows:
        if study.id in newest.values():
            of_study.setdefault(study.id, (study, []))[1].append(row)
    own: dict[Place, Known] = {}
    other: dict[Place, Known] = {}
    for study, readers in of_study.values():
        tools = {tool.id: tool for tool in session.scalars(select(Tool).where(Tool.id.in_(_tools(readers))))}
        read = _read(session, study, readers, tools)
        elsewhere = {
            Place(bench_id, place.tool_id, study.quantity)
            for bench_id in benches
            for place in read.differences
            if place.tool_id is None or tools[place.tool_id].bench_id in (None, bench_id)
        }
        for place, found in read.found(known, elsewhere | read.differences.keys()).items():
            (own if place in read.differences else other)[place] = found
    return other | own


def _tools(readers: Iterable[BenchRepeatability]) -> set[UUID]:
    return {each.tool_id for each in readers if each.tool_id is not None}


def _read(
    session: Session, study: Study, readers: Iterable[BenchRepeatability], tools: Mapping[UUID, Tool]
) -> _Read:
    """What a study says; several readers at one bench with one tool count together."""
    found = agreement(session, study, "anova")
    differences: defaultdict[Place, list[float]] = defaultdict(list)
    for row in readers:
        differences[Place(row.bench_id, row.tool_id, row.quantity)].append(row.difference)
    # rounding hides what no repeating shows, piece by piece
    step = max((tool.resolution for tool in tools.values()), default=0.0)
    return _Read(
        {place: statistics.fmean(each) for place, each in differences.items()},
        max(found.offset_uncertainty**2, step**2 / 12.0 / len(study.pieces)),
        found.variances.interaction,
        found.variances.reproducibility,
        f'the study "{study.name}"',
    )
