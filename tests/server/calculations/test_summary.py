"""Summaries over HTTP."""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from typing import Any

import numpy as np
import pytest

from tests.reference import load
from tests.server.calculations.conftest import Ask, mm, quantity

# The datasets have no unit; a length in mm carries their numbers.
KIND = {"quantity": "length"}


def lengths(values: Iterable[float]) -> list[dict[str, Any]]:
    return [mm(value) for value in values]


# pins summary: NIST Statistical Reference Datasets, univariate: NumAcc1 to 3 and Lew, to the last digit told
@pytest.mark.parametrize("row", load.table("nist_strd_univariate_certified"), ids=lambda row: row["dataset"])
def test_certified_means_and_deviations(ask: Ask, row: dict[str, str]) -> None:
    values = load.column("nist_strd_univariate", "y", dataset=row["dataset"])
    found = ask("summary", **KIND, values=lengths(values))
    assert found["count"] == int(row["n"])
    assert found["mean"]["value"] == pytest.approx(float(row["certified_mean"]), abs=5e-7)
    assert found["sd"]["value"] == pytest.approx(float(row["certified_sd"]), abs=1e-6)


# pins summary: T. F. Chan, G. H. Golub & R. J. LeVeque (1983): sums merged are the sum at once, and come out
#     again
def test_sums_merge_and_come_out_again(ask: Ask) -> None:
    values = load.column("nist_strd_univariate", "y", dataset="Lew")

    def moments(part: list[float]) -> dict[str, Any]:
        found = ask("summary", **KIND, values=lengths(part))
        return {**KIND, "count": found["count"], "mean": found["mean"], "sd": found["sd"]}

    first, rest = moments(values[:70]), values[70:]
    both = ask("summary", **KIND, moments=[first], values=lengths(rest))
    assert both["count"] == 200
    assert both["sd"]["value"] == pytest.approx(277.332168, abs=1e-4)
    left = ask("summary", **KIND, values=lengths(values), without=[first])
    assert left["count"] == 130
    assert left["mean"]["value"] == pytest.approx(statistics.fmean(rest), abs=1e-4)
    single = ask("summary", **KIND, values=[mm(3)])
    assert (single["mean"]["value"], single["sd"]) == (3.0, None)


# pins summary: NIST StRD one-way analysis of variance: SiRstv, SmLs01 and SmLs07
@pytest.mark.parametrize(("name", "digits"), [("SiRstv", 1e-4), ("SmLs01", 1e-9), ("SmLs07", 1e-2)])
def test_certified_analysis_of_variance(ask: Ask, name: str, digits: float) -> None:
    row = load.rows("nist_strd_anova_certified", dataset=name)[0]
    groups: dict[str, list[dict[str, Any]]] = {}
    for each in load.rows("nist_strd_anova", dataset=name):
        # SmLs07 stands on 1e12: a reading of 1e8 at most, so it is taken off, which changes no difference
        base = 1e12 if name == "SmLs07" else 0
        groups.setdefault(each["group"], []).append(mm(float(each["y"]) - base))
    found = ask("summary", **KIND, groups=list(groups.values()))["groups"]
    assert found["ratio"] == pytest.approx(float(row["cert_F"]), rel=digits)
    assert found["within_sd"]["value"] == pytest.approx(float(row["cert_residual_sd"]), abs=1e-4)
    assert found["between_freedom"] == int(row["df_between"])
    assert found["within_freedom"] == int(row["df_within"])
    assert found["explained"]["value"] == pytest.approx(100 * float(row["cert_R2"]), abs=0.1)


