"""Do two benches measure the same thing?"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shimstock_calc import agreement
from shimstock_calc.agreement import Agreement, AnovaRow
from shimstock_calc.errors import Contradiction, OutOfRange
from shimstock_server.web.context import current
from shimstock_server.web.fields import Choice, ListOf, Nested, Number, StrictSchema, Text, Truth, Whole
from shimstock_server.web.quantities import write

from .beside import SPREADABLE, AnythingBeside, ListBeside
from .entry import Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told, told_beside

MOST_READINGS = 500


class BenchAgreementQuestion(Question):
    """A study in which every bench read every piece several times."""

    quantity = Choice(SPREADABLE, required=True, metadata={"description": "What was read."})
    readings = ListBeside(
        ListBeside(
            ListBeside(
                AnythingBeside("A reading"), min=2, max=20,
                metadata={"description": "The readings of one bench of one piece, in the order taken."},
            ),
            min=2, max=20, metadata={"description": "A piece: one list for each bench."},
        ),
        min=2, max=100,
        metadata={
            "description": "Pieces × benches × readings, as many of each: 500 in all at most. Benches stand "
            "in one order throughout."
        },
    )  # fmt: skip
    benches = ListOf(
        Text(max=60, metadata={"description": "A bench's name."}),
        min=2,
        max=20,
        metadata={"description": "Their names, for the words."},
    )
    method = Choice(
        ("anova", "average-range"), load_default="anova",
        metadata={"description": "Analysis of variance, or averages and ranges."},
    )  # fmt: skip
    pooling_level = asked(
        "share", 0.0, 100.0,
        "The interaction of pieces and benches counts as repeatability when its probability lies above; 25 % "
        "else",
    )  # fmt: skip
    tolerance = AnythingBeside("Upper less lower limit of the spec, where there is one", low=1e-6)
    spread = AnythingBeside("Standard deviation of the measurement, to find what it can serve", low=1e-6)
    share_of_tolerance = asked(
        "share", 1.0, 100.0, "Share of the tolerance that six of them may take; 30 % else"
    )


class AnovaRowOut(StrictSchema):
    """A line of the analysis of variance."""

    comes_from = Text(metadata={"description": "pieces, benches, pieces × benches or repeats."})
    freedom = Whole(metadata={"description": "Degrees of freedom."})
    root_mean_square = told_beside("Square root of the mean square")
    ratio = Number(allow_none=True, metadata={"description": "F against the line it is tested on."})
    probability = told("share", "Chance of a ratio as large without any difference", maybe=True)


class SpreadPartOut(StrictSchema):
    """A part of the spread."""

    comes_from = Choice(
        ("repeatability", "reproducibility", "benches", "interaction", "measurement", "pieces", "total")
    )
    sd = told_beside("Standard deviation")
    share_of_spread = told("share", "Of the whole spread")
    share_of_tolerance = told("share", "Six standard deviations over the tolerance", maybe=True)


class StudyBenchOut(StrictSchema):
    """A bench of the study."""

    name = Text()
    offset = told_beside("By how much it reads above the mean of all")
    repeatability = told_beside("Its own standard deviation of repeated readings")


class BenchAgreementResult(Result):
    """How well benches agree, in numbers and in words."""

    calculated = calculated("agreement", "tolerance")
    quantity = Choice(SPREADABLE)
    components = ListOf(Nested(SpreadPartOut))
    table = ListOf(
        Nested(AnovaRowOut), metadata={"description": "Empty for the method of averages and ranges."}
    )
    pooled = Truth(allow_none=True, metadata={"description": "Whether the interaction counts as repeats."})
    classes = Whole(
        allow_none=True,
        metadata={"description": "How many kinds of pieces it can tell apart; null = no end."},
    )
    benches = ListOf(Nested(StudyBenchOut))
    difference_limit = told_beside(
        "Two benches' readings of one piece differ by less, 95 times in 100", maybe=True
    )
    words = ListOf(Text(max=500), metadata={"description": "What it means for the shop."})
    tolerance = told_beside("The spec's tolerance, given or the narrowest that it can serve", maybe=True)


def _agreement(given: Given) -> dict[str, Any]:
    kind, units = given["quantity"], current.units
    table = _table(given["readings"])
    names = given.get("benches") or [f"bench {n}" for n in range(1, table.shape[1] + 1)]
    found = agreement.bench_agreement(
        table,
        method=given["method"],
        tolerance=given.get("tolerance"),
        pooling_alpha=given.get("pooling_level", 100.0 * agreement.POOLING_ALPHA) / 100.0,
        benches=names,
        write=lambda value: write(kind, value, units),
    )
    return {
        "quantity": kind,
        "components": _components(found, kind, given.get("tolerance")),
        "table": [_row(row, kind) for row in found.table],
        "pooled": found.pooled,
        "classes": found.classes,
        "benches": [
            {"name": name, "offset": float(offset), "repeatability": float(own), "quantity": kind}
            for name, offset, own in zip(names, found.bench_offsets, found.bench_repeatability, strict=True)
        ],
        "difference_limit": found.difference_limit,
        "words": list(found.words),
        "tolerance": given.get("tolerance"),
    }


def _table(readings: list[list[list[float]]]) -> Any:
    """Return the readings as an array, refusing a study with gaps."""
    benches, trials = len(readings[0]), len(readings[0][0])
    for piece, rows in enumerate(readings):
        if len(rows) != benches:
            raise Contradiction(
                f"every piece must be read by {benches} benches, like the first; this one by {len(rows)}",
                f"readings.{piece}",
            )
        for bench, row in enumerate(rows):
            if len(row) != trials:
                raise Contradiction(
                    f"every bench must read every piece {trials} times, like the first; here {len(row)}",
                    f"readings.{piece}.{bench}",
                )
    table = np.array(readings, dtype=np.float64)
    if table.size > MOST_READINGS:
        raise OutOfRange(f"at most {MOST_READINGS} readings; {table.size} were given", "readings")
    return table


def _components(found: Agreement, kind: str, tolerance: float | None) -> list[dict[str, Any]]:
    parts = found.variances
    named = {
        "repeatability": parts.repeatability, "reproducibility": parts.reproducibility,
        "benches": parts.benches, "interaction": parts.interaction, "measurement": parts.agreement,
        "pieces": parts.pieces, "total": parts.total,
    }  # fmt: skip
    return [
        {
            "comes_from": name,
            "sd": math.sqrt(variance),
            "share_of_spread": 100.0 * math.sqrt(variance / parts.total),
            "share_of_tolerance": _of_tolerance(math.sqrt(variance), tolerance),
            "quantity": kind,
        }
        for name, variance in named.items()
    ]


def _of_tolerance(sd: float, tolerance: float | None) -> float | None:
    return None if tolerance is None else 100.0 * agreement.SPREAD * sd / tolerance


def _row(row: AnovaRow, kind: str) -> dict[str, Any]:
    return {
        "comes_from": row.source,
        "freedom": row.freedom,
        "root_mean_square": math.sqrt(row.mean_square),
        "ratio": row.ratio,
        "probability": None if row.probability is None else 100.0 * row.probability,
        "quantity": kind,
    }


def _tolerance(given: Given) -> dict[str, Any]:
    share = given.get("share_of_tolerance", agreement.BEARABLE)
    found = float(agreement.smallest_tolerance(given["spread"], share))
    return {
        "quantity": given["quantity"],
        "components": [],
        "table": [],
        "benches": [],
        "words": [
            f"A spec is served when its limits lie at least {write(given['quantity'], found, current.units)} "
            f"apart: six standard deviations of the measurement then take {share:.3g} % of it."
        ],
        "tolerance": found,
    }


BENCH_AGREEMENT = Calculation(
    name="bench-agreement",
    title="Whether benches measure the same thing",
    about=(
        "A study in which every bench read every piece several times gives where the spread comes from: the "
        "same bench again, the benches, the pieces; what that means against the pieces and against a spec, "
        "and how each bench stands. Asked the other way round, the narrowest tolerance that a measurement "
        "can serve."
    ),
    question=BenchAgreementQuestion,
    result=BenchAgreementResult,
    ways=(
        Way("agreement", ("readings",), _agreement, may=("benches", "pooling_level", "tolerance")),
        Way("tolerance", ("spread",), _tolerance, may=("share_of_tolerance",)),
    ),
    source=(
        "AIAG, Measurement Systems Analysis, 4th ed. (2010), ch. III-B: analysis of variance with random "
        "effects, and averages and ranges",
        "Reproducibility limit 1.96·√2·s: ISO 5725-1",
        "Below 10 % good, up to 30 % usable with care: AIAG's guideline",
    ),
    validity=(
        "Crossed studies: every bench reads every piece equally often, at least 2 × 2 × 2; 10 pieces, 2 or 3 "
        f"benches and 2 or 3 readings are usual, {MOST_READINGS} readings the most that are taken. Pieces "
        "that stand for what the shop sees."
    ),
    formulas=(agreement.bench_agreement, agreement.smallest_tolerance, agreement.range_constants),
    blame={"agreement_sd": "spread", "percent": "share_of_tolerance", "pooling_alpha": "pooling_level"},
)  # fmt: skip
