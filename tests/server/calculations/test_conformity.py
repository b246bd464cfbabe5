"""Conformity over HTTP."""

from __future__ import annotations

import math
from typing import Any

import pytest
from scipy.stats import norm

from tests.reference import load
from tests.server.calculations.conftest import Ask, mm, quantity

CENTS = "cents"


def limits(row: dict[str, str]) -> dict[str, Any]:
    """Return the limits of a row that are there."""
    found = {"lower": row["T_L"], "upper": row["T_U"]}
    return {name: mm(float(text)) for name, text in found.items() if text}


# pins conformity: JCGM 106:2012 clause 7, the examples of tests/reference/conformity.csv (inputs from memory)
@pytest.mark.parametrize("row", load.table("conformity"), ids=lambda row: row["case"])
def test_published_probabilities(ask: Ask, row: dict[str, str]) -> None:
    found = ask(
        "conformity", quantity="pickup-height", value=mm(float(row["estimate_y"])),
        uncertainty=mm(float(row["u"])), **limits(row),
    )  # fmt: skip
    assert found["probability"]["value"] / 100 == pytest.approx(float(row["published_pc"]), abs=0.005)


# pins conformity: y 13.6, u 1.8, [12.5, 16.3] -> 0.6626, normal tables
def test_the_two_sided_example(ask: Ask) -> None:
    found = ask(
        "conformity", quantity="action", value=mm(13.6), lower=mm(12.5), upper=mm(16.3), uncertainty=mm(1.8)
    )
    assert found["probability"]["value"] == pytest.approx(66.26, abs=5e-3)
    assert found["verdict"] == "too close to call"
    assert "nothing is filed" in found["note"][0]


# pins conformity: scipy.stats.norm, an independent library
@pytest.mark.parametrize(("value", "u"), [(0.12, 0.03), (0.2, 0.05), (0.31, 0.02)])
def test_normal_probability_agrees_with_scipy(ask: Ask, value: float, u: float) -> None:
    found = ask(
        "conformity", quantity="relief", value=mm(value), lower=mm(0.1), upper=mm(0.3), uncertainty=mm(u)
    )
    expected = norm.cdf(0.3, value, u) - norm.cdf(0.1, value, u)
    assert found["probability"]["value"] == pytest.approx(100 * expected, abs=1e-4)


def test_only_the_step_of_the_tool_is_known(ask: Ask) -> None:
    # rectangular error: the share of ± δ/2 about the reading inside the limits
    body: dict[str, Any] = {"quantity": "action", "lower": mm(1.45), "upper": mm(1.95), "resolution": mm(0.5)}
    found = ask("conformity", value=mm(1.5), **body)
    assert found["probability"]["value"] == pytest.approx(60)
    assert found["uncertainty"] is None


def test_a_known_spread_is_at_least_the_step(ask: Ask) -> None:
    # JCGM 100:2008 F.2.2.1: u = max(s, δ/√12); the mean of 4 readings has s/2; a converted one × its factor
    body: dict[str, Any] = {"quantity": "relief", "value": mm(0.2), "lower": mm(0.1), "upper": mm(0.3)}
    coarse = ask("conformity", **body, repeatability=mm(0.01), resolution=mm(0.05))
    assert coarse["uncertainty"]["value"] == pytest.approx(0.05 / math.sqrt(12), abs=1e-6)
    assert ask("conformity", **body, repeatability=mm(0.03), repeats=4)["uncertainty"][
        "value"
    ] == pytest.approx(0.015)
    assert ask("conformity", **body, repeatability=mm(0.02), factor=1.473)["uncertainty"][
        "value"
    ] == pytest.approx(0.02946)


