"""Databases for the tests: every test that asks for one gets its own, on SQLite and on PostgreSQL.

`database_url` is migrated and empty of rows; `empty_database_url` has no tables yet, and a test that changes
tables takes that one. A test for one kind of database alone says so with
`@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)`.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from itertools import count
from pathlib import Path
from typing import Any

import psycopg
import pytest
from psycopg import sql

from tests import postgresql

BOTH = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)]
NONE_FOUND = "no PostgreSQL found"
PREFIX = "shimstock_test"
GROWN = 8 * 1024 * 1024  # bytes that a test may add to a database before it is thrown away instead of emptied


def migrate(url: str) -> None:
    """Bring an empty database to the newest revision, as an operator does."""
    from shimstock_server.database.migrate import upgrade

    upgrade(url)


class Servers:
    """The PostgreSQL server of this run, looked for once, and what became of the tests that need it."""

    def __init__(self, found: postgresql.Server | None = None, *, looked: bool = False) -> None:
        self.found = found
        self.looked = looked
        self.ran = False
        self.skipped = False

    def find(self) -> postgresql.Server | None:
        """Return the server, or None when there is none."""
        if not self.looked:
            self.found = postgresql.find()
            self.looked = True
        return self.found

    def stop(self) -> None:
        """End the server when it was started for this run."""
        if self.found is not None:
            self.found.stop()

    def hand_over(self) -> dict[str, str]:
        """Return what a process that runs a part of the tests needs to know."""
        server = self.find()
        return (
            {} if server is None else {"url": server.url, "version": server.version, "origin": server.origin}
        )

    def line(self) -> str | None:
        """Return what the tests ran on, or None when none needed a PostgreSQL server."""
        if self.ran and self.found is not None:
            return f"SQLite and PostgreSQL {self.found.version}"
        return "SQLite only" if self.skipped else None


SERVERS = pytest.StashKey[Servers]()


class Node:
    """What the main process does when the tests run side by side."""

    @pytest.hookimpl(optionalhook=True)
    def pytest_configure_node(self, node: Any) -> None:
        """Look for the server before the first test, once for all processes."""
        node.workerinput["postgresql"] = node.config.stash[SERVERS].hand_over()


def pytest_configure(config: pytest.Config) -> None:
    """Take the server that the main process found, or be the one to look for it."""
    handed_over = getattr(config, "workerinput", {}).get("postgresql")
    if handed_over is None:
        config.stash[SERVERS] = Servers()
        config.pluginmanager.register(Node())
    else:
        server = postgresql.Server(**handed_over) if handed_over else None
        config.stash[SERVERS] = Servers(server, looked=True)


def pytest_unconfigure(config: pytest.Config) -> None:
    """End a server that was started for this run."""
    config.stash[SERVERS].stop()


class Ledger:
    """Notes whether tests that need a PostgreSQL server ran, in the process that reports."""

    def __init__(self, servers: Servers) -> None:
        self.servers = servers

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Look at one test."""
        if "postgresql" not in report.keywords:
            return
        if report.skipped and NONE_FOUND in report.longreprtext:
            self.servers.skipped = True
        elif report.when == "call":
            self.servers.ran = True


def pytest_sessionstart(session: pytest.Session) -> None:
    """Look at every test from the first on."""
    session.config.pluginmanager.register(Ledger(session.config.stash[SERVERS]))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Say which databases the tests ran on."""
    line = config.stash[SERVERS].line()
    if line is not None:
        terminalreporter.line(f"databases: {line}")


def is_running(process: int) -> bool:
    """Tell whether a process is there."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


