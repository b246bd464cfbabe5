"""Readings summed up so that sums can be added: moments, quantiles, groups, runs and straight lines."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from shimstock_calc import components, lines, summary
from shimstock_calc.errors import Contradiction, OutOfRange
from shimstock_calc.summary import Bins, LineSums, Moments
from shimstock_server.web.context import current
from shimstock_server.web.fields import Choice, ListOf, Nested, Number, StrictSchema, Text, Truth, Whole
from shimstock_server.web.units import KINDS, convert

from .beside import MOST, SPREADABLE, AnythingBeside, ListBeside
from .entry import AnyOf, Calculation, Given, Way
from .fields import Question, Result, Told, calculated, told, told_beside

MOST_READINGS = 2_500
MOST_BINS = 500
MOST_IN_ALL = 20_000
"""Readings of all groups together: as many as a body holds, and as NIST's sets for such analyses have."""
_WHICH = SPREADABLE


class MomentsIn(StrictSchema):
    """Count, mean and standard deviation of readings that were summed up before."""

    quantity = Choice(_WHICH, required=True, metadata={"description": "What was read, as above."})
    count = Whole(1, 10**9, required=True, metadata={"description": "How many readings."})
    mean = AnythingBeside("Their mean", required=True)
    sd = AnythingBeside("Their standard deviation; left out for a single reading", low=0.0)


class BinIn(StrictSchema):
    """Readings counted in a bin."""

    number = Whole(
        -(10**9), 10**9, required=True,
        metadata={"description": "The bin that reaches half a width to either side of number × width."},
    )  # fmt: skip
    count = Whole(1, 10**9, required=True, metadata={"description": "How many readings."})


def _readings(about: str, *, low: float = -MOST, least: int = 1, **options: Any) -> ListBeside:
    reading = AnythingBeside("A reading", low=low, **options)
    return ListBeside(reading, min=least, max=MOST_READINGS, metadata={"description": about})


class SummaryQuestion(Question):
    """Readings, or what was summed up of them before."""

    quantity = Choice(_WHICH, required=True, metadata={"description": "What was read."})
    values = _readings("Readings.")
    moments = ListOf(
        Nested(MomentsIn), min=1, max=500, metadata={"description": "Sums of readings, to be merged."}
    )
    without = ListOf(
        Nested(MomentsIn), min=1, max=500,
        metadata={"description": "Sums of readings that are among them, to be taken out again."},
    )  # fmt: skip
    bins = ListOf(
        Nested(BinIn), min=1, max=MOST_BINS, metadata={"description": "Counted readings, to be merged."}
    )
    bin_width = AnythingBeside("Width of a bin: 0.01 mm, 0.5 cents", low=1e-6)
    shares = ListOf(
        Number(0, 1, metadata={"description": "0.5 = the median."}), min=1, max=50,
        metadata={"description": "Shares of the readings below the values that are asked."},
    )  # fmt: skip
    lower = AnythingBeside("Lower limit, to find the share of the readings inside")
    upper = AnythingBeside("Upper limit, to find the share of the readings inside")
    groups = ListBeside(
        _readings("The readings of a group."), min=2, max=100,
        metadata={"description": "Readings in groups: do the groups differ? 20,000 in all at most."},
    )  # fmt: skip
    averages = ListBeside(
        _readings("The days of a run.", least=2), min=1, max=100,
        metadata={"description": "Averages of a check piece's repeated readings, day by day, run by run."},
    )  # fmt: skip
    deviations = ListBeside(
        _readings("The days of a run.", low=0.0, least=2), min=1, max=100,
        metadata={"description": "Standard deviations of the same repeated readings."},
    )  # fmt: skip
    repetitions = Whole(2, 1000, metadata={"description": "How often it was read on each day."})
    x_quantity = Choice(_WHICH, metadata={"description": "What a straight line is drawn over."})
    x = _readings("Where each of the values was read: a line is laid through them.", kind_from="x_quantity")
    through_origin = Truth(load_default=False, metadata={"description": "Whether the line starts at 0, 0."})
    at = AnythingBeside("Where the line's value is asked", kind_from="x_quantity")
    reaches = AnythingBeside("Value that the line reaches, to find where")


class QuantileOut(StrictSchema):
    """A value and the share of the readings below it."""

    share = Number()
    value = told_beside("Value below which that share lies")


class BinOut(StrictSchema):
    """Readings counted in a bin."""

    number = Whole()
    count = Whole()


class SplitOut(StrictSchema):
    """Spread between and within groups."""

    within_sd = told_beside("Standard deviation within groups")
    between_sd = told_beside("Standard deviation between groups beyond that, 0 or more")
    within_freedom = Whole()
    between_freedom = Whole()
    ratio = Number(allow_none=True, metadata={"description": "F: mean square between over within."})
    probability = told("share", "Chance of a ratio as large without any difference", maybe=True)
    explained = told("share", "Of the sum of squares, between the groups", maybe=True)