# pins summary: NIST StRD one-way analysis of variance: SmLs02 and SmLs03, 201 and 2001 readings a group (the
#     pattern of SmLs01 goes on; F 201 and 2001 and the residual deviation 0.1 from memory)
@pytest.mark.parametrize("size", [201, 2001])
def test_as_many_readings_as_the_standards_sets_have(ask: Ask, size: int) -> None:
    of_one: dict[str, list[float]] = {}
    for each in load.rows("nist_strd_anova", dataset="SmLs01"):
        of_one.setdefault(each["group"], []).append(float(each["y"]))
    groups = [lengths([first, *([low, high] * (size // 2))]) for first, low, high, *_ in of_one.values()]
    found = ask("summary", **KIND, groups=groups)["groups"]
    assert found["ratio"] == pytest.approx(size, rel=1e-9)
    assert found["within_sd"]["value"] == pytest.approx(0.1, abs=1e-9)
    assert found["within_freedom"] == 9 * (size - 1)


# pins summary: NIST StRD Mavro, mean 2.001856 and standard deviation 0.000429123454003053 (from memory)
def test_a_small_spread_keeps_its_digits(ask: Ask) -> None:
    certified = {"mean": mm(2.001856), "sd": mm(0.000429123454003053)}
    found = ask("summary", **KIND, moments=[{**KIND, "count": 50, **certified}])
    assert found["sd"]["value"] == pytest.approx(0.000429123454003053, rel=2e-6)
    assert found["mean"]["value"] == 2.001856
    inches = ask("summary", "inch", **KIND, moments=[{**KIND, "count": 50, **certified}])
    assert inches["sd"]["value"] == pytest.approx(0.000429123454003053 / 25.4, rel=5e-6)


def test_what_is_nothing_is_told_as_nothing(ask: Ask) -> None:
    found = ask("summary", **KIND, values=lengths([0.1, 0.2, -0.3]))
    assert found["mean"]["value"] == 0.0


# pins summary: NIST StRD linear regression: Norris, and NoInt1 and NoInt2 through the origin, to 8 digits
@pytest.mark.parametrize(("name", "through"), [("Norris", False), ("NoInt1", True), ("NoInt2", True)])
def test_certified_lines(ask: Ask, name: str, through: bool) -> None:
    data = load.rows("nist_strd_linreg", dataset=name)
    found = ask(
        "summary", **KIND, x_quantity="length", x=lengths(float(row["x"]) for row in data),
        values=lengths(float(row["y"]) for row in data), through_origin=through,
    )["line"]  # fmt: skip
    terms = {row["term"]: row for row in load.rows("nist_strd_linreg_certified", dataset=name)}
    slope = terms["B1"]
    assert found["slope"] == pytest.approx(float(slope["certified_estimate"]), rel=1e-8)
    assert found["slope_sd"] == pytest.approx(float(slope["certified_se"]), rel=1e-8)
    assert found["residual_sd"]["value"] == pytest.approx(float(slope["certified_residual_sd"]), abs=1e-6)
    assert found["explained"]["value"] == pytest.approx(100 * float(slope["certified_R2"]), abs=1e-5)
    if not through:
        assert found["intercept"]["value"] == pytest.approx(
            float(terms["B0"]["certified_estimate"]), abs=1e-6
        )
        assert found["intercept_sd"]["value"] == pytest.approx(float(terms["B0"]["certified_se"]), abs=1e-6)


def test_a_lines_value_and_where_it_reaches_one(ask: Ask) -> None:
    line = {
        "quantity": "relief", "x_quantity": "moisture", "values": lengths([0.1, 0.16, 0.22]),
        "x": [quantity(each, "percent") for each in (6, 8, 10)],
    }  # fmt: skip
    found = ask("summary", **line, at=quantity(9, "percent"))["line"]
    assert found["value"]["value"] == pytest.approx(0.19)
    assert (found["slope"], found["slope_unit"]) == (pytest.approx(0.03), "mm per percent")
    back = ask("summary", **line, reaches=found["value"])["line"]
    assert (back["at"]["value"], back["at"]["unit"]) == (pytest.approx(9), "percent")
    inches = ask("summary", "inch", **line)["line"]
    assert (inches["slope"], inches["slope_unit"]) == (pytest.approx(30 / 25.4), "thou per percent")


# pins summary: NIST/SEMATECH e-Handbook 2.4.4, MPC441: a negative variance between days counts as 0
def test_days_within_runs(ask: Ask) -> None:
    rows = load.table("nist_mpc441")
    runs = [[row for row in rows if row["run"] == run] for run in ("1", "2")]
    found = ask(
        "summary", **KIND, averages=[lengths(float(row["average"]) for row in run) for run in runs],
        deviations=[lengths(float(row["sd_6reps"]) for row in run) for run in runs], repetitions=6,
    )  # fmt: skip
    told = found["runs"]
    averages = np.array([[float(row["average"]) for row in run] for run in runs])
    assert told["day_average_sd"]["value"] == pytest.approx(
        np.sqrt(averages.var(axis=1, ddof=1).mean()), abs=1e-6
    )
    assert told["run_average_sd"]["value"] == pytest.approx(averages.mean(axis=1).std(ddof=1), abs=1e-6)
    assert told["day_sd"]["value"] == 0.0
    assert "counts as 0" in found["note"][0]


# pins summary: quantiles within a bin's width of numpy's, and the share inside limits, the other way round
def test_quantiles_from_counted_readings(ask: Ask) -> None:
    values = np.random.default_rng(5).normal(0.2, 0.05, 400).round(3)
    body: dict[str, Any] = {"quantity": "relief", "bin_width": mm(0.01)}
    shares = [0.05, 0.5, 0.95]
    found = ask("summary", **body, values=lengths(values), shares=shares)
    told = [each["value"]["value"] for each in found["quantiles"]]
    assert told == pytest.approx(np.quantile(values, shares), abs=0.01)
    inside = ask("summary", **body, values=lengths(values), lower=mm(told[0]), upper=mm(told[2]))
    assert inside["share_inside"]["value"] == pytest.approx(90, abs=0.01)
    merged = ask("summary", **body, bins=found["bins"], values=lengths(values[:10]))
    assert merged["count"] == 410
    again = ask("summary", **body, bins=found["bins"])
    assert again["quantiles"][2]["value"]["value"] == pytest.approx(told[1])


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"moments": [{"quantity": "relief", "count": 3, "mean": mm(1), "sd": mm(0.1)}]},
         "/moments/0/quantity"),
        ({"moments": [{**KIND, "count": 3, "mean": mm(1)}]}, "/moments/0/sd"),
        ({"values": lengths([1]), "without": [{**KIND, "count": 2, "mean": mm(1), "sd": mm(1)}]},
         "/without"),
        ({"values": lengths([1, 2]), "x_quantity": "length", "x": lengths([1])}, "/x"),
        ({"values": lengths([1, 2]), "x_quantity": "length", "x": lengths([1, 1])}, "/x"),
        ({"groups": [lengths([1]), lengths([2])]}, "/groups"),
        ({"values": lengths([1, 2]), "bin_width": mm(1), "lower": mm(2), "upper": mm(1)}, "/lower"),
        ({"averages": [lengths([1, 2]), lengths([1, 2, 3])], "deviations": [lengths([1, 2])] * 2,
          "repetitions": 3}, "/averages/1"),
        ({"values": [quantity(1, "percent")]}, "/values/0/unit"),
        ({"values": lengths([-1e8, 1e8]), "bin_width": mm(1e-6), "shares": [1.5]}, "/shares/0"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named(refuse: Ask, body: dict[str, Any], pointer: str) -> None:
    assert refuse("summary", **KIND, **body)["errors"][0]["pointer"] == pointer
