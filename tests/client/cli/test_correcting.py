"""Readings that were sent and were wrong: listed, corrected where they stand, the rest kept."""

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
WRONG = ("--instead-of", "last", "--because", "mistyped")


def test_a_mistyped_reading_is_put_right_and_the_others_stay(
    command: Command, shop: Shop, taken: dict[str, Any]
) -> None:
    command("read", *CASE_ONE, "--looked-over", "--at-pitch", "--air", "21C 45%", "--note", "warm")
    command("done", "rod", "tighten", "1/4")
    assert command("read", "action treble 1.6", *WRONG).out.startswith("Taken: 5 readings, as received.")
    first, second = shop.client().reading_sheets.list(taken["id"])
    assert (second.supersedes, second.supersedes_reason) == (first.id, "mistyped")
    # it counts from the time of the sheet that it corrects: the rod was turned after it, not before
    assert (second.taken_at, second.stage, second.note, second.looked_over) == (
        first.taken_at, "as-received", "warm", True,
    )  # fmt: skip
    assert second.room == first.room
    kept = {(one.quantity, one.side): one.typed.value for one in second.readings if one.typed is not None}
    assert kept["action", "treble"] == 1.6
    assert kept["action", "bass"] == 2.2
    assert [one.tool_id for one in first.readings] == [one.tool_id for one in second.readings]


def test_the_sheets_of_a_job_are_listed_with_what_corrects_them(command: Command) -> None:
    assert command("sheets").code == 3
    command("read", *CASE_ONE, "--at-pitch")
    name = command("sheets").out[:6]
    assert command("read", "relief bass 0.35", "--instead-of", name, "--because", "misread").code == 0
    listed = command("sheets").out
    assert f"instead of {name}: misread" in listed
    assert "corrected by " in listed
    assert "relief, bass side, held 1–22, at fret 9: 0.35 mm" in listed
    again = command("read", "relief bass 0.3", "--instead-of", name, "--because", "misread")
    assert (again.code, "corrected already" in again.err) == (6, True)


def test_a_reading_of_a_wrong_sheet_can_be_left_out(
    command: Command, shop: Shop, taken: dict[str, Any]
) -> None:
    command("read", *CASE_ONE, "--at-pitch")
    assert command("read", *WRONG, "--drop", "1").code == 0
    assert [one.quantity for one in list(shop.client().reading_sheets.list(taken["id"]))[-1].readings] == [
        "action", "action", "nut-action", "nut-action",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "arguments, told",
    [
        (("--instead-of", "zzzzzz", "--because", "x"), "shimstock sheets lists them"),
        (("--instead-of", "last"), "go together"),
        (("--because", "x"), "go together"),
    ],
)
def test_what_is_corrected_must_be_a_sheet_of_this_job(
    command: Command, arguments: tuple[str, ...], told: str
) -> None:
    command("read", *CASE_ONE, "--at-pitch")
    ran = command("read", "relief bass 0.3", *arguments)
    assert (ran.code, told in ran.err) == (2, True)
    assert command("unsent").code == 3


def test_a_tool_is_found_among_those_that_measure_what_was_read(command: Command, shop: Shop) -> None:
    manager = shop.client("manager")
    for name, quantity in (("strobe", "intonation"), ("strobe, open strings", "pitch")):
        manager.tools.create(
            name=f"fine {name}", quantities=[quantity], resolution={"value": 0.1, "unit": "cents"}
        )
    assert command("read", "intonation 3 +2.5", "--at-pitch", "--tool", "fine strobe").code == 0


def test_a_tool_that_was_misnamed_is_put_right_on_the_kept_sheet(command: Command) -> None:
    refused = command("read", "relief bass 0.3", "--at-pitch", "--tool", "hammer")
    assert (refused.code, "no tool here" in refused.err) == (2, True)
    (kept,) = json.loads(command("unsent", "--json").out)["items"]
    assert command("read", "--resume", kept["sheet"]["id"][-6:], "--tool", "feeler").code == 0


def test_what_was_found_is_sent_without_a_reading(
    command: Command, shop: Shop, taken: dict[str, Any]
) -> None:
    assert command("read", "--looked-over", "--found", "fret-high fret 7", "--at-pitch").code == 0
    (sheet,) = shop.client().reading_sheets.list(taken["id"])
    assert [(one["code"], one["fret"]) for one in sheet.findings] == [("fret-high", 7)]
    assert "say so: " not in command("plan").out
