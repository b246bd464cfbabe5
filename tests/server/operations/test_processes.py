"""The real processes: gunicorn with two workers, and the worker, started and stopped as an operator does."""

from __future__ import annotations

import os
import re
import secrets
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pytest
import requests
from click.testing import CliRunner
from sqlalchemy import select

from shimstock_server.app import open_database
from shimstock_server.clock import FixedClock, SystemClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.operations.admin import admin
from shimstock_server.web.problems import DatabaseAway
from shimstock_server.worker import Task, Worker
from tests.server.conftest import Staff, make_staff
from tests.waiting import HANG, wait_until

SECRET = secrets.token_urlsafe(40)
COMMAND = [sys.executable, "-c", "from shimstock_server.operations.entry import main; main()"]


@dataclass
class Running:
    """The service, listening."""

    url: str
    process: subprocess.Popen[str]
    staff: Staff
    environment: dict[str, str]

    def ask(self, method: str, path: str, scope: str = "manager", **options: object) -> requests.Response:
        headers = {"Authorization": f"Bearer {self.staff.tokens[scope]}", **options.pop("headers", {})}  # type: ignore[dict-item]
        with requests.Session() as session:
            session.trust_env = False
            return session.request(method, self.url + path, headers=headers, timeout=HANG, **options)  # type: ignore[arg-type]

    def is_ready(self) -> bool:
        with suppress(requests.ConnectionError):
            return self.ask("GET", "/readyz").status_code == 200
        return False

    def does(self, *arguments: str) -> str:
        """Run a command of the operator's, in this process."""
        done = CliRunner().invoke(admin, arguments, env=self.environment)
        assert done.exit_code == 0, done.output
        return done.output

    def fails(self, *arguments: str) -> str:
        """Run a command of the operator's, which is refused in a sentence."""
        return sentence(run(self.environment, *arguments))

    def names_of_keys(self) -> set[str]:
        """Read the keys from the database itself."""
        database = open_database(
            Config(secret=SECRET, database_url=self.environment["SHIMSTOCK_DATABASE_URL"])
        )
        with database.read() as session:
            names = set(session.scalars(select(ApiKey.name)))
        database.dispose()
        return names


def run(environment: dict[str, str], *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *arguments], env=environment, capture_output=True, text=True, timeout=HANG, check=False
    )


