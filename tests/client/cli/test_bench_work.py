"""A technician's work at the command line, against the real service."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import requests
from requests.adapters import BaseAdapter

from shimstock_client import WSGITransport
from shimstock_client.cli import _bench
from shimstock_client.cli._app import SECTIONS
from shimstock_client.cli._unsent import all_unsent
from tests.client.conftest import Command, Shop, runner

SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
CASE_ONE = (
    "relief bass 0.45 with feeler",
    "action bass 2.2 with depth",
    "action treble 1.9 with depth",
    "nut bass 0.50 with depth",
    "nut treble 0.40 with depth",
)
IN_SPEC = (
    "relief bass 0.20 with feeler",
    "action bass 1.7 with depth",
    "action treble 1.5 with depth",
    "nut bass 0.47 with depth",
    "nut treble 0.38 with depth",
)


@pytest.fixture
def taken(shop: Shop, command: Command) -> dict[str, Any]:
    """A job that the technician holds."""
    shop.things.queued_job(complaints="buzzes")
    ran = command("take", "--json")
    assert ran.code == 0
    job: dict[str, Any] = json.loads(ran.out)
    return job


def test_the_whole_job(shop: Shop, command: Command, taken: dict[str, Any], tmp_path: Path) -> None:
    assert command("read", *CASE_ONE, "--looked-over", "--at-pitch", "--air", "21C 45%").code == 0
    plan = command("plan")
    # a two-post electric, computed by hand: 1/4 turn now of 5/8 in all, relief 0.35, action 2.03 / 1.73
    assert "1  Truss rod: tighten 1/4 turn (clockwise, facing the nut from the wrench end)" in plan.out
    assert re.search(r"Truss rod.*do now\n", plan.out)
    assert "0.45 → about 0.35 mm (spec 0.10 … 0.30; 5/8 turn in all" in plan.out
    assert "2.03 / 1.73 mm" in plan.out
    assert "(spec 1.45 … 1.95 / 1.25 … 1.75)" in plan.out
    assert "care: right wrench, fully seated" in plan.out

    done = command("done", "--minutes", "5")
    assert "Recorded: truss rod: tighten 1/4 turn." in done.out
    # another quarter turn follows: the neck rests after the last one
    assert "settle" not in done.out
    # at once, not at rest: the rest of it comes late
    assert "read: relief, bass side, held 1–22, at fret 9 (should show 0.41 ± 0.05 mm).\n" in done.out
    assert "The neck rests" not in command("plan").out
    (adjustment,) = shop.client().adjustments.list(taken["id"])
    assert adjustment.plan_kept
    assert adjustment.minutes == 5

    settled = command("settle")
    assert re.search(r"Job 1: settling until ", settled.out)
    assert command("due").code == 3
    shop.clock.advance(timedelta(minutes=121))
    assert "job 1: due for" in command("due").out
    assert command("take").code == 0

    assert "final check" in command("final-check").out
    refused = command("ready")
    assert (refused.code, "No reading that still stands of: " in refused.err) == (6, True)
    read = command("read", *IN_SPEC, *(f"intonation {string} 0.2" for string in range(1, 7)), "--at-pitch")
    assert (read.code, "final" in read.out) == (0, True)
    page = tmp_path / "card.html"
    ready = command("ready", "--page", str(page))
    assert ready.code == 0
    assert "Job 1: ready" in ready.out
    assert re.search(r"0\.45 mm +0\.20 mm +0\.10 … 0\.30 +in spec \(was out of spec\)", ready.out)
    assert "<svg" in page.read_text(encoding="utf-8")
    assert command("move", "1", "collected").out == "Job 1: collected.\n"


@SQLITE
def test_the_final_check_says_what_is_left_to_read(
    shop: Shop, command: Command, taken: dict[str, Any]
) -> None:
    cents = [f"intonation {string} 0.2" for string in range(1, 7)]
    assert command("read", *IN_SPEC, *cents, "--looked-over", "--at-pitch").code == 0
    assert "Nothing more is asked for: shimstock ready." in command("final-check").out
    assert command("rework").code == 0
    assert command("done", "post", "bass", "lower", "1/8", "--own").code == 0
    said = " ".join(command("final-check").out.split())
    assert said == (
        "Job 1: final check. Tune, then read: action, bass and treble side, at fret 12; "
        "intonation, strings 1–6, at fret 12; nut action, bass and treble side."
    )
    refused = command("ready")
    assert (refused.code, "intonation of strings 1 to 6" in refused.err) == (6, True)
    assert command("rework").code == 0
    manager = shop.client("manager").shop
    manager.update(manager.get(), everything_at_the_end=True)
    assert "relief, bass side" in command("final-check").out


EVERY_COMMAND = (
    "who",
    "tools",
    "jobs",
    "job",
    "due --all",
    "unsent",
    "plan",
    "read relief=0.45 action=bass=2.2 --at-pitch",
    "sheets",
    "done rod tighten 1/4",
    "not-done",
    "consent general yes --how phone",
    "settle",
    "take 1",
    "wait parts --reason strings",
    "move 1 queued",
    "take",
    "give-back",
    "take 1",
    "final-check",
    "rework",
    "final-check",
    "ready --reason asked",
    "card 1",
    "send",
    "job 99",
    "expected",
    "learned",
    "report",
    "prices",
    "doubts",
    "benches",
    "check --show",
    "study --list",
    "sign-out",
)


def test_every_command_answers_as_json(shop: Shop, command: Command, taken: dict[str, Any]) -> None:
    for line in EVERY_COMMAND:
        ran = command(*(word.replace("=", " ") for word in line.split()), "--json")
        assert ran.code in {0, 1, 3}, (line, ran.err)
        answer = json.loads(ran.out)
        assert isinstance(answer, dict), line
        if "error" in answer:
            assert answer["exit"] == ran.code != 0
            assert answer["error"]["detail"]
    names = {line.split()[0] for line in EVERY_COMMAND}
    # asked for in tests of their own
    other = {
        "sign-in", "hand-over", "receive", "expected",
        "check", "check-piece", "study", "study-new", "benches", "learned", "doubts", "doubt",
        "report", "export", "import-readings",
        "forecast", "reminders", "reminder", "keeping", "room", "room-log", "salt-check",
        "climates", "calendars",
    }  # fmt: skip
    assert names | other == {str(each.name) for commands in SECTIONS.values() for each in commands}


@SQLITE
def test_the_job_on_the_bench_is_shown_with_what_it_needs(command: Command, taken: dict[str, Any]) -> None:
    shown = " ".join(command("job").out.split())
    for words in ("Job 1: on bench", "Alder & Finch Heron", "single action rod", "Robin Example", "buzzes"):
        assert words in shown
    assert "relief 0.2 mm 0.1 … 0.3 shop" in shown


@SQLITE
def test_nothing_to_do_has_its_own_exit_code(shop: Shop, command: Command) -> None:
    for arguments in (("take",), ("jobs",), ("due",), ("unsent",), ("send",), ("job",), ("plan",)):
        ran = command(*arguments)
        assert (ran.code, ran.out) == (3, ""), arguments
        assert ran.err.strip()


@SQLITE
def test_a_job_that_somebody_else_holds_names_the_holder(
    shop: Shop, command: Command, taken: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    other = shop.client("manager").technicians.create(name="Kim Sample")
    monkeypatch.setenv("SHIMSTOCK_TECHNICIAN", other.id)
    ran = command("take", "1")
    assert ran.code == 6
    assert ran.err.startswith("First technician holds it since ")
    assert "already-claimed, 409, request " in ran.err


@SQLITE
def test_a_job_left_overnight_is_taken_over_with_a_reason(
    shop: Shop, command: Command, taken: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    other = shop.client("manager").technicians.create(name="Kim Sample")
    monkeypatch.setenv("SHIMSTOCK_TECHNICIAN", other.id)
    shop.clock.advance(timedelta(days=3))
    assert command("take", "1", "--take-over").code == 2
    assert command("take", "1", "--take-over", "--reason", "left overnight").code == 0
    assert "Kim Sample since" in command("jobs").out


@SQLITE
def test_a_job_is_handed_over_by_name(shop: Shop, command: Command, taken: dict[str, Any]) -> None:
    shop.client("manager").technicians.create(name="Kim Sample")
    wrong = command("hand-over", "Nobody")
    assert (wrong.code, "one of First technician, Kim Sample" in wrong.err) == (2, True)
    assert command("hand-over", "kim", "--note", "nut still to do").out == "Job 1 is now Kim Sample's.\n"
    assert command("job").code == 3


@SQLITE
def test_two_jobs_on_one_bench_must_be_told_apart(
    shop: Shop, command: Command, taken: dict[str, Any]
) -> None:
    shop.things.queued_job()
    assert command("take").code == 0
    ran = command("plan")
    assert (ran.code, ran.err) == (2, "you hold jobs 1, 2; say which with --job NUMBER\n")
    assert command("plan", "2").code == 0


@SQLITE
def test_a_reading_out_of_range_is_told_as_typed_and_nothing_is_lost(
    shop: Shop, command: Command, taken: dict[str, Any]
) -> None:
    ran = command("read", "relief 0.45", "action bass 22", "--at-pitch")
    assert ran.code == 1
    assert "  2  action, bass side: 22 mm\n" in ran.err
    assert "0.5" in ran.err
    assert "kept as sheet" in ran.err
    (kept,) = all_unsent()
    assert list(shop.client().reading_sheets.list(taken["id"])) == []
    again = command("read", "--resume", kept.id[-6:], "drop 2", "action bass 2.2", "--json")
    assert again.code == 0
    assert json.loads(again.out)["id"] == kept.id
    assert list(all_unsent()) == []


@SQLITE
def test_a_wrong_word_in_a_file_is_told_without_pointers(
    command: Command, taken: dict[str, Any], tmp_path: Path
) -> None:
    file = tmp_path / "sheet.json"
    wrong = {"quantity": "action", "side": "bas", "value": {"value": 2.0, "unit": "mm"}}
    file.write_text(json.dumps(["relief 0.3", wrong]))
    refused = command("read", "--file", str(file), "--at-pitch")
    assert refused.code == 1
    assert "1 of 2 readings cannot be taken" in refused.err
    assert "must be one of bass, treble" in refused.err
    assert "Pointer" not in refused.err


@SQLITE
def test_a_line_that_is_not_understood_sends_nothing(command: Command, taken: dict[str, Any]) -> None:
    ran = command("read", "relief 0.45", "action 2.2", "intonation 3", "--at-pitch")
    assert ran.code == 2
    assert "reading 2, 'action 2.2': action: on which side" in ran.err
    assert "reading 3, 'intonation 3': intonation: of which string?" in ran.err
    assert "nothing was sent" in ran.err


@SQLITE
def test_at_pitch_or_not_must_be_said(command: Command, taken: dict[str, Any]) -> None:
    ran = command("read", "relief 0.45")
    assert (ran.code, "say --at-pitch" in ran.err) == (2, True)
    (kept,) = all_unsent()
    assert command("read", "--resume", kept.id[-6:], "--at-pitch").code == 0


class Cut(BaseAdapter):
    """A network that is not there."""

    def send(self, *_: Any, **__: Any) -> requests.Response:
        """Fail as a cut line does."""
        raise requests.ConnectionError("Connection refused")

    def close(self) -> None:
        """Nothing is held open."""


class CutAfterwards(WSGITransport):
    """Carries a sheet to the service, and loses the answer."""

    def send(self, request: Any, *more: Any, **options: Any) -> requests.Response:
        """Pass the request on; the answer to a change never arrives."""
        response = super().send(request, *more, **options)
        if request.method == "POST":
            raise requests.ConnectionError("Connection reset by peer")
        return response


@SQLITE
def test_a_sheet_whose_answer_was_lost_is_stored_once(
    shop: Shop, command: Command, taken: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    lossy = runner(CutAfterwards(shop.app), capsys)
    ran = lossy("read", *CASE_ONE, "--at-pitch")
    assert ran.code == 4
    assert "the connection was cut" in ran.err
    assert "send it again with: shimstock send " in ran.err
    assert "5 readings" in command("unsent").out
    assert runner(Cut(), capsys)("send").code == 4
    assert command("send").out == "Taken: 1 sheet.\n"
    (sheet,) = shop.client().reading_sheets.list(taken["id"])
    assert len(sheet.readings) == 5


@SQLITE
def test_work_whose_answer_was_lost_is_recorded_once(
    shop: Shop, command: Command, taken: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    command("read", *CASE_ONE, "--at-pitch")
    ran = runner(CutAfterwards(shop.app), capsys)("done")
    assert ran.code == 4
    assert "Do not type it again: shimstock send" in ran.err
    again = command("done", "rod", "tighten", "1/4")
    assert (again.code, "shimstock send first" in again.err) == (6, True)
    assert "truss rod: tighten 1/4 turn" in command("unsent").out
    assert command("send").out == "Recorded: 1 adjustment.\n"
    (done,) = shop.client().adjustments.list(taken["id"])
    assert done.plan_kept
    assert command("unsent").code == 3


@SQLITE
def test_work_that_is_refused_is_not_kept(command: Command, taken: dict[str, Any]) -> None:
    assert command("done", "nut", "6", "file", "0.05mm").code == 6
    assert command("unsent").code == 3


@SQLITE
def test_a_service_that_is_away_has_its_own_exit_code(
    shop: Shop, command: Command, capsys: pytest.CaptureFixture[str]
) -> None:
    ran = runner(Cut(), capsys)("jobs", "--json")
    assert ran.code == 4
    assert json.loads(ran.out)["error"]["code"] == "not-reachable"
    assert "http://shop.test cannot be reached: nothing listens there" in ran.err


@pytest.fixture
def typing(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Somebody sits at the keyboard and types these lines."""

    def types(*lines: str) -> None:
        monkeypatch.setattr(_bench.Bench, "asks", property(lambda bench: not bench.as_json))
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))

    return types


