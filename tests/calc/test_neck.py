"""Neck geometry: relief conversion, coupling of relief and action, capo, gap, gravity, shim."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from shimstock_calc import neck
from shimstock_calc.errors import Contradiction, OutOfRange

SCALE = 628.65


def frets_from_nut(fret: float, scale: float) -> float:
    return scale * (1 - 2 ** (-fret / 12))


@pytest.mark.parametrize("fret, share", [(5, 0.845), (7, 0.981), (8, 1.000), (9, 0.993), (12, 0.855)])
def test_relief_at_each_fret_relative_to_the_largest(fret, share):
    # constant curvature to the joint, elementary geometry: worked by hand for 628.65 mm, joint 16, held 1-22
    largest = neck.relief_per_curvature(SCALE, 16, (1, 22), 8)
    assert neck.relief_per_curvature(SCALE, 16, (1, 22), fret) / largest == pytest.approx(share, abs=6e-4)


@pytest.mark.parametrize(
    "joint, held, fret",
    [
        (16, (1, 22), 8),
        (14, (1, 22), 8),
        (19, (1, 22), 8),
        (22, (1, 22), 9),
        (16, (1, 17), 7),
        (14, (1, 14), 6),
    ],
)
def test_where_relief_reads_largest(joint, held, fret):
    # elementary geometry
    assert neck.largest_relief_fret(SCALE, joint, held) == fret


def test_relief_held_1_to_14_becomes_relief_held_1_to_20():
    # elementary geometry: joint 14, held 1-14 read at 7, times 1.473 = held 1-20 read at 8
    factor = neck.relief_conversion(645.2, 14, (1, 14), 7, to_held=(1, 20), to_fret=8)
    assert factor == pytest.approx(1.473, abs=5e-4)
    assert neck.relief_at_fret(0.16, 645.2, 14, (1, 14), 7, to_held=(1, 20), to_fret=8) == pytest.approx(
        0.236, abs=5e-4
    )


@pytest.mark.parametrize(
    "joint, action, nut_action", [(14, 1.58, 0.44), (16, 1.67, 0.43), (19, 1.80, 0.43), (22, 1.92, 0.44)]
)
def test_coupling_of_relief_and_action_for_each_joint(joint, action, nut_action):
    # elementary geometry at fixed slot and saddle: held 1-22, read at 9, 628.65 mm
    assert neck.relief_coupling(SCALE, joint, (1, 22), 9, at=12) == pytest.approx(action, abs=6e-3)
    assert neck.relief_coupling(SCALE, joint, (1, 22), 9, at=1) == pytest.approx(nut_action, abs=6e-3)


@pytest.mark.parametrize(
    "place, action, nut_action",
    [
        ((628.65, 16, (1, 22), 9), 1.670, 0.430),
        ((647.7, 16, (1, 21), 8), 1.719, 0.443),
        ((863.6, 16, (1, 20), 8), 1.793, 0.462),
    ],
)
def test_coupling_depends_on_the_hold_points(place, action, nut_action):
    # elementary geometry
    assert neck.relief_coupling(*place, at=12) == pytest.approx(action, abs=6e-4)
    assert neck.relief_coupling(*place, at=1) == pytest.approx(nut_action, abs=6e-4)


def test_coupling_held_at_the_joint_is_larger():
    # elementary geometry: joint 14, held 1-14, read at 7
    assert neck.relief_coupling(SCALE, 14, (1, 14), 7) == pytest.approx(2.46, abs=6e-3)


def test_the_neck_is_straight_beyond_the_joint():
    joint = frets_from_nut(16, SCALE)
    assert_allclose(neck.neck_height([joint, joint + 1, 600.0], 2e-5, joint), 0.0)
    assert neck.neck_height(0.0, 2e-5, joint) > neck.neck_height(100.0, 2e-5, joint) > 0


def test_forward_bow_is_positive_relief_and_raises_the_string():
    assert neck.relief_per_curvature(SCALE, 16, (1, 22), 8) > 0
    forecast = neck.action_forecast(
        2.0, 0.4, -0.1, scale_length=SCALE, body_joint_fret=16, held=(1, 22), fret=9
    )
    assert forecast.action < 2.0
    assert forecast.nut_action < 0.4


def test_a_saddle_raised_and_a_slot_lowered():
    # similar triangles: 0.056 and 1/2 of the saddle, 0.944 and 1/2 of the slot
    place = {"scale_length": SCALE, "body_joint_fret": 16, "held": (1, 22), "fret": 9}
    raised = neck.action_forecast(1.0, 0.5, 0.0, saddle_raised=1.0, **place)
    assert raised.action == pytest.approx(1.5)
    assert raised.nut_action == pytest.approx(0.556, abs=5e-4)
    lowered = neck.action_forecast(1.0, 0.5, 0.0, slot_lowered=0.1, **place)
    assert lowered.action == pytest.approx(0.95)
    assert lowered.nut_action == pytest.approx(0.5 - 0.0944, abs=5e-5)


def test_action_forecast_works_on_many_instruments_at_once():
    forecast = neck.action_forecast(
        np.full((3, 1), 2.2),
        0.5,
        np.array([-0.25, -0.10]),
        scale_length=np.array([[628.65], [647.7], [863.6]]),
        body_joint_fret=16,
        held=(1, 20),
        fret=8,
    )
    assert forecast.action.shape == (3, 2)
    alone = neck.action_forecast(
        2.2, 0.5, -0.10, scale_length=863.6, body_joint_fret=16, held=(1, 20), fret=8
    )
    assert forecast.action[2, 1] == pytest.approx(float(alone.action))


def test_capo_at_the_first_fret_lowers_the_twelfth_by_0_530_of_nut_action():
    # elementary geometry
    assert neck.open_action_from_capo(1.2, 0.4) == pytest.approx(1.2 + 0.530 * 0.4, abs=2e-4)


def test_gap_with_the_string_held_at_fret_3_is_0_647_of_the_slot_height():
    # elementary geometry on a straight neck: slot 0.2 mm high, gap 0.1294 mm, 12th-fret action 1.5 mm
    x_1, x_12 = frets_from_nut(1, SCALE), frets_from_nut(12, SCALE)
    slot, action = 0.2, 1.5
    expected = slot + (action - slot) * x_1 / x_12
    got = neck.nut_action_from_gap(0.6472 * slot, action, 0.0, SCALE, 16)
    assert got == pytest.approx(expected, abs=1e-4)


@given(
    st.floats(-0.2, 1.0), st.floats(0.3, 0.8), st.floats(1.0, 3.5), st.integers(12, 20), st.floats(400, 900)
)
def test_gap_at_fret_3_leads_back_to_the_nut_action_on_a_bent_neck(relief, nut_action, action, joint, scale):
    # the round trip: the string held at fret 3 drawn from slot to fret top, by hand
    line = neck.string_line(
        relief, nut_action, action, scale_length=scale, body_joint_fret=joint, held=(1, 20), fret=8, slack=5.0
    )
    x_1, x_3 = frets_from_nut(1, scale), frets_from_nut(3, scale)
    x_j = frets_from_nut(joint, scale)
    bend = [0.5 * float(line.curvature) * (x_j - x) ** 2 for x in (0.0, x_1, x_3)]
    start = bend[0] + float(line.slot)
    gap = start + (bend[2] - start) * x_1 / x_3 - bend[1]
    if gap >= 0:
        back = neck.nut_action_from_gap(gap, action, line.curvature, scale, joint)
        assert back == pytest.approx(nut_action, abs=1e-9)


def test_relief_on_the_back_is_less_than_in_playing_position():
    # computed, rough: about 0.07 mm on a guitar; a lever of the scale's length on a neck of its square
    assert neck.gravity_relief(648.0, 16, (1, 21), 8) == pytest.approx(0.07, abs=0.005)
    grown = neck.gravity_relief(864.0, 16, (1, 21), 8) / neck.gravity_relief(648.0, 16, (1, 21), 8)
    assert grown == pytest.approx((864.0 / 648.0) ** 3)


@given(st.integers(1, 2), st.integers(13, 22), st.integers(4, 11), st.floats(14, 22))
def test_a_neck_on_its_back_is_bent_alike_at_any_hold_frets(low, high, fret, joint):
    lacks = neck.gravity_relief(647.7, joint, (low, high), fret)
    here = neck.curvature_from_relief(lacks, 647.7, joint, (low, high), fret)
    there = neck.curvature_from_relief(
        neck.gravity_relief(647.7, joint, (1, 20), 8), 647.7, joint, (1, 20), 8
    )
    assert here == pytest.approx(float(there), rel=1e-9)


def test_twist_is_bass_minus_treble():
    assert neck.twist(0.30, 0.18) == pytest.approx(0.12)


def test_a_shim_of_half_a_millimetre_drops_the_plane_by_1_6_mm_at_the_saddle():
    # similar triangles: 0.5 mm over 76 mm, front edge at fret 16 of 628.65 mm
    front = frets_from_nut(16, SCALE)
    assert neck.shim_drop(0.5, 76.0, front, SCALE) == pytest.approx(1.64, abs=0.01)


def test_compliance_estimate_of_a_25_5_inch_maple_neck():
    # sag of a beam under a constant moment at mid-span; the stiffness is from memory
    assert neck.compliance_estimate(647.7, 16, (1, 21), 8) == pytest.approx(1.12e-3, abs=0.01e-3)
    # elementary beam theory: M·l²/(8·E·I)
    low, high = frets_from_nut(1, 647.7), frets_from_nut(20, 647.7)
    found = neck.compliance_estimate(647.7, 22, (1, 20), 7)
    assert found == pytest.approx(5.1e-8 / 8.0 * (high - low) ** 2, rel=1e-9)


@pytest.mark.parametrize("held, fret", [((1, 14), 6), ((1, 17), 8), ((2, 21), 9)])
def test_the_estimate_belongs_to_the_neck_and_not_to_its_hold_frets(held, fret):
    whole = neck.compliance_estimate(647.7, 16, (1, 21), fret, frets=21)
    there = neck.compliance_estimate(647.7, 16, held, fret, frets=21)
    shown = neck.relief_conversion(647.7, 16, (1, 21), fret, to_held=held, to_fret=fret)
    assert there == pytest.approx(whole * shown, rel=1e-9)


@given(
    st.floats(-0.3, 1.5), st.floats(0.1, 1.0), st.floats(0.8, 5.0), st.integers(12, 22), st.floats(400, 900)
)
def test_the_string_line_gives_back_the_readings_it_was_solved_from(relief, nut, action, joint, scale):
    place = {"scale_length": scale, "body_joint_fret": joint, "held": (1, 22), "fret": 9}
    line = neck.string_line(relief, nut, action, slack=10.0, **place)
    assert neck.action_at(line, 1, scale, joint) == pytest.approx(nut, abs=1e-9)
    assert neck.action_at(line, 12, scale, joint) == pytest.approx(action, abs=1e-9)
    # independent: the chord of the string held at 1 and 22, by hand
    x = np.array([frets_from_nut(n, scale) for n in (1, 9, 22)])
    y = 0.5 * float(line.curvature) * np.maximum(frets_from_nut(joint, scale) - x, 0.0) ** 2
    assert np.interp(x[1], x[[0, 2]], y[[0, 2]]) - y[1] == pytest.approx(relief, abs=1e-9)


@pytest.mark.parametrize(
    "relief, nut, action, field",
    [
        (0.2, 0.05, 1.5, "nut_action"),  # the slot would lie below the frets
        (0.2, 1.5, 0.6, "action"),  # the saddle would lie below the frets
        (-1.0, 0.2, 0.6, "relief"),  # such a back-bow would push the frets through the string
    ],
)
def test_readings_that_cannot_all_be_true_are_refused_by_name(relief, nut, action, field):
    with pytest.raises(Contradiction) as error:
        neck.string_line(relief, nut, action, scale_length=SCALE, body_joint_fret=16, held=(1, 22), fret=9)
    assert error.value.field == field


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: neck.relief_per_curvature(SCALE, 16, (1, 22), 22), "reading_fret"),
        (lambda: neck.relief_per_curvature(SCALE, 16, (17, 22), 19), "hold_frets"),
        (lambda: neck.curvature_from_relief(50.0, SCALE, 16, (1, 22), 9), "relief"),
        (lambda: neck.curvature_from_relief(float("nan"), SCALE, 16, (1, 22), 9), "relief"),
        (lambda: neck.largest_relief_fret(SCALE, 16, (5, 6)), "hold_frets"),
        (lambda: neck.shim_drop(0.5, 76.0, 700.0, SCALE), "pocket_front"),
    ],
)
def test_impossible_input_is_refused_by_name(call, field):
    with pytest.raises(OutOfRange) as error:
        call()
    assert error.value.field == field
