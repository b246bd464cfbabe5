"""Saddle position from intonation readings."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from shimstock_calc import intonation
from shimstock_calc.errors import Missing, OutOfRange

REFERENCE = Path(__file__).parent.parent / "reference" / "saddle_move.csv"


def saddle_rows():
    with REFERENCE.open(encoding="utf-8") as file:
        lines = [line for line in file if not line.startswith("#")]
    return [[float(value) for value in row] for row in list(csv.reader(lines))[1:]]


@pytest.mark.parametrize("row", saddle_rows(), ids=lambda row: f"{row[0]:g}mm{row[1]:+g}c")
def test_saddle_move_matches_the_exact_ratio(row):
    # elementary geometry, exact ratio: tests/reference/saddle_move.csv
    assert intonation.saddle_move(row[1], row[0]) == pytest.approx(row[2], abs=6e-7)


def test_first_order_is_the_scale_over_1731_234_per_cent():
    # 1200/ln 2 = 1731.234
    assert intonation.saddle_move(0.01, 650.0) == pytest.approx(650.0 * 0.01 / 1731.234, rel=2e-5)


def test_a_sharp_note_moves_the_saddle_away_from_the_nut():
    assert intonation.saddle_move(+3.0, 650.0) > 0 > intonation.saddle_move(-3.0, 650.0)


@given(st.floats(-60, 60), st.floats(300, 920), st.integers(5, 22))
def test_moving_the_saddle_by_what_was_computed_brings_the_note_in_tune(cents, scale, fret):
    move = intonation.saddle_move(cents, scale, fret)
    assert intonation.intonation_after_move(cents, move, scale, fret) == pytest.approx(0.0, abs=1e-7)


def test_two_millimetres_of_travel_leave_8_7_of_14_cents():
    # exact ratio, worked by hand: r·(X + 2)/(X + 4) at 647.7 mm
    assert intonation.intonation_after_move(14.0, 2.0, 647.7) == pytest.approx(8.7, abs=0.05)


def test_turns_follow_the_thread():
    assert intonation.saddle_turns(2.07, 0.5) == pytest.approx(4.14)


def test_one_fret_by_least_squares_is_the_exact_move():
    assert intonation.saddle_position(10.0, 12, 650.0).saddle == pytest.approx(3.787352, abs=1e-6)


@given(st.floats(-3, 3), st.floats(-1, 1))
def test_saddle_and_nut_are_found_together(saddle, nut):
    # readings made from the exact string lengths by hand, then solved for
    frets = np.arange(1, 13)
    fretted = 650.0 * 2 ** (-frets / 12)
    cents = -1200 * np.log2((650 + saddle + nut) / 650) + 1200 * np.log2((fretted + saddle) / fretted)
    found = intonation.saddle_position(cents, frets, 650.0, move_nut=True)
    assert found.saddle == pytest.approx(saddle, abs=1e-6)
    assert found.nut == pytest.approx(nut, abs=1e-6)
    assert found.rms == pytest.approx(0.0, abs=1e-6)


def test_least_squares_agree_with_an_independent_optimiser():
    # scipy.optimize.least_squares on the same readings
    frets = np.array([1, 3, 5, 7, 9, 12])
    cents = np.array([9.0, 6.5, 5.0, 6.0, 4.0, 5.5])
    fretted = 650.0 * 2 ** (-frets / 12)

    def detuned(moves):
        return cents + 1200 * (
            np.log2((650 + moves[0] + moves[1]) / 650) - np.log2((fretted + moves[0]) / fretted)
        )

    oracle = least_squares(detuned, [0.0, 0.0], x_scale=1.0, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    found = intonation.saddle_position(cents, frets, 650.0, move_nut=True)
    assert [found.saddle, found.nut] == pytest.approx(oracle.x, abs=1e-5)
    assert found.residual == pytest.approx(oracle.fun, abs=1e-4)


def test_sharp_at_the_low_frets_only_shortens_the_string_at_the_nut():
    found = intonation.saddle_position([8.0, 6.0, 4.5, 0.0], [1, 2, 3, 12], 650.0, move_nut=True)
    assert found.nut < 0


@pytest.mark.parametrize(
    "call, kind, field",
    [
        (lambda: intonation.saddle_move(150.0, 650.0), OutOfRange, "intonation"),
        (lambda: intonation.saddle_move(100.0, 650.0, 1), OutOfRange, "intonation"),
        (lambda: intonation.saddle_move(5.0, 0.0), OutOfRange, "scale_length"),
        (lambda: intonation.saddle_turns(1.0, 0.0), OutOfRange, "thread_pitch"),
        (lambda: intonation.saddle_position([5.0], [12], 650.0, move_nut=True), Missing, "frets"),
        (lambda: intonation.saddle_position([5.0, 4.0], [12], 650.0), OutOfRange, "frets"),
        (lambda: intonation.intonation_after_move(5.0, -400.0, 650.0), OutOfRange, "move"),
    ],
)
def test_impossible_input_is_refused_by_name(call, kind, field):
    with pytest.raises(kind) as error:
        call()
    assert error.value.field == field