@SQLITE
def test_the_plans_readings_are_asked_for_one_by_one(
    shop: Shop, command: Command, taken: dict[str, Any], typing: Callable[..., None]
) -> None:
    typing(
        "y",
        "with feeler",
        "with depth",
        "0,45",
        "wide",
        "0.5.0",
        "0.50",
        "",
        "2.2mm",
        "int 3 +2.5",
        "list",
        "",
        "send",
    )
    ran = command("read")
    assert ran.code == 0, ran.err
    assert "relief, held 1–22, at fret 9 [mm] > " in ran.out
    assert "not taken: 'wide' is no quantity; one of" in ran.out
    assert "For the nut action that is asked for type the number alone" in ran.out
    assert "not taken: nut action: '0.5.0' is no number; right would be 2.2mm" in ran.out
    (sheet,) = shop.client().reading_sheets.list(taken["id"])
    read = [
        (one.quantity, one.side, one.string, one.typed.value if one.typed else None) for one in sheet.readings
    ]
    assert read == [
        ("relief", None, None, 0.45),
        ("nut-action", "bass", None, 0.5),
        ("action", "bass", None, 2.2),
        ("intonation", None, 3, 2.5),
    ]
    assert [one.tool_name for one in sheet.readings] == ["Feeler leaves", "Depth gauge", "Depth gauge", None]


