"""The simulated population is what it says, watches what it should, and sounds an alarm for the plan."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy.stats import binomtest

from shimstock_calc.plan.model import ReadingWanted
from tests.calc.population import __main__ as command
from tests.calc.population.bench import LOOK_OVER, MOST_PROMPTS, RETUNE, Bench, play
from tests.calc.population.instruments import SCENARIOS, make_instrument
from tests.calc.population.neck import ALONG, gap_under_chord, shape
from tests.calc.population.paper_card import PaperCard
from tests.calc.population.policy import Act, Answer, Do, Job, Read
from tests.calc.population.rod import DAY, Rod
from tests.calc.population.table import wilson

ORDINARY = SCENARIOS["ordinary"]
CARDS = 100
"""Jobs that the paper card plays in the usual run."""

RELIEF = Read((ReadingWanted("relief"),))


class Script:
    """A policy that says its answers one after another, and the last one for ever."""

    def __init__(self, *answers: Answer) -> None:
        self.answers = list(answers)

    def answer(self, job: Job) -> Answer:
        return self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]


def bench_with(**changes: object) -> Bench:
    """A bench with a healthy two-post guitar whose rod and consents may be changed."""
    for seed in range(100):
        bench = Bench(seed, ORDINARY)
        if bench.instrument.bridge.kind == "two-post" and bench.hidden.rod.health == "healthy":
            for name, value in changes.items():
                setattr(bench.hidden, name, value)
            return bench
    raise AssertionError("no two-post guitar in a hundred")


def turn(turns: float) -> Do:
    return Do((Act("truss-rod", turns=turns),))


# ---------------------------------------------------------------- instruments


@pytest.mark.parametrize("joint, expected", [(14, 1.58), (16, 1.67), (19, 1.80), (22, 1.92)])
def test_an_even_bend_has_the_coupling_of_an_arc(joint, expected):
    # elementary geometry: a neck of constant curvature, held 1-22, read at 9, string at fixed slot and saddle
    tops = shape(joint, 7.0, 1.0)
    relief = gap_under_chord(tops, (1, 22), 9)
    action = tops[0] * (1 - ALONG[12]) - tops[12]
    assert action / relief == pytest.approx(expected, abs=0.01)


def test_bends_are_not_the_arc_that_the_plan_believes_in():
    coupled = []
    for seed in range(60):
        hidden = make_instrument(seed, ORDINARY)
        if hidden.plan_input.instrument.body_joint_fret == 16:
            before = hidden.height(1, 12)
            hidden.neck.rod_bend += 0.1
            coupled.append((hidden.height(1, 12) - before) / 0.1)
    assert max(coupled) - min(coupled) > 0.15


def test_every_instrument_can_be_set_up():
    """With relief, heights, pickups and saddles put where they belong every quantity lies in its limits."""
    for seed in range(60):
        hidden = make_instrument(seed, ORDINARY)
        goal = {(item.quantity, item.side): item for item in hidden.plan_input.spec}
        hidden.neck.strings_bend += hidden.spec_relief.target - hidden.relief()
        for _ in range(20):
            for side in ("bass", "treble"):
                number = hidden.outermost(side)
                hidden.saddles[number] += goal["action", side].target - hidden.height(number, 12)
                over = hidden.height(number, 1) - goal["nut-action", side].target
                if over > 0:
                    hidden.slots[number] -= over
        for quantity in ("relief", "action", "nut-action"):
            fine = [hidden.inside(spot, item) for spot, item in hidden.spots() if spot.quantity == quantity]
            assert all(fine), (seed, quantity)


def rod(**changes: object) -> Rod:
    plain = Rod("healthy", -0.4, growth=0.0, back=0.8, play=0.1, slack=0.04, late=0.3, time_constant=120.0)
    return replace(plain, **changes)  # type: ignore[arg-type]


def test_tightening_takes_relief_away_past_the_play_and_a_part_of_it_late():
    moved = rod()
    at_once = moved.turn(0.25)
    assert at_once == pytest.approx(-0.4 * (0.25 - 0.04) * 0.7)
    assert moved.wait(120.0) == pytest.approx(-0.4 * 0.21 * 0.3 * (1 - math.exp(-1)))
    moved.wait(100 * DAY)
    # the whole play is lost on the way back, and loosening gives less than tightening took
    assert moved.turn(-0.25) == pytest.approx(0.4 * (0.25 - 0.1) * 0.8 * 0.7)


@pytest.mark.parametrize("health, way", [("healthy", -1), ("dead", 0), ("reversed", 1)])
def test_dead_and_reversed_rods(health, way):
    found = rod(health=health, play=0.0, slack=0.0).turn(0.25)
    assert (found > 0) - (found < 0) == way


# ---------------------------------------------------------------- the bench


def test_the_same_seed_gives_the_same_job():
    first = play(7, ORDINARY, PaperCard())
    play(8, ORDINARY, PaperCard())
    again = play(7, ORDINARY, PaperCard())
    assert replace(first, seconds=0.0) == replace(again, seconds=0.0)


def test_policies_meet_the_same_luck():
    spots = (ReadingWanted("relief"), ReadingWanted("action", "bass"), ReadingWanted("intonation", string=2))
    one, other = Bench(11, ORDINARY), Bench(11, ORDINARY)
    for wanted in spots:
        one.read(Read((wanted,)))
    for wanted in reversed(spots):
        other.read(Read((wanted,)))
    assert {each.quantity: each.value for each in one.readings} == {
        each.quantity: each.value for each in other.readings
    }


def test_minutes_and_visits_of_a_short_job():
    done = bench_with().play(
        Script(
            Answer((RELIEF, turn(0.125), RELIEF), rest_until=200.0, after_rest=RELIEF), Answer(word="done")
        )
    )
    # judgement: relief 1, rod 1, retune 2, look over 3; the rest and the prompt cost no bench minutes
    assert done.minutes == LOOK_OVER + 3 * (RETUNE + 1.0) + 1.0
    assert (done.readings, done.prompts, done.visits, done.ended) == (3, 1, 2, "done")


@pytest.mark.parametrize(
    "answers, rule",
    [
        ([Answer((RELIEF, turn(0.375)))], "rod: more than a quarter turn at once"),
        (
            [Answer((RELIEF, turn(0.25), turn(0.25)))],
            "rod: turned without a relief reading since the last turn",
        ),
        (
            [Answer((RELIEF, Do((Act("nut-slot", amount=0.1, string=6, filing=True, stop=0.4),))))],
            "filed on one reading of nut-action",
        ),
        (
            [Answer((turn(0.25), Do((Act("nut-slot", amount=0.1, string=6, filing=True, stop=0.4),))))],
            "filed while the neck may still move",
        ),
        (
            [Answer((Do((Act("nut-slot", amount=0.1, string=6, filing=True, stop=0.4),)), turn(0.25)))],
            "filed while a rod turn was to come",
        ),
        (
            [Answer((Do((Act("nut-slot", amount=0.9, string=6, filing=True, stop=0.1),)),))],
            "floor of the nut",
        ),
    ],
)
def test_a_broken_rule_is_seen(answers, rule):
    outcome = bench_with().play(Script(*answers, Answer(word="done")))
    assert rule in outcome.broken


def test_a_rod_turned_by_the_book_breaks_no_rule():
    by_the_book = Answer((RELIEF, turn(0.25), RELIEF, turn(0.25), RELIEF))
    assert bench_with().play(Script(by_the_book, Answer(word="done"))).broken == []


def test_filing_needs_a_consent():
    bench = bench_with()
    refused = replace(bench.hidden.plan_input, consents=())
    bench.hidden.plan_input = refused
    filing = Do((Act("nut-slot", amount=0.1, string=6, filing=True, stop=0.4),))
    assert "nut-filing: without consent" in bench.play(Script(Answer((filing,)), Answer(word="done"))).broken


def test_the_floor_of_a_saddle_is_watched():
    bench = next(
        each
        for each in (Bench(seed, ORDINARY) for seed in range(100))
        if each.hidden.plan_input.instrument.bridge.kind == "fixed-saddle"
    )
    deep = Do((Act("saddle", amount=4.5, side="bass", filing=True),))
    assert "floor of the saddle" in bench.play(Script(Answer((deep,)), Answer(word="done"))).broken


def test_dead_ends_and_loops_are_told_apart():
    assert bench_with().play(Script(Answer())).ended == "no word"
    looping = bench_with().play(Script(Answer((RELIEF,))))
    assert (looping.ended, looping.prompts) == ("loop", MOST_PROMPTS)


def test_forecasts_are_scored_against_what_was_read():
    bench = bench_with()
    spot = next(spot for spot, _ in bench.hidden.spots() if spot.quantity == "relief")
    outcome = bench.play(Script(Answer((RELIEF,), forecasts={spot: (9.0, 0.1)}), Answer(word="done")))
    ((quantity, score),) = outcome.scores
    assert quantity == "relief"
    assert score < -50


# ---------------------------------------------------------------- the table


@pytest.mark.parametrize("found, of", [(96, 100), (0, 40), (2400, 2500)])
def test_bounds_are_those_of_scipy(found, of):
    # scipy, an independent library
    assert wilson(found, of) == pytest.approx(binomtest(found, of).proportion_ci(method="wilson"), abs=1e-9)


def test_the_command_prints_the_table(capsys):
    command.main(["--count", "4", "--policy", "card", "--scenario", "ordinary,dead-rods", "--processes", "1"])
    printed = capsys.readouterr().out
    assert printed.startswith("policy  scenario")
    assert "card, dead-rods" in printed
    assert "rules broken" in printed


def test_processes_change_nothing():
    alone, together = (command.many(4, 0, "ordinary", "card", processes) for processes in (1, 2))
    assert [replace(each, seconds=0.0) for each in alone] == [replace(each, seconds=0.0) for each in together]


def test_the_paper_card_finishes_two_in_three():
    """The baseline stays where it was: a change here is one of the population, not of the plan."""
    outcomes = command.many(CARDS, 0, "ordinary", "card")
    assert 0.60 <= sum(each.truly for each in outcomes) / CARDS <= 0.80
    assert {each.ended for each in outcomes} <= {"done", "rod given up"}