# pins conformity: bands that a bench's tools can call: relief 0.150 to 0.250, action 1.59 to 1.81,
#     intonation ± 1.35; computed, JCGM 106:2012 7.3 with 95 %
@pytest.mark.parametrize(
    ("kind", "unit", "middle", "half", "u", "low", "high"),
    [
        ("relief", "mm", 0.20, 0.10, 0.03, 0.150, 0.250),
        ("action", "mm", 1.70, 0.25, 0.08, 1.59, 1.81),
        ("action", "mm", 2.40, 0.30, 0.115, 2.29, 2.51),
        ("intonation", "cents", 0.0, 3.0, 1.0, -1.35, 1.35),
    ],
)
def test_bands(
    ask: Ask, kind: str, unit: str, middle: float, half: float, u: float, low: float, high: float
) -> None:
    body = {
        "quantity": kind, "lower": quantity(middle - half, unit), "upper": quantity(middle + half, unit),
        "uncertainty": quantity(u, unit),
    }  # fmt: skip
    found = ask("conformity", **body)
    assert found["calculated"] == "limits"
    assert found["lowest"]["value"] == pytest.approx(low, abs=0.01)
    assert found["highest"]["value"] == pytest.approx(high, abs=0.01)
    edge = ask("conformity", value=found["lowest"], **body)
    assert edge["probability"]["value"] == pytest.approx(95, abs=0.01)


def test_a_band_of_steps_and_one_that_is_empty(ask: Ask) -> None:
    body: dict[str, Any] = {"quantity": "relief", "lower": mm(0.1), "upper": mm(0.3)}
    by_step = ask("conformity", **body, resolution=mm(0.05))
    edge = ask("conformity", **body, resolution=mm(0.05), value=by_step["highest"])
    assert edge["probability"]["value"] == pytest.approx(95, abs=0.01)
    hopeless = ask("conformity", **body, uncertainty=mm(0.2))
    assert hopeless["lowest"] is None
    assert "too narrow" in hopeless["note"][0]


def test_the_largest_uncertainty_is_where_the_band_closes(ask: Ask) -> None:
    body: dict[str, Any] = {"quantity": "relief", "lower": mm(0.1), "upper": mm(0.3)}
    largest = ask("conformity", **body)["largest_uncertainty"]
    assert largest["value"] == pytest.approx(0.1 / norm.ppf(0.975), abs=1e-5)
    middle = ask("conformity", **body, value=mm(0.2), uncertainty=largest)
    assert middle["probability"]["value"] == pytest.approx(95, abs=0.01)


# pins conformity: intonation +2.2 and +1.8 c at ± 3, s 1.0: P 0.79 and 0.88, too close to call; normal tables
@pytest.mark.parametrize(("cents", "share"), [(2.2, 0.79), (1.8, 0.88)])
def test_too_close_to_call_says_how_often_to_read(ask: Ask, cents: float, share: float) -> None:
    body = {"quantity": "intonation", "lower": quantity(-3, CENTS), "upper": quantity(3, CENTS)}
    found = ask("conformity", **body, value=quantity(cents, CENTS), repeatability=quantity(1, CENTS))
    assert found["probability"]["value"] / 100 == pytest.approx(share, abs=0.006)
    assert found["verdict"] == "too close to call"
    again = ask("conformity", **body, value=quantity(cents, CENTS), repeatability=quantity(1, CENTS),
                repeats=found["repeats_needed"])  # fmt: skip
    assert again["verdict"] == "in spec"


def test_zero_or_less_is_never_in_spec(ask: Ask) -> None:
    body: dict[str, Any] = {"quantity": "relief", "value": mm(0), "at_most": True, "uncertainty": mm(0.03)}
    assert ask("conformity", **body, lower=mm(0.1), upper=mm(0.3))["verdict"] == "out of spec"
    open_ = ask("conformity", **body, upper=mm(0.3))
    assert open_["verdict"] == "too close to call"
    assert open_["probability"] is None


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"lower": mm(0.4)}, "/lower"),
        ({"value": quantity(2, "cents")}, "/value/unit"),
        ({"value": mm(5000)}, "/value/value"),
        ({"quantity": "loudness"}, "/quantity"),
        ({"uncertainty": mm(0)}, "/uncertainty/value"),
    ],
)
def test_bad_input_is_named(refuse: Ask, change: dict[str, Any], pointer: str) -> None:
    body = {
        "quantity": "relief",
        "value": mm(0.2),
        "lower": mm(0.1),
        "upper": mm(0.3),
        "uncertainty": mm(0.03),
    }
    assert pointer in [each["pointer"] for each in refuse("conformity", **body | change)["errors"]]


def test_answers_in_thousandths(ask: Ask) -> None:
    found = ask("conformity", "inch", quantity="relief", lower=mm(0.1), upper=mm(0.3), uncertainty=mm(0.03))
    assert found["lowest"]["unit"] == "thou"
    assert found["lowest"]["value"] == pytest.approx(0.1493 / 0.0254, abs=0.02)
