"""One belief about an instrument: the filter, surprises, the rod's odds and what a reading is worth."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc.belief.expected import rounding_shared
from shimstock_calc.belief.price import After, Limits, chance, worth_of_adjusting, worth_of_reading
from shimstock_calc.belief.rods import rod_odds
from shimstock_calc.belief.state import Estimate, State
from shimstock_calc.belief.surprise import weigh
from shimstock_calc.belief.update import DAY, WRONG, Belief
from shimstock_calc.conformity import probability_in_spec
from shimstock_calc.plan.goals import Spot
from shimstock_calc.plan.inputs import Adjustment, Prices
from shimstock_calc.relief import relief_conversion
from tests import cases
from tests.calc.plan_inputs import plan_input
from tests.calc.plan_made import CASE, action, nut_action, pickup_height, relief

RELIEF, BASS = Spot("relief"), Spot("action", "bass")
FEELER = math.hypot(0.03, 0.05 / math.sqrt(12.0))


def job(*entries, **changes):
    """A job whose entries follow each other by ten minutes: relief readings and turns of the rod."""
    readings, adjustments = [], []
    for place, (kind, value) in enumerate(entries):
        if kind == "relief":
            readings.append(relief(value, order=place, at=10.0 * place))
        else:
            adjustments.append({"part": "truss-rod", "turns": value, "order": place, "at": 10.0 * place})
    return plan_input(CASE, **{"readings": readings, "adjustments": adjustments, **changes})


def read(value):
    return "relief", value


def turn(by=0.25):
    return "turn", by


# ---------------------------------------------------------------- the filter


def test_a_first_reading_is_the_belief():
    found = Belief(job(read(0.45))).estimate(RELIEF)
    assert found.mean == pytest.approx(0.45, abs=1e-6)
    assert found.spread == pytest.approx(FEELER, abs=1e-6)


def test_two_readings_weigh_as_their_information():
    # Kalman (1960) with nothing moving is the weighted mean: JCGM 100:2008 4.2.3 for the spread
    found = Belief(job(read(0.20), read(0.30))).estimate(RELIEF)
    assert found.mean == pytest.approx(0.25, abs=1e-5)
    assert found.spread == pytest.approx(FEELER / math.sqrt(2.0), abs=1e-6)


def test_the_filter_is_the_conditional_normal():
    # general reference: conditioning a joint normal, worked out by linear algebra
    rng = np.random.default_rng(7)
    root = rng.normal(size=(4, 4))
    state = State(range(4))
    state.mean[:], state.covariance[:, :] = rng.normal(size=4), root @ root.T
    prior_mean, prior = state.mean.copy(), state.covariance.copy()
    row = ((0, 1.0), (2, -0.5))
    h = state.weights(row)
    state.observe(row, 0.7, 0.3)
    gain = prior @ h / (h @ prior @ h + 0.3)
    assert state.mean == pytest.approx(prior_mean + gain * (0.7 - h @ prior_mean))
    assert state.covariance == pytest.approx(prior - np.outer(gain, h @ prior))


def test_the_coupling_times_an_uncertain_change_has_the_moments_of_a_product():
    # general reference: simulation of the product of two normal variables
    belief = Belief(plan_input(CASE, readings=SETUP, adjustments=ONE_TURN))
    found = belief.estimate(BASS)
    rng = np.random.default_rng(1)
    n = 400_000
    g = rng.normal(0.0, 0.3, n)
    parts = rng.normal(0.0, 0.3, n)[:, None] * np.array([-0.24, -0.08, -0.08]) + np.array(
        [-0.24, -0.08, -0.08]
    )
    parts = parts + rng.normal(0.0, 0.06, (n, 3))
    parts *= 0.16 / math.sqrt((0.3 * 0.4) ** 2 + 3 * 0.06**2)
    lost = rng.normal(0.25 - 0.08, math.hypot(0.025, 0.07), n)
    change = parts[:, 0] * lost
    rise = belief.geometry.rise(BASS)
    simulated = 2.2 + (rise + g) * change
    assert found.mean == pytest.approx(float(simulated.mean()), abs=0.006)
    assert found.spread == pytest.approx(math.hypot(float(simulated.std()), 0.0302), rel=0.12)


SETUP = [relief(0.45, order=0), *[{**each, "order": 1} for each in action(2.2, 1.9)]]
ONE_TURN = [{"part": "truss-rod", "turns": 0.25, "order": 5}]


@given(st.permutations([0.18, 0.20, 0.22, 0.25]))
def test_the_order_of_readings_does_not_matter(values):
    found = Belief(job(*map(read, values))).estimate(RELIEF)
    assert found.mean == pytest.approx(0.2125, abs=1e-5)


@given(st.floats(-2.5, 2.5), st.sampled_from([1, 2, 4]))
def test_a_reading_that_does_not_surprise_never_widens(away, before):
    entries = [read(0.30)] * before
    narrow = weigh(job(*entries)).belief.estimate(RELIEF).spread
    value = 0.30 + away * math.hypot(narrow, FEELER)
    after = weigh(job(*entries, read(round(value, 6)))).belief.estimate(RELIEF).spread
    assert after <= narrow + 1e-9


def test_a_reading_set_aside_is_as_one_that_cannot_be_used():
    # so many entries that the belief is taken up again where it was kept
    bows = 0.60, 0.52, 0.41, 0.33, 0.31, 0.22, 0.20
    given = job(*[entry for bow in bows for entry in (read(bow), turn(0.125))], read(0.19), read(0.20))
    belief = Belief(given)
    for reading in given.readings:
        aside = belief.otherwise(reading, aside=True)
        readings = [replace(each, at_pitch=each is not reading) for each in given.readings]
        anew = Belief(replace(given, readings=tuple(readings)))
        assert aside.state.mean == pytest.approx(anew.state.mean, abs=1e-9)
        assert aside.state.covariance == pytest.approx(anew.state.covariance, abs=1e-9)
        assert aside.likelihood == pytest.approx(anew.likelihood + math.log(WRONG / 4.0), abs=1e-6)
    assert belief.likelihood == Belief(given).likelihood


@pytest.mark.parametrize("held, fret", [((1, 22), 9), ((1, 14), 7), ((1, 17), 7), ((2, 20), 9)])
def test_the_same_bend_asks_for_the_same_turns_wherever_it_is_read(held, fret):
    factor = float(relief_conversion(628.65, 16, (1, 22), 9, to_held=held, to_fret=fret))
    readings = [{**relief(0.45 * factor), "held": list(held), "fret": fret}]
    found = Belief(plan_input(CASE, readings=readings)).estimate(RELIEF)
    assert found.mean == pytest.approx(0.45, abs=1e-5)


def test_what_comes_late_is_forecast_and_then_no_longer_to_come():
    belief = Belief(job(read(0.60), turn(), read(0.55)))
    now, later = belief.estimate(RELIEF), belief.after(DAY).estimate(RELIEF)
    assert later.mean < now.mean - 0.01
    assert later.spread > now.spread
    rested = Belief(
        plan_input(
            CASE,
            readings=[relief(0.60, order=0), relief(0.50, order=2, at=DAY + 10.0)],
            adjustments=[{"part": "truss-rod", "turns": 0.25, "order": 1, "at": 10.0}],
        )
    )
    assert rested.after(DAY).estimate(RELIEF).mean == pytest.approx(rested.estimate(RELIEF).mean, abs=2e-3)


def test_the_response_is_learned_at_every_turn():
    weak = Belief(job(read(0.60), turn(), read(0.60), turn(), read(0.55))).response()
    strong = Belief(job(read(0.60), turn(), read(0.45), turn(), read(0.30))).response()
    assert strong.mean < -0.40 < weak.mean < 0.0
    assert max(weak.spread, strong.spread) < 0.16


def test_a_bridge_turn_moves_heights_by_its_thread_and_pickups_with_them():
    # M8x1.25: a quarter turn down at both posts is 0.3125 mm, half of it at the 12th fret (ISO 261; geometry)
    readings = [relief(0.2), *action(2.2, 1.9), *nut_action(0.5, 0.4), *pickup_height(2.5)]
    down = [{"part": "bridge-post", "turns": -0.25, "side": side, "order": 50} for side in ("bass", "treble")]
    stamped = [{**each, "order": 1} for each in readings]
    belief = Belief(plan_input(CASE, readings=stamped, adjustments=down))
    assert belief.estimate(BASS).mean == pytest.approx(2.2 - 0.3125 / 2, abs=1e-4)
    pickup = Spot("pickup-height", "bass", None, cases.PICKUPS[0]["name"])
    assert belief.estimate(pickup).mean < 2.5


def test_a_bridge_turn_of_unknown_travel_leaves_what_no_post_moves():
    # what stands out of a saddle's slot: geometry
    out = {"quantity": "saddle-out", "side": "bass", "value": 3.0, "id": "out", "order": 1}
    post = [{"part": "bridge-post", "turns": None, "side": "bass", "order": 50}]
    read = Belief(plan_input(CASE, readings=[{**relief(0.2), "order": 1}, out]))
    turned = Belief(plan_input(CASE, readings=[{**relief(0.2), "order": 1}, out], adjustments=post))
    where = Spot("saddle-out", "bass")
    assert turned.estimate(where) == read.estimate(where)


def test_rounding_is_shared_as_far_as_scatter_does_not_dither_it():
    # general reference: simulation of rounded readings of one spot, averaged over where it lies in its step
    rng = np.random.default_rng(3)
    for scatter in (0.0, 0.04, 0.08, 0.2):
        places = rng.uniform(0.0, 0.5, 4000)
        seen = np.round((places[:, None] + rng.normal(0.0, scatter, (4000, 200))) / 0.5) * 0.5
        shared = float(np.var(seen.mean(axis=1) - places) - seen.var(axis=1).mean() / 200)
        assert rounding_shared(scatter, 0.5) == pytest.approx(shared, rel=0.1, abs=3e-4)


RULE = {"tool": "rule, halves of a mm", "resolution": 0.5, "repeatability": 0.01}


def heights(tool, *values):
    readings = [
        cases.read("action", value, tool, side="bass", fret=12, order=place)
        for place, value in enumerate(values)
    ]
    return Belief(plan_input(CASE, readings=readings))


def test_repeats_with_a_coarse_tool_leave_what_its_steps_hide():
    # rounded to steps of d, a value is uniform within one: d / sqrt(12), JCGM 100:2008 4.3.7
    hidden = 0.5 / math.sqrt(12.0)
    assert heights(RULE, 2.5).estimate(BASS).spread == pytest.approx(hidden, rel=0.01)
    assert heights(RULE, *[2.5] * 6).estimate(BASS).spread == pytest.approx(hidden, rel=0.06)


@pytest.mark.parametrize("tool, values", [(RULE, [2.5]), (cases.DEPTH, [2.5]), (cases.DEPTH, [2.5, 2.5])])
def test_another_reading_takes_what_it_is_expected_to(tool, values):
    before, after = heights(tool, *values), heights(tool, *values, 2.5)
    reading = before.plan_input.readings[-1]
    fall = before.estimate(BASS).variance - after.estimate(BASS).variance
    assert before.told(BASS, reading) == pytest.approx(fall, abs=1e-9)


def test_what_a_turn_will_show_is_what_it_shows_once_it_is_made():
    planned = Adjustment("planned", "truss-rod", 0, turns=0.25)
    known = job(read(0.45))
    told, done = Belief(known).adjusted([planned]), Belief(job(read(0.45), turn()))
    assert told.estimate(RELIEF) == done.estimate(RELIEF)
    assert Belief(known).estimate(RELIEF).mean > told.estimate(RELIEF).mean


def test_a_reading_that_was_confirmed_is_believed_against_one_that_was_not():
    readings = [relief(1.15, order=0), relief(0.10, order=1, confirmed=True)]
    (found,) = weigh(plan_input(CASE, readings=readings)).surprises
    assert (found.aside, found.open) == ("r00", False)


# ---------------------------------------------------------------- surprises


def test_relief_that_rises_after_a_tightening_is_asked_again():
    weighed = weigh(job(read(0.60), turn(), read(0.50), turn(), read(0.40), turn(), read(0.45)))
    (surprise,) = weighed.open
    assert surprise.expected.value == 0.45
    assert surprise.expected.expected == pytest.approx(0.32, abs=0.02)


def test_one_reading_out_of_line_does_not_outvote_three():
    found = weigh(job(read(0.35), read(0.35), read(0.35), read(0.24))).belief.estimate(RELIEF)
    assert found.mean > 0.30
    assert chance(found.mean, found.spread, Limits(0.20, 0.10, 0.30)) < 0.5


def test_a_misread_first_reading_is_set_aside_once_two_agree():
    weighed = weigh(job(read(1.15), read(0.10), read(0.10)))
    assert weighed.aside == {"r00"}
    assert weighed.belief.estimate(RELIEF).mean == pytest.approx(0.10, abs=0.005)


def test_two_readings_that_disagree_are_asked_again_and_none_is_believed():
    weighed = weigh(job(read(1.15), read(0.10)))
    assert len(weighed.open) == 1
    assert not weighed.aside


# ---------------------------------------------------------------- the rod


@pytest.mark.parametrize("turns, low, high", [(1, 0.0, 0.06), (3, 0.3, 0.5), (4, 0.8, 1.0)])
def test_a_rod_that_moves_nothing_is_suspected_then_given_up(turns, low, high):
    entries = [read(0.45), *itertools.chain.from_iterable([turn(), read(0.45)] for _ in range(turns))]
    assert low <= rod_odds(job(*entries)).faulty <= high


def test_a_rod_that_answers_is_not_suspected():
    assert rod_odds(job(read(0.45), turn(), read(0.40), turn(), read(0.35))).faulty < 0.01


def test_one_misread_number_condemns_no_rod():
    answered = rod_odds(job(read(0.60), turn(), read(0.50), turn(), read(0.90), turn(), read(0.30)))
    assert answered.faulty < 0.02


def test_the_odds_add_up_to_one():
    odds = rod_odds(job(read(0.45), turn(), read(0.50)))
    assert odds.healthy + odds.dead + odds.reversed == pytest.approx(1.0)


# ---------------------------------------------------------------- what things are worth


@given(st.floats(-0.2, 0.6), st.floats(0.005, 0.3))
def test_the_chance_is_that_of_jcgm_106(mean, spread):
    # JCGM 106:2012 7.2: conformance probability of a normal posterior
    expected = float(probability_in_spec(mean, 0.10, 0.30, spread))
    assert chance(mean, spread, Limits(0.20, 0.10, 0.30)) == pytest.approx(expected, abs=1e-4)


def test_a_reading_that_can_change_nothing_is_worth_nothing():
    bounds = Limits(0.20, 0.10, 0.30)
    known = Estimate(0.20, 0.02**2)
    worth = worth_of_reading(known, 0.011**2, bounds, before=(), afterwards=(), minutes=1.0, prices=Prices())
    assert worth == pytest.approx(-1.0, abs=0.02)


def test_a_reading_is_worth_most_where_the_verdict_hangs_on_it():
    bounds, act = Limits(0.20, 0.10, 0.30), (After(0.03, 10.0),)

    def worth(mean):
        known = Estimate(mean, 0.05**2)
        return worth_of_reading(
            known, 0.046**2, bounds, before=act, afterwards=act, minutes=0.0, prices=Prices()
        )

    assert worth(0.25) > worth(0.29) > worth(0.35) > worth(0.60)
    assert worth(0.60) == pytest.approx(0.0, abs=1e-6)


def test_a_reading_after_which_nothing_may_be_filed_is_worth_nothing():
    bounds, act = Limits(0.40, 0.30, 0.50), (After(0.0, 10.0),)

    def worth(told):
        return worth_of_reading(
            Estimate(0.48, 0.02**2), told, bounds,
            before=(), afterwards=act, minutes=0.0, prices=Prices(), surely_high=0.5,
        )  # fmt: skip

    assert abs(worth(1e-8)) < 0.01  # it changes nothing, and what it leaves forbids the file
    assert worth(0.019**2) > 1.0


def test_an_adjustment_is_worth_the_risk_that_it_takes_away_less_its_minutes():
    bounds = Limits(0.20, 0.10, 0.30)
    far = worth_of_adjusting(Estimate(0.60, 0.03**2), After(0.0, 10.0), bounds, Prices())
    assert far == pytest.approx(150.0, abs=0.1)
    assert worth_of_adjusting(Estimate(0.20, 0.01**2), After(0.0, 10.0), bounds, Prices()) == -10.0
