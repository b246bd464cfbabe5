"""What was recorded and not done so: listed, taken back or corrected with its reason; the plan follows."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.client.cli.test_bench_work import CASE_ONE, taken
from tests.client.conftest import Command, Shop

pytestmark = [
    pytest.mark.parametrize("database_url", ["sqlite"], indirect=True),
    pytest.mark.usefixtures("taken"),
]
__all__ = ["taken"]


def test_what_was_not_done_is_taken_back(command: Command, shop: Shop, taken: dict[str, Any]) -> None:
    assert command("not-done").code == 3
    command("read", *CASE_ONE, "--looked-over", "--at-pitch", "--air", "21C 45%")
    before = shop.client().recommendations.of_job(taken["id"]).digest
    command("done", "rod", "tighten", "1/4")
    assert shop.client().recommendations.of_job(taken["id"]).digest != before
    back = command("not-done", "last", "--because", "recorded on the wrong job")
    assert back.out == "Taken back: truss rod: tighten 1/4 turn.\n"
    assert shop.client().recommendations.of_job(taken["id"]).digest == before
    listed = command("not-done").out
    assert "truss rod: tighten 1/4 turn (taken back: recorded on the wrong job)" in listed
    again = command("not-done", listed[:6], "--because", "twice")
    assert (again.code, "taken back already" in again.err) == (6, True)


def test_what_was_recorded_wrongly_is_corrected_where_it_stands(
    command: Command, shop: Shop, taken: dict[str, Any]
) -> None:
    command("read", *CASE_ONE, "--looked-over", "--at-pitch", "--air", "21C 45%")
    command("done")
    told = command(
        "done", "rod", "tighten", "1/8", "--instead-of", "last", "--because", "mistyped", "--json"
    ).out
    (right,) = json.loads(told)["items"]
    first, second = shop.client().adjustments.list(taken["id"])
    assert first.withdrawn is not None
    assert (first.withdrawn.reason, first.withdrawn.replaced_by_id) == ("mistyped", second.id)
    assert (second.id, second.supersedes) == (right["id"], first.id)
    assert (second.done_at, second.plan, second.plan_kept) == (first.done_at, first.plan, True)


def test_a_correction_says_what_was_wrong_and_why(command: Command) -> None:
    command("read", *CASE_ONE, "--looked-over", "--at-pitch")
    command("done", "rod", "tighten", "1/4")
    alone = command("done", "rod", "tighten", "1/8", "--instead-of", "last")
    assert (alone.code, "--because go together" in alone.err) == (2, True)
    empty = command("done", "--instead-of", "last", "--because", "mistyped")
    assert (empty.code, "say what was done" in empty.err) == (2, True)
    assert command("not-done", "last").code == 2
    other = command("not-done", "zzzzzz", "--because", "mistyped")
    assert (other.code, "'zzzzzz' is nothing that was recorded" in other.err) == (2, True)
