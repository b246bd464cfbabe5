"""What readings were expected to show, from what counts before them; how a tool's own scatter enters."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from shimstock_calc.belief.calibration import Error, noise_factor
from shimstock_calc.belief.forecasts import Forecast, forecasts
from shimstock_calc.belief.taken import SHARED_FROM
from shimstock_calc.plan.model import PlanInput
from tests import cases
from tests.calc.plan_inputs import plan_input
from tests.calc.plan_made import CASE, action, relief
from tests.calc.population.bench import Bench
from tests.calc.population.instruments import Scenario
from tests.calc.population.plan_policy import PlanPolicy
from tests.calc.population.policy import Read
from tests.depth import amount

DEPTH = 0.03**2, 0.01**2 / 12.0
"""Variances of the depth gauge's scatter and of its step (rectangular, GUM 4.3.7) [mm²]."""


def job(readings: list[object], **more: object) -> PlanInput:
    return plan_input(CASE, readings=readings, **more)


def at(given: PlanInput, order: int) -> tuple[Forecast, ...]:
    """Forecasts of the sheet of this rank."""
    return forecasts(given, [each.id for each in given.readings if each.order == order])


def raised(order: int, rise: float) -> dict[str, object]:
    return {"part": "bridge-post", "amount": rise, "order": order}


def test_the_first_reading_of_a_level_has_none():
    given = job([relief(0.45, order=0), *action(2.2, 1.9, order=1)])
    assert at(given, 0) == at(given, 1) == ()


@pytest.mark.parametrize("times", [1, 2, 4])
def test_readings_of_what_stands_are_a_mean(times):
    """The mean of n readings has a variance of one n-th; all of it that is scatter is the tool's own."""
    scatter, step = DEPTH
    given = job([each for order in range(times + 1) for each in action(2.2, 1.9, order=order)])
    bass, treble = at(given, times)
    assert (bass.expected, treble.expected) == pytest.approx((2.2, 1.9))
    # the readings share less of a step than is kept apart (`SHARED_FROM`)
    assert bass.level == pytest.approx((scatter + step) / times, rel=2.0 * SHARED_FROM)
    assert bass.own == pytest.approx(scatter / times, rel=0.02)
    assert bass.spread**2 == pytest.approx(bass.level + scatter + step, rel=1e-3)
    assert (bass.doubtful, treble.doubtful) == (True, True)


def test_a_move_by_a_known_amount_is_no_scatter_of_the_tool():
    """One reading, posts up by 0.4 mm (a hand is good to a tenth), half of it over the 12th fret."""
    scatter, step = DEPTH
    given = job([*action(2.2, 1.9, order=0), *action(2.4, 2.1, order=2)], adjustments=[raised(1, 0.4)])
    bass, _ = at(given, 2)
    assert bass.expected == pytest.approx(2.4, abs=0.02)
    assert bass.level == pytest.approx(scatter + step + (0.1 * 0.2) ** 2, rel=0.1)
    assert bass.own == pytest.approx(scatter, rel=0.02)
    assert not bass.doubtful


def test_nothing_of_the_sheet_itself_or_after_it_enters():
    turn = {"part": "truss-rod", "turns": 0.25, "order": 1, "at": 5.0}
    made = [
        at(job([relief(0.45, order=0), relief(value, order=2, at=10.0), *later], adjustments=[turn]), 2)[0]
        for value, later in (
            (0.41, []), (0.25, []), (0.41, [relief(0.60, order=3, at=20.0), *action(2.2, 1.9, order=4)]),
        )
    ]  # fmt: skip
    assert len({each._replace(reading="") for each in made}) == 1


def test_one_sheet_forecasts_all_its_readings_from_before_it():
    given = job([relief(0.45, order=0), relief(0.40, order=1), relief(0.50, order=1)])
    first, second = at(given, 1)
    assert first.expected == second.expected == pytest.approx(0.45)