@SQLITE
def test_a_refused_sheet_is_put_right_at_the_prompt(
    shop: Shop, command: Command, taken: dict[str, Any], typing: Callable[..., None]
) -> None:
    typing("y", "relief 0.45", "action bass 22", "send", "drop 2", "action bass 2.2", "send")
    ran = command("read")
    assert ran.code == 0, ran.err
    assert "Nothing was stored. Drop what is wrong" in ran.out
    (sheet,) = shop.client().reading_sheets.list(taken["id"])
    assert [one.quantity for one in sheet.readings] == ["relief", "action"]


@SQLITE
def test_leaving_in_the_middle_keeps_the_sheet(
    command: Command, taken: dict[str, Any], typing: Callable[..., None]
) -> None:
    typing("y", "0.45")  # then the end of the input, as Ctrl-D gives it
    ran = command("read")
    assert ran.code == 130
    (kept,) = all_unsent()
    assert f"shimstock read --resume {kept.id[-6:]}" in ran.err
    typing("", "list", "throw away")
    assert "1  relief" in command("read", "--resume", kept.id[-6:]).out
    assert list(all_unsent()) == []


@SQLITE
def test_what_was_done_is_asked_once_more(
    shop: Shop, command: Command, taken: dict[str, Any], typing: Callable[..., None]
) -> None:
    command("read", *CASE_ONE, "--at-pitch")
    typing("n")
    assert command("done").code == 3
    assert list(shop.client().adjustments.list(taken["id"])) == []
    typing("y")
    ran = command("done", "--turns", "1/8")
    assert "recorded will be: truss rod: tighten 1/8 turn" in ran.out
    (done,) = shop.client().adjustments.list(taken["id"])
    assert done.turns is not None
    assert (done.turns.value, done.plan_kept) == (0.125, True)


