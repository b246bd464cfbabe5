"""The lock that who uses a database shares, and that who replaces it takes alone."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import pytest
from sqlalchemy import create_engine, make_url, text

from shimstock_server.database import fingerprint, in_use, migrate
from shimstock_server.database.engine import make_engine
from shimstock_server.database.session import Database
from shimstock_server.database.tables.jobs import JobNumber
from shimstock_server.web.problems import DatabaseAway
from tests.house.files import CHECKOUT

from .test_engine import POSTGRESQL

HOLD = """
import sys
from shimstock_server.database import in_use
with in_use.alone(sys.argv[1]):
    print("alone", flush=True)
    sys.stdin.read()
"""


@pytest.fixture(autouse=True)
def _no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(in_use, "WAIT", 0.3)


@contextmanager
def held_alone(url: str) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the database alone, until it is killed."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, url], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "alone\n"
        yield process
    finally:
        process.kill()
        process.communicate()


def number(database: Database) -> int:
    with database.read() as session:
        return session.get_one(JobNumber, 1).last


def refused(url: str) -> bool:
    """Whether the database cannot be held alone."""
    try:
        with in_use.alone(url):
            return False
    except in_use.InUse as error:
        return "stop the service, every worker" in str(error)


def test_who_uses_a_database_stands_against_who_replaces_it(database: Database, database_url: str) -> None:
    assert not refused(database_url)
    number(database)
    assert refused(database_url), "a connection that rests in the pool is kept for the next request"
    database.dispose()
    assert not refused(database_url)


@POSTGRESQL
def test_a_database_that_was_held_alone_is_free_at_once(database_url: str) -> None:
    held = text(
        "SELECT count(*) FROM pg_locks JOIN pg_database ON oid = database WHERE datname = current_database()"
        " AND locktype = 'advisory' AND mode = 'ExclusiveLock'"
    )
    seen = create_engine(make_url(database_url).set(drivername="postgresql+psycopg"))
    with seen.connect() as connection:
        for _ in range(50):  # the server releases what a closed connection held only after a moment
            with in_use.alone(database_url):
                pass
            assert connection.scalar(held) == 0
    seen.dispose()


def test_who_replaces_a_database_keeps_everybody_out_until_the_process_ends(
    database: Database, database_url: str
) -> None:
    with held_alone(database_url) as process:
        assert refused(database_url)
        with pytest.raises(DatabaseAway):
            number(database)
        with pytest.raises(in_use.Replacing):
            migrate.upgrade(database_url)
        process.kill()
        process.wait()
        assert number(database) == 0


def test_who_holds_a_database_alone_works_in_it(database: Database, database_url: str) -> None:
    with in_use.alone(database_url):
        assert number(database) == 0


def test_no_table_is_taken_from_a_service_at_work(database: Database, database_url: str) -> None:
    number(database)
    with pytest.raises(in_use.InUse, match="stop the service"):
        migrate.downgrade(database_url, "base")
    migrate.upgrade(database_url)
    assert migrate.current(database_url) == migrate.head()


@POSTGRESQL
def test_a_lost_connection_takes_the_lock_anew(database: Database, database_url: str) -> None:
    number(database)
    with database.engine.connect() as connection:
        mine = connection.scalar(text("SELECT pg_backend_pid()"))
    other = make_engine(database_url)
    with other.connect() as connection:
        connection.execute(text("SELECT pg_terminate_backend(:pid, 5000)"), {"pid": mine})
    other.dispose()
    assert not refused(database_url)
    with pytest.raises(DatabaseAway):
        number(database)  # the one that was lost
    number(database)
    assert refused(database_url)


@POSTGRESQL
def test_behind_a_pool_of_transactions_each_writing_one_holds_the_lock(database_url: str) -> None:
    database = Database(make_engine(database_url, prepare_threshold=-1, write_wait=0.5))
    number(database)
    assert not refused(database_url)
    with database.write() as session:
        session.get_one(JobNumber, 1).last = 7
        assert refused(database_url)
    with held_alone(database_url), pytest.raises(DatabaseAway), database.write() as session:
        session.get_one(JobNumber, 1).last = 8
    assert number(database) == 7
    database.dispose()


def test_every_advisory_lock_has_a_number_of_its_own() -> None:
    sources = [path.read_text() for path in CHECKOUT.glob("server/**/*.py")]
    users = [source for source in sources if re.search(r"pg_(try_)?advisory", source)]
    numbers = [int(n, 0) for source in users for n in re.findall(r"^_\w*LOCK = (\w+)$", source, re.MULTILINE)]
    assert len(set(numbers)) == len(numbers) == len(users) >= 5


def test_of_two_secrets_at_once_one_is_the_first(database: Database) -> None:
    secrets = [f"secret number {n} " * 4 for n in range(4)]

    def starts(secret: str) -> bool:
        try:
            fingerprint.check(database, secret)
        except fingerprint.AnotherSecret:
            return False
        return True

    with ThreadPoolExecutor(4) as threads:
        first = list(threads.map(starts, secrets))
    assert first.count(True) == 1
    assert [starts(secret) for secret in secrets] == first
