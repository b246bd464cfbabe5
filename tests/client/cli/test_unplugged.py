"""Readings typed while the service cannot be reached, and readings that it could not take."""

from __future__ import annotations

import pytest

from shimstock_client.cli._unsent import all_unsent
from tests.client.cli.test_bench_work import CASE_ONE, Cut, taken
from tests.client.conftest import Command, Shop, runner

pytestmark = [
    pytest.mark.parametrize("database_url", ["sqlite"], indirect=True),
    pytest.mark.usefixtures("taken"),
]
__all__ = ["taken"]


def test_readings_typed_out_of_reach_are_kept_and_sent_later(
    command: Command, shop: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    unplugged = runner(Cut(), capsys)
    ran = unplugged("read", *CASE_ONE, "--at-pitch")
    assert ran.code == 4
    assert "cannot be reached" in ran.err
    assert "send it again with: shimstock send " in ran.err
    kept = command("unsent")
    assert "5 readings" in kept.out
    assert "action, bass side: 2.2 mm" in kept.out
    assert command("send").out == "Taken: 1 sheet.\n"
    (job,) = shop.client().jobs.list(state="on-bench")
    (sheet,) = shop.client().reading_sheets.list(job)
    assert (len(sheet.readings), sheet.stage) == (5, "as-received")


def test_another_job_than_the_last_seen_is_never_guessed(
    command: Command, capsys: pytest.CaptureFixture[str]
) -> None:
    assert runner(Cut(), capsys)("read", *CASE_ONE, "--at-pitch", "--job", "99").code == 4
    assert command("unsent").code == 3


def test_a_sheet_that_was_refused_says_how_it_is_put_right(command: Command) -> None:
    refused = command("read", "action bass 22", "action treble 1.9", "--at-pitch")
    assert refused.code == 1
    assert "send it again" not in refused.err
    name = refused.err.split("kept as sheet ")[1][:6]
    assert f"shimstock read --resume {name} --drop 1 " in refused.err
    mended = command("read", "--resume", name, "--drop", "1", "action bass 2.2")
    assert mended.out.startswith("Taken: 2 readings")
    assert command("unsent").code == 3


def test_what_is_dropped_must_stand_on_a_kept_sheet(command: Command) -> None:
    assert command("read", "relief 0.3", "--drop", "1", "--at-pitch").code == 2
    refused = command("read", "action bass 22", "action treble 1.9", "--at-pitch")
    name = refused.err.split("kept as sheet ")[1][:6]
    ran = command("read", "--resume", name, "--drop", "3")
    assert (ran.code, "readings 1 to 2" in ran.err) == (2, True)


def test_a_lone_reading_that_was_refused_leaves_nothing_behind(command: Command) -> None:
    refused = command("read", "action bass 22", "--at-pitch")
    assert (refused.code, "type it again" in refused.err) == (1, True)
    assert command("unsent").code == 3


def test_a_sheet_of_a_clock_that_is_far_ahead_is_kept_and_its_time_is_said_again(
    command: Command, shop: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    runner(Cut(), capsys)("read", *CASE_ONE, "--at-pitch")
    (kept,) = all_unsent()
    kept.restate("2999-01-01T00:00:00Z")
    refused = command("send")
    assert (refused.code, "more than 48 cannot be confirmed" in refused.err) == (1, True)
    name = refused.err.split("kept as ")[1][:6]
    assert f"shimstock send {name} --at now" in refused.err
    assert command("send", "--at", "now").code == 2
    assert "is no time" in command("send", name, "--at", "soon").err
    (job,) = shop.client().jobs.list(state="on-bench")
    assert list(shop.client().reading_sheets.list(job)) == []
    assert command("send", name, "--at", shop.client().jobs.get(job.id).claim.since.isoformat()).out == (
        "Taken: 1 sheet.\n"
    )
    assert command("unsent").code == 3