@SQLITE
def test_an_own_decision_names_no_plan(shop: Shop, command: Command, taken: dict[str, Any]) -> None:
    command("read", *CASE_ONE, "--at-pitch")
    assert "(own decision)" in command("done", "post", "bass", "lower", "1/8").out
    assert "(own decision)" in command("done", "rod", "loosen", "1/8").out
    followed = command("done", "rod", "tighten", "1/4", "--json")
    plans = [one.plan for one in shop.client().adjustments.list(taken["id"])]
    assert (plans[0], plans[1]) == (None, None)
    assert followed.code == 0


@SQLITE
def test_what_is_done_is_recorded_by_who_holds_the_job(
    shop: Shop, command: Command, taken: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    other = shop.client("manager").technicians.create(name="Kim Sample")
    monkeypatch.setenv("SHIMSTOCK_TECHNICIAN", other.id)
    ran = command("done", "rod", "tighten", "1/4", "--job", "1")
    assert (ran.code, "on the bench of First technician" in ran.err) == (6, True)
    assert list(shop.client().adjustments.list(taken["id"])) == []


@SQLITE
def test_a_turn_too_far_is_told_in_a_technicians_words(command: Command, taken: dict[str, Any]) -> None:
    ran = command("done", "rod", "tighten", "5/4")
    assert ran.code == 1
    assert "turns: from -1 to 1 turn" in ran.err
    assert "--sure confirms it" in ran.err
    assert "JSON" not in ran.err


@SQLITE
def test_more_than_a_turn_of_the_rod_needs_a_second_look(
    shop: Shop, command: Command, taken: dict[str, Any]
) -> None:
    assert command("done", "rod", "tighten", "1 1/4").code == 1
    assert "flagged" in command("done", "rod", "tighten", "1 1/4", "--sure").out


@SQLITE
def test_filing_needs_a_consent(shop: Shop, command: Command, taken: dict[str, Any]) -> None:
    ran = command("done", "nut", "6", "file", "0.05mm")
    assert ran.code == 6
    assert "cannot be undone" in ran.err
    assert command("consent", "nut-filing", "no", "--how", "phone").code == 0
    assert command("done", "nut", "6", "file", "0.05mm").code == 6
    assert command("consent", "nut-filing", "yes", "--how", "phone").out == "Recorded: yes to nut filing.\n"
    assert command("done", "nut", "6", "file", "0.05mm").code == 0
    assert command("consent", "nut-filing", "back", "--note", "changed her mind").code == 0
    assert command("done", "nut", "6", "file", "0.05mm").code == 6
    assert command("consent", "nut-filing", "back", "--note", "again").code == 3


@SQLITE
def test_a_step_that_only_reads_is_not_recorded_as_done(command: Command, taken: dict[str, Any]) -> None:
    ran = command("done")
    assert ran.code == 3
    assert "shimstock read enters it" in ran.err


@SQLITE
def test_a_move_that_is_not_allowed_names_those_that_are(
    shop: Shop, command: Command, taken: dict[str, Any]
) -> None:
    ran = command("ready")
    assert ran.code == 6
    assert "From here it can go to: settling, waiting, final-check" in ran.err


@SQLITE
@pytest.mark.parametrize("suffix", ["json", "csv", "txt"])
def test_a_sheet_comes_from_a_file(
    shop: Shop, command: Command, taken: dict[str, Any], tmp_path: Path, suffix: str
) -> None:
    file = tmp_path / f"sheet.{suffix}"
    file.write_text(
        {
            "json": '{"at_pitch": true, "stage": "as-received",'
            ' "readings": ["relief 0.45", "action bass 8/64in"]}',
            "csv": "quantity,side,value,unit\nrelief,,0.45,mm\naction,bass,8/64,in\n",
            "txt": "relief 0.45\naction bass 8/64in\n",
        }[suffix]
    )
    ran = command("read", "--file", str(file), *([] if suffix == "json" else ["--at-pitch"]), "--json")
    assert ran.code == 0, ran.err
    assert [one["typed"] for one in json.loads(ran.out)["readings"]] == [
        {"value": 0.45, "unit": "mm"},
        {"value": 8.0, "unit": "in/64"},
    ]
    missing = command("read", "--file", str(tmp_path / "none.csv"))
    assert (missing.code, "No such file" in missing.err) == (2, True)


@SQLITE
def test_a_narrow_screen_and_no_colour_lose_nothing(
    command: Command, taken: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    command("read", *CASE_ONE, "--at-pitch")
    wide = command("plan")
    monkeypatch.setenv("COLUMNS", "40")
    narrow = command("plan")
    assert max(len(line) for line in narrow.out.splitlines()) <= 40
    assert max(len(line) for line in wide.out.splitlines()) <= 100
    assert "\x1b" not in wide.out + narrow.out
    squeezed = re.sub(r"\s+", " ", narrow.out)
    for words in (
        "do now",
        "out of spec",
        "in spec",
        "care: right wrench",
        "5/8 turn in all",
    ):
        assert words in squeezed
    assert not any(line.endswith(" ") for line in wide.out.splitlines())
