"""Strings over their frets from a bench's heights, and where a saddle stands, judged by a tuner."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import board, setback
from shimstock_calc.board import board_from_readings
from shimstock_calc.clearance import string_clearance
from shimstock_calc.compensation import StringGeometry, intonation_curve
from shimstock_calc.errors import CalculationError
from shimstock_calc.neck import string_line
from shimstock_calc.pluck import Pluck
from shimstock_calc.relief import curvature_from_relief
from shimstock_calc.setback import setback_for_intonation, string_stretch

SCALES = [647.7, 660.0, 672.0]
BENDS = [curvature_from_relief(0.2, scale, 16, (1, 22), 9) for scale in SCALES]


def fan():
    return board_from_readings(
        SCALES, BENDS, [0.35, 0.4, 0.45], [1.5, 1.6, 1.7], frets=22, body_joint_fret=16
    )


def test_every_string_agrees_with_the_neck_model_by_itself():
    laid = fan()
    for n, scale in enumerate(SCALES):
        line = string_line(
            0.2, (0.35, 0.4, 0.45)[n], (1.5, 1.6, 1.7)[n], scale_length=scale, body_joint_fret=16,
            held=(1, 22), fret=9,
        )  # fmt: skip
        assert laid.slot_heights[n] == pytest.approx(float(line.slot), abs=1e-9)
        assert laid.saddle_heights[n] == pytest.approx(float(line.saddle), abs=1e-9)


def test_the_map_of_a_board_gives_its_actions_back():
    gap = string_clearance(fan().fretwork(), Pluck(130.0, amplitude=0.0)).gap
    assert gap[:, 0, 0] == pytest.approx([0.35, 0.4, 0.45], abs=1e-12)
    assert gap[:, 0, 11] == pytest.approx([1.5, 1.6, 1.7], abs=1e-12)


def test_a_string_of_the_board_sounds_as_it_does_alone():
    laid = fan()
    together = intonation_curve(laid.geometry(12), [50.0, 80.0, 200.0], 0.002).cents
    alone = intonation_curve(laid.geometry(12, [1]), 80.0, 0.002).cents
    assert together[1] == pytest.approx(alone[0], abs=1e-12)


def test_over_a_straight_board_the_nearest_of_the_frets_touched_at_once_is_told():
    level = board_from_readings(648.0, 0.0, 0.4, 1.6, frets=22, body_joint_fret=16)
    found = string_clearance(level.fretwork(), Pluck(130.0, amplitude=0.5))
    # above the joint every board is straight: all frets up to the pluck come near at once
    assert found.touching_fret[0, 1:12].tolist() == list(range(2, 13))


@given(st.floats(-3.0, 6.0), st.integers(3, 22), st.floats(20.0, 500.0))
def test_the_setback_behind_a_reading_comes_back(place, fret, kappa):
    geometry = fan().geometry(22, [0])
    sharp = intonation_curve(geometry, kappa, 0.003, saddle_setback=place, frets=22).cents[0, fret - 1]
    if abs(sharp) < 100.0:
        found = setback_for_intonation(geometry, kappa, 0.003, sharp, fret)
        assert found[0] == pytest.approx(place, abs=1e-6)


def test_a_sharper_reading_means_a_saddle_nearer_to_the_nut():
    geometry = StringGeometry(650.0, 1.0, 5.0)
    flat, sharp = setback_for_intonation(geometry, 51.0, 0.00236, [-3.0, 3.0])
    assert sharp < flat


def test_how_steel_and_nylon_answer():
    # kappa = A E / T by hand: pi/4·0.4318²·203400/76
    steel = string_stretch("steel", 650.0, 76.0, 0.4318, 0.4318)
    assert steel is not None
    assert steel.kappa == pytest.approx(np.pi / 4 * 0.4318**2 * 203400 / 76)
    # a hexagonal core by its own section: A √3/2·s², B0 √(E·I/T)/X0 with I 5√3/144·s⁴
    hexagon = string_stretch("steel", 650.0, 76.0, 0.4, 1.2, core_shape="hex")
    assert hexagon is not None
    assert hexagon.kappa == pytest.approx(3**0.5 / 2 * 0.4**2 * 203400 / 76)
    bend = (203400 * 5 * 3**0.5 / 144 * 0.4**4 / 76) ** 0.5 / 650
    assert hexagon.stiffness == pytest.approx(bend)
    # R 25 of Anderson & Beausoleil (2024), default guitar: kappa 51, B0 0.00236 at 0.43 mm radius
    nylon = string_stretch("nylon", 650.0, None, None, 0.86)
    assert nylon is not None
    assert (nylon.kappa, nylon.stiffness) == pytest.approx((51.0, 0.00236), abs=1e-5)
    assert string_stretch("steel", 650.0, None, 0.4, 0.4) is None
    assert string_stretch("steel", 650.0, 70.0, None, 1.0) is None
    assert string_stretch("gut", 650.0, 70.0, None, None) is None


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: board_from_readings(648.0, 0.0, 0.4, 1.6, frets=40, body_joint_fret=16), "frets"),
        (lambda: board_from_readings(648.0, np.nan, 0.4, 1.6, frets=22, body_joint_fret=16), "relief"),
        (lambda: setback_for_intonation(StringGeometry(650.0, 1.0, 5.0), 51.0, 0.002, 120.0), "intonation"),
        (lambda: setback_for_intonation(StringGeometry(650.0, 1.0, 5.0), 51.0, 0.002, -90.0), "intonation"),
        (lambda: setback_for_intonation(StringGeometry(650.0, 1.0, 5.0), 51.0, 0.002, 0.0, 40), "fret"),
        (lambda: string_stretch("steel", 650.0, 0.0, 0.4, 0.4), "tension"),
    ],
)
def test_bad_input_names_its_field(call, field):
    with pytest.raises(CalculationError) as refused:
        call()
    assert refused.value.field == field


@pytest.mark.parametrize("module", [board, setback], ids=lambda module: module.__name__)
def test_examples_in_the_docstrings(module):
    assert doctest.testmod(module).failed == 0
