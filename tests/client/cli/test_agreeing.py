"""Studies, check pieces and doubts at the command line, against the real service."""

from __future__ import annotations

import io
import json
import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import requests

from shimstock_client import Quantity, WSGITransport
from shimstock_client.cli import _bench
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.learning import work_off_marks
from tests.client.conftest import Command, Shop, runner

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@pytest.fixture
def at_keyboard(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Somebody types these lines."""

    def typed(*lines: str) -> None:
        monkeypatch.setattr(_bench.Bench, "asks", property(lambda self: not self.as_json))
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))

    return typed


def test_a_check_takes_a_line_and_says_at_once_whether_the_bench_drifts(
    shop: Shop, command: Command, at_keyboard: Any, tmp_path: Path
) -> None:
    assert command("check").code == 3
    made = command("check-piece", "block 1.00", "relief", "1.00", "--with", "feeler", "--times", "2")
    assert made.out == "block 1.00 is read at this bench now: shimstock check\n"
    first = command("check", "1.00", "1,01")
    assert first.out == "block 1.00: 1.005 mm, kept. Limits can be drawn in 4 more days.\n"
    for _ in range(4):
        shop.clock.advance(timedelta(days=1))
        command("check", "block 1.00", "1.00", "1.01")
    shop.clock.advance(timedelta(days=1))
    good = command("check", "1.00", "1.00").out
    assert good.startswith("block 1.00: 1 mm, in control (limits 0.96")
    at_keyboard("1.09", "high", "1.10")
    high = command("check")
    assert "not taken: relief: 'high' is no number" in high.out
    assert "block 1.00: 1.095 mm: THIS BENCH DRIFTS, it reads high (limits 0.96" in high.out
    assert "Clean tool and piece" in high.out
    assert "IT DRIFTS" in command("check", "--show").out
    assert "checked today, DRIFTS: block 1.00" in command("benches").out
    page = tmp_path / "benches.html"
    assert command("benches", "--page", str(page)).out == f"written to {page}\n"
    assert "it drifts: block 1.00" in page.read_text(encoding="utf-8")
    assert json.loads(command("check", "1.00", "1.30", "--json").out)["verdict"].endswith("repeats badly")
    odd = command("check", "12", "12")
    assert (odd.code, "--sure" in odd.err) == (1, True)
    assert command("check", "12", "12", "--sure").code == 0
    for wrong in (("check", "1.00"), ("check", "1.00", "wide"), ("check", "other", "1", "1", "1")):
        ran = command(*wrong)
        assert (ran.code, ran.out) == (2, ""), wrong
    anew = command("check-piece", "block 1.00", "relief", "--anew", "--note", "new leaves")
    assert "limits are drawn anew from" in anew.out
    command("check-piece", "block 2.00", "relief", "2.00", "--instead-of", "block 1.00", "--times", "1")
    assert command("check", "--show").out == "block 2.00, relief: not read yet\n"
    assert "is no longer read" in command("check-piece", "block 2.00", "relief", "--retire").out
    assert command("check").code == 3


def begin(command: Command) -> str:
    return command(
        "study-new", "Relief, spring", "relief", "--rounds", "2", "--tolerance", "0.2", "--with", "feeler",
        "--piece", "left neck", "--piece", "right neck", "--at", "first", "--at", "Second bench",
    ).out  # fmt: skip


def test_a_technician_is_led_through_a_study_blind_and_can_go_on_later(
    shop: Shop, command: Command, at_keyboard: Any
) -> None:
    assert command("study").code == 3
    shop.client("manager").benches.create(name="Second bench")
    assert "4 readings each for First bench, Second bench." in begin(command)
    at_keyboard("", "wide", "22", "0.31", "stop")
    led = command("study")
    assert "you read as First bench, 4 left" in led.out
    assert "Type what the tool shows." in led.out
    assert led.out.count("   not taken: ") == 2
    assert "is plausible" in led.out
    assert "left neck" in led.out
    assert led.out.endswith('Kept. Go on with: shimstock study "Relief, spring"\n')
    # nobody sees what was read before, neither as words nor as JSON
    for told in (command("study"), command("study", "--json"), command("study", "--list", "--json")):
        assert "0.31" not in told.out
    at_keyboard("0.30", "3 sure", "0.42")
    through = command("study", "relief")
    assert (
        "You are through. First bench has read everything; 4 readings of the others are left." in through.out
    )
    early = command("study", "--end")
    assert (early.code, "4 readings are still to be taken" in early.err) == (6, True)
    for value in ("0.32", "0.43", "0.33"):
        assert "Next: " in command("study", "--as", "second", "--shows", value).out
    last = command("study", "--as", "second", "--shows", "0.44")
    assert last.out == 'all readings are in: shimstock study "Relief, spring" --end shows what they say\n'
    ended = command("study", "--end")
    assert "Against the spec: the measurement takes" in ended.out
    assert "Second bench: reads " in ended.out
    assert command("study", "--says").out == ended.out
    assert command("study", "--shows", "0.3").code == 3
    assert "relief with Feeler leaves repeats to" in command("benches").out


class CutLine(WSGITransport):
    """Loses the answer to the first reading of a study, which has arrived all the same."""

    lost = False

    def send(self, request: Any, *args: Any, **options: Any) -> Any:
        """Pass it on, and lose the answer once."""
        answer = super().send(request, *args, **options)
        if not self.lost and request.method == "POST" and "/readings" in request.url:
            self.lost = True
            raise requests.ConnectionError("cut")
        return answer


def test_a_reading_whose_answer_was_lost_is_typed_again_and_taken_once(
    shop: Shop, command: Command, at_keyboard: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    shop.client("manager").benches.create(name="Second bench")
    begin(command)
    at_keyboard("0.31", "0.31", "stop")
    led = runner(CutLine(shop.app), capsys)("study")
    assert "not sent: " in led.out
    assert "taken this one meanwhile" not in led.out
    (study,) = shop.client().studies.list()
    assert study.taken == 1


def test_what_a_bench_repeats_to_is_told_with_its_readings_and_its_plan(shop: Shop, command: Command) -> None:
    shop.client("manager").benches.create(name="Second bench")
    begin(command)
    for reader, values in (("first", (0.30, 0.36, 0.31, 0.40)), ("second", (0.3, 0.4, 0.3, 0.4))):
        for value in values:
            command("study", "--as", reader, "--shows", str(value))
    command("study", "--as-it-stands")
    job = shop.things.queued_job()
    command("take", str(job["number"]))
    read = command("read", "relief bass 0.45", "--at-pitch", "--looked-over", "--tool", "feeler")
    assert 'how well this bench repeats, by the study "Relief, spring".' in read.out
    # the order in which pieces are read is drawn, and with it whether repeating or the offset is known worse
    told = r"± of relief: how well this bench( repeats|'s offset is known), by the study \"Relief, spring\""
    assert re.search(told, command("plan").out)


def turned(shop: Shop, instrument: str, *reliefs: float) -> None:
    """A job whose rod is turned by a quarter between the readings, an hour and a quarter apart."""
    bench = shop.client()
    job = bench.jobs.create(instrument_id=instrument)
    bench.jobs.move(job, "queued")
    taken = bench.jobs.claim(job)
    for place, relief in enumerate(reliefs):
        shop.clock.advance(timedelta(minutes=75))
        bench.reading_sheets.post(
            job,
            [{"quantity": "relief", "side": "bass", "value": Quantity(relief, "mm"),
              "tool_id": shop.things.ids["feelers"]}],
            stage="in-progress", at_pitch=True, taken_at=shop.clock.now(),
        )  # fmt: skip
        if place + 1 < len(reliefs):
            done_at = shop.clock.now() + timedelta(minutes=1)
            bench.adjustments.record(taken, "truss-rod", turns=Quantity(0.25, "turn"), done_at=done_at)
    bench.jobs.give_back(taken)


def test_what_is_learned_is_told_and_a_rod_unlike_the_others_looked_at(
    shop: Shop, command: Command, database: Database, config: Config
) -> None:
    assert command("learned").code == command("doubts").code == 3
    ids = shop.things.ids
    for _ in range(6):
        made = shop.things.manager.post(
            "/v1/instruments", json={"model_id": ids["model"], "owner_id": ids["owner"]}
        )
        turned(shop, made.get_json()["id"], 0.60, 0.53, 0.43, 0.33)
    for _ in range(2):
        turned(shop, ids["instrument"], 0.45, 0.52, 0.62, 0.72)
    work_off_marks(database, config, shop.clock)
    told = command("learned", "--all").out
    (line,) = [each for each in told.splitlines() if each.startswith("any other model: one turn of the rod ")]
    assert re.search(r"rod -0\.\d+ ± 0\.\d\d? mm/turn, \d\d % of it late, half of that within \d+ min", line)
    assert line.endswith("(8 jobs)")
    assert told.endswith("2 to look at: shimstock doubts\n")
    listed = command("doubts").out
    assert "a turn moves relief by 0." in listed
    assert "is the rod reversed or stuck, or was a reading mistyped? (used)" in listed
    assert command("doubt", listed[:8]).code == 2
    seen = command("doubt", listed[:8], "--leave-out", "--note", "the rod is reversed")
    assert seen.out == "Noted. Nothing is learned from it.\n"
    assert len(command("doubts").out.splitlines()) == 2
    work_off_marks(database, config, shop.clock)
    assert "looked at: the rod is reversed" in command("doubts", "--all").out
