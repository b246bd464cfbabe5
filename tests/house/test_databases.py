"""The databases that tests get: each its own, migrated, as the migrations left it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import create_engine, inspect
from sqlalchemy.pool import NullPool

from tests import postgresql
from tests.databases import NONE_FOUND, PostgresqlDatabases, SqliteDatabases


def table_names(url: str) -> set[str]:
    """Return the names of the tables of a database."""
    return set(inspect(create_engine(url, poolclass=NullPool)).get_table_names())


def test_a_migrated_database_has_the_tables(database_url: str) -> None:
    assert {"jobs", "readings", "alembic_version"} <= table_names(database_url)


def test_an_empty_database_has_none(empty_database_url: str) -> None:
    assert table_names(empty_database_url) == set()


@pytest.mark.postgresql
def test_a_database_comes_back_as_the_migrations_left_it(postgresql_databases: PostgresqlDatabases) -> None:
    name = postgresql_databases.migrated()
    before = postgresql_databases.rows(name)
    assert before
    with psycopg.connect(postgresql.plain(postgresql_databases.server.database(name))) as connection:
        connection.execute("SET session_replication_role = replica")
        connection.execute("DELETE FROM alembic_version")
        connection.execute("UPDATE job_numbers SET last = 99")
        connection.execute("INSERT INTO job_skills (job_id, skill) VALUES (gen_random_uuid(), 'bass')")
    assert postgresql_databases.rows(name) != before
    postgresql_databases.take_back(name)
    assert postgresql_databases.migrated() == name
    assert postgresql_databases.rows(name) == before
    postgresql_databases.take_back(name)


@pytest.mark.postgresql
def test_a_forgotten_connection_does_not_hold_a_database(postgresql_databases: PostgresqlDatabases) -> None:
    name = postgresql_databases.migrated()
    with psycopg.connect(postgresql.plain(postgresql_databases.server.database(name))) as forgotten:
        forgotten.execute("LOCK TABLE jobs IN ACCESS EXCLUSIVE MODE")
        postgresql_databases.take_back(name)
        with pytest.raises(psycopg.OperationalError):
            forgotten.execute("SELECT 1")


def test_sqlite_copies_share_nothing(sqlite_databases: SqliteDatabases, tmp_path: Path) -> None:
    folders = [tmp_path / "one", tmp_path / "two"]
    for folder in folders:
        folder.mkdir()
    one, two = (sqlite_databases.migrated(folder).removeprefix("sqlite:///") for folder in folders)
    with closing(sqlite3.connect(one)) as connection, connection:
        connection.execute("UPDATE job_numbers SET last = 99")
    with closing(sqlite3.connect(two)) as connection:
        assert connection.execute("SELECT last FROM job_numbers").fetchone() == (0,)


@pytest.mark.skipif(postgresql.programs() is None, reason=NONE_FOUND)
def test_a_server_of_our_own_is_gone_after_it_is_stopped() -> None:
    server = postgresql.start_own()
    assert server is not None
    server.execute("CREATE DATABASE one_more")
    assert postgresql.version_at(server.database("one_more")) == server.version
    server.stop()
    with pytest.raises(psycopg.OperationalError):
        postgresql.version_at(server.url)


def test_naming_a_server_that_does_not_answer_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    port = postgresql.free_port()
    monkeypatch.setenv(postgresql.NAMED_BY, f"postgresql://postgres@127.0.0.1:{port}/postgres")
    with pytest.raises(postgresql.ServerError, match=postgresql.NAMED_BY):
        postgresql.find()
