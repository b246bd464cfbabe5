"""Terminals of every kind: poor alphabets, narrow lines, JSON for what was not understood."""

from __future__ import annotations

import io
import json
import sys
from typing import Any

import pytest

from shimstock_client.cli._app import run
from tests.client.cli.test_bench_work import CASE_ONE, taken
from tests.client.conftest import Command, Shop

pytestmark = [
    pytest.mark.parametrize("database_url", ["sqlite"], indirect=True),
    pytest.mark.usefixtures("taken"),
]
__all__ = ["taken"]


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "ascii"])
def test_letters_that_a_terminal_lacks_are_written_with_others(
    command: Command, monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    command("read", *CASE_ONE, "--at-pitch")
    poor = io.TextIOWrapper(io.BytesIO(), encoding=encoding, write_through=True)
    monkeypatch.setattr(sys, "stdout", poor)
    assert command("plan").code == 0
    told = poor.buffer.getvalue().decode(encoding)
    assert "0.45 -> about 0.35 mm" in told
    poor.buffer.seek(0)
    poor.buffer.truncate()
    assert command("plan", "--json").code == 0
    assert json.loads(poor.buffer.getvalue())["steps"]


@pytest.mark.parametrize(
    "arguments, told",
    [
        (("read", "--bogus", "--json"), "No such option"),
        (("--json", "plan"), "No such option"),
        (("consent", "general", "perhaps", "--json"), "perhaps"),
        (("frobnicate", "--json"), "No such command"),
    ],
)
def test_a_command_line_that_is_not_understood_answers_as_json_too(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], told: str
) -> None:
    assert run(arguments) == 2
    answer = json.loads(capsys.readouterr().out)
    assert (answer["exit"], answer["error"]["code"]) == (2, "usage")
    assert told in answer["error"]["detail"]


def test_without_json_nothing_that_was_not_understood_reaches_standard_output(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(("read", "--bogus")) == 2
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("columns", ["60", "80", "100"])
def test_no_number_is_cut_short(command: Command, monkeypatch: pytest.MonkeyPatch, columns: str) -> None:
    command("read", *CASE_ONE, "--at-pitch")
    command("done", "rod", "tighten", "1/4")
    monkeypatch.setenv("COLUMNS", columns)
    told = command("plan").out
    assert "0.45 mm" in told
    assert "moved; tomorrow 0." in " ".join(told.split())
    assert "……" not in told
    assert "0…" not in told
    if columns != "60":
        assert "1.70, 1.45 … 1.95" in told


def test_a_job_is_named_the_same_way_everywhere(command: Command, taken: dict[str, Any]) -> None:
    number = str(taken["number"])
    for name in ("plan", "job", "card", "sheets"):
        assert command(name, "--job", number).out == command(name, number).out
    ran = command("plan", number, "--job", "99")
    assert (ran.code, "which job?" in ran.err) == (2, True)


def test_the_list_of_jobs_names_the_instruments(command: Command) -> None:
    assert "  Heron  " in command("jobs").out


def test_a_job_on_a_bench_is_put_back_by_its_own_command(command: Command, taken: dict[str, Any]) -> None:
    ran = command("move", str(taken["number"]), "queued")
    assert (ran.code, "shimstock give-back --job" in ran.err) == (6, True)


@pytest.mark.parametrize("words", [("give-back",), ("hand-over", "First")])
def test_a_job_that_nobody_holds_is_neither_given_back_nor_handed_over(
    command: Command, taken: dict[str, Any], words: tuple[str, ...]
) -> None:
    number = str(taken["number"])
    assert command("give-back", "--job", number).code == 0
    ran = command(*words, "--job", number)
    assert (ran.code, f"job {number} is not on a bench" in ran.err) == (6, True)


def test_a_job_is_found_by_the_serial_number_of_its_instrument(
    command: Command, shop: Shop, taken: dict[str, Any]
) -> None:
    manager = shop.client("manager")
    instrument = manager.instruments.get(taken["instrument_id"])
    manager.instruments.update(instrument, serial="HE-77")
    assert command("job", "HE-77").out == command("job", str(taken["number"])).out
    ran = command("job", "HE-78")
    assert (ran.code, "has an open job" in ran.err) == (1, True)
    assert command("receive", "HE-77").err.startswith("caution: job 1 of this instrument is still open")
    ran = command("job", "HE-77")
    assert (ran.code, "more than one open job" in ran.err) == (2, True)
