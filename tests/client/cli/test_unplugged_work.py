"""What was done while the service cannot be reached: kept, sent in its order, or refused with its reason."""

from __future__ import annotations

import json
from typing import Any

import pytest

from shimstock_client._ids import uuid7
from shimstock_client.cli._unsent import all_unsent_work
from tests.client.cli.test_bench_work import CASE_ONE, Cut, taken
from tests.client.conftest import Command, Shop, runner

pytestmark = [
    pytest.mark.parametrize("database_url", ["sqlite"], indirect=True),
    pytest.mark.usefixtures("taken"),
]
__all__ = ["taken"]
FEWER = ("relief bass 0.35 with feeler", "action bass 2.0 with depth", "action treble 1.7 with depth")


@pytest.fixture
def unplugged(capsys: pytest.CaptureFixture[str]) -> Command:
    return runner(Cut(), capsys)


def test_the_planned_step_and_what_follows_are_sent_in_their_order(
    command: Command, unplugged: Command, shop: Shop, taken: dict[str, Any]
) -> None:
    command("read", *CASE_ONE, "--looked-over", "--at-pitch")
    command("plan")
    kept = unplugged("done", "--minutes", "5")
    assert (kept.code, "not recorded yet: truss rod: tighten 1/4 turn" in kept.err) == (4, True)
    assert unplugged("read", *FEWER, "--at-pitch").code == 4
    assert unplugged("done", "rod", "tighten", "1/8").code == 4
    lines = [line for line in command("unsent").out.splitlines() if not line.startswith(" ")]
    assert ["tighten 1/4" in lines[0], "3 readings" in lines[1], "tighten 1/8" in lines[2]] == [True] * 3
    assert command("send").out == "Recorded: 2 adjustments.\nTaken: 1 sheet.\n"
    first, second = shop.client().adjustments.list(taken["id"])
    assert (first.plan_kept, first.minutes, first.turns.value if first.turns else 0) == (True, 5, 0.25)
    assert second.plan is None
    assert command("unsent").code == 3


def test_a_plan_that_was_overtaken_is_not_done_unseen(command: Command, unplugged: Command) -> None:
    command("read", *CASE_ONE, "--looked-over", "--at-pitch")
    command("plan")
    unplugged("read", *FEWER, "--at-pitch")
    ran = unplugged("done")
    assert (ran.code, "typed since the plan was shown" in ran.err) == (4, True)
    assert "tighten" not in command("unsent").out


def test_more_of_a_job_waits_until_what_is_kept_is_sent(command: Command, unplugged: Command) -> None:
    unplugged("done", "rod", "tighten", "1/4")
    again = command("done", "rod", "tighten", "1/8")
    assert (again.code, "shimstock send first" in again.err) == (6, True)


def test_work_under_a_claim_that_ended_stays_kept_and_says_who_holds_the_job(
    command: Command, unplugged: Command, shop: Shop, taken: dict[str, Any]
) -> None:
    unplugged("done", "rod", "tighten", "1/4")
    unplugged("read", *FEWER, "--at-pitch")
    command("give-back")
    ran = command("send", "--json")
    told = json.loads(ran.out)
    assert (ran.code, told["items"], len(told["refused"])) == (6, [], 1)
    assert "your claim has ended meanwhile and nobody holds it now" in ran.err
    # the readings taken after the turn wait for it: without it they would say what the rod never did
    assert "3 readings" in command("unsent").out
    command("take", str(taken["number"]))
    assert command("send").out == "Recorded: 1 adjustment.\nTaken: 1 sheet.\n"
    (done,) = shop.client().adjustments.list(taken["id"])
    assert done.part == "truss-rod"


def test_work_that_is_refused_later_stays_kept_until_it_is_given_up(
    command: Command, unplugged: Command
) -> None:
    assert "consents are looked at then" in unplugged("done", "nut", "6", "file", "0.05mm").err
    ran = command("send")
    assert (ran.code, "no consent covers it" in ran.err) == (6, True)
    name = ran.err.split("kept as ")[1][:6]
    assert command("send", name, "--throw-away").code == 0
    assert command("unsent").code == 3


def test_a_plan_that_changed_meanwhile_is_told(
    command: Command, unplugged: Command, shop: Shop, taken: dict[str, Any]
) -> None:
    command("read", *CASE_ONE, "--looked-over", "--at-pitch")
    command("plan")
    unplugged("done")
    job = shop.client().jobs.get(taken["id"])
    shop.client().consents.create(job, covers="general", given=True, given_by="owner", how="phone")
    body = {"id": str(uuid7()), "part": "tuners", "claim": taken["claim"]["id"]}
    shop.client().adjustments.send(taken["id"], {**body, "done_at": taken["claim"]["since"]})
    assert "The plan had changed meanwhile" in command("send").out


def test_nothing_is_kept_of_a_job_that_was_never_seen_here(command: Command, unplugged: Command) -> None:
    assert unplugged("done", "rod", "tighten", "1/4", "--job", "99").code == 4
    assert command("unsent").code == 3


def test_work_of_a_clock_that_is_far_ahead_is_kept_and_its_time_is_said_again(
    command: Command, unplugged: Command, shop: Shop, taken: dict[str, Any]
) -> None:
    unplugged("done", "rod", "tighten", "1/4")
    (kept,) = all_unsent_work()
    kept.restate("2999-01-01T00:00:00Z")
    refused = command("send")
    assert (refused.code, "more than 48 cannot be confirmed" in refused.err) == (1, True)
    name = refused.err.split("kept as ")[1][:6]
    assert command("send", name, "--at", taken["claim"]["since"]).out == "Recorded: 1 adjustment.\n"
    (done,) = shop.client().adjustments.list(taken["id"])
    assert done.part == "truss-rod"
