"""Find a PostgreSQL server for the tests: the one named, the machine's own, or one started for this run."""

from __future__ import annotations

import ctypes
import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
from sqlalchemy.engine import URL, make_url

NAMED_BY = "SHIMSTOCK_TEST_POSTGRESQL"
USUAL = "postgresql+psycopg://postgres@127.0.0.1:5432/postgres"
INSTALLED = Path("/usr/lib/postgresql")  # where Debian keeps the programs of each version
FOLDER_PREFIX = "shimstock-postgresql-"
LEFT_BEHIND_AFTER = 86_400  # seconds; no run of the tests lasts a day


class ServerError(Exception):
    """A PostgreSQL server that was asked for cannot be used."""


@dataclass(frozen=True)
class Server:
    """A server that answers; `stop` ends it when it was started for this run."""

    url: str
    version: str
    origin: str
    stop: Callable[[], None] = field(default=lambda: None, compare=False, repr=False)

    def database(self, name: str) -> str:
        """Return the address of one of its databases."""
        return make_url(self.url).set(database=name).render_as_string(hide_password=False)

    def execute(self, statement: str) -> None:
        """Run one statement that cannot stand in a transaction, such as CREATE DATABASE."""
        with psycopg.connect(plain(self.url), autocommit=True) as connection:
            connection.execute(statement.encode())


def plain(url: URL | str) -> str:
    """Return the address as PostgreSQL's own library reads it."""
    return make_url(url).set(drivername="postgresql").render_as_string(hide_password=False)


def version_at(url: URL | str) -> str:
    """Return the version of the server at `url`, such as 15.20."""
    with psycopg.connect(plain(url), connect_timeout=3) as connection:
        row = connection.execute("SHOW server_version").fetchone()
    assert row is not None
    return str(row[0]).split()[0]


def find() -> Server | None:
    """Return a server to test on, or None when the machine has none and cannot start one."""
    return named_server() or usual_server() or start_own()


def named_server() -> Server | None:
    """Return the server that the environment names; naming one that does not answer is an error."""
    named = os.environ.get(NAMED_BY)
    if not named:
        return None
    url = make_url(named).set(drivername="postgresql+psycopg")
    try:
        version = version_at(url)
    except psycopg.Error as reason:
        raise ServerError(f"{NAMED_BY} names a server that does not answer: {reason}") from reason
    return Server(url.render_as_string(hide_password=False), version, f"named by {NAMED_BY}")


def usual_server() -> Server | None:
    """Return the machine's own server where user postgres may come in without a password."""
    try:
        return Server(USUAL, version_at(USUAL), "127.0.0.1:5432")
    except psycopg.Error:
        return None


def programs() -> Path | None:
    """Return the folder of initdb and postgres: that of the search path, else the newest version's."""
    found = shutil.which("initdb")
    folders = [Path(found).resolve().parent] if found else []
    folders += sorted(INSTALLED.glob("[1-9]*/bin"), key=lambda folder: int(folder.parent.name), reverse=True)
    return next((folder for folder in folders if (folder / "postgres").exists()), None)


def unprivileged() -> pwd.struct_passwd | None:
    """Return whom to run the server as when root asks: PostgreSQL refuses root."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        with suppress(KeyError):
            return pwd.getpwnam(name)
    raise ServerError("no unprivileged user to run PostgreSQL as")


def free_port() -> int:
    """Return a port of the loopback interface that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def end_with_parent() -> None:
    """Have the kernel stop the server when the run that started it is killed (Linux only)."""
    if sys.platform == "linux":
        set_parent_death_signal = 1  # PR_SET_PDEATHSIG of prctl(2)
        ctypes.CDLL(None).prctl(set_parent_death_signal, signal.SIGINT)


def remove_left_behind() -> None:
    """Remove the folders of runs that were killed."""
    for folder in Path(tempfile.gettempdir()).glob(f"{FOLDER_PREFIX}*"):
        with suppress(FileNotFoundError):
            if time.time() - folder.stat().st_mtime > LEFT_BEHIND_AFTER:
                shutil.rmtree(folder, ignore_errors=True)


def start_own() -> Server | None:
    """Start a server in a temporary folder, on a free port; None where its programs are not installed."""
    binaries = programs()
    if binaries is None:
        return None
    remove_left_behind()
    folder = Path(tempfile.mkdtemp(prefix=FOLDER_PREFIX))
    user = unprivileged()
    identity: dict[str, Any] = {}
    if user is not None:
        os.chown(folder, user.pw_uid, user.pw_gid)
        identity = {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
    try:
        make_cluster(binaries, folder, identity)
        return serve(binaries, folder, identity)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise


def make_cluster(binaries: Path, folder: Path, identity: dict[str, Any]) -> None:
    """Make the files of a new server."""
    made = subprocess.run(
        [
            binaries / "initdb",
            folder / "data",
            "-U",
            "postgres",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C",
            "-N",
        ],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        **identity,
    )
    if made.returncode != 0:
        raise ServerError(f"initdb failed: {made.stderr.strip()}")


def serve(binaries: Path, folder: Path, identity: dict[str, Any]) -> Server:
    """Serve the cluster in `folder` until `stop` is called."""
    url = make_url(USUAL).set(port=free_port())
    settings = {
        "listen_addresses": "127.0.0.1",
        "port": url.port,
        "unix_socket_directories": folder,
        "max_connections": 200,
        "fsync": "on",
    }
    arguments = [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(
            [binaries / "postgres", "-D", folder / "data", *arguments],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            preexec_fn=end_with_parent,  # noqa: PLW1509 - before any test, so before any thread
            **identity,
        )

    def stop() -> None:
        process.send_signal(signal.SIGINT)  # fast shutdown: sessions are ended, nothing is lost
        try:
            process.wait(timeout=30)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        shutil.rmtree(folder, ignore_errors=True)

    try:
        version = wait_for(process, url, folder / "log")
    except BaseException:
        stop()
        raise
    return Server(url.render_as_string(hide_password=False), version, "started for this run", stop)


def wait_for(process: subprocess.Popen[bytes], url: URL, log: Path, patience: float = 60) -> str:
    """Return the version of the server once it answers."""
    until = time.monotonic() + patience
    while time.monotonic() < until and process.poll() is None:
        try:
            return version_at(url)
        except psycopg.Error:
            time.sleep(0.05)
    raise ServerError(f"PostgreSQL did not start: {log.read_text(errors='replace')[-2000:]}")
