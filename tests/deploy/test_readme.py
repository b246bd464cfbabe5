"""The README's tour, executed: every `$` line runs against the demo shop, and answers as the README says.

In the expected answer a line of `…` stands for any lines, and `…` within a line for any text.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from flask import Flask

from shimstock_client import Client
from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.tables.shop import Bench
from shimstock_server.database.words import Scope
from shimstock_server.keys import make_key
from shimstock_server.operations import seed
from tests.client.live import served
from tests.server.conftest import SECRET, app, config, database, make_app  # noqa: F401 - fixtures
from tests.waiting import HANG

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
ADDRESS = "http://127.0.0.1:8765"
CONSOLE = re.compile(r"^```console\n(.*?)^```", re.MULTILINE | re.DOTALL)
PYTHON = re.compile(r"^```python\n(.*?)^```", re.MULTILINE | re.DOTALL)

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@pytest.fixture
def clock() -> FixedClock:
    """The service's clock, standing where this machine's is."""
    return FixedClock(datetime.now(UTC).replace(microsecond=0))


@pytest.fixture
def keys(database: Database, clock: FixedClock) -> dict[str, str]:  # noqa: F811
    """The demo shop, with a key of each scope."""
    seed.load(database, ROOT / "seed", now=clock.now(), secret=SECRET)
    tokens = {}
    with database.write({"now": clock.now(), "secret": SECRET}) as session:
        bench = session.query(Bench).filter_by(name="window bench").one()
        for scope in Scope:
            _, tokens[scope.value] = make_key(
                session,
                name=f"{scope} key",
                scope=scope,
                now=clock.now(),
                bench_id=bench.id if scope is Scope.BENCH else None,
            )
    return tokens


@pytest.fixture
def address(app: Flask, keys: dict[str, str]) -> Iterator[str]:  # noqa: F811
    """The demo shop on a loopback port."""
    with served(app) as url:
        yield url


def commands() -> list[tuple[str, list[str]]]:
    """Every command of the tour with the lines that it answers."""
    found: list[tuple[str, list[str]]] = []
    for block in CONSOLE.findall(README):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append((line[2:], []))
            else:
                found[-1][1].append(line)
    return found


def pattern(lines: list[str]) -> re.Pattern[str]:
    """What an answer must look like."""
    parts = []
    for line in lines:
        if line == "…":
            parts.append(r"(?:[^\n]*\n)*?")
        else:
            text = r"[^\n]*".join(re.escape(part) for part in re.split("…", line.rstrip()))
            parts.append(text + r"[ ]*\n")
    return re.compile("".join(parts))


def test_the_tour_does_what_the_readme_says(address: str, keys: dict[str, str], tmp_path: Path) -> None:
    (tmp_path / "bench.key").write_text(keys["bench"] + "\n", encoding="utf-8")
    environment = {
        "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}",
        "HOME": str(tmp_path),
        "SHIMSTOCK_FILES": str(tmp_path / "files"),
        "URL": address,
        "KEY": keys["booking"],
        "MANAGER": keys["manager"],
        "COLUMNS": "100",
        "NO_PROXY": "*",
    }
    tour = commands()
    assert len(tour) >= 10
    for command, expected in tour:
        ran = subprocess.run(
            ["bash", "-c", command.replace(ADDRESS, address)],
            cwd=tmp_path,
            env=environment,
            capture_output=True,
            text=True,
            timeout=HANG,
            check=False,
        )
        assert ran.returncode == 0, f"$ {command}\n{ran.stdout}{ran.stderr}"
        said = (ran.stdout + ran.stderr).replace(address, ADDRESS)
        said += "" if said.endswith("\n") else "\n"
        assert pattern(expected).match(said), f"$ {command}\nanswers\n{said}\ninstead of\n" + "\n".join(
            expected
        )


def test_the_python_example_runs(
    address: str, keys: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    [example] = PYTHON.findall(README)
    with Client(address, keys["manager"]) as shop:
        instrument = next(iter(shop.instruments.list(serial="K-0117")))
        job = shop.jobs.create(instrument_id=instrument.id, complaints="buzzes")
        shop.jobs.move(job, "queued")
    code = compile(example.replace(ADDRESS, address), "README.md", "exec")
    exec(code, {"key": keys["manager"]})
    assert capsys.readouterr().out == f"{job.number} buzzes\n"
