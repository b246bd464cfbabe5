"""Bridge height."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import bridge
from shimstock_calc.errors import Missing, OutOfRange


@pytest.mark.parametrize(
    "turns, rounded",
    [
        (0.0625, 0.0),
        (-0.0625, 0.0),
        (0.1875, 0.125),
        (-0.1875, -0.125),
        (0.19, 0.25),
        (-0.166, -0.125),
        (4.14, 4.125),
        (5.26, 5.25),
        (10.6, 10.625),
        (0.625, 0.625),
    ],
)
def test_turns_are_rounded_to_the_nearest_eighth_ties_toward_zero(turns, rounded):
    assert bridge.round_to_eighth(turns) == rounded
    assert math.copysign(1, bridge.round_to_eighth(turns)) == (-1 if rounded < 0 else 1)


def test_two_posts_solve_for_the_strings_between_them():
    # rigid beam on two supports, by hand: posts 74 mm, strings 52 mm; numpy.linalg as the independent solver
    c = (74 - 52) / 2 / 74
    expected = np.linalg.solve([[1 - c, c], [c, 1 - c]], [-0.165, 0.035])
    posts = bridge.post_changes(-0.165, 0.035, 74.0, 52.0)
    assert [float(posts.bass), float(posts.treble)] == pytest.approx(list(expected), abs=1e-12)


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(30, 60), st.floats(0, 40))
def test_posts_and_strings_are_inverse(bass, treble, spread, extra):
    posts = bridge.post_changes(bass, treble, spread + extra, spread)
    strings = bridge.string_changes(posts.bass, posts.treble, spread + extra, spread)
    assert float(strings.bass) == pytest.approx(bass, abs=1e-6)
    assert float(strings.treble) == pytest.approx(treble, abs=1e-6)


def test_raising_one_post_raises_its_own_side_most():
    strings = bridge.string_changes(1.0, 0.0, 74.0, 52.0)
    assert strings.bass > strings.treble > 0


def test_the_saddle_rises_by_twice_the_change_at_the_twelfth_fret():
    assert bridge.saddle_change(0.1) == pytest.approx(0.2)
    assert bridge.saddle_change(-0.1) < 0


def test_height_turns_follow_the_thread():
    # ISO 261 coarse M8, pitch 1.25 mm: tests/reference/screw_threads.csv
    assert bridge.height_turns(-0.207, 1.25) == pytest.approx(-0.1656)


def test_inner_strings_of_a_bass_lie_1_50_mm_above_the_outer_line():
    # circle of 241.3 mm, four strings 19 mm apart: sagitta by hand
    expected = math.sqrt(241.3**2 - 9.5**2) - math.sqrt(241.3**2 - 28.5**2)
    assert bridge.radius_rise(9.5, 241.3, 28.5) == pytest.approx(expected, abs=1e-12)
    assert expected == pytest.approx(1.50, abs=0.005)


def test_a_flat_board_needs_no_rise():
    assert bridge.radius_rise([0.0, 9.5], np.inf, 28.5) == pytest.approx([0.0, 0.0])


def test_a_compound_radius_is_a_cone_through_both_ends():
    # similar triangles
    assert bridge.fretboard_radius_at([0.0, 450.0, 600.0], 250.0, 400.0, 450.0) == pytest.approx(
        [250.0, 400.0, 450.0]
    )
    assert np.isinf(bridge.fretboard_radius_at(600.0, None, None, 450.0))
    with pytest.raises(Missing):
        bridge.fretboard_radius_at(600.0, 250.0, None, 450.0)


@pytest.mark.parametrize(
    "wanted, out, total, allowed",
    [
        (1.6, 3.2, None, 1.2),
        (1.4, 2.6, None, 0.6),
        (1.6, 4.6, None, 1.6),
        (0.5, 1.8, None, 0.0),  # below the least already: nothing more comes off
        (-0.5, 3.0, 9.0, -0.5),
        (-2.0, 4.0, 9.0, -0.5),  # at most half of the saddle stands out
        (-1.0, 5.0, 9.0, 0.0),  # more than half stands out already: no higher
    ],
)
def test_a_fixed_saddle_keeps_its_least_and_its_half(wanted, out, total, allowed):
    # common practice, no published source
    filing = bridge.saddle_filing(wanted, out, 2.0, total)
    assert filing.allowed == pytest.approx(allowed)
    assert filing.short == pytest.approx(wanted - allowed)


@given(st.floats(-3, 3), st.floats(0, 8), st.floats(0, 12))
def test_what_is_allowed_never_passes_the_limits(wanted, out, in_slot):
    filing = bridge.saddle_filing(wanted, out, 2.0, out + in_slot + 0.1)
    left = out - filing.allowed
    assert left >= min(out, 2.0) - 1e-12
    assert left <= max(out, (out + in_slot + 0.1) / 2) + 1e-12


def test_springs_grow_with_the_strings():
    assert bridge.spring_change(365.0, 447.0) == pytest.approx(0.2247, abs=1e-4)


@pytest.mark.parametrize(
    "call, field",
    [
        (lambda: bridge.post_changes(0.1, 0.1, 40.0, 52.0), "string_spread"),
        (lambda: bridge.height_turns(0.1, 0.0), "thread_pitch"),
        (lambda: bridge.radius_rise(9.5, 20.0, 28.5), "radius"),
        (lambda: bridge.saddle_filing(1.0, 3.0, 2.0, 2.5), "saddle_total_height"),
        (lambda: bridge.round_to_eighth(float("inf")), "turns"),
        (lambda: bridge.spring_change(0.0, 100.0), "old_pull"),
    ],
)
def test_impossible_input_is_refused_by_name(call, field):
    with pytest.raises(OutOfRange) as error:
        call()
    assert error.value.field == field
