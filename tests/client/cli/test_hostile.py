"""Answers and files made to harm: none of them steers the terminal, and none ends in a traceback."""

from __future__ import annotations

import io
import json
import re
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from shimstock_client import WSGITransport
from shimstock_client.cli import _bench
from shimstock_client.cli._exits import Exit
from tests.client.cli.test_bench_work import CASE_ONE, taken
from tests.client.conftest import Command, Ran, Shop, runner

__all__ = ["taken"]
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

# OSC 52 writes the clipboard, OSC 0 the title, CSI 2 J clears (XTerm Control Sequences); 0x9d is OSC in C1
# (ECMA-48, 5th edition); U+202E and U+2066 turn the reading direction (Unicode Standard Annex #9)
HOSTILE = "\x1b]52;c;aGk=\x07\x1b]0;mine\x1b\\\x1b[2J\r\b\x7f\x9d\u202e\u2066\u200f\u2028\ud800"
STEERING = re.compile(
    "[^\n\t\x20-\x7e\xa0-\u061b\u061d-\u200d\u2010-\u2027\u202f-\u2065\u206a-\ud7ff\ue000-\uffff]"
)
WORDS = {
    "name", "nickname", "complaints", "note", "notes", "detail", "title", "message", "text", "sentence",
    "reason",
    "maker", "serial", "summary", "judgement", "technician", "owner", "bench", "tool", "instrument", "code",
    "verdict", "source", "why", "contact", "place", "kind", "request_id", "what", "condition", "state",
}  # fmt: skip
"""Members that hold words, and some that should not."""
COMMANDS = (
    ("who",), ("tools",), ("jobs",), ("job",), ("plan",), ("plan", "--all"), ("sheets",), ("card",), ("due",),
    ("due", "--all"), ("expected",), ("reminders",), ("room",), ("benches",), ("doubts",),
    ("learned", "Heron"),
    ("report",), ("report", "heron"), ("study",), ("check",), ("climates",), ("forecast", "1"),
    ("keeping", "1"),
    ("read", "relief 0.3"), ("done", "rod", "tighten", "1/8"), ("settle",), ("final-check",), ("ready",),
    ("take",), ("give-back",), ("consent", "general", "yes"), ("job", "77"), ("hand-over", "nobody"),
)  # fmt: skip

NO_ANSWERS = (
    b"[", b"", b"5", b"null", b'"x"', b"[]", b"{}", b"\xff\xfe\xfa", b'{"items": 5}', b'{"items": [5]}',
    b'{"items": [{"id": 5}], "next": {}}', b'{"items": [], "next": [1]}', b'{"id": NaN}',
    b'{"number": 1e999}',
    b"[" * 100_000, b'{"a":' * 100_000, b'{"number": ' + b"9" * 5000 + b"}",
)  # fmt: skip
NO_FILES = (
    "[", "[" * 100_000, '{"readings": NaN}', '["relief 0.4", 5]', '{"readings": {}}', '{"stage": 5}',
    '{"findings": "x"}', '{"id": "../../elsewhere"}', '[{"quantity": "relief", "value": 1e999}]',
    '[{"quantity": "relief", "value": ' + "9" * 5000 + "}]",
    '[{"quantity": "nut", "string": "x", "value": 1}]',
    '[{"quantity": "relief", "value": [1]}]', '[{"quantity": 5, "value": 1}]',
    "quantity,string,value\nnut,²,1",
    "quantity,value\nrelief," + "9" * 5000, "relief " + "9" * 400, "nut " + "9" * 5000 + " 1",
    '["\\ud800\\u001b[2J 1"]',
)  # fmt: skip
DAMAGED = ("[", "5", "[" * 100_000, '{"url": 5}', '{"tools": 5}', '{"key": ["a"]}')

Change = Callable[[Any], Any]


def changed(shop: Shop, change: Change) -> Any:
    """Return the service with every JSON answer changed."""

    def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        started: list[Any] = []
        content = b"".join(shop.app(environ, lambda *told, **_: started.extend(told)))
        status, headers = started[0], [pair for pair in started[1] if pair[0].lower() != "content-length"]
        if "json" in dict(headers).get("Content-Type", "") and content:
            made = change(json.loads(content))
            content = made if isinstance(made, bytes) else json.dumps(made).encode()
        start_response(status, headers)
        return [content]

    return application


def each(change: Callable[[str, Any], Any]) -> Change:
    """Return a change of every member that is no object and no list."""

    def walk(tree: Any, name: str = "") -> Any:
        if isinstance(tree, dict):
            return {key: walk(value, key) for key, value in tree.items()}
        return [walk(value, name) for value in tree] if isinstance(tree, list) else change(name, tree)

    return walk