def test_what_does_not_fit_and_is_read_again_is_doubtful():
    turn = {"part": "truss-rod", "turns": 0.25, "order": 1, "at": 5.0}
    readings = [relief(0.40, order=0), relief(0.55, order=2, at=10.0), relief(0.37, order=3, at=12.0)]
    given = job(readings, adjustments=[turn])
    (after,), (again,) = at(given, 2), at(given, 3)
    assert (after.doubtful, again.doubtful) == (False, True)
    assert abs(again.expected - 0.37) > 2.0 * again.spread  # it was asked for because the one before was odd


def test_a_neck_that_came_to_rest_is_no_repeat():
    turn = {"part": "truss-rod", "turns": 0.25, "order": 1, "at": 5.0}
    for minutes, doubtful in ((2.0, True), (120.0, False)):
        readings = [relief(0.40, order=0), relief(0.37, order=2, at=10.0)]
        given = job([*readings, relief(0.36, order=3, at=10.0 + minutes)], adjustments=[turn])
        assert at(given, 3)[0].doubtful is doubtful


def test_another_tool_brings_nothing_in_of_this_one():
    dial = cases.read("relief", 0.30, cases.DIAL, held=[1, 22], fret=9, method="straightedge", order=0)
    given = job([dial, relief(0.30, order=1)])
    assert at(given, 1)[0].own == pytest.approx(0.0, abs=1e-8)


# ---------------------------------------------------------------- the factor that comes of it


@pytest.mark.parametrize("factor", [0.6, 1.0, 2.0])
def test_a_tool_that_read_what_is_known_of_a_level_is_not_blamed_twice(factor):
    """Read, and read again: half of the error's variance is the earlier reading's scatter."""
    scatter = DEPTH[0]
    dice = np.random.default_rng(8)
    pairs = dice.normal(0.0, factor * math.sqrt(scatter), (400, 2))
    errors = [Error(b - a, scatter, 0.03, 0.0, own=scatter) for a, b in pairs]
    assert noise_factor(errors) == pytest.approx(factor, rel=0.1)
    if factor == 2.0:  # variance 8 in place of 1 + f²
        assert noise_factor([replace(each, own=0.0) for each in errors]) > 2.4


def shop(noise: float, jobs: int, seed: int) -> dict[str, tuple[float, int]]:
    """Factors of a bench's tools after some jobs, each begun with what those before it taught."""
    errors: dict[str, list[Error]] = defaultdict(list)
    known: dict[str, float] = {}
    for number in range(jobs):
        bench = Bench(100_000 + 1000 * seed + number, Scenario("noisy", noise=noise))
        bench.tools.known = dict(known)
        sheets = watched(bench)
        bench.play(PlanPolicy())
        given = bench.job().plan_input
        readings = {each.id: each for each in given.readings}
        for each in (found for ids in sheets for found in forecasts(given, ids)):
            reading = readings[each.reading]
            assert reading.value is not None
            away, (resolution, repeatability) = reading.value - each.expected, _tool(reading)
            errors[reading.tool or ""].append(
                Error(away, each.level, repeatability, resolution, each.own, reading.noise)
            )
        known = {tool: noise_factor(of) for tool, of in errors.items()}
    return {tool: (factor, len(errors[tool])) for tool, factor in known.items()}


def _tool(reading):
    return reading.resolution, reading.repeatability


def watched(bench: Bench) -> list[list[str]]:
    """Note which readings are taken together."""
    sheets: list[list[str]] = []
    read = bench.read

    def note(sheet: Read) -> None:
        before = len(bench.readings)
        read(sheet)
        sheets.append([each.id for each in bench.readings[before:]])

    bench.read = note  # type: ignore[method-assign]
    return sheets


def test_ten_jobs_by_the_plan_tell_a_tool_that_scatters_twice_what_it_states():
    """Whole simulated jobs: rods and hands of their own, creep, slips of one in a hundred."""
    found = [shop(2.0, 10, seed) for seed in range(amount(2, deep=12))]
    depth = [each["digital depth gauge"] for each in found]
    assert min(count for _, count in depth) > 80
    assert np.mean([factor for factor, _ in depth]) == pytest.approx(2.0, rel=0.15)
    # with fewer readings the prior of ten holds a factor back, never further than 1
    assert all(0.9 < factor <= 3.0 for each in found for factor, _ in each.values())