class RunsOut(StrictSchema):
    """Spread of repetitions within days within runs."""

    repetition_sd = told_beside("Pooled standard deviation of the repetitions")
    day_average_sd = told_beside("Standard deviation of the days' averages within a run")
    run_average_sd = told_beside("Standard deviation of the runs' averages", maybe=True)
    day_sd = told_beside("Between days beyond the repetitions; a negative variance counts as 0")
    run_sd = told_beside("Between runs beyond the days; a negative variance counts as 0", maybe=True)


class LineOut(StrictSchema):
    """A straight line."""

    slope = Number(metadata={"description": "In the unit of `slope_unit`."})
    slope_sd = Number(allow_none=True, metadata={"description": "Its standard error."})
    slope_unit = Text(metadata={"description": "Unit of the values per unit of x."})
    intercept = told_beside("Value at x = 0")
    intercept_sd = told_beside("Its standard error", maybe=True)
    residual_sd = told_beside("Standard deviation of the readings about the line", maybe=True)
    explained = told("share", "R²: share of the variation that it explains", maybe=True)
    freedom = Whole()
    at = Told(kind_from="x_quantity", allow_none=True, metadata={"description": "Where."})
    value = told_beside("The line's value there", maybe=True)


class SummaryResult(Result):
    """What readings come to."""

    calculated = calculated("moments", "quantiles", "groups", "runs", "line")
    quantity = Choice(_WHICH)
    count = Whole(allow_none=True)
    mean = told_beside("Mean", maybe=True)
    sd = told_beside("Standard deviation; null below two readings", maybe=True)
    standard_error = told_beside("Standard error of the mean", maybe=True)
    bins = ListOf(Nested(BinOut))
    quantiles = ListOf(Nested(QuantileOut))
    share_inside = told("share", "Of the readings inside the limits", maybe=True)
    groups = Nested(SplitOut, allow_none=True)
    runs = Nested(RunsOut, allow_none=True)
    line = Nested(LineOut, allow_none=True)


def _known(number: float, factor: float = 1.0) -> float | None:
    """Return a number, or None where there is none to tell."""
    return factor * number if math.isfinite(number) else None


def _result(given: Given, moments: Moments | None = None, **found: Any) -> dict[str, Any]:
    told_: dict[str, Any] = {"quantity": given["quantity"], "bins": [], "quantiles": []}
    if moments is not None:
        told_ |= {"count": moments.count, "mean": moments.mean if moments.count else None}
        told_ |= {"sd": _known(moments.sd), "standard_error": _known(moments.standard_error)}
    return told_ | found


def _moments_of(given: Given, name: str) -> Moments:
    """Return the merged moments of a list of sums."""
    merged = Moments()
    for place, each in enumerate(given.get(name, ())):
        if each["quantity"] != given["quantity"]:
            raise Contradiction(
                f"must be {given['quantity']}, like the rest; not {each['quantity']}",
                f"{name}.{place}.quantity",
            )
        if each["count"] > 1 and "sd" not in each:
            raise Contradiction("sd is needed for more than one reading", f"{name}.{place}.sd")
        squares = each.get("sd", 0.0) ** 2 * (each["count"] - 1)
        merged = merged.merged(Moments(each["count"], each["mean"], squares))
    return merged


def _moments(given: Given) -> dict[str, Any]:
    found = _moments_of(given, "moments").merged(Moments.of(given.get("values", [])))
    if "without" in given:
        found = found.without(_moments_of(given, "without"))
    return _result(given, found)


def _quantiles(given: Given) -> dict[str, Any]:
    values, width = given.get("values", []), given["bin_width"]
    counted = Bins(width, {})
    for each in given.get("bins", ()):
        counted = counted.merged(Bins(width, {each["number"]: each["count"]}))
    counted = counted.merged(Bins.of(values, width))
    if len(counted.counts) > MOST_BINS:
        raise OutOfRange(f"more than {MOST_BINS} bins hold a reading: take wider ones", "bin_width")
    shares = given.get("shares", [0.05, 0.25, 0.5, 0.75, 0.95])
    inside = None
    if "lower" in given or "upper" in given:
        inside = 100.0 * counted.share_within(given.get("lower"), given.get("upper"))
    return _result(
        given,
        Moments.of(values) if "bins" not in given else None,
        count=counted.count,
        bins=[{"number": number, "count": count} for number, count in counted.counts.items()],
        quantiles=[
            {"share": share, "value": float(counted.quantile(share)), "quantity": given["quantity"]}
            for share in shares
        ],
        share_inside=inside,
        note=["Quantiles from counted readings hold within a bin's width."],
    )


