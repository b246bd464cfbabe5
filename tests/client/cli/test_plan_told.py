"""What a plan says at the command line beside its steps."""

from __future__ import annotations

import re

import pytest

from tests.client.cli.test_bench_work import CASE_ONE, IN_SPEC, SQLITE, taken
from tests.client.conftest import Command, Shop

pytestmark = pytest.mark.usefixtures("taken")
__all__ = ["taken"]


def job_of(shop: Shop) -> str:
    """Name the job that is on the bench."""
    (job,) = shop.client().jobs.list()
    return job.id


@SQLITE
def test_a_reading_that_does_not_fit_is_said_while_the_tool_is_at_hand(command: Command) -> None:
    assert "Does not fit" not in command("read", *CASE_ONE, "--looked-over", "--at-pitch").out
    read = command("read", "relief bass 0.04 with feeler", "--at-pitch")
    assert read.code == 0
    told = "Does not fit: relief, bass side: it reads 0.04 mm where about 0.45 mm was expected after 0.45 mm"
    assert told in read.out
    assert "0.40 mm would fit: the decimal point?" in read.out
    assert "Read it again before any step; if it shows the same, type it with sure behind it." in read.out
    assert re.search(r"1  Read relief again +do now\n", command("plan").out)
    sure = command("read", "relief bass 0.40 with feeler sure", "--at-pitch")
    assert "Read it again" not in sure.out
    plan = command("plan")
    assert "Set aside: this reading, relief, bass side: it reads 0.04 mm" in plan.out
    assert re.search(r"1  Truss rod: tighten 1/4 turn.*do now\n", plan.out)


def test_a_plan_says_when_the_neck_has_rested_and_what_is_worth_it(shop: Shop, command: Command) -> None:
    received = ("relief bass 0.32 with feeler", *IN_SPEC[1:])
    assert command("read", *received, "--looked-over", "--at-pitch").code == 0
    plan = command("plan")
    assert re.search(r"worth it: saves about \d+ min for \d+ min\n", plan.out)
    assert "(should show 0.28 ± 0.05 mm)" in plan.out
    command("done")
    intonation = [f"intonation {string} 0.2" for string in range(1, 7)]
    heights = ("action bass 1.62 with depth", "action treble 1.42 with depth")
    command("read", "relief bass 0.22 with feeler", *heights, *intonation, "--at-pitch")
    told = " ".join(command("plan").out.split())
    not_asked = (
        "Not asked for now (chance of being in spec tomorrow): nut action, bass and treble side > 0.99"
    )
    assert not_asked in told
    job = shop.client().jobs.get(job_of(shop))
    until = shop.client().recommendations.of_job(job).rest_until
    assert until is not None
    assert f"The neck rests until {until.astimezone():%H:%M}, then read relief, bass side" in told
    assert re.search(rf"Job 1: settling until {until.astimezone():%H:%M}", command("settle").out)


def test_the_state_is_asked_for_through_the_client(shop: Shop, command: Command) -> None:
    assert command("read", *CASE_ONE, "--looked-over", "--at-pitch").code == 0
    plans = shop.client().recommendations
    assert plans.of_job(job_of(shop)).state is None
    state = plans.of_job(job_of(shop), state=True).state
    assert state is not None
    assert {each.name: each.unit for each in state.numbers}["response at once"] == "mm/turn"
    assert [len(row) for row in state.correlations] == list(range(len(state.numbers)))
