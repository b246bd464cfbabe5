"""What adjustments teach: signs, flags, shrinkage, and advice that never oversteps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc import response as r
from shimstock_calc.errors import Contradiction, OutOfRange


def sample(moved, change, *, instrument="one", model="kind", u=0.02, **more):
    return r.AdjustmentSample(moved, 0.40, 0.40 + change, u, u, instrument, model, **more)


def test_without_samples_the_stated_prior_answers():
    # one turn of tightening moves relief by -0.40 mm: common practice, no published source; sd: judgement
    learned = r.adjustment_response([])
    assert learned.of("one", "kind") is r.ROD_PRIOR
    assert (r.ROD_PRIOR.mean, r.ROD_PRIOR.sd) == (-0.40, 0.16)


def test_tightening_means_less_relief():
    assert r.change_for(+0.25)[0] < 0 < r.change_for(-0.25)[0]
    assert r.turns_for(-0.1).now > 0 > r.turns_for(+0.1).now


@given(st.floats(-5, 5), st.floats(-3, -0.01) | st.floats(0.01, 3), st.floats(0.01, 1))
def test_no_step_exceeds_a_quarter_turn_whatever_the_estimate(change, mean, sd):
    advice = r.turns_for(change, r.Response(mean, sd, "any"))
    assert abs(advice.now) <= 0.25
    assert (advice.now * 8).is_integer()
    assert (advice.total * 8).is_integer()
    assert advice.now * advice.total >= 0
    assert abs(advice.now) <= abs(advice.total)
    assert abs(advice.change_total - change) <= abs(mean) / 16 + 1e-9


def test_a_larger_step_cannot_be_asked_for():
    with pytest.raises(OutOfRange) as caught:
        r.turns_for(-0.5, most=0.5)
    assert caught.value.field == "most"


def test_turns_of_an_electric_with_too_much_relief():
    # common practice prior: 0.45 to 0.20 mm is 5/8 turn in all, a quarter now brings 0.35
    advice = r.turns_for(0.20 - 0.45)
    assert (advice.now, advice.total) == (0.25, 0.625)
    assert 0.45 + advice.change_now == pytest.approx(0.35)
    assert advice.sd_now == pytest.approx(0.04)  # a quarter of 0.16 mm a turn, judgement


def test_an_instrument_answers_from_its_own_samples_first():
    samples = [sample(0.25, -0.15, instrument="stiff", model="a", u=0.01) for _ in range(4)]
    samples += [sample(0.25, -0.09, instrument=f"i{n}", model="b", u=0.01) for n in range(8)]
    learned = r.adjustment_response(samples)
    own, kin, other = learned.of("stiff", "a"), learned.of("new", "b"), learned.of("new", "c")
    assert (own.level, kin.level, other.level) == ("instrument", "model", "shop")
    assert own.mean == pytest.approx(-0.58, abs=0.04)
    assert kin.mean == pytest.approx(-0.37, abs=0.02)
    assert own.mean < other.mean < kin.mean
    assert own.sd < kin.sd < other.sd
    assert own.source == "learned from 4 samples of this instrument"
    assert learned.used == 12
    assert learned.flagged == ()


def test_one_sample_moves_the_belief_part_of_the_way():
    learned = r.adjustment_response([sample(0.25, -0.15)]).of("one", "kind")
    assert -0.60 < learned.mean < -0.40
    assert learned.sd < 0.16


@pytest.mark.parametrize(
    "bad, reason, used",
    [
        (sample(0.25, +0.12, u=0.01), "wrong sign, beyond", False),
        (sample(0.125, +0.02, u=0.03), "wrong sign, but within", True),
        (sample(0.25, -0.40, u=0.01), "implausible", False),
        (sample(0.0, 0.0), "moved by less", False),
        (sample(0.03, -0.01), "moved by less", False),
        (sample(0.25, -0.10, settled=False), "not settled", False),
        (sample(0.25, -0.10, alone=False), "something else", False),
        (sample(0.75, -0.30), "larger than 0.25 at once", True),
        (sample(-0.25, -0.12, u=0.01), "wrong sign, beyond", False),
    ],
)
def test_doubtful_samples_are_flagged_and_not_silently_used(bad, reason, used):
    good = [sample(0.25, -0.11), sample(-0.25, 0.10)]
    learned = r.adjustment_response([*good, bad])
    (flag,) = learned.flagged
    assert flag.index == 2
    assert reason in flag.reason
    assert flag.used is used
    assert learned.used == 2 + used
    if not used:
        assert learned.of("one", "kind") == r.adjustment_response(good).of("one", "kind")


def test_noise_does_not_make_the_learned_response_too_large():
    # a fifth of these eighth turns, read with feelers, come out with the wrong sign by chance alone
    rng = np.random.default_rng(2)
    truth, u = -0.40, 0.03
    samples = [
        r.AdjustmentSample(0.125, *(0.4 + rng.normal(0, u), 0.35 + rng.normal(0, u)), u, u, n % 40, n % 8)
        for n in range(800)
    ]
    learned = r.adjustment_response(samples)
    assert learned.nested.shop.mean == pytest.approx(truth, abs=0.03)


def test_a_reversed_rod_is_noticed_by_an_eighth_of_a_turn():
    learned = r.adjustment_response([sample(0.125, +0.05, u=0.01)])
    assert learned.used == 0
    assert "reversed" in learned.flagged[0].reason


@pytest.mark.parametrize(
    "call, error, field",
    [
        (lambda: r.adjustment_response([sample(float("nan"), 0.1)]), OutOfRange, "samples[0].moved"),
        (
            lambda: r.adjustment_response([sample(0.25, 0.1, u=0.0)]),
            OutOfRange,
            "samples[0].uncertainty_before",
        ),
        (lambda: r.turns_for(float("inf")), OutOfRange, "change"),
        (lambda: r.turns_for(0.1, r.Response(0.0, 0.1, "none")), OutOfRange, "response"),
        (
            lambda: r.adjustment_response([sample(0.25, -0.1), sample(0.25, -0.1, model="other")]),
            Contradiction,
            "models",
        ),
    ],
)
def test_bad_input_names_its_field(call, error, field):
    with pytest.raises(error) as caught:
        call()
    assert caught.value.field == field