def _groups(given: Given) -> dict[str, Any]:
    groups = given["groups"]
    if sum(map(len, groups)) > MOST_IN_ALL:
        raise OutOfRange(f"at most {MOST_IN_ALL} readings in all", "groups")
    found = components.one_way(groups)
    split = {
        "within_sd": found.within_sd,
        "between_sd": math.sqrt(found.between_variance),
        "within_freedom": found.within_freedom,
        "between_freedom": found.between_freedom,
        "ratio": _known(found.ratio),
        "probability": _known(found.probability, 100.0),
        "explained": _known(found.explained, 100.0),
        "quantity": given["quantity"],
    }
    merged = summary.merge(Moments.of(group) for group in groups)
    return _result(given, merged, groups=split)


def _runs(given: Given) -> dict[str, Any]:
    averages, deviations = given["averages"], given["deviations"]
    for name, table in (("averages", averages), ("deviations", deviations)):
        uneven = [place for place, run in enumerate(table) if len(run) != len(averages[0])]
        if uneven:
            raise Contradiction(
                f"every run must have {len(averages[0])} days, like the first", f"{name}.{uneven[0]}"
            )
    found = components.nested_components(np.array(averages), np.array(deviations), given["repetitions"])
    note = []
    if found.day_variance < 0.0 or found.run_variance < 0.0:
        note = ["A variance came out negative: nothing shows beyond the spread within, and it counts as 0."]
    told_ = {name: _known(value) for name, value in vars(found).items()}
    return _result(given, runs=told_ | {"quantity": given["quantity"]}, note=note)


def _line(given: Given) -> dict[str, Any]:
    kind, x_kind = given["quantity"], given["x_quantity"]
    if len(given["x"]) != len(given["values"]):
        raise Contradiction(f"must give {len(given['values'])} places, one for each of the values", "x")
    found = LineSums.of(given["x"], given["values"]).line(given["through_origin"])
    per, unit = _slope_unit(kind, x_kind)
    told_ = {
        "slope": found.slope * per,
        "slope_sd": _known(found.slope_sd, per),
        "slope_unit": unit,
        "intercept": found.intercept,
        "intercept_sd": _known(found.intercept_sd),
        "residual_sd": _known(found.residual_sd),
        "explained": _known(found.explained, 100.0),
        "freedom": found.freedom,
        "quantity": kind,
        "x_quantity": x_kind,
        **_asked_of(found, given),
    }
    return _result(given, Moments.of(given["values"]), line=told_)


def _slope_unit(kind: str, x_kind: str) -> tuple[float, str]:
    """Return the factor from kept units to the reader's, and the unit in words."""
    (y_kept, y), (x_kept, x) = ((KINDS[name].unit, KINDS[name].out(current.units)) for name in (kind, x_kind))
    rise, run = (convert(1, kept, out) - convert(0, kept, out) for kept, out in ((y_kept, y), (x_kept, x)))
    return rise / run, f"{y} per {x}"


def _asked_of(found: lines.Line, given: Given) -> dict[str, float | None]:
    if "at" in given:
        return {"at": given["at"], "value": found.intercept + found.slope * given["at"]}
    if "reaches" not in given:
        return {"at": None, "value": None}
    if found.slope == 0.0:
        raise OutOfRange("the line is level: it reaches one value only", "reaches")
    return {"at": (given["reaches"] - found.intercept) / found.slope, "value": given["reaches"]}


SUMMARY = Calculation(
    name="summary",
    title="Readings summed up",
    about=(
        "Readings, and sums of readings from before, give count, mean and standard deviation together; sums "
        "can be taken out again. With the width of a bin: counted readings, quantiles, and, the other way "
        "round, the share inside limits. Groups tell whether they differ, runs of a check piece where its "
        "spread comes from, and values read at many places the straight line through them, its value at a "
        "place and where it reaches a value."
    ),
    question=SummaryQuestion,
    result=SummaryResult,
    ways=(
        Way("moments", (AnyOf("values", "moments"),), _moments, may=("without",)),
        Way("quantiles", (AnyOf("values", "bins"), "bin_width"), _quantiles,
            may=("shares", "lower", "upper")),
        Way("groups", ("groups",), _groups),
        Way("runs", ("averages", "deviations", "repetitions"), _runs),
        Way("line", ("x_quantity", "x", "values"), _line),
        Way("line", ("x_quantity", "x", "values", "at"), _line),
        Way("line", ("x_quantity", "x", "values", "reaches"), _line),
    ),
    source=(
        "T. F. Chan, G. H. Golub & R. J. LeVeque, Algorithms for computing the sample variance, The American "
        "Statistician 37, 242 (1983)",
        "R. A. Fisher's analysis of variance; ordinary least squares",
        "NIST/SEMATECH e-Handbook of Statistical Methods, 2.4.4, for days within runs",
    ),
    validity=(
        f"Readings of one kind within ± {MOST:,.0f}: give larger ones less a number that all share. Up to "
        f"{MOST_READINGS:,} at once, {MOST_IN_ALL:,} in groups, and sums of any number."
    ),
    formulas=(summary.Moments.of, summary.merge, summary.Bins.quantile, lines.LineSums.line,
              components.one_way, components.nested_components),
    blame={"width": "bin_width", "other": "without", "share": "shares", "y": "values"},
)  # fmt: skip