def sentence(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 1, done.stdout + done.stderr
    assert done.stderr.startswith("Error: "), done.stderr
    assert done.stderr.count("\n") == 1, done.stderr
    return done.stderr


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def running(database_url: str, tmp_path: Path) -> Iterator[Running]:
    """The service under gunicorn, with two workers of four threads."""
    config = Config(secret=SECRET, database_url=database_url)
    database = open_database(config)
    staff = make_staff(database, FixedClock(SystemClock().now()))
    database.dispose()
    environment = {
        **{name: value for name, value in os.environ.items() if not name.startswith("SHIMSTOCK_")},
        "SHIMSTOCK_SECRET": SECRET,
        "SHIMSTOCK_DATABASE_URL": database_url,
        "TMPDIR": str(tmp_path),
    }
    port = free_port()
    log = tmp_path / "serve.log"
    with log.open("w") as output:
        process = subprocess.Popen(
            [*COMMAND, "serve", "--bind", f"127.0.0.1:{port}"], env=environment, stderr=output, text=True
        )
    running = Running(f"http://127.0.0.1:{port}", process, staff, environment)
    try:
        wait_until(lambda: process.poll() is not None or running.is_ready(), log.read_text)
        assert process.poll() is None, log.read_text()
        yield running
    finally:
        process.terminate()
        process.wait(HANG)


def test_two_workers_serve_count_and_stop(running: Running, tmp_path: Path) -> None:
    for _ in range(20):
        assert running.ask("GET", "/v1/keys").status_code == 200
    figures = running.ask("GET", "/metrics").text
    counted = [line for line in figures.splitlines() if line.startswith("shimstock_requests_total")]
    keys = next(line for line in counted if 'route="/v1/keys"' in line)
    assert float(keys.split()[-1]) == 20, "of both workers together"
    assert list(tmp_path.glob("shimstock-figures-*"))
    running.process.send_signal(signal.SIGTERM)
    assert running.process.wait(HANG) == 0
    assert not list(tmp_path.glob("shimstock-figures-*")), "the folder of figures is put away"


def test_many_clients_at_once_lose_nothing_and_do_nothing_twice(running: Running) -> None:
    def make(n: int) -> str:
        body = {"name": f"key {n // 2}", "scope": "booking"}
        made = running.ask("POST", "/v1/keys", json=body, headers={"Idempotency-Key": f"key-{n // 2}"})
        assert made.status_code == 201, made.text
        return str(made.json()["id"])

    with ThreadPoolExecutor(8) as threads:
        made = list(threads.map(make, range(40)))
    assert len(set(made)) == 20
    listed = running.ask("GET", "/v1/keys?limit=500").json()["items"]
    assert sorted(key["name"] for key in listed if key["name"].startswith("key ")) == sorted(
        f"key {n}" for n in range(20)
    )


def test_workers_idle_and_stop_when_asked(running: Running, tmp_path: Path) -> None:
    logs = [tmp_path / "worker-1.log", tmp_path / "worker-2.log"]
    workers = []
    for log in logs:
        with log.open("w") as output:
            workers.append(subprocess.Popen([*COMMAND, "worker"], env=running.environment, stderr=output))
    wait_until(lambda: all("the worker is ready" in log.read_text() for log in logs))
    for worker, log in zip(workers, logs, strict=True):
        assert worker.poll() is None, log.read_text()
        worker.send_signal(signal.SIGTERM)
    for worker, log in zip(workers, logs, strict=True):
        assert worker.wait(HANG) == 0, log.read_text()
        assert "the worker has stopped" in log.read_text()


def start_worker(running: Running, log: Path) -> subprocess.Popen[bytes]:
    with log.open("w") as output:
        worker = subprocess.Popen([*COMMAND, "worker"], env=running.environment, stderr=output)
    wait_until(lambda: "the worker is ready" in log.read_text() or worker.poll() is not None, log.read_text)
    assert worker.poll() is None, log.read_text()
    return worker


def test_a_restore_under_a_service_at_work_is_refused_and_loses_nothing(
    running: Running, tmp_path: Path
) -> None:
    copy = str(tmp_path / "copy")
    running.does("backup", copy)
    acknowledged: list[str] = []
    stop = threading.Event()

    def write() -> None:
        while not stop.is_set():
            name = f"written {len(acknowledged)}"
            body, once = {"name": name, "scope": "booking"}, {"Idempotency-Key": name}
            if running.ask("POST", "/v1/keys", json=body, headers=once).status_code == 201:
                acknowledged.append(name)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        assert "stop the service, every worker" in running.fails("restore", copy)
    finally:
        stop.set()
        writer.join(30)
    assert len(acknowledged) > 1
    worker = start_worker(running, tmp_path / "worker.log")
    try:
        running.process.terminate()
        assert running.process.wait(30) == 0
        assert "stop the service, every worker" in running.fails("restore", copy), "a worker is still there"
    finally:
        worker.kill()
        worker.wait(30)
    assert running.names_of_keys() >= set(acknowledged), "a refused restore changes nothing"
    said = running.does("restore", copy)
    assert not running.names_of_keys() & set(acknowledged)
    kept = re.search(r"is kept as (.+\.before-restore):", said)
    assert kept is not None, said
    if running.environment["SHIMSTOCK_DATABASE_URL"].startswith("postgresql"):
        assert Path(kept[1]).stat().st_mode & 0o077 == 0, "for its owner alone"
    running.does("restore", kept[1])
    assert running.names_of_keys() >= set(acknowledged), "what was replaced can be put back"
    assert Path(kept[1]).with_name(Path(kept[1]).name + "-2").exists(), "and was not written over"


def test_nothing_starts_with_another_secret(database_url: str, tmp_path: Path) -> None:
    environment = {"SHIMSTOCK_SECRET": SECRET, "SHIMSTOCK_DATABASE_URL": database_url}
    copy = str(tmp_path / "copy")
    for arguments in (["key", "list"], ["backup", copy]):
        assert CliRunner().invoke(admin, arguments, env=environment).exit_code == 0
    another = {**os.environ, **environment, "SHIMSTOCK_SECRET": secrets.token_urlsafe(40)}
    serve = ("serve", "--bind", f"127.0.0.1:{free_port()}")
    with ThreadPoolExecutor() as threads:
        commands = (("worker",), serve, ("restore", copy))
        said = [sentence(each) for each in threads.map(lambda each: run(another, *each), commands)]
    for started in said[:2]:
        assert "is not the secret that this database belongs to" in started
        assert "shimstock-admin change-secret" in started
    assert f"is not the secret that {copy} belongs to" in said[2]


def test_a_task_that_fails_stops_neither_the_others_nor_the_worker(
    database: Database, config: Config, clock: FixedClock
) -> None:
    done: list[str] = []

    def fail(*_: object) -> int:
        raise ValueError("a slip")

    def away(*_: object) -> int:
        raise DatabaseAway()

    def work(*_: object) -> int:
        done.append("work")
        return 3

    tasks = (Task("fails", 60, fail), Task("finds no database", 60, away), Task("works", 60, work))
    worker = Worker(database, config, clock, tasks)
    assert worker.run_once() == {"fails": 0, "finds no database": 0, "works": 3}
    assert done == ["work"]
