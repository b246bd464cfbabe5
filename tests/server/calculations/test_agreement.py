"""Bench agreement over HTTP."""

from __future__ import annotations

from typing import Any

import pytest

from tests.reference import load
from tests.server.calculations.conftest import Ask, mm


def study() -> list[list[list[dict[str, Any]]]]:
    """Return the published study: 10 parts, 3 operators, 3 trials."""
    cells: dict[tuple[int, str], list[dict[str, Any]]] = {}
    for row in load.table("gauge_rr_aiag"):
        cells.setdefault((int(row["part"]), row["operator"]), []).append(mm(float(row["value"])))
    return [[cells[part, operator] for operator in "ABC"] for part in range(1, 11)]


def published(method: str) -> dict[str, float]:
    """Return what is published of it."""
    return {
        row["quantity"]: float(row["published"])
        for row in load.rows("gauge_rr_aiag_published", method=method)
    }


def spread(found: dict[str, Any], part: str, member: str = "sd") -> float:
    """Return the standard deviation or the share of a component."""
    return float(next(each for each in found["components"] if each["comes_from"] == part)[member]["value"])


BODY: dict[str, Any] = {"quantity": "pickup-height", "readings": study(), "benches": ["A", "B", "C"]}


# pins bench-agreement: AIAG, Measurement Systems Analysis, 4th ed., ch. III-B, averages and ranges: EV
#     0.20188, AV 0.22963, GRR 0.30575, PV 1.10456 (± 0.0001), 26.68 %, ndc 5
def test_averages_and_ranges_as_published(ask: Ask) -> None:
    found, told = ask("bench-agreement", **BODY, method="average-range"), published("average_range")
    for part, name in (
        ("repeatability", "EV"), ("reproducibility", "AV"), ("measurement", "GRR"), ("pieces", "PV"),
        ("total", "TV"),
    ):  # fmt: skip
        assert spread(found, part) == pytest.approx(told[name], abs=1e-4)
    for part, name in (("repeatability", "pEV"), ("reproducibility", "pAV"), ("measurement", "pGRR")):
        assert spread(found, part, "share_of_spread") == pytest.approx(told[name], abs=0.011)
    assert found["classes"] == told["ndc"]


# pins bench-agreement: AIAG, ch. III-B, analysis of variance, interaction pooled: 27.86 %, ndc 4, and its
#     table
def test_the_analysis_of_variance_as_published(ask: Ask) -> None:
    found, told = ask("bench-agreement", **BODY), published("anova_pooled")
    for part, name in (
        ("repeatability", "repeat"), ("reproducibility", "repro"), ("measurement", "grr"), ("pieces", "part"),
    ):  # fmt: skip
        assert spread(found, part) ** 2 == pytest.approx(told[name], abs=5e-5)
    assert spread(found, "measurement", "share_of_spread") == pytest.approx(told["psv_grr"], abs=0.006)
    assert found["classes"] == told["ndc_raw"]
    assert found["pooled"] is True
    table = {row["comes_from"]: row for row in found["table"]}
    lines = published("anova")
    for name, key in (("pieces", "p"), ("benches", "o"), ("pieces × benches", "i"), ("repeats", "e")):
        square = table[name]["root_mean_square"]["value"] ** 2
        assert square == pytest.approx(lines[f"MS{key}"], abs=1e-5)
        assert square * table[name]["freedom"] == pytest.approx(lines[f"SS{key}"], abs=1e-4)
    assert table["pieces × benches"]["ratio"] == pytest.approx(lines["Fi"], abs=1e-3)
    assert table["pieces × benches"]["probability"]["value"] == pytest.approx(100 * lines["pi"], abs=0.1)


def test_without_pooling(ask: Ask) -> None:
    found, lines = (
        ask("bench-agreement", **BODY, pooling_level={"value": 100, "unit": "percent"}),
        published("anova"),
    )
    assert found["pooled"] is False
    table = {row["comes_from"]: row["ratio"] for row in found["table"]}
    assert table["pieces"] == pytest.approx(lines["Fp_int"], abs=0.05)
    assert table["benches"] == pytest.approx(lines["Fo_int"], abs=0.05)


def test_what_it_means_for_the_shop(ask: Ask) -> None:
    found = ask("bench-agreement", **BODY, tolerance=mm(8))
    words = " ".join(found["words"])
    assert "27.9 % of the whole spread is the measurement's, usable with care" in words
    assert "A reads highest, C lowest, 0.44 mm apart" in words
    assert spread(found, "measurement", "share_of_tolerance") == pytest.approx(
        100 * 6 * spread(found, "measurement") / 8, abs=1e-2
    )
    assert [bench["name"] for bench in found["benches"]] == ["A", "B", "C"]
    assert sum(bench["offset"]["value"] for bench in found["benches"]) == pytest.approx(0, abs=1e-5)
    inches = ask("bench-agreement", "inch", **BODY)
    assert "/64 in" in inches["words"][2]
    assert inches["components"][0]["sd"]["unit"] == "in/64"


# pins bench-agreement: six standard deviations of the measurement over the tolerance, asked back
def test_the_narrowest_spec_that_it_serves(ask: Ask) -> None:
    found = ask("bench-agreement", quantity="relief", spread=mm(0.02))
    assert found["calculated"] == "tolerance"
    assert found["tolerance"]["value"] == pytest.approx(6 * 0.02 / 0.30)
    assert "0.40 mm" in found["words"][0]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"readings": [[[mm(1), mm(2)], [mm(1), mm(2)]], [[mm(1), mm(2)], [mm(1), mm(2)], [mm(1), mm(2)]]]},
         "/readings/1"),
        ({"readings": [[[mm(1), mm(2)], [mm(1), mm(2), mm(3)]], [[mm(1), mm(2)], [mm(1), mm(2)]]]},
         "/readings/0/1"),
        ({"readings": [[[mm(1), mm(1)], [mm(1), mm(1)]], [[mm(1), mm(1)], [mm(1), mm(1)]]]}, "/readings"),
        ({"readings": [[[mm(1), mm(2)], [mm(1), mm(2)]]]}, "/readings"),
        ({"readings": [[[mm(1), mm(2)], [mm(1), {"value": 2, "unit": "Hz"}]], [[mm(1)] * 2] * 2]},
         "/readings/0/1/1/unit"),
        ({"benches": ["A", "B"]}, "/benches"),
        ({"quantity": "temperature"}, "/quantity"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named(refuse: Ask, change: dict[str, Any], pointer: str) -> None:
    body = {name: value for name, value in BODY.items() if name != "benches"} | change
    assert refuse("bench-agreement", **body)["errors"][0]["pointer"] == pointer
