"""The swing of a plucked string, the map of its margins over the frets, and the rules for a buzz."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shimstock_calc import buzz, clearance, pluck
from shimstock_calc.buzz import buzz_causes
from shimstock_calc.clearance import Fretwork, action_for_clearance, line_from_actions, string_clearance
from shimstock_calc.errors import CalculationError
from shimstock_calc.neck import neck_height, string_line
from shimstock_calc.pluck import Pluck, amplitude_from_force, swing
from tests.reference.load import table

ENVELOPE = table("pluck_envelope")
SCALE = 647.7
JOINT = SCALE * (1.0 - 2.0 ** (-16 / 12))
FRETS = SCALE * (1.0 - 2.0 ** (-np.arange(1, 23) / 12.0))


def bow(relief, x=FRETS):
    """Fret tops of a neck bowed to a relief held at 1 and 22 and read at 9, constant curvature to fret 16."""

    def shape(place):
        return 0.5 * np.where(place < JOINT, JOINT - place, 0.0) ** 2

    first, last, read = FRETS[0], FRETS[21], FRETS[8]
    chord = shape(first) + (shape(last) - shape(first)) * (read - first) / (last - first)
    return relief / (chord - shape(read)) * shape(x)


def guitar(relief=0.2, nut_action=0.4, action=1.6, **changes):
    heights = bow(relief)
    nut, saddle = line_from_actions(nut_action, action, FRETS, heights, SCALE)
    fields = {
        "fret_positions": FRETS,
        "fret_heights": heights,
        "nut_height": nut,
        "saddle_height": saddle,
        "saddle_position": SCALE,
    }
    return Fretwork(**(fields | changes))


PICK = Pluck(130.0, force=1.5, tension=72.5)


@pytest.mark.parametrize(
    "column, direction",
    [
        ("max_disp_toward_pluck_over_a", "toward"),
        ("max_disp_away_over_a", "away"),
        ("max_abs_over_a", "either"),
    ],
)
def test_every_row_of_the_envelope_table(column, direction):
    # Fletcher & Rossing, The Physics of Musical Instruments, ch. 2 (from memory), printed to 6 decimals
    assert len(ENVELOPE) == 5 * 21
    place = np.array([float(row["x_over_L"]) for row in ENVELOPE])
    p = np.array([float(row["pluck_p_over_L"]) for row in ENVELOPE])
    expected = [float(row[column]) for row in ENVELOPE]
    found = swing(place * SCALE, p * SCALE, SCALE, direction=direction)
    assert found == pytest.approx(expected, abs=1.5e-6)


@pytest.mark.parametrize("p", [0.1, 0.2, 1.0 / 3.0, 0.5])
def test_the_fourier_sum_of_an_ideal_string_swings_as_far(p):
    # independent of the envelope: sum of 400 modes over one period
    n = np.arange(1, 401)[:, None]
    x = np.linspace(0.05, 0.95, 19)
    weight = 2.0 * np.sin(n * np.pi * p) / (n**2 * np.pi**2 * p * (1.0 - p)) * np.sin(n * np.pi * x)
    time = np.cos(n * np.pi * np.linspace(0.0, 2.0, 1601))
    moved = weight.T @ time
    assert moved.max(axis=1) == pytest.approx(swing(x, p, 1.0, direction="toward"), abs=4e-3)
    assert -moved.min(axis=1) == pytest.approx(swing(x, p, 1.0, direction="away"), abs=4e-3)


@given(st.floats(0.01, 0.99), st.floats(0.02, 0.98))
def test_either_is_the_larger_of_both_and_never_beyond_the_amplitude(x, p):
    both = [float(swing(x, p, 1.0, direction=d)) for d in ("toward", "away")]
    assert float(swing(x, p, 1.0)) == max(both) <= 1.0 + 1e-12


@given(st.floats(0.1, 10.0), st.floats(20.0, 300.0), st.floats(40.0, 200.0))
def test_the_force_of_a_drawn_string_balances(force, distance, tension):
    # statics: both legs of the triangle pull back, F = T a (1/x + 1/(l-x))
    a = float(amplitude_from_force(force, distance, SCALE, tension))
    assert tension * a * (1.0 / distance + 1.0 / (SCALE - distance)) == pytest.approx(force, rel=1e-12)


def test_gaps_are_those_of_a_straight_string_over_the_frets():
    work = guitar()
    found = string_clearance(work, PICK)
    assert found.gap.shape == (1, 22, 22)
    assert found.gap[0, 0, 0] == pytest.approx(0.4, abs=1e-12)
    assert found.gap[0, 0, 11] == pytest.approx(1.6, abs=1e-12)
    assert np.isnan(found.gap[0, 5, :5]).all()
    held = string_clearance(guitar(), PICK).gap[0, 3]
    line = np.interp(FRETS[3:], [FRETS[2], SCALE], [bow(0.2)[2], float(work.saddle_height[0])])
    assert held[3:] == pytest.approx(line - bow(0.2)[3:], abs=1e-12)


def test_an_ordinary_electric_takes_an_ordinary_pick():
    # common practice, no published source: .010 at 1.6 mm with 0.2 mm relief is free at a light touch only
    light = string_clearance(guitar(), Pluck(130.0, force=0.3, tension=72.5))
    hard = string_clearance(guitar(), Pluck(130.0, force=6.0, tension=72.5))
    assert np.nanmin(light.margin) > 0.0
    assert np.nanmin(hard.margin) < 0.0
    assert light.free_force is not None
    assert (light.free_force > 0.3).all()
    assert (light.free_force < 6.0).all()


def test_relief_helps_the_first_positions_and_costs_the_high_ones():
    # common practice, no published source: too little relief shows at frets 1 to 5
    straight = string_clearance(guitar(relief=0.0), PICK)
    bowed = string_clearance(guitar(relief=0.3), PICK)
    assert (bowed.free_amplitude[0, 1:4] > straight.free_amplitude[0, 1:4]).all()
    assert (bowed.free_amplitude[0, 13:] < straight.free_amplitude[0, 13:]).all()


def test_the_free_amplitude_and_force_just_touch():
    found = string_clearance(guitar(), PICK)
    assert found.free_force is not None
    for position in (0, 3, 7, 15):
        by_amplitude = Pluck(130.0, amplitude=float(found.free_amplitude[0, position]))
        by_force = Pluck(130.0, force=float(found.free_force[0, position]), tension=72.5)
        for just in (by_amplitude, by_force):
            margins = string_clearance(guitar(), just).margin[0, position]
            assert np.nanmin(margins) == pytest.approx(0.0, abs=1e-12)
            assert np.nanargmin(margins) + 1 == found.touching_fret[0, position]


def test_a_high_fret_is_touched_first_from_the_positions_before_it_and_heads_the_list():
    heights = bow(0.2)
    heights[9] += 0.25
    work = guitar(fret_heights=heights)
    found = string_clearance(work, PICK)
    assert (found.touching_fret[0, 5:10] == 10).all()
    assert (string_clearance(guitar(), PICK).touching_fret[0, 5:10] != 10).any()
    assert found.worst(1)[0].fret == 10


def test_a_string_that_lies_on_a_fret_at_rest_has_no_free_amplitude():
    heights = np.zeros(22)
    heights[14] = 1.5
    found = string_clearance(guitar(fret_heights=heights), PICK)
    assert found.free_amplitude[0, 14] < 0.0


@given(st.floats(1.0, 3.0), st.floats(0.05, 1.0), st.floats(0.0, 0.4))
def test_more_action_never_costs_clearance(action, more, relief):
    low = string_clearance(guitar(relief, 0.4, action), PICK)
    high = string_clearance(guitar(relief, 0.4, action + more), PICK)
    assert (np.nan_to_num(high.gap) >= np.nan_to_num(low.gap) - 1e-9).all()
    assert (high.free_amplitude[0, 1:] > low.free_amplitude[0, 1:]).all()


@given(st.floats(0.1, 4.0), st.floats(1.01, 3.0))
def test_a_harder_pluck_leaves_less(force, factor):
    soft = string_clearance(guitar(), Pluck(130.0, force=force, tension=72.5))
    hard = string_clearance(guitar(), Pluck(130.0, force=force * factor, tension=72.5))
    reached = ~np.isnan(soft.margin)
    assert (hard.margin[reached] < soft.margin[reached]).all()
    assert hard.swing[reached] == pytest.approx(soft.swing[reached] * factor, rel=1e-9)


@given(
    st.floats(0.0, 0.4),
    st.floats(0.1, 3.0),
    st.floats(-0.2, 0.5),
    st.booleans(),
    st.sampled_from(["toward", "away", "either"]),
)
def test_the_action_for_a_clearance_gives_that_clearance(relief, force, margin, open_string, direction):
    played = Pluck(130.0, force=force, tension=72.5, direction=direction)
    asked = action_for_clearance(guitar(relief), played, margin, open_string=open_string)
    assume(-5.0 < asked.saddle_height[0] < 60.0)
    work = guitar(relief, saddle_height=asked.saddle_height)
    found = string_clearance(work, played)
    counted = found.margin[0] if open_string else found.margin[0, 1:]
    assert np.nanmin(counted) == pytest.approx(margin, abs=1e-9)
    assert found.margin[0, asked.position[0], asked.fret[0] - 1] == pytest.approx(margin, abs=1e-9)
    assert found.gap[0, 0, 11] == pytest.approx(asked.action[0], abs=1e-9)


def test_a_harder_player_needs_more_action():
    soft = action_for_clearance(guitar(), Pluck(130.0, force=0.5, tension=72.5)).action
    hard = action_for_clearance(guitar(), Pluck(130.0, force=1.5, tension=72.5)).action
    assert hard > soft


def test_strings_are_worked_together_as_they_are_alone():
    # multi-scale: each string with frets, scale, tension and pluck of its own
    scales = np.array([640.0, 650.0, 660.0])
    x = scales[:, None] * (1.0 - 2.0 ** (-np.arange(1, 23) / 12.0))
    nut, saddle = line_from_actions([0.35, 0.4, 0.45], [1.5, 1.6, 1.7], x, np.zeros((3, 22)), scales)
    played = Pluck([120.0, 125.0, 130.0], force=1.0, tension=[72.0, 70.0, 75.0])
    together = string_clearance(Fretwork(x, np.zeros((3, 22)), nut, saddle, scales), played)
    alone = string_clearance(
        Fretwork(x[1], np.zeros(22), nut[1], saddle[1], scales[1]), Pluck(125.0, force=1.0, tension=70.0)
    )
    assert np.allclose(together.margin[1], alone.margin[0], equal_nan=True, atol=1e-12)
    assert together.touching_fret.shape == (3, 22)


def test_a_position_on_the_bridges_side_of_the_pluck_has_no_answer():
    found = string_clearance(guitar(), Pluck(200.0, force=1.0, tension=72.5))
    beyond = SCALE - np.concatenate([[0.0], FRETS[:-1]]) <= 200.0
    assert beyond.any()
    assert (np.isnan(found.free_amplitude[0]) == beyond).all()
    assert (found.touching_fret[0, beyond] == 0).all()
    assert all(not beyond[place.position] for place in found.worst(500))


def test_the_open_line_goes_back_to_the_two_actions():
    heights = bow(0.25)
    nut, saddle = line_from_actions([0.4, 0.5], [1.6, 2.0], FRETS, heights, SCALE)
    work = Fretwork(FRETS, heights, nut, saddle, SCALE)
    gap = string_clearance(work, Pluck(130.0, amplitude=0.0)).gap
    assert gap[:, 0, 0] == pytest.approx([0.4, 0.5], abs=1e-12)
    assert gap[:, 0, 11] == pytest.approx([1.6, 2.0], abs=1e-12)


def test_the_open_line_agrees_with_the_neck_model():
    line = string_line(0.2, 0.4, 1.6, scale_length=SCALE, body_joint_fret=16, held=(1, 22), fret=9)
    heights = np.asarray(neck_height(FRETS, line.curvature, JOINT))
    assert heights == pytest.approx(bow(0.2), abs=1e-12)
    nut, saddle = line_from_actions(0.4, 1.6, FRETS, heights, SCALE)
    assert saddle[0] == pytest.approx(float(line.saddle), abs=1e-9)
    assert nut[0] == pytest.approx(float(line.slot + neck_height(0.0, line.curvature, JOINT)), abs=1e-9)


@pytest.mark.parametrize(
    "kind, scale, frets, heights, tension",
    [
        ("electric", 647.7, 22, (0.45, 1.7), 78.0),
        ("acoustic steel", 645.2, 20, (0.50, 2.4), 115.0),
        ("classical nylon", 650.0, 19, (0.75, 4.0), 70.0),
        ("bass", 863.6, 20, (0.55, 2.4), 170.0),
    ],
)
def test_usual_setups_stay_free_at_a_touch_of_half_a_newton_and_touch_at_five(
    kind, scale, frets, heights, tension
):
    # common practice, no published source: a shop's usual heights on the bass side; forces from memory
    x = scale * (1.0 - 2.0 ** (-np.arange(1, frets + 1) / 12.0))
    line = string_line(0.25, *heights, scale_length=scale, body_joint_fret=14, held=(1, frets), fret=8)
    y = np.asarray(neck_height(x, line.curvature, scale * (1.0 - 2.0 ** (-14 / 12))))
    nut, saddle = line_from_actions(*heights, x, y, scale)
    work = Fretwork(x, y, nut, saddle, scale)
    found = string_clearance(work, Pluck(0.2 * scale, force=0.5, tension=tension))
    assert np.nanmin(found.margin) > 0.0, kind
    assert found.free_force is not None
    assert np.nanmin(found.free_force) < 5.0


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: swing(10.0, 700.0, 650.0), "pluck"),
        (lambda: swing(700.0, 100.0, 650.0), "place"),
        (lambda: swing(10.0, 100.0, 650.0, direction="sideways"), "direction"),
        (lambda: amplitude_from_force(1.0, 100.0, 650.0, 0.0), "tension"),
        (lambda: amplitude_from_force(1.0, 800.0, 650.0, 70.0), "pluck"),
        (lambda: Pluck(130.0), "amplitude"),
        (lambda: Pluck(130.0, amplitude=1.0, force=1.0), "force"),
        (lambda: Pluck(130.0, force=1.0), "tension"),
        (lambda: Pluck(-1.0, amplitude=1.0), "pluck_distance"),
        (lambda: Pluck(1.0, amplitude=1.0, direction="up"), "direction"),
        (lambda: guitar(fret_heights=[0.0]), "fret_heights"),
        (lambda: guitar(fret_positions=FRETS[::-1]), "fret_positions"),
        (lambda: guitar(saddle_position=400.0), "saddle_position"),
        (lambda: guitar(nut_height=[0.1, 0.2], saddle_height=[1.0, 2.0, 3.0]), "nut_height"),
        (lambda: guitar(nut_height=np.zeros(30)), "nut_height"),
        (lambda: guitar(nut_height=float("inf")), "nut_height"),
        (lambda: string_clearance(guitar(), Pluck(650.0, amplitude=1.0)), "pluck_distance"),
        (lambda: string_clearance(guitar(), Pluck([1.0, 2.0], amplitude=1.0)), "pluck_distance"),
        (lambda: action_for_clearance(guitar(), PICK, reading_fret=40), "reading_fret"),
        (lambda: action_for_clearance(guitar(), PICK, 99.0), "margin"),
        (lambda: line_from_actions(0.4, 1.6, FRETS, bow(0.1), SCALE, reading_fret=1), "reading_fret"),
        (lambda: buzz_causes([]), "positions"),
        (lambda: buzz_causes([40]), "positions"),
        (lambda: buzz_causes([3, 3]), "positions"),
        (lambda: buzz_causes([3], "attic"), "heard_at"),
    ],
)
def test_bad_input_names_its_field(call, field):
    with pytest.raises(CalculationError) as caught:
        call()
    assert caught.value.field == field


@pytest.mark.parametrize(
    "positions, heard_at, codes",
    [
        # common practice, no published source
        ([0], "frets", ["nut-slot"]),
        ([1, 2, 3], "frets", ["too-straight"]),
        ([0, 1, 2, 3, 4, 5], "frets", ["too-straight"]),
        ([7], "frets", ["high-fret"]),
        ([14, 15, 16], "frets", ["high-end"]),
        ([2, 3, 15, 16], "frets", ["too-straight", "high-end"]),
        ([8, 9], "frets", ["high-fret", "too-straight"]),
        ([], "end", ["breaking-point"]),
        ([], "elsewhere", ["hardware"]),
    ],
)
def test_rules_for_a_buzz(positions, heard_at, codes):
    assert [cause.code for cause in buzz_causes(positions, heard_at)] == codes


@pytest.mark.parametrize("module", [clearance, pluck, buzz])
def test_examples_in_the_docstrings(module):
    assert doctest.testmod(module).failed == 0
