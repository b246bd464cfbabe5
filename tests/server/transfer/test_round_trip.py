"""Everything that the shop owns goes out as open files and comes back the same."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner

from shimstock_server.app import create_app, open_database
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables import Base
from shimstock_server.database.words import Scope
from shimstock_server.keys import make_key
from shimstock_server.learning import rebuild, work_off_marks
from shimstock_server.operations.admin import admin
from shimstock_server.transfer.tables import LEFT_OUT, exported_tables
from tests.databases import PostgresqlDatabases, SqliteDatabases
from tests.server.clients import Client
from tests.server.conftest import SECRET, Staff
from tests.server.reports import direct
from tests.server.reports.simulated import Size, fill
from tests.server.workshop import Workshop, case_one_readings, set_up, sheet

PERIOD = "first=2024-01-01&last=2026-12-31"


@pytest.fixture
def empty_config(
    request: pytest.FixtureRequest, database_url: str, sqlite_databases: SqliteDatabases, tmp_path: Path
) -> Iterator[Config]:
    """Another service: migrated, and nothing else; on the same kind of database."""
    if database_url.startswith("sqlite"):
        (tmp_path / "other").mkdir()
        url = sqlite_databases.migrated(tmp_path / "other")
        yield Config(secret=SECRET, database_url=url, rate_per_minute=0, pool_size=4)
        return
    databases: PostgresqlDatabases = request.getfixturevalue("postgresql_databases")
    name = databases.migrated()
    yield Config(secret=SECRET, database_url=databases.server.database(name), rate_per_minute=0, pool_size=4)
    databases.take_back(name)


@pytest.fixture
def shop(client: Client, bench_client: Client, staff: Staff, database: Database) -> Workshop:
    """A shop with what the service itself and a simulation have written."""
    workshop = set_up(client)
    job = workshop.job(complaints="=cmd|'/C calc'!A0", wants={"playing_style": "Fingerstyle – señor"})
    bench_client.post(f"/v1/jobs/{job['id']}/reading-sheets", json=sheet(case_one_readings(workshop)))
    wrong = sheet(case_one_readings(workshop))
    bench_client.post(f"/v1/jobs/{job['id']}/reading-sheets", json=wrong)
    bench_client.post(
        f"/v1/jobs/{job['id']}/reading-sheets",
        json=sheet(case_one_readings(workshop), supersedes=wrong["id"], supersedes_reason="other tool"),
    )
    fill(database, workshop.ids, staff.key_ids["manager"], staff.technician_id, Size(models=2, instruments=6))
    return workshop


def export(url: str, path: Path) -> dict[str, bytes]:
    settings = {"SHIMSTOCK_SECRET": SECRET, "SHIMSTOCK_DATABASE_URL": url}
    ran = CliRunner().invoke(admin, ["export", str(path)], env=settings)
    assert ran.exit_code == 0, ran.output
    archive = zipfile.ZipFile(path)
    return {name: archive.read(name) for name in archive.namelist()}


def import_(url: str, path: Path) -> Any:
    settings = {"SHIMSTOCK_SECRET": SECRET, "SHIMSTOCK_DATABASE_URL": url}
    return CliRunner().invoke(admin, ["import", str(path)], env=settings)


@pytest.mark.usefixtures("shop")
def test_an_export_in_an_empty_service_is_the_same_shop(
    client: Client,
    config: Config,
    empty_config: Config,
    clock: FixedClock,
    database: Database,
    tmp_path: Path,
) -> None:
    path = tmp_path / "shop.zip"
    sent = export(config.database_url, path)
    assert path.stat().st_mode & 0o077 == 0
    ran = import_(empty_config.database_url, path)
    assert ran.exit_code == 0, ran.output
    back = export(empty_config.database_url, tmp_path / "back.zip")
    assert sent.keys() == back.keys()
    for name in sent:
        if name != "manifest.json":
            assert sent[name] == back[name], name
    manifest = json.loads(sent["manifest.json"])
    assert [told["table"] for told in manifest["tables"]] == [table.name for table in exported_tables()]
    for told in manifest["tables"]:
        lines = sent[told["file"]]
        assert told["sha256"] == hashlib.sha256(lines).hexdigest()
        assert told["rows"] == len(lines.splitlines())
    assert sum(told["rows"] for told in manifest["tables"]) > 500

    # the same answers come out, once the worker has counted
    other = open_database(empty_config)
    with other.write({"now": clock.now(), "secret": SECRET}) as session:
        _, token = make_key(session, name="new", scope=Scope.MANAGER, now=clock.now())
    rebuild(database, config, clock)  # the simulated jobs were written past the service
    assert work_off_marks(other, empty_config, clock) == 13
    app = create_app(empty_config, clock, database=other)
    copy = Client(app, token)
    models = [each["id"] for each in copy.get("/v1/instrument-models").get_json()["items"]]
    paths = [f"/v1/reports/instrument-models/{model}?{PERIOD}" for model in models]
    jobs = [each["id"] for each in copy.get("/v1/jobs?limit=3").get_json()["items"]]
    paths += [f"/v1/jobs/{job}/reading-sheets" for job in jobs] + [f"/v1/jobs/{job}" for job in jobs]
    for address in paths:
        assert copy.get(address).get_json() == client.get(address).get_json(), address
    assert Client(app, client.token).get("/v1/jobs").status_code == 401  # keys do not travel
    other.dispose()


@pytest.mark.usefixtures("shop")
def test_readings_of_the_file_are_those_that_pandas_finds_in_the_tables(
    client: Client, config: Config, database: Database
) -> None:
    answer = client.get("/v1/exports")
    assert answer.mimetype == "application/zip"
    archive = zipfile.ZipFile(io.BytesIO(answer.data))
    frame = pd.read_csv(io.BytesIO(archive.read("readings.csv")))
    rows = direct.read(database, direct.READINGS)
    assert len(frame) == len(rows)
    assert sorted(frame["value"]) == sorted(rows["value"])  # to the last digit
    assert set(frame["unit"]) == {"mm", "cents"}
    assert (frame["corrected"] == "yes").sum() == 5


@pytest.mark.usefixtures("shop")
def test_no_secret_leaves_the_house_and_no_cell_is_a_formula(config: Config, tmp_path: Path) -> None:
    sent = export(config.database_url, tmp_path / "shop.zip")
    (key, *_) = [json.loads(line) for line in sent["tables/api_keys.jsonl"].splitlines()]
    assert "secret_hash" not in key
    secret = [
        column.name for table in exported_tables() for column in table.columns if column.info.get("secret")
    ]
    assert {"secret_hash", "salt", "token_hash"} <= set(secret)
    for line in sent["readings.csv"].decode().splitlines()[1:]:
        assert not line.startswith(("=", "+", "-", "@"))


@pytest.mark.usefixtures("shop")
def test_what_cannot_be_imported_is_refused_whole(
    config: Config, empty_config: Config, tmp_path: Path
) -> None:
    path = tmp_path / "shop.zip"
    sent = export(config.database_url, path)

    numbers = count()

    def changed(**files: bytes | None) -> Path:
        target = tmp_path / f"changed-{next(numbers)}.zip"
        with zipfile.ZipFile(target, "w") as archive:
            for name, data in (sent | {key.replace("__", "/").replace("_dot_", "."): value
                                       for key, value in files.items()}).items():  # fmt: skip
                if data is not None:
                    archive.writestr(name, data)
        return target

    manifest = json.loads(sent["manifest.json"])
    owners = sent["tables/owners.jsonl"]
    cases = [
        (changed(manifest_dot_json=None), "no manifest.json"),
        (changed(manifest_dot_json=json.dumps(manifest | {"revision": "0001"}).encode()), "revision 0001"),
        (changed(manifest_dot_json=json.dumps(manifest | {"format": "x"}).encode()), "does not say"),
        (changed(manifest_dot_json=json.dumps(manifest | {"tables": []}).encode()), "does not list"),
        (changed(tables__owners_dot_jsonl=owners.replace(b"Robin", b"Robyn")), "it was changed"),
        (changed(tables__owners_dot_jsonl=b'{"id": 1}\n'), "line 1: the columns"),
        (changed(tables__owners_dot_jsonl=owners.replace(b'"version":1', b'"version":')), "cannot be read"),
    ]
    for file, why in cases:
        ran = import_(empty_config.database_url, file)
        assert ran.exit_code == 1
        assert why in ran.output, ran.output
    (tmp_path / "text.zip").write_text("no zip")
    assert "cannot be read as an export" in import_(empty_config.database_url, tmp_path / "text.zip").output
    assert import_(empty_config.database_url, path).exit_code == 0  # nothing was left behind
    again = import_(empty_config.database_url, path)
    assert again.exit_code == 1
    assert "not empty" in again.output


def test_every_table_is_exported_or_left_out_for_a_reason() -> None:
    names = {table.name for table in exported_tables()}
    assert names | LEFT_OUT.keys() == set(Base.metadata.tables)
    assert not names & LEFT_OUT.keys()
    for table in exported_tables():
        for key in table.foreign_keys:
            assert key.column.table.name in names | {"allowed_moves"}, (
                f"{table.name} needs {key.column.table}"
            )
