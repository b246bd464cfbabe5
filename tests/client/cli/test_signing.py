"""Signing in, help, exit codes, and what it costs to start."""

from __future__ import annotations

import io
import json
import os
import resource
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from shimstock_client import WSGITransport
from shimstock_client.cli import _bench
from shimstock_client.cli._app import run
from shimstock_client.cli._exits import MEANING, Exit
from tests.client.answering import Asked, Says, Service
from tests.client.conftest import Command, runner

PEOPLE = [
    {"id": "t1", "name": "Robin Sample", "active": True},
    {"id": "t2", "name": "Kim Sample", "active": True},
    {"id": "t3", "name": "Left Long Ago", "active": False},
]
TOOLS = [
    {"id": "f", "name": "feeler leaves", "quantities": ["relief"], "active": True},
    {"id": "d", "name": "dial indicator", "quantities": ["relief"], "active": True},
]


def answer(asked: Asked) -> Says:
    """A shop with people and tools, and nothing else."""
    lists: dict[str, Any] = {"/v1/technicians": PEOPLE, "/v1/tools": TOOLS, "/v1/settling": []}
    if asked.headers["Authorization"] == "Bearer stale":
        return Says(401, {"code": "unauthorized", "detail": "This key is revoked."})
    if asked.path == "/v1/shop":
        return Says(200, {"name": "The Test Bench", "units": "inch"})
    return Says(200, {"items": lists.get(asked.path, []), "next": None})


@pytest.fixture
def service() -> Service:
    """The shop."""
    return Service(answer)


@pytest.fixture
def command(service: Service, capsys: pytest.CaptureFixture[str]) -> Command:
    """Run `shimstock` against the shop, nobody signed in."""
    return runner(WSGITransport(service), capsys)


@pytest.fixture
def key_file(tmp_path: Path) -> str:
    """A file that holds a key."""
    file = tmp_path / "key"
    file.write_text("shim_secret\n")
    return str(file)


def test_the_key_is_kept_where_only_its_owner_reads_it(
    command: Command, key_file: str, own_files: Path
) -> None:
    ran = command("sign-in", "http://127.0.0.1:1/v1/", "--technician", "robin", "--key-file", key_file)
    assert ran.code == 0, ran.err
    assert "Signed in at http://127.0.0.1:1 as Robin Sample" in ran.out
    assert "shim_secret" not in ran.out + ran.err
    file = own_files / "sign-in.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(own_files.stat().st_mode) == 0o700
    kept = json.loads(file.read_text())
    assert (kept["key"], kept["technician"], kept["url"]) == ("shim_secret", "t1", "http://127.0.0.1:1")
    assert command("sign-out").code == 0
    assert not file.exists()
    assert command("sign-out").code == 3


def test_a_key_that_others_can_read_is_cautioned_about(
    command: Command, key_file: str, own_files: Path
) -> None:
    command("sign-in", "http://127.0.0.1:1", "--technician", "kim", "--key-file", key_file)
    (own_files / "sign-in.json").chmod(0o644)
    assert "can be read by others" in command("who").err


def test_the_environment_goes_before_the_file(
    service: Service, command: Command, key_file: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    command("sign-in", "http://127.0.0.1:1", "--technician", "robin", "--key-file", key_file)
    monkeypatch.setenv("SHIMSTOCK_KEY", "shim_other")
    monkeypatch.setenv("SHIMSTOCK_TECHNICIAN", "t2")
    monkeypatch.setenv("SHIMSTOCK_UNITS", "mm")
    answers = json.loads(command("who", "--json").out)
    assert (answers["technician"], answers["units"]) == ("Kim Sample", "mm")
    assert service.asked[-1].headers["Authorization"] == "Bearer shim_other"
    assert service.asked[-1].query["units"] == "mm"


def test_units_come_from_the_shop_when_nobody_says(command: Command, key_file: str) -> None:
    command("sign-in", "http://127.0.0.1:1", "--technician", "robin", "--key-file", key_file)
    assert json.loads(command("who", "--json").out)["units"] == "inch"


def test_plain_http_to_another_machine_is_cautioned_about(command: Command, key_file: str) -> None:
    ran = command("sign-in", "http://shop.test", "--technician", "robin", "--key-file", key_file)
    assert "over http everybody on the way can read the key" in ran.err
    assert "over http" not in command("sign-in", "https://shop.test", "-t", "kim", "--key-file", key_file).err


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("sign-in",), 2, "Address of the service is missing"),
        (("sign-in", "http://shop.test"), 2, "the key is missing"),
        (("sign-in", "http://shop.test", "--key-file", "/nowhere"), 2, "No such file"),
        (("sign-in", "shop", "--key-file", "KEY"), 5, "an address such as https://shimstock.example"),
        (("sign-in", "http://shop.test", "--key-file", "KEY"), 2, "one of Robin Sample, Kim Sample"),
        (("sign-in", "http://shop.test", "--key-file", "KEY", "-t", "Left"), 2, "'Left' is nobody here"),
        (("jobs",), 5, "not signed in: shimstock sign-in asks for"),
        (("nonsense",), 2, "No such command 'nonsense'"),
        (("take", "--sideways"), 2, "No such option"),
        (("take", "--take-over"), 2, "which job do you take over?"),
        (("move", "3", "settling"), 2, "use shimstock settle --job 3"),
    ],
)
def test_what_is_missing_is_said_with_its_exit_code(
    command: Command, key_file: str, arguments: tuple[str, ...], code: int, said: str
) -> None:
    ran = command(*(key_file if one == "KEY" else one for one in arguments))
    assert (ran.code, ran.out) == (code, "")
    assert said in ran.err


