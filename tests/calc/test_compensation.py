"""Cents of fretted notes and the setbacks that cure them, against the published tables."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares, minimize

from shimstock_calc import compensation as module
from shimstock_calc.compensation import (
    StringGeometry,
    compensation,
    intonation_curve,
    kappa_from_section,
    kappa_from_stretch,
    open_stiffness,
)
from shimstock_calc.errors import CalculationError
from shimstock_calc.relief import curvature_from_relief, neck_height
from shimstock_calc.scale import fret_position
from tests.depth import amount
from tests.reference.load import table

SETBACKS = table("compensation")
DEFAULT_GUITAR = table("intonation_default_guitar")
PUBLISHED = StringGeometry(650.0, nut_height=1.0, saddle_height=5.0)
B0 = 0.00236
CASES = {
    "uncomp_d0": (0.0, 0.0, 0.0),
    "uncomp_d10": (0.0, 0.0, 10.0),
    "comp_1.8_-0.38_d0": (1.8, -0.38, 0.0),
    "comp_1.8_-0.38_d10": (1.8, -0.38, 10.0),
}


def default_guitar(case):
    saddle, nut, pressing = CASES[case]
    geometry = StringGeometry(650.0, 1.0, 5.0, pressing)
    return intonation_curve(geometry, 51.0, B0, saddle_setback=saddle, nut_setback=nut)


def printed(case, column):
    return np.array([float(row[column]) for row in DEFAULT_GUITAR if row["case"] == case])


def stiffening(B):
    return 1.0 + B + (1.0 + np.pi**2 / 2.0) * B**2


def test_every_published_setback_comes_out():
    # Anderson & Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024), setback tables
    assert len(SETBACKS) == 12
    found = compensation(
        PUBLISHED, [float(row["kappa"]) for row in SETBACKS], [float(row["B0"]) for row in SETBACKS]
    )
    assert found.saddle_setback == pytest.approx([float(row["dS_pub_mm"]) for row in SETBACKS], abs=0.05)
    assert found.nut_setback == pytest.approx([float(row["dN_pub_mm"]) for row in SETBACKS], abs=0.01)
    assert found.rms == pytest.approx([float(row["rms_pub_cents"]) for row in SETBACKS], abs=0.01)


def test_the_published_rms_counts_the_open_string_as_a_thirteenth_note():
    # same tables: with that count the residual meets the printed one five times closer
    found = compensation(
        PUBLISHED, [float(row["kappa"]) for row in SETBACKS], [float(row["B0"]) for row in SETBACKS]
    )
    with_open_string = found.rms * np.sqrt(12.0 / 13.0)
    assert with_open_string == pytest.approx([float(row["rms_pub_cents"]) for row in SETBACKS], abs=0.0015)


@pytest.mark.parametrize("row", SETBACKS, ids=lambda row: f"{row['set']}-{row['string']}")
def test_kappa_is_twice_the_stretch_coefficient_plus_one(row):
    # same tables; R printed to 0.1
    assert kappa_from_stretch(float(row["R"])) == pytest.approx(float(row["kappa"]), abs=0.11)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize(
    "column, field, tolerance",
    [
        ("length_cents", "length", 6e-6),
        ("mass_cents", "mass", 6e-6),
        ("tension_cents", "tension", 6e-6),
        ("Qn", "stretch", 6e-12),
        ("stiffness_cents", "stiffness", 0.034),
        ("total_cents", "cents", 0.034),
    ],
)
def test_every_cause_of_the_default_guitar(case, column, field, tolerance):
    # computed from the equations of Anderson & Beausoleil (2024), 5 decimals; the stiffness column takes the
    # ratio of the sounding lengths where the equation has g, see the next test
    assert getattr(default_guitar(case), field)[0] == pytest.approx(printed(case, column), abs=tolerance)


@pytest.mark.parametrize("case", CASES)
def test_the_default_guitars_stiffness_with_the_ratio_of_sounding_lengths(case):
    # same table to its last decimal: L0/Ln instead of g in Bn
    curve = default_guitar(case)
    ratio = 2.0 ** (np.arange(1, 13) / 12.0) * 2.0 ** (curve.length[0] / 1200.0)
    Bn = ratio * B0 / np.sqrt(1.0 + 51.0 * curve.stretch[0])
    by_length = 1200.0 * np.log2(stiffening(Bn) / stiffening(B0))
    assert by_length == pytest.approx(printed(case, "stiffness_cents"), abs=6e-6)
    total = curve.cents[0] - curve.stiffness[0] + by_length
    assert total == pytest.approx(printed(case, "total_cents"), abs=2e-5)


@settings(max_examples=amount(20, deep=400))
@given(st.floats(30.0, 160.0), st.floats(0.0005, 0.004), st.floats(0.3, 1.5), st.floats(2.0, 14.0))
def test_scipy_finds_the_same_minimum(kappa, stiffness, nut, saddle):
    # scipy.optimize.least_squares as an independent solver
    geometry = StringGeometry(645.2, nut, saddle)
    found = compensation(geometry, kappa, stiffness)

    def residual(setbacks):
        return intonation_curve(
            geometry, kappa, stiffness, saddle_setback=setbacks[0], nut_setback=setbacks[1]
        ).cents[0]

    oracle = least_squares(residual, [0.0, 0.0], jac="3-point", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert found.rms[0] <= np.sqrt(2.0 * oracle.cost / 12.0) + 1e-9
    assert found.saddle_setback[0] == pytest.approx(oracle.x[0], abs=1e-4)
    assert found.nut_setback[0] == pytest.approx(oracle.x[1], abs=1e-4)


def test_the_saddle_alone_is_set_when_the_nut_stays():
    found = compensation(PUBLISHED, 48.2, 0.0019, move_nut=False)
    assert found.nut_setback[0] == 0.0

    def rms(setback):
        curve = intonation_curve(PUBLISHED, 48.2, 0.0019, saddle_setback=float(setback[0]))
        return float(np.sqrt(np.mean(curve.cents**2)))

    oracle = minimize(rms, [1.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    assert found.saddle_setback[0] == pytest.approx(oracle.x[0], abs=1e-6)
    assert found.rms[0] > compensation(PUBLISHED, 48.2, 0.0019).rms[0]


def test_a_steel_string_is_compensated_the_more_the_thicker_its_core():
    # common practice, no published source: from about 1 mm for E4 to 4 mm for a plain G3
    diameter = np.array([0.254, 0.3302, 0.4318])  # .010 .013 .017
    frequency = np.array([329.628, 246.942, 195.998])
    area = np.pi / 4.0 * diameter**2
    tension = 7850e-12 * area * (2.0 * 647.7 * frequency) ** 2
    kappa = kappa_from_section(area, 203400.0, tension)
    geometry = StringGeometry(647.7, nut_height=0.4, saddle_height=3.5)
    found = compensation(geometry, kappa, open_stiffness(kappa, diameter / 2.0, 647.7), move_nut=False)
    assert (np.diff(found.saddle_setback) > 0.0).all()
    assert (found.saddle_setback > 0.7).all()
    assert (found.saddle_setback < 5.0).all()


def test_kappa_of_steel_does_not_depend_on_gauge_at_one_pitch_and_scale():
    # T is proportional to the section: kappa = E / (rho (2 X f)^2)
    area = np.array([0.03, 0.05, 0.09])
    tension = 7850e-12 * area * (2.0 * 647.7 * 329.628) ** 2
    assert np.ptp(kappa_from_section(area, 203400.0, tension)) < 1e-9
    assert kappa_from_section(0.05067, 203400.0, 72.524) == pytest.approx(
        203400e6 / (7850.0 * (2 * 0.6477 * 329.628) ** 2), rel=1e-3
    )


@given(st.floats(2.0, 20.0), st.floats(0.1, 4.0))
def test_higher_action_makes_every_fretted_note_sharper(saddle, rise):
    low = intonation_curve(StringGeometry(650.0, 0.5, saddle), 51.0, B0)
    high = intonation_curve(StringGeometry(650.0, 0.5, saddle + rise), 51.0, B0)
    assert (high.cents > low.cents).all()


def test_a_saddle_farther_back_flattens_every_note_and_the_high_frets_most():
    before = intonation_curve(PUBLISHED, 51.0, B0)
    after = intonation_curve(PUBLISHED, 51.0, B0, saddle_setback=2.0)
    change = (after.cents - before.cents)[0]
    assert (change < 0.0).all()
    assert (np.diff(change) < 0.0).all()


def test_a_nut_moved_toward_the_saddle_flattens_every_note_alike():
    change = (
        intonation_curve(PUBLISHED, 51.0, B0, nut_setback=-0.4).cents
        - intonation_curve(PUBLISHED, 51.0, B0).cents
    )[0]
    assert (change < 0.0).all()
    assert np.ptp(change) < 0.02  # the open string alone has become shorter


def test_a_high_nut_slot_sharpens_the_first_frets_and_leaves_the_twelfth():
    # computed by these equations: a slot 0.2 mm too high is +0.6 c (.010) to +1.6 c (.017) at fret 1
    for diameter, frequency, low, high in ((0.254, 329.628, 0.4, 0.9), (0.4318, 195.998, 1.2, 2.2)):
        area = np.pi / 4.0 * diameter**2
        kappa = float(kappa_from_section(area, 203400.0, 7850e-12 * area * (2.0 * 647.7 * frequency) ** 2))
        stiffness = float(open_stiffness(kappa, diameter / 2.0, 647.7))
        right = intonation_curve(StringGeometry(647.7, 0.45, 3.6), kappa, stiffness).cents[0]
        raised = intonation_curve(StringGeometry(647.7, 0.65, 3.6), kappa, stiffness).cents[0]
        change = raised - right
        assert low < change[0] < high
        assert (np.diff(change) < 0.0).all()
        assert 0.0 < change[11] < change[0] / 3.0
        assert change[11] < 0.7  # far inside the usual 3 cents


def test_relief_enters_with_the_shape_of_the_neck_and_vanishes_when_straight():
    x = 650.0 * (1.0 - 2.0 ** (-np.arange(0, 13) / 12.0))
    bow = 0.5 * 1.2e-5 * (392.0 - x) ** 2 * (x < 392.0)
    straight = intonation_curve(PUBLISHED, 51.0, B0)
    with_zeros = intonation_curve(StringGeometry(650.0, 1.0, 5.0, fret_heights=np.zeros(12)), 51.0, B0)
    assert (with_zeros.cents == straight.cents).all()
    bowed = StringGeometry(650.0, 1.0 + bow[0], 5.0, fret_heights=bow[1:])
    assert not np.allclose(intonation_curve(bowed, 51.0, B0).cents, straight.cents, atol=0.01)


@pytest.mark.parametrize("joint", [12, 14, 16, 19])
def test_raising_the_saddle_by_twice_the_relief_is_right_at_the_12th_fret_only(joint):
    # the source replaces c by c + 2·relief at the 12th; the neck's shape does 2 to 3 times as much low down
    x = np.asarray(fret_position(np.arange(13), 650.0))
    k = curvature_from_relief(0.25, 650.0, joint, (1, 19), 8)
    y = np.asarray(neck_height(x, k, fret_position(joint, 650.0)))
    straight = intonation_curve(PUBLISHED, 51.0, B0).cents[0]
    bowed = StringGeometry(650.0, 1.0 + y[0], 5.0, fret_heights=y[1:])
    exact = intonation_curve(bowed, 51.0, B0).cents[0] - straight
    at_12 = y[0] / 2.0 - y[12]
    shortcut = intonation_curve(StringGeometry(650.0, 1.0, 5.0 + 2.0 * at_12), 51.0, B0).cents[0] - straight
    assert (exact > 0.0).all()  # more relief sharpens every fretted note
    assert exact[11] / shortcut[11] == pytest.approx(1.0, abs=0.12)
    assert (exact[:5] / shortcut[:5] > 1.8).all()
    assert (exact[:5] / shortcut[:5] < 3.1).all()


def test_a_string_lifted_with_its_neck_as_a_rigid_whole_sounds_the_same():
    # turning nut, frets and saddle about the bridge changes no distance to first order
    tilt = 2e-4
    x = 650.0 * (1.0 - 2.0 ** (-np.arange(0, 13) / 12.0))
    lift = tilt * (650.0 - x)
    turned = StringGeometry(650.0, 1.0 + lift[0], 5.0, fret_heights=lift[1:])
    assert intonation_curve(turned, 51.0, B0).cents == pytest.approx(
        intonation_curve(PUBLISHED, 51.0, B0).cents, abs=0.01
    )


def test_strings_are_worked_together_as_they_are_alone():
    together = compensation(
        StringGeometry([650.0, 640.0, 630.0], [0.5, 0.6, 0.7], 6.0), [50.0, 60.0, 70.0], 0.002
    )
    alone = compensation(StringGeometry(640.0, 0.6, 6.0), 60.0, 0.002)
    assert together.saddle_setback[1] == pytest.approx(alone.saddle_setback[0], abs=1e-6)
    assert together.curve.cents.shape == (3, 12)


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: StringGeometry(50.0, 1.0, 5.0), "scale_length"),
        (lambda: StringGeometry(650.0, float("nan"), 5.0), "nut_height"),
        (lambda: StringGeometry(650.0, 1.0, -1.0), "saddle_height"),
        (lambda: StringGeometry(650.0, 1.0, 5.0, -1.0), "pressing_distance"),
        (lambda: StringGeometry(650.0, 1.0, 5.0, 0.0, [99.0]), "fret_heights"),
        (lambda: intonation_curve(StringGeometry(650.0, 1.0, 5.0, 30.0), 51.0, B0), "pressing_distance"),
        (
            lambda: intonation_curve(StringGeometry(650.0, 1.0, 5.0, 0.0, [0.1, 0.1]), 51.0, B0),
            "fret_heights",
        ),
        (lambda: intonation_curve(PUBLISHED, 0.0, B0), "kappa"),
        (lambda: intonation_curve(PUBLISHED, 51.0, 0.5), "stiffness"),
        (lambda: intonation_curve(PUBLISHED, 51.0, B0, frets=99), "frets"),
        (lambda: intonation_curve(PUBLISHED, 51.0, B0, saddle_setback=99.0), "saddle_setback"),
        (lambda: compensation(PUBLISHED, 51.0, B0, frets=1), "frets"),
        (lambda: kappa_from_section(0.0, 200000.0, 70.0), "core_area"),
        (lambda: kappa_from_stretch(-1.0), "stretch_coefficient"),
    ],
)
def test_bad_input_names_its_field(call, field):
    with pytest.raises(CalculationError) as caught:
        call()
    assert caught.value.field == field


def test_examples_in_the_docstrings():
    assert doctest.testmod(module).failed == 0
