"""A bench's offset in the belief and the verdicts: one number for the whole job."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shimstock_calc.agreement import bench_agreement
from shimstock_calc.belief.rods import rod_odds
from shimstock_calc.belief.surprise import weigh
from shimstock_calc.belief.update import Belief
from shimstock_calc.belief.written import write_down
from shimstock_calc.plan.build import make_plan
from shimstock_calc.plan.goals import Spot
from tests.calc.plan_inputs import plan_input
from tests.calc.plan_made import CASE, action, nut_action, relief

RELIEF = Spot("relief")
FEELER = math.hypot(0.03, 0.05 / math.sqrt(12.0))


def bench(name="bench 2", mean=0.03, sd=0.01, reproducibility=0.02):
    return {"bench": name, "mean": mean, "sd": sd, "reproducibility": reproducibility, "source": "the study"}


def reliefs(*readings, **changes):
    """Readings of relief, ten minutes apart: what the tool showed less the offset, and the offset."""
    found = [
        {**relief(round(shown - offset["mean"], 6), order=place, at=10.0 * place), "offset": offset}
        for place, (shown, offset) in enumerate(readings)
    ]
    return plan_input(CASE, readings=found, **changes)


def conditioned(shown, benches, noise=FEELER):
    """A level known by nothing else, by linear algebra: covariance of all noises, those of a bench shared."""
    spread = [[noise**2 * (i == j) for j in range(len(shown))] for i in range(len(shown))]
    for i, one in enumerate(benches):
        for j, other in enumerate(benches):
            if one["bench"] == other["bench"]:
                spread[i][j] += one["sd"] ** 2 + one["reproducibility"] ** 2
    weights = np.linalg.solve(np.array(spread), np.ones(len(shown)))
    values = [value - each["mean"] for value, each in zip(shown, benches, strict=True)]
    return float(weights @ values / weights.sum()), float(weights.sum()) ** -0.5


@pytest.mark.parametrize(
    "shown, benches",
    [
        ([0.25], [bench()]),
        ([0.25, 0.27, 0.24], [bench()] * 3),
        ([0.25, 0.27, 0.20], [bench(), bench(), bench("bench 1", -0.02, 0.02, 0.0)]),
    ],
)
def test_readings_of_one_bench_share_what_is_not_known_of_it(shown, benches):
    # oracle: the generalised least squares mean (general linear algebra)
    belief = Belief(reliefs(*zip(shown, benches, strict=True)))
    mean, spread = conditioned(shown, benches)
    found = belief.estimate(RELIEF)
    assert (found.mean, found.spread) == (pytest.approx(mean, abs=1e-5), pytest.approx(spread, abs=1e-5))


def test_repeating_at_one_bench_never_beats_what_is_not_known_of_it():
    many = Belief(reliefs(*[(0.25, bench())] * 30))
    assert many.estimate(RELIEF).spread > math.hypot(0.01, 0.02)
    reading = many.plan_input.readings[-1]
    assert many.told(RELIEF, reading) < 1e-5
    free = Belief(reliefs(*[(0.25, bench(sd=0.0, reproducibility=0.0))] * 30))
    assert free.estimate(RELIEF).spread == pytest.approx(FEELER / math.sqrt(30.0), abs=1e-5)


def test_one_reading_is_judged_with_the_offsets_own_uncertainty():
    found = next(each for each in make_plan(reliefs((0.32, bench()))).verdicts if each.quantity == "relief")
    assert (found.value, found.taken_off, found.as_read) == (pytest.approx(0.29), 0.03, pytest.approx(0.32))
    assert found.uncertainty == pytest.approx(math.hypot(0.03, 0.01, 0.02))
    assert "bench 2 reads 0.03 mm too high; taken off" in found.reason.text()


def test_a_string_that_touches_has_no_tool_in_it():
    touching = {**relief(None, order=0), "value": None, "zero_or_less": True, "offset": bench()}
    without = {**touching, "offset": None}
    beliefs = [Belief(plan_input(CASE, readings=[each])) for each in (touching, without)]
    assert beliefs[0].estimate(RELIEF) == beliefs[1].estimate(RELIEF)


def test_what_does_not_fit_is_told_as_the_tool_showed_it():
    source = reliefs((0.30, bench()), (0.31, bench()), (0.80, bench()))
    assert [each.expected.value for each in weigh(source).open] == [pytest.approx(0.77)]
    (surprise,) = make_plan(source).surprises
    assert surprise.value == pytest.approx(0.80)
    assert surprise.expected == pytest.approx(0.305, abs=0.003)
    assert "reads 0.80 mm where about 0.30 mm was expected" in surprise.text.text()


def test_what_a_tool_should_show_is_what_it_shows_at_that_bench():
    shown = []
    for offset in (bench(), bench(mean=0.0)):
        readings = [
            {**relief(0.45, order=0), "offset": offset},
            *({**each, "order": 0} for each in (*action(2.2, 1.9), *nut_action(0.5, 0.4))),
        ]
        plan = make_plan(plan_input(CASE, readings=readings))
        step = next(each for each in plan.steps if each.kind == "relief")
        wanted = next(each for each in step.readings_next if each.quantity == "relief")
        shown.append(wanted.expected_now)
    assert shown[0].value - shown[1].value == pytest.approx(0.03, abs=1e-6)
    assert shown[0].spread == shown[1].spread


def test_another_bench_after_a_turn_is_no_sign_of_a_dead_rod():
    """A turn takes 0.20 mm off; benches may differ by 0.06 mm, and the second shows nothing of it."""
    turn = [{"part": "truss-rod", "turns": 0.5, "order": 1, "at": 5.0}]

    def odds(second):
        offsets = [bench("bench 1", 0.0, 0.0, 0.06), bench(second, 0.0, 0.0, 0.06)]
        readings = [
            {**relief(0.40, order=2 * place, at=100.0 * place), "offset": offset}
            for place, offset in enumerate(offsets)
        ]
        return rod_odds(plan_input(CASE, readings=readings, adjustments=turn)).faulty

    assert odds("bench 2") < 0.5 * odds("bench 1")


def test_twist_read_at_one_bench_is_free_of_its_offset():
    both = [
        {**relief(value, side=side, order=place), "offset": bench(sd=0.05)}
        for place, (side, value) in enumerate([("bass", 0.25), ("treble", 0.20)])
    ]
    spec = [*CASE["spec"], {"quantity": "twist", "target": 0.0, "lower": -0.1, "upper": 0.1}]
    twist = next(
        each
        for each in make_plan(plan_input(CASE, readings=both, spec=spec)).verdicts
        if each.quantity == "twist"
    )
    assert twist.uncertainty == pytest.approx(0.03 * math.sqrt(2.0))


def test_the_state_names_it():
    names = [each.name for each in write_down(Belief(reliefs((0.25, bench())))).numbers]
    assert any("offset: relief" in name and "bench 2" in name for name in names)


def test_an_offset_is_known_as_well_as_the_study_allows():
    # general reference: simulated studies of 4 benches, 5 pieces, 3 trials; offsets against the benches' mean
    rng = np.random.default_rng(4)
    away = []
    for _ in range(400):
        true = rng.normal(0.0, 0.03, 4)
        pieces, interaction = rng.normal(0.2, 0.1, (5, 1, 1)), rng.normal(0.0, 0.02, (5, 4, 1))
        table = pieces + true[None, :, None] + interaction + rng.normal(0.0, 0.02, (5, 4, 3))
        found = bench_agreement(table)
        away += list((found.bench_offsets - (true - true.mean())) / found.offset_uncertainty)
    assert np.std(away) == pytest.approx(1.0, abs=0.08)
    assert np.mean(np.abs(away) < 1.96) == pytest.approx(0.95, abs=0.025)