@pytest.fixture
def hostile(
    shop: Shop, command: Command, taken: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> Callable[[Change], Command]:
    """Run commands against the shop after something was read, its answers changed."""
    command("read", *CASE_ONE, "--at-pitch")
    return lambda change: runner(WSGITransport(changed(shop, change)), capsys)


def steers(ran: Ran) -> list[str]:
    return STEERING.findall(ran.out + ran.err)


def test_no_words_of_the_service_steer_the_terminal(hostile: Callable[[Change], Command]) -> None:
    command = hostile(
        each(lambda name, value: f"{value}{HOSTILE}" if isinstance(value, str) and name in WORDS else value)
    )
    shown = 0
    for words in COMMANDS:
        for ran in (command(*words), command(*words, "--json")):
            assert steers(ran) == [], (words, ran)
            shown += "\\u202e" in ran.out + ran.err
        assert json.loads(ran.out), words
    assert shown > 15


def test_json_is_the_same_json(hostile: Callable[[Change], Command]) -> None:
    command = hostile(each(lambda name, value: f"{value}{HOSTILE}" if name == "complaints" else value))
    ran = command("job", "--json")
    assert steers(ran) == []
    assert json.loads(ran.out)["complaints"] == f"buzzes{HOSTILE}"


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "cp1252"])
def test_a_terminal_and_a_prompt_are_steered_by_nothing(
    hostile: Callable[[Change], Command], monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    class Terminal(io.TextIOWrapper):
        def isatty(self) -> bool:
            return True

    command = hostile(
        each(lambda name, value: f"{value}{HOSTILE}" if name in {"complaints", "why", "text"} else value)
    )
    seen = Terminal(io.BytesIO(), encoding=encoding, write_through=True)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("TERM", "dumb")
    monkeypatch.setattr(sys, "stdout", seen)
    monkeypatch.setattr(sys, "stdin", io.StringIO("relief 0.4\nkeep\n"))
    monkeypatch.setattr(_bench.Bench, "asks", property(lambda _: True))
    for words in (("job",), ("plan",), ("read",)):
        command(*words)
    told = seen.buffer.getvalue().decode(encoding)  # type: ignore[attr-defined]
    assert STEERING.findall(told.replace("\r\n", "\n")) == []
    assert "\\u202e" in told


def test_what_was_typed_is_shown_and_steers_nothing(command: Command) -> None:
    for words in (
        ("job", HOSTILE),
        (f"job{HOSTILE}",),
        ("read", f"relief {HOSTILE}"),
        ("take", f"-{HOSTILE}"),
    ):
        ran = command(*words)
        assert ran.code in set(Exit)
        assert ran.err.strip()
        assert steers(ran) == []


def test_an_answer_that_is_none_gives_a_sentence(hostile: Callable[[Change], Command]) -> None:
    for wrong in NO_ANSWERS:
        command = hostile(lambda _, made=wrong: made)  # type: ignore[misc]
        for words in (("jobs",), ("job",), ("plan",), ("card",), ("read", "relief 0.3")):
            gives_a_sentence(command(*words))


@pytest.mark.parametrize(
    "wrong",
    [None, True, 10**400, "\ud800", [{}], {"value": "x"}],
    ids=["nothing", "truth", "beyond measure", "half of a pair", "list", "object"],
)
def test_members_of_another_shape_give_a_sentence(hostile: Callable[[Change], Command], wrong: Any) -> None:
    command = hostile(each(lambda _, value: value if isinstance(value, bool) else wrong))
    for words in COMMANDS:
        gives_a_sentence(command(*words))


def test_a_member_of_another_shape_is_named(hostile: Callable[[Change], Command]) -> None:
    command = hostile(lambda tree: {**tree, "number": "one"} if "number" in tree else tree)
    assert "number: a whole number was expected, not 'one'" in command("job", "--job", "1").err


def gives_a_sentence(ran: Ran) -> None:
    assert ran.code in set(Exit), ran
    assert "Traceback" not in ran.err
    assert steers(ran) == []
    assert ran.code == 0 or ran.err.strip(), ran


def test_a_file_that_is_none_gives_a_sentence(
    command: Command, taken: dict[str, Any], tmp_path: Path
) -> None:
    file = tmp_path / "sheet"
    for content in NO_FILES:
        file.write_text(content)
        ran = command("read", "--file", str(file), "--at-pitch")
        gives_a_sentence(ran)
        assert (ran.code, "cannot go on" in ran.err) == (Exit.USAGE, False), (content[:80], ran)


def test_half_of_a_pair_is_refused_by_the_service(
    command: Command, taken: dict[str, Any], tmp_path: Path
) -> None:
    file = tmp_path / "sheet"
    file.write_text('{"note": "a\\ud800", "readings": ["relief 0.4"]}')
    ran = command("read", "--file", str(file), "--at-pitch")
    assert (ran.code, "half of a surrogate pair" in ran.err) == (Exit.REFUSED, True), ran


@pytest.mark.parametrize(
    "kept", ["sign-in.json", "last-job.json", "last-plan.json", "unsent/a.json", "unsent-work/a.json"]
)
def test_a_damaged_file_of_its_own_gives_a_sentence(
    shop: Shop, taken: dict[str, Any], command: Command, own_files: Path, kept: str
) -> None:
    file = own_files / kept
    for content in DAMAGED:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(content)
        for words in (("who",), ("unsent",), ("send",), ("done",)):
            ran = command(*words)
            gives_a_sentence(ran)
            assert "cannot go on" not in ran.err, (words, content, ran)
