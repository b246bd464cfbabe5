"""Adjustment response over HTTP."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects  # type: ignore[import-untyped]

from tests.reference import load
from tests.server.calculations.conftest import Ask, mm, quantity


def per_turn(value: float) -> dict[str, Any]:
    return quantity(value, "mm/turn")


def turns(value: float) -> dict[str, Any]:
    return quantity(value, "turn")


def sample(moved: float, change: float, instrument: str = "one", **more: Any) -> dict[str, Any]:
    return {
        "moved": turns(moved), "before": mm(0.4), "after": mm(round(0.4 + change, 6)),
        "uncertainty_before": mm(0.02), "uncertainty_after": mm(0.02), "instrument": instrument,
        "model": "electric",
    } | more  # fmt: skip


STUDIES = load.table("partial_pooling_raudenbush1985")
ESTIMATES = [
    {"estimate": per_turn(float(row["yi"])), "uncertainty": per_turn(float(row["vi"]) ** 0.5)}
    for row in STUDIES
]


# pins adjustment-response: S. W. Raudenbush in The Handbook of Research Synthesis (2009), data of Raudenbush
#     & Bryk (1985): REML tau² 0.0188, mean 0.0837, and the 19 published shrunk estimates
def test_the_published_shrunk_estimates(ask: Ask) -> None:
    found = ask("adjustment-response", estimates=ESTIMATES)
    assert found["calculated"] == "pooled"
    assert found["between_sd"]["value"] ** 2 == pytest.approx(0.0188, abs=5e-5)
    assert found["mean"]["value"] == pytest.approx(0.0837, abs=5e-5)
    for row, shrunk in zip(STUDIES, found["shrunk"], strict=True):
        assert shrunk["estimate"]["value"] == pytest.approx(
            float(row["published_eb_estimate_REML"]), abs=6e-5
        )


# pins adjustment-response: DerSimonian-Laird tau² 0.0259 and mean 0.0893 as published, and statsmodels
def test_the_moment_estimates(ask: Ask) -> None:
    found = ask("adjustment-response", estimates=ESTIMATES, method="dl")
    assert found["between_sd"]["value"] ** 2 == pytest.approx(0.0259, abs=5e-5)
    assert found["mean"]["value"] == pytest.approx(0.0893, abs=5e-5)
    other = combine_effects(
        np.array([float(row["yi"]) for row in STUDIES]), np.array([float(row["vi"]) for row in STUDIES]),
        method_re="chi2",
    )  # fmt: skip
    assert found["between_sd"]["value"] ** 2 == pytest.approx(other.tau2, abs=1e-6)
    assert found["mean"]["value"] == pytest.approx(other.mean_effect_re, abs=1e-6)


# pins adjustment-response: one turn of tightening takes 0.40 mm of relief, common practice, no published
#     source, ± 0.16 mm, judgement: 0.45 -> 0.20 mm is 5/8 turn in all, a quarter now
def test_how_much_to_turn_without_samples(ask: Ask) -> None:
    found = ask("adjustment-response", change=mm(-0.25))
    assert found["in_all"]["turns"] == turns(0.625)
    assert (found["now"]["turns"], found["now"]["direction"]) == (turns(0.25), "tighten")
    assert found["now"]["change"]["value"] == pytest.approx(-0.1)
    assert found["now"]["sd"]["value"] == pytest.approx(0.04)  # a quarter of 0.16 mm a turn
    assert found["response"]["level"] == "prior"
    back = ask("adjustment-response", turns=found["in_all"]["turns"])
    assert back["calculated"] == "change"
    assert back["in_all"]["change"]["value"] == pytest.approx(-0.25)


def test_never_more_than_a_quarter_turn_at_once(ask: Ask) -> None:
    stiff = {"prior": per_turn(-0.02), "prior_sd": per_turn(0.01)}
    for change in (-2.0, 2.0):
        found = ask("adjustment-response", change=mm(change), **stiff)
        assert abs(found["now"]["turns"]["value"]) <= 0.25 < abs(found["in_all"]["turns"]["value"])
    assert ask("adjustment-response", change=mm(0.2))["now"]["direction"] == "loosen"


def test_samples_teach_the_instrument_its_model_and_the_shop(ask: Ask) -> None:
    samples = [sample(0.25, -0.12), sample(0.25, -0.13), sample(-0.125, 0.04, "two")]
    found = ask("adjustment-response", samples=samples, instrument="one", model="electric")
    assert found["response"]["level"] == "instrument"
    assert found["response"]["samples"] == 2
    assert found["response"]["response"]["value"] < -0.42
    assert found["response"]["sd"]["value"] < 0.16
    assert found["used"] == 3
    unknown = ask("adjustment-response", samples=samples, instrument="nine", model="electric")
    assert (unknown["response"]["of"], unknown["response"]["level"]) == ("electric", "model")
    other = ask("adjustment-response", samples=samples)
    assert (other["response"]["of"], other["response"]["level"]) == ("shop", "shop")
    assert unknown["response"]["sd"]["value"] < other["response"]["sd"]["value"]
    turned = ask("adjustment-response", samples=samples, instrument="one", change=mm(-0.1))
    expected = 0.25 * found["response"]["response"]["value"]
    assert turned["now"]["change"]["value"] == pytest.approx(expected, abs=1e-6)  # told to six digits


def test_doubtful_samples_are_flagged(ask: Ask) -> None:
    samples = [
        sample(0.25, -0.1), sample(0.25, 0.4), sample(0.02, -0.01), sample(0.25, -0.1, settled=False),
        sample(0.5, -0.2),
    ]  # fmt: skip
    found = ask("adjustment-response", samples=samples)
    told = {each["index"]: (each["used"], each["reason"]) for each in found["flagged"]}
    assert {index: used for index, (used, _) in told.items()} == {1: False, 2: False, 3: False, 4: True}
    assert "wrong sign" in told[1][1]
    assert found["used"] == 2
    assert "left out" in found["note"][0]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"samples": [sample(0.25, -0.1), sample(0.25, -0.1, model="bass")]}, "/samples"),
        ({"change": mm(-0.1), "prior": per_turn(0)}, "/prior"),
        ({"samples": [sample(0.25, -0.1, "with a space")]}, "/samples/0/instrument"),
        ({"change": mm(-0.1), "turns": turns(0.25)}, "/turns"),
        ({"estimates": [{"estimate": per_turn(0.1)}]}, "/estimates/0/uncertainty"),
    ],
)
def test_what_does_not_fit_is_named(refuse: Ask, body: dict[str, Any], pointer: str) -> None:
    assert pointer in [each["pointer"] for each in refuse("adjustment-response", **body)["errors"]]
