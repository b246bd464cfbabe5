"""Fret places against exact arithmetic, multi-scale boards, and the rule of an old board."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import scale
from shimstock_calc.errors import Contradiction, Missing, OutOfRange


@pytest.mark.parametrize(
    "fret, expected", [(1, 36.481697), (5, 163.050200), (7, 216.177047), (12, 325.0), (24, 487.5)]
)
def test_frets_of_650_mm(fret, expected):
    # elementary geometry of equal temperament, 650·(1 - 2^(-n/12))
    assert scale.fret_position(fret, 650.0) == pytest.approx(expected, abs=5e-7)


def test_the_divisor_of_equal_temperament():
    # elementary arithmetic of equal temperament
    assert pytest.approx(17.817154, abs=5e-7) == scale.EQUAL_DIVISOR
    positions = scale.fret_positions(650.0, 24)
    steps = np.diff(positions, prepend=0.0)
    remaining = 650.0 - np.concatenate(([0.0], positions[:-1]))
    np.testing.assert_allclose(remaining / steps, scale.EQUAL_DIVISOR)


def test_the_rule_of_eighteen_falls_short_of_the_octave():
    # elementary geometry, 650·(1 - (17/18)^12)
    assert scale.fret_position(12, 650.0, "rule of eighteen") == pytest.approx(322.636, abs=5e-4)


def test_the_twelfth_fret_halves_the_string_and_frets_close_up_toward_the_bridge():
    positions = scale.fret_positions(647.7, 24)
    assert positions[11] * 2 == pytest.approx(647.7)
    assert (np.diff(positions) > 0).all()
    assert (np.diff(positions, 2) < 0).all()


@given(st.floats(0.1, 36), st.floats(300, 920), st.sampled_from(list(scale.RATIOS)))
def test_position_fret_and_scale_length_round_trip(fret, scale_length, rule):
    position = scale.fret_position(fret, scale_length, rule)
    assert scale.fret_at(position, scale_length, rule) == pytest.approx(fret, rel=1e-9)
    assert scale.scale_length_for(fret, position, rule) == pytest.approx(scale_length, rel=1e-9)


def test_many_instruments_at_once():
    lengths = np.array([628.65, 647.7, 863.6])
    np.testing.assert_allclose(scale.fret_positions(lengths, 22)[:, 11], lengths / 2)
    assert scale.fret_positions(lengths, 22).shape == (3, 22)


def test_string_one_is_the_treble_string():
    lengths = scale.string_scale_lengths(bass=686.0, treble=648.0, strings=7)
    assert lengths[0] == 648.0
    assert lengths[-1] == 686.0
    np.testing.assert_allclose(np.diff(lengths), 38.0 / 6)


def test_one_scale_is_the_same_for_every_string():
    np.testing.assert_array_equal(scale.string_scale_lengths(650.0, 650.0, 6), np.full(6, 650.0))


@pytest.mark.parametrize("square", [0, 7, 9.5, 12])
def test_a_multi_scale_board_is_square_at_its_square_fret(square):
    board = scale.multi_scale_board(686.0, 648.0, 6, 24, square)
    crossing = board.nut + scale.fret_position(square, board.scale_lengths)
    np.testing.assert_allclose(crossing, crossing[0])
    np.testing.assert_allclose(board.saddle - board.nut, board.scale_lengths)
    # below the square fret the bass end of a fret lies toward the head, above it toward the bridge
    lean = board.frets[-1] - board.frets[0]
    assert (np.diff(lean) > 0).all()
    assert board.nut[-1] <= 0 <= board.saddle[-1] - board.saddle[0]


def test_frets_of_a_multi_scale_board_are_straight_lines():
    board = scale.multi_scale_board(686.0, 648.0, 6, 24, 7)
    np.testing.assert_allclose(np.diff(board.frets, 2, axis=0), 0.0, atol=1e-10)


@pytest.mark.parametrize("rule", list(scale.RATIOS))
@pytest.mark.parametrize("known", [True, False])
def test_the_rule_of_a_board_is_recognised(rule, known):
    frets = np.arange(1, 20)
    noise = np.random.default_rng(7).normal(0.0, 0.03, frets.size)
    places = scale.fret_position(frets, 650.0, rule) + noise
    found = scale.fret_rule(frets, places, 650.0 if known else None, uncertainty=0.03)
    assert found.rule == rule
    assert found.scale_lengths[rule] == pytest.approx(650.0, abs=0.1)
    assert found.misfits[rule] == min(found.misfits.values())
    expected = {"equal temperament": 17.817, "rule of eighteen": 18.0}[rule]
    assert found.divisor == pytest.approx(expected, abs=0.03)


def test_a_coarse_rule_cannot_tell_and_an_odd_board_is_neither():
    frets = np.arange(1, 13)
    places = scale.fret_position(frets, 650.0, "rule of eighteen")
    assert scale.fret_rule(frets, places, uncertainty=0.5).rule == "cannot tell"
    stretched = 650.0 * (1 - 0.9405**frets)
    odd = scale.fret_rule(frets, stretched, 650.0, uncertainty=0.1)
    assert odd.rule == "neither"
    assert odd.divisor == pytest.approx(1 / (1 - 0.9405), abs=1e-4)


def test_residuals_stand_in_the_order_given():
    places = np.array([0.0, 0.5, 0.0]) + scale.fret_position([12, 1, 5], 650.0)
    found = scale.fret_rule([12, 1, 5], places, 650.0)
    np.testing.assert_allclose(found.residuals["equal temperament"], [0.0, 0.5, 0.0], atol=1e-9)


@pytest.mark.parametrize(
    "call, error, field",
    [
        (lambda: scale.fret_position(37, 650.0), OutOfRange, "fret"),
        (lambda: scale.fret_position(-1, 650.0), OutOfRange, "fret"),
        (lambda: scale.fret_position(1, 25.5), OutOfRange, "scale_length"),
        (lambda: scale.fret_position(1, float("nan")), OutOfRange, "scale_length"),
        (lambda: scale.fret_position(1, 650.0, "rule of seventeen"), OutOfRange, "rule"),
        (lambda: scale.fret_at(650.0, 650.0), OutOfRange, "position"),
        (lambda: scale.scale_length_for(0, 325.0), OutOfRange, "fret"),
        (lambda: scale.fret_positions(650.0, 22.5), OutOfRange, "frets"),
        (lambda: scale.string_scale_lengths(0.0, 650.0, 6), OutOfRange, "bass"),
        (lambda: scale.string_scale_lengths(650.0, 650.0, 0), OutOfRange, "strings"),
        (lambda: scale.fret_rule([1, 2], [36.0, 70.0]), Missing, "frets"),
        (lambda: scale.fret_rule([1, 2, 3], [36.0, 70.0]), Contradiction, "positions"),
        (lambda: scale.fret_rule([1, 2, 2], [36.0, 70.0, 71.0]), Contradiction, "frets"),
        (lambda: scale.fret_rule([1, 2, 3], [36.0, 70.0, 60.0]), Contradiction, "positions"),
    ],
)
def test_bad_input_names_its_field(call, error, field):
    with pytest.raises(error) as caught:
        call()
    assert caught.value.field == field