def test_a_revoked_key_asks_for_a_new_sign_in(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHIMSTOCK_URL", "http://shop.test")
    monkeypatch.setenv("SHIMSTOCK_KEY", "stale")
    ran = command("due", "--json")
    assert ran.code == 5
    assert json.loads(ran.out) == {
        "error": {
            "code": "unauthorized", "detail": "This key is revoked.", "status": 401, "request_id": "req-1",
            "errors": [],
        },
        "exit": 5,
    }  # fmt: skip


def test_a_technician_picks_a_name_at_the_keyboard(
    command: Command, monkeypatch: pytest.MonkeyPatch, own_files: Path
) -> None:
    monkeypatch.setattr(_bench.Bench, "asks", property(lambda _: True))
    monkeypatch.setattr("click.termui.hidden_prompt_func", lambda _: "shim_typed")
    monkeypatch.setattr("sys.stdin", io.StringIO("http://127.0.0.1:1\n2\n"))
    ran = command("sign-in")
    assert ran.code == 0, ran.err
    assert "  2  Kim Sample" in ran.out
    assert json.loads((own_files / "sign-in.json").read_text())["key"] == "shim_typed"


def test_a_technicians_own_tools_are_remembered(command: Command, key_file: str, own_files: Path) -> None:
    command("sign-in", "http://127.0.0.1:1", "--technician", "robin", "--key-file", key_file)
    assert "yours feeler leaves: relief" in command("tools", "--use", "feeler").out
    assert json.loads((own_files / "sign-in.json").read_text())["tools"] == ["feeler leaves"]
    ran = command("tools", "--use", "l")
    assert (ran.code, "could be more than one tool" in ran.err) == (2, True)


def test_a_damaged_sign_in_file_is_named(command: Command, own_files: Path) -> None:
    own_files.mkdir()
    (own_files / "sign-in.json").write_text("{")
    ran = command("jobs")
    assert (ran.code, "sign-in.json is damaged" in ran.err) == (5, True)


def test_the_help_lists_the_commands_in_the_order_of_the_work(command: Command) -> None:
    ran = command("--help")
    assert ran.code == 0
    order = [
        "sign-in",
        "take",
        "jobs",
        "due",
        "read",
        "plan",
        "done",
        "settle",
        "final-check",
        "ready",
        "card",
    ]
    places = [ran.out.index(f"\n  {name} ") for name in order]
    assert places == sorted(places)
    for code, meaning in MEANING.items():
        assert f"{int(code)} " in ran.out
        assert meaning.split(",")[0].split(";")[0] in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 100


def test_every_command_explains_itself_and_takes_json(command: Command) -> None:
    from shimstock_client.cli._app import SECTIONS

    for each in (each for commands in SECTIONS.values() for each in commands):
        ran = command(str(each.name), "--help")
        assert ran.code == 0
        assert "--json" in ran.out, each.name


def test_exit_codes_are_a_promise() -> None:
    assert {code.name: int(code) for code in Exit} == {
        "OK": 0, "REFUSED": 1, "USAGE": 2, "NOTHING": 3, "NOT_REACHABLE": 4, "SIGN_IN": 5, "CONFLICT": 6,
        "INTERRUPTED": 130,
    }  # fmt: skip
    assert set(MEANING) == set(Exit)


def test_no_command_at_all_shows_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert run([]) == 2
    assert "Usage: shimstock" in capsys.readouterr().out


def processor_seconds() -> float:
    """Return what this process's children used of the processor, the same however busy the machine is."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def test_it_starts_fast_and_loads_no_network_for_help() -> None:
    # a technician types dozens of commands a day: below 0.3 s, with the interpreter's own start
    code = "import sys; from shimstock_client.cli._app import run; run(['--help']); "
    code += "sys.exit(bool({'requests', 'rich', 'urllib3', 'platformdirs'} & set(sys.modules)))"
    took = []
    for _ in range(5):
        began = processor_seconds()
        ended = subprocess.run([sys.executable, "-c", code], stdout=subprocess.DEVNULL, check=False)
        took.append(processor_seconds() - began)
        assert ended.returncode == 0
    assert min(took) < 0.3


def test_the_installed_command_runs() -> None:
    program = Path(sys.executable).with_name("shimstock")
    ran = subprocess.run(
        [program, "--version"],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "NO_COLOR": "1"},
    )
    assert ran.stdout.startswith("shimstock, version ")


def test_a_reader_that_goes_away_makes_no_noise() -> None:
    program = Path(sys.executable).with_name("shimstock")
    ran = subprocess.run(
        ["bash", "-c", f"'{program}' --help | true"], capture_output=True, text=True, check=False
    )
    assert ran.stderr == ""


def test_a_name_that_could_steer_the_terminal_signs_in(
    capsys: pytest.CaptureFixture[str], key_file: str, own_files: Path
) -> None:
    people = {"items": [{"id": "t1", "name": "Robin\x1b[2J\ud800", "active": True}], "next": None}
    command = runner(WSGITransport(Service([Says(200, people)])), capsys)
    ran = command("sign-in", "http://127.0.0.1:1", "--key-file", key_file)
    assert (ran.code, "as Robin\\u001b[2J\\ud800." in ran.out) == (0, True), ran
    assert json.loads((own_files / "sign-in.json").read_text())["technician_name"] == "Robin\x1b[2J\ud800"
