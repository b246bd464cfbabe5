"""Hygrometer checks over HTTP."""

from __future__ import annotations

from typing import Any

import pytest

from tests.reference import load
from tests.server.calculations.conftest import Ask, quantity


def percent(value: float) -> dict[str, Any]:
    return quantity(value, "percent")


WARM: dict[str, Any] = {"temperature": quantity(25, "degC")}


# pins hygrometer-check: L. Greenspan, J. Res. NBS 81A(1), 89 (1977): every salt of
#     tests/reference/saturated_salts.csv at 20 and 25 degC
@pytest.mark.parametrize("row", load.table("saturated_salts"), ids=lambda row: row["salt"])
@pytest.mark.parametrize("celsius", [20, 25])
def test_humidity_over_every_salt(ask: Ask, row: dict[str, str], celsius: int) -> None:
    found = ask("hygrometer-check", temperature=quantity(celsius, "degC"), salt=row["salt"])
    assert found["relative_humidity"]["value"] == pytest.approx(float(row[f"RH_eq_{celsius}C"]), abs=6e-4)
    if celsius == 25 and row["RH_published_rounded_25C"]:
        published = float(row["RH_published_rounded_25C"])
        assert found["relative_humidity"]["value"] == pytest.approx(published, abs=0.06)


# pins hygrometer-check: MgCl2 32.79 %, NaCl 75.30 % at 25 degC; a line through both, by hand
def test_two_salts_correct_a_reading(ask: Ask) -> None:
    both = {"low_reading": percent(36.8), "high_reading": percent(79.3)}
    found = ask("hygrometer-check", **WARM, **both, shown=percent(54))
    assert (found["low"]["value"], found["high"]["value"]) == pytest.approx((32.79, 75.30), abs=5e-3)
    gain = (75.298 - 32.788) / (79.3 - 36.8)
    assert found["relative_humidity"]["value"] == pytest.approx(32.788 + gain * (54 - 36.8), abs=1e-2)
    assert found["low_error"]["value"] > 0  # it shows too damp
    back = ask("hygrometer-check", **WARM, **both, relative_humidity=found["relative_humidity"])
    assert back["calculated"] == "shown"
    assert back["shown"]["value"] == pytest.approx(54, abs=1e-3)


def test_one_salt_tells_the_error_there(ask: Ask) -> None:
    found = ask("hygrometer-check", **WARM, salt="NaCl", reading=percent(78))
    assert found["low_error"]["value"] == pytest.approx(2.7, abs=5e-3)
    assert any("second one" in note for note in found["note"])


def test_beyond_the_salts_it_says_so(ask: Ask) -> None:
    both = {"low_reading": percent(33), "high_reading": percent(75)}
    assert len(ask("hygrometer-check", **WARM, **both, shown=percent(50))["note"]) == 1
    assert "beyond the two salts" in ask("hygrometer-check", **WARM, **both, shown=percent(12))["note"][1]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"low_reading": percent(70), "high_reading": percent(40)}, "/high_reading"),
        ({"low_reading": percent(50), "high_reading": percent(60)}, "/high_reading"),
        ({"low_reading": percent(33)}, "/high_reading"),
        ({"low_reading": percent(74), "high_reading": percent(80), "low_salt": "NaCl", "high_salt": "KCl"},
         "/high_salt"),
        ({"salt": "NaCl", "temperature": quantity(-5, "degC")}, "/temperature/value"),
    ],
)  # fmt: skip
def test_readings_that_no_hygrometer_gives_are_named(refuse: Ask, body: dict[str, Any], pointer: str) -> None:
    assert refuse("hygrometer-check", **WARM | body)["errors"][0]["pointer"] == pointer