class PostgresqlDatabases:
    """Makes databases on the server, and takes back the ones that are done with.

    Dropping a database makes the server write everything out (0.2 s), emptying its tables takes 5 ms: so a
    migrated database is brought back to what the migrations wrote and lent again, unless it has grown.
    """

    def __init__(self, server: postgresql.Server, process: str) -> None:
        self.server = server
        self.prefix = f"{PREFIX}_{os.getpid()}_{process}"
        self.numbers = count(1)
        self.free: list[str] = []
        self.template: str | None = None
        self.template_size = 0
        self.written: dict[str, bytes] = {}  # by the migrations: the rows of each table that has any

    def drop_left_behind(self) -> None:
        """Drop the databases of runs that were killed; one that is in use stays."""
        with psycopg.connect(postgresql.plain(self.server.url), autocommit=True) as connection:
            query = "SELECT datname FROM pg_database WHERE datname ~ %s"
            for (name,) in connection.execute(query, [rf"^{PREFIX}_\d+_"]).fetchall():
                if not is_running(int(name.removeprefix(f"{PREFIX}_").partition("_")[0])):
                    with suppress(psycopg.Error):
                        connection.execute(sql.SQL("DROP DATABASE {}").format(sql.Identifier(name)))

    def create(self, template: str = "template0") -> str:
        """Make a database and return its name."""
        name = f"{self.prefix}_{next(self.numbers)}"
        self.server.execute(f'CREATE DATABASE "{name}" TEMPLATE "{template}"')
        # No test cuts the server's power: a commit need not wait for the disk.
        self.server.execute(f'ALTER DATABASE "{name}" SET synchronous_commit = off')
        return name

    def drop(self, name: str) -> None:
        """Drop a database, whoever is still connected to it."""
        self.server.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')

    def migrated(self) -> str:
        """Return the name of a migrated database without rows."""
        if self.free:
            return self.free.pop()
        if self.template is None:
            template = self.create()
            migrate(self.server.database(template))
            self.template_size = self.size(template)
            self.written = self.rows(template)
            self.template = template
        return self.create(self.template)

    def connect(self, name: str) -> psycopg.Connection:
        """Open a connection to one of the databases."""
        return psycopg.connect(postgresql.plain(self.server.database(name)))

    def size(self, name: str) -> int:
        """Return the size of a database [bytes]."""
        with self.connect(name) as connection:
            row = connection.execute("SELECT pg_database_size(current_database())").fetchone()
        assert row is not None
        return int(row[0])

    def tables(self, connection: psycopg.Connection) -> list[str]:
        """Return the names of all tables."""
        rows = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        return [name for (name,) in rows]

    def rows(self, name: str) -> dict[str, bytes]:
        """Return the rows of each table that has any, as PostgreSQL's COPY writes them."""
        query = sql.SQL("COPY {} TO STDOUT")
        with self.connect(name) as connection, connection.cursor() as cursor:
            found = {}
            for table in self.tables(connection):
                with cursor.copy(query.format(sql.Identifier(table))) as copied:
                    found[table] = b"".join(bytes(part) for part in copied)
        return {table: rows for table, rows in found.items() if rows}

    def take_back(self, name: str) -> None:
        """Bring a migrated database back to what the migrations wrote, or drop it."""
        if self.size(name) - self.template_size > GROWN:
            self.drop(name)
            return
        with self.connect(name) as connection, connection.cursor() as cursor:
            cursor.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )
            cursor.execute("SET session_replication_role = replica")  # no order among foreign keys
            for table in self.tables(connection):
                cursor.execute(sql.SQL("DELETE FROM {}").format(sql.Identifier(table)))
            for table, rows in self.written.items():
                with cursor.copy(sql.SQL("COPY {} FROM STDIN").format(sql.Identifier(table))) as copy:
                    copy.write(rows)
        self.free.append(name)

    def drop_all(self) -> None:
        """Drop what is left at the end of the run."""
        for name in [*self.free, *([self.template] if self.template else [])]:
            self.drop(name)


class SqliteDatabases:
    """Makes SQLite files; the migrated ones are copies of one that was migrated once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.template: Path | None = None

    def migrated(self, folder: Path) -> str:
        """Return the address of a migrated file without rows."""
        if self.template is None:
            template = self.folder / "migrated.db"
            migrate(f"sqlite:///{template}")
            with closing(sqlite3.connect(template)) as connection:
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self.template = template
        copy = folder / "shimstock.db"
        shutil.copyfile(self.template, copy)
        return f"sqlite:///{copy}"


@pytest.fixture(scope="session")
def sqlite_databases(tmp_path_factory: pytest.TempPathFactory) -> SqliteDatabases:
    """Return what makes SQLite databases."""
    return SqliteDatabases(tmp_path_factory.mktemp("sqlite"))


@pytest.fixture(scope="session")
def postgresql_databases(request: pytest.FixtureRequest) -> Iterator[PostgresqlDatabases]:
    """Return what makes PostgreSQL databases, skipping the test on a machine without a server."""
    server = request.config.stash[SERVERS].find()
    if server is None:
        pytest.skip(NONE_FOUND)
    databases = PostgresqlDatabases(server, os.environ.get("PYTEST_XDIST_WORKER", "main"))
    databases.drop_left_behind()
    yield databases
    databases.drop_all()


@pytest.fixture(params=BOTH)
def database_url(
    request: pytest.FixtureRequest, sqlite_databases: SqliteDatabases, tmp_path: Path
) -> Iterator[str]:
    """Return the address of a migrated database without rows, this test's own."""
    if request.param == "sqlite":
        yield sqlite_databases.migrated(tmp_path)
        return
    databases: PostgresqlDatabases = request.getfixturevalue("postgresql_databases")
    name = databases.migrated()
    yield databases.server.database(name)
    databases.take_back(name)


@pytest.fixture(params=BOTH)
def empty_database_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Return the address of a database without tables, this test's own."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.db'}"
        return
    databases: PostgresqlDatabases = request.getfixturevalue("postgresql_databases")
    name = databases.create()
    yield databases.server.database(name)
    databases.drop(name)
