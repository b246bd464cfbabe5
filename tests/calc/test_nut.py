"""Nut slots."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shimstock_calc import nut
from shimstock_calc.errors import Missing, OutOfRange, Refused


def test_filing_stops_at_target_plus_twice_the_uncertainty():
    # common practice, no published source
    filing = nut.slot_filing(0.70, 0.45, 0.35, 0.60, 0.03)
    assert filing.stop == pytest.approx(0.51)
    assert filing.nut_action == pytest.approx(0.19)
    assert filing.slot == pytest.approx(0.19 / 0.944, abs=1e-4)


def test_a_slot_below_its_lower_limit_is_never_filed():
    with pytest.raises(Refused, match="fill it or replace the nut"):
        nut.slot_filing(0.30, 0.45, 0.35, 0.60, 0.03)


def test_a_tool_too_coarse_for_the_stop_is_refused():
    with pytest.raises(Refused, match="finer"):
        nut.slot_filing(0.80, 0.45, 0.35, 0.60, 0.08)


@given(st.floats(0.35, 2.0), st.floats(0.0, 0.07))
def test_filing_never_goes_below_the_target(reading, uncertainty):
    filing = nut.slot_filing(reading, 0.45, 0.35, 0.60, uncertainty)
    assert reading - filing.nut_action >= min(reading, 0.45 + 2 * uncertainty) - 1e-12
    assert filing.slot >= 0


@pytest.mark.parametrize("diameter, frequency, cents", [(0.254, 329.628, 0.61), (0.4318, 195.998, 1.72)])
def test_a_slot_too_high_by_0_2_mm_sharpens_the_first_fret(diameter, frequency, cents):
    # computed by hand, 600·log2(1 + E·A·Q/T), for plain .010 and .017 strings; E 203.4 GPa, wire density
    # 7850 kg/m3, T = mu (2 X f)^2
    density = 7850e-9 * np.pi * diameter**2 / 4 * 1e6  # g/m
    tension = density * 1e-3 * (2 * 0.6477 * frequency) ** 2
    low, high = (nut.sharpening(action, diameter, tension, 647.7) for action in (0.45, 0.65))
    assert high - low == pytest.approx(cents, abs=0.01)
    assert nut.sharpening(0.65, diameter, tension, 647.7, fret=12) < 0.25 * high


@given(st.floats(0.1, 1.0), st.floats(0.1, 1.0))
def test_a_higher_slot_sharpens_more(one, other):
    assume(abs(one - other) > 1e-6)
    low, high = sorted((one, other))
    assert nut.sharpening(low, 0.254, 72.5, 647.7) < nut.sharpening(high, 0.254, 72.5, 647.7)


def test_a_hexagonal_core_stretches_by_its_own_area():
    # elementary geometry: √3/2·s² against pi/4·d², for small stretch as much sharper
    round_, hex_ = (nut.sharpening(0.5, 0.4, 80.0, 647.7, core_shape=shape) for shape in ("round", "hex"))
    assert hex_ / round_ == pytest.approx(2.0 * 3.0**0.5 / np.pi, rel=1e-3)
    back = nut.nut_action_for_sharpening(hex_, 0.4, 80.0, 647.7, core_shape="hex")
    assert back == pytest.approx(0.5, abs=1e-9)


def test_a_thicker_string_needs_a_wider_slot():
    assert nut.slot_width_fits(0.33, 0.254)
    assert not nut.slot_width_fits(0.28, 0.254)
    with pytest.raises(Missing):
        nut.slot_width_fits(None, 0.254)


def test_limits_out_of_order_are_refused():
    with pytest.raises(OutOfRange):
        nut.slot_filing(0.5, 0.45, 0.60, 0.35, 0.03)
