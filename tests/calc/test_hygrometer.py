"""Humidity over saturated salts, and the correction of a hygrometer from two of them."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shimstock_calc import hygrometer
from shimstock_calc.errors import CalculationError
from shimstock_calc.hygrometer import hygrometer_check, one_point_error, salt_humidity, salts
from tests.reference.load import table

ROWS = table("saturated_salts")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["salt"])
def test_every_salt_of_the_table(row):
    # L. Greenspan, J. Res. NBS 81A(1), 89 (1977): equation to 3 decimals; the rounded table to its decimal
    for temperature in ("20", "25"):
        found = float(salt_humidity(row["salt"], float(temperature)))
        assert found == pytest.approx(float(row[f"RH_eq_{temperature}C"]), abs=0.0006)
        rounded = row[f"RH_published_rounded_{temperature}C"]
        if rounded:
            assert found == pytest.approx(float(rounded), abs=0.06)


@pytest.mark.parametrize(
    "temperature, humidity",
    [(0, 75.51), (5, 75.65), (10, 75.67), (15, 75.61), (20, 75.47), (25, 75.29), (30, 75.09)],
)
def test_table_salt_at_every_temperature_of_a_bench(temperature, humidity):
    # L. Greenspan, J. Res. NBS 81A(1), 89 (1977), Table 2, NaCl (from memory)
    assert salt_humidity("NaCl", float(temperature)) == pytest.approx(humidity, abs=0.012)


def test_the_two_salts_of_a_bench_at_25_degrees():
    # Greenspan (1977): MgCl2 32.79, NaCl 75.30 % at 25 degC
    assert salt_humidity("MgCl2", 25.0) == pytest.approx(32.79, abs=0.005)
    assert salt_humidity("NaCl", 25.0) == pytest.approx(75.30, abs=0.005)


def test_every_salt_is_shipped_and_stays_a_humidity_over_its_whole_range():
    assert set(salts()) == {row["salt"] for row in ROWS}
    for name, salt in salts().items():
        humidity = salt_humidity(name, np.linspace(salt.coldest, salt.warmest, 50))
        assert ((humidity > 0.0) & (humidity < 100.0)).all()


@given(st.floats(0.7, 1.4), st.floats(-8.0, 8.0), st.floats(20.0, 90.0), st.floats(15.0, 30.0))
def test_a_hygrometer_with_a_known_fault_is_put_right(gain, offset, true, temperature):
    def shows(humidity):
        return (humidity - offset) / gain

    low, high = float(salt_humidity("MgCl2", temperature)), float(salt_humidity("NaCl", temperature))
    assume(shows(low) >= 0.0 and shows(high) <= 100.0 and 0.0 <= shows(true) <= 100.0)
    check = hygrometer_check(shows(low), shows(high), temperature)
    assert check.corrected(shows(true)) == pytest.approx(true, abs=1e-9)
    assert check.shown(true) == pytest.approx(shows(true), abs=1e-9)
    assert check.low_error == pytest.approx(shows(low) - low, abs=1e-9)


def test_a_hygrometer_that_shows_too_damp_is_corrected_downward():
    check = hygrometer_check(36.8, 79.3, 25.0)
    assert check.low_error > 0
    assert check.high_error > 0
    assert check.corrected(50.0) < 50.0
    assert "too damp" in check.text
    assert one_point_error(79.3, "NaCl", 25.0) == pytest.approx(check.high_error)


def test_outside_the_salts_it_says_so():
    check = hygrometer_check(33.0, 75.0, 25.0)
    assert not check.extrapolates([35.0, 60.0, 78.0])
    assert check.extrapolates([20.0])
    assert check.extrapolates(95.0)
    assert check.uncertainty == 1.5  # judgement


@pytest.mark.parametrize(
    "off, words", [(1.0, "as good as"), (5.0, "use the correction"), (9.0, "replace it")]
)
def test_the_size_of_the_error_is_put_in_words(off, words):
    assert words in hygrometer_check(32.8 + off, 75.3 + off, 25.0).text


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: salt_humidity("sugar", 20.0), "salt"),
        (lambda: salt_humidity("K2CO3", 45.0), "temperature"),
        (lambda: hygrometer_check(30.0, 120.0, 20.0), "high_reading"),
        (lambda: hygrometer_check(-1.0, 70.0, 20.0), "low_reading"),
        (lambda: hygrometer_check(75.0, 33.0, 20.0), "high_reading"),
        (lambda: hygrometer_check(50.0, 55.0, 20.0), "high_reading"),
        (lambda: hygrometer_check(33.0, 43.0, 20.0, "MgCl2", "K2CO3"), "high_salt"),
        (lambda: hygrometer_check(33.0, 75.0, 20.0).corrected(101.0), "relative_humidity"),
        (lambda: one_point_error(float("nan"), "NaCl", 20.0), "reading"),
    ],
)
def test_bad_input_names_its_field(call, field):
    with pytest.raises(CalculationError) as caught:
        call()
    assert caught.value.field == field


def test_examples_in_the_docstrings():
    assert doctest.testmod(hygrometer).failed == 0
