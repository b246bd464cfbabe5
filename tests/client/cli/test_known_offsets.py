"""A bench that is known to read too high, at the command line and in the SDK."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from tests.client.cli.test_bench_work import Cut
from tests.client.conftest import Command, Shop, runner


def check_for(shop: Shop, command: Command, days: int, *values: str) -> None:
    for _ in range(days):
        assert command("check", "block 1.00", *values).code == 0
        shop.clock.advance(timedelta(days=1))


def test_what_is_taken_off_and_that_a_tool_drifted_is_told(shop: Shop, command: Command) -> None:
    assert (
        command("check-piece", "block 1.00", "relief", "1.00", "--with", "feeler", "--times", "3").code == 0
    )
    check_for(shop, command, 6, "1.04", "1.05", "1.06")
    shop.things.queued_job(complaints="buzzes")
    job = json.loads(command("take", "--json").out)
    read = command("read", "relief bass 0.32 with feeler", "--at-pitch")
    assert "out of its limits" not in read.out
    told = command("plan").out
    assert "Feeler leaves at First bench reads relief 0.05 mm too high" in " ".join(told.split())
    assert 'by the check piece "block 1.00"; taken off' in " ".join(told.split())
    assert "0.27 ± 0.03 mm (0.05 taken off)" in told
    plan = shop.client().recommendations.of_job(job["id"])
    verdict = next(one for one in plan.verdicts if one.quantity == "relief" and one.reading)
    assert verdict.taken_off is not None
    assert verdict.value is not None
    assert (verdict.taken_off.value, verdict.value.value) == (0.05, 0.27)
    assert [note.text for note in plan.notes if note.code == "bench-offset"]

    check_for(shop, command, 2, "1.15", "1.16", "1.16")
    high = command("read", "relief bass 0.43 with feeler", "--at-pitch")
    assert "Feeler leaves at First bench was out of its limits at its last check" in high.out
    assert "Check it on the piece again" in high.out
    sheets = command("read", "relief bass 0.43 sure with feeler", "--at-pitch", "--json")
    (drift,) = json.loads(sheets.out)["drifts"]
    assert drift["verdict"] == "reads high"
    command("check", "block 1.00", "1.04", "1.05", "1.06")
    assert "out of its limits" not in command("read", "relief bass 0.33 with feeler", "--at-pitch").out


def test_that_a_tool_drifted_is_told_of_sheets_that_are_sent_later_too(
    shop: Shop, command: Command, capsys: pytest.CaptureFixture[str]
) -> None:
    assert (
        command("check-piece", "block 1.00", "relief", "1.00", "--with", "feeler", "--times", "3").code == 0
    )
    check_for(shop, command, 6, "1.04", "1.05", "1.06")
    shop.things.queued_job(complaints="buzzes")
    command("take")
    command("job")
    unplugged = runner(Cut(), capsys)
    assert unplugged("read", "relief bass 0.32 with feeler", "--at-pitch").code == 4
    assert command("send").out == "Taken: 1 sheet.\n"

    command("check", "block 1.00", "1.15", "1.16", "1.16")
    for relief in ("0.33", "0.34"):
        typed = f"relief bass {relief} sure with feeler"
        assert unplugged("read", typed, "--at-pitch").code == 4
    sent = command("send").out
    assert sent.startswith("Taken: 2 sheets.\n")
    told = "Feeler leaves at First bench was out of its limits at its last check"
    assert sent.count(told) == 1  # the same of both
    (line,) = (line for line in sent.splitlines() if told in line)
    assert line in command("read", "relief bass 0.33 sure with feeler", "--at-pitch").out
