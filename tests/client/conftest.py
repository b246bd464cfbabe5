"""The real service in this process, with a small shop in it, and places for the client's files."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

import shimstock_client
from shimstock_client import WSGITransport
from shimstock_client.cli._app import run
from shimstock_server.clock import FixedClock
from tests.server.clients import Client
from tests.server.conftest import (  # noqa: F401 - fixtures of the service's own tests
    Staff,
    app,
    config,
    database,
    make_app,
    staff,
)
from tests.server.workshop import Workshop, set_up

URL = "http://shop.test"


@pytest.fixture
def clock() -> FixedClock:
    """The service's clock: it stands where this machine's clock is, until a test advances it."""
    return FixedClock(datetime.now(UTC).replace(microsecond=0))


@dataclass
class Shop:
    """The service with a small shop in it, and clients of each scope."""

    app: Flask
    staff: Staff
    clock: FixedClock
    things: Workshop
    made: list[shimstock_client.Client] = field(default_factory=list)

    def client(self, scope: str = "bench", **options: Any) -> shimstock_client.Client:
        """Make a client under a key of this scope, the technician at the bench."""
        options.setdefault("technician", self.staff.technician_id if scope == "bench" else None)
        client = shimstock_client.Client(
            URL, self.staff.tokens[scope], transport=WSGITransport(self.app), **options
        )
        self.made.append(client)
        return client


@pytest.fixture
def shop(app: Flask, staff: Staff, clock: FixedClock) -> Iterator[Shop]:  # noqa: F811
    """A shop that is open: a model, an owner, an instrument, tools, a spec."""
    manager = Client(app, staff.tokens["manager"], key_id=staff.key_ids["manager"])
    shop = Shop(app, staff, clock, set_up(manager))
    yield shop
    for client in shop.made:
        client.close()


@pytest.fixture(autouse=True)
def own_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the client's files, and its idea of a line, apart from whoever runs the tests."""
    for name in ("URL", "KEY", "TECHNICIAN", "UNITS"):
        monkeypatch.delenv(f"SHIMSTOCK_{name}", raising=False)
    monkeypatch.delenv("COLUMNS", raising=False)
    folder = tmp_path / "files"
    monkeypatch.setenv("SHIMSTOCK_FILES", str(folder))
    return folder


@dataclass(frozen=True)
class Ran:
    """How a command ended."""

    code: int
    out: str
    err: str


Command = Callable[..., Ran]


@pytest.fixture
def command(shop: Shop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """Run `shimstock` against the shop, signed in through the environment."""
    monkeypatch.setenv("SHIMSTOCK_URL", URL)
    monkeypatch.setenv("SHIMSTOCK_KEY", shop.staff.tokens["bench"])
    monkeypatch.setenv("SHIMSTOCK_TECHNICIAN", str(shop.staff.technician_id))
    return runner(WSGITransport(shop.app), capsys)


def runner(transport: Any, capsys: pytest.CaptureFixture[str]) -> Command:
    """Return a function that runs a command and captures what it says."""

    def ran(*arguments: str) -> Ran:
        capsys.readouterr()
        code = run(arguments, transport=transport)
        said = capsys.readouterr()
        return Ran(code, said.out, said.err)

    return ran
