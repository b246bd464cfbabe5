"""Reports, exports and imports at the command line, against the real service."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from pathlib import Path

import pytest

from shimstock_client.cli import _reporting
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.learning import rebuild
from shimstock_server.reports import make_long_reports
from tests.client.conftest import Command, Shop
from tests.server.beginnings import Beginning
from tests.server.reports.simulated import Size, fill

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
FROM = ("--from", "2024-01-01")


_SIMULATED: Beginning[None] = Beginning()


@pytest.fixture
def simulated(shop: Shop, database: Database, config: Config) -> None:
    """Two models with some jobs done, counted."""

    def write_and_count() -> None:
        size = Size(models=2, instruments=8)
        fill(database, shop.things.ids, shop.staff.key_ids["manager"], shop.staff.technician_id, size)
        rebuild(database, config, shop.clock)

    _SIMULATED.begin(database, write_and_count, now=shop.clock.now())


@pytest.mark.usefixtures("simulated")
def test_models_are_ranked_and_one_is_told_in_full(command: Command, tmp_path: Path) -> None:
    ranked = command("report", *FROM)
    assert ranked.code == 0, ranked.err
    assert ranked.out.startswith("Models by what a job takes, 2024-01-01 to ")
    raw = json.loads(command("report", *FROM, "--json").out)
    lines = [line for line in ranked.out.splitlines() if line[:1].isdigit()]
    assert [line.split("  ")[1].strip() for line in lines] == [
        f"{row['maker']} {row['name']}" for row in raw["items"]
    ]
    told = command("report", "model 001", *FROM)
    assert told.code == 0, told.err
    assert told.out.startswith("Maker 1 Model 001, electric, 2024-01-01 to ")
    assert "8 jobs done" in told.out
    assert "\nrelief, bass [mm]" in told.out
    assert "held 1-22, fret 9" in told.out
    assert "\n  truss rod: in 8 jobs (100 %)" in told.out
    files = {name: str(tmp_path / name) for name in ("a.html", "a.pdf", "a.zip", "a.csv")}
    written = command(
        "report",
        "model 001",
        *FROM,
        "--page",
        files["a.html"],
        "--pdf",
        files["a.pdf"],
        "--csv",
        files["a.zip"],
    )
    assert written.out.splitlines() == [f"written to {files[name]}" for name in ("a.html", "a.pdf", "a.zip")]
    assert Path(files["a.html"]).read_text().startswith("<!doctype html>")
    assert Path(files["a.pdf"]).read_bytes().startswith(b"%PDF-")
    assert "jobs.csv" in zipfile.ZipFile(files["a.zip"]).namelist()
    assert command("report", "model 001", *FROM, "--csv", files["a.csv"], "--table", "jobs").code == 0
    (row,) = csv.DictReader(io.StringIO(Path(files["a.csv"]).read_text()))
    assert row["jobs"] == "8"


@pytest.mark.usefixtures("simulated")
def test_a_narrow_screen_gets_fewer_columns(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    for asked in (("report", *FROM), ("report", "model 001", *FROM)):
        ran = command(*asked)
        assert ran.code == 0
        assert max(map(len, ran.out.splitlines())) <= 50
        assert "Cpk" not in ran.out
    monkeypatch.setenv("COLUMNS", "80")
    usual = command("report", "model 001", *FROM).out.splitlines()
    assert max(map(len, usual)) <= 80
    assert any(line.startswith("  held 1-22, fret 9;  ") for line in usual)
    assert any(line.strip().startswith("spec 0.10 … 0.3") for line in usual)


@pytest.mark.usefixtures("simulated")
def test_a_long_report_is_waited_for_and_written(
    shop: Shop,
    command: Command,
    database: Database,
    config: Config,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    rounds: list[float] = []

    def worker(seconds: float) -> None:
        rounds.append(seconds)
        make_long_reports(database, config, shop.clock)

    monkeypatch.setattr(_reporting, "sleep", worker)
    packed = str(tmp_path / "all.zip")
    ran = command("report", "--all", "--maker", "Maker 1", *FROM, "--csv", packed)
    assert (ran.code, ran.out) == (0, f"written to {packed}\n"), ran.err
    assert rounds == [_reporting.EVERY]
    rows = list(csv.DictReader(io.StringIO(zipfile.ZipFile(packed).read("jobs.csv").decode())))
    assert [row["model"] for row in rows] == ["Model 001"]
    (run,) = shop.client().reports.runs()
    again = command("report", "--run", run.id)
    assert again.code == 0
    assert "Maker 1 Model 001" in again.out
    whole = json.loads(command("report", "--run", run.id, "--json").out)
    assert [each["name"] for each in whole["items"]] == ["Model 001"]
    assert whole["run"]["state"] == "done"


@pytest.mark.usefixtures("simulated")
def test_a_long_report_that_nobody_makes_is_left_to_go_on(
    shop: Shop, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nobody(_seconds: float) -> None:
        return None

    def interrupt(_seconds: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(_reporting, "sleep", nobody)
    ran = command("report", "--all")
    (run,) = shop.client().reports.runs()
    assert ran.code == 3
    assert f"no worker has begun it yet; it goes on without you: shimstock report --run {run.id}" in ran.err
    monkeypatch.setattr(_reporting, "sleep", interrupt)
    stopped = command("report", "--run", run.id)
    assert stopped.code == 130
    assert f"shimstock report --run {run.id}" in stopped.err


@pytest.mark.parametrize(
    "wrong",
    [
        ("report", "model"),
        ("report", "nothing"),
        ("report", "model 001", "--all"),
        ("report", "--all", "--run", "x"),
        ("report", "--pdf", "x.pdf"),
        ("report", "--table", "jobs"),
        ("report", "model 001", "--csv", "x.zip", "--table", "jobs"),
        ("report", "--csv", "x.zip"),
        ("report", "model 001", "--page", "/nowhere/x.html"),
    ],
    ids=" ".join,
)
@pytest.mark.usefixtures("simulated")
def test_what_does_not_fit_together_is_refused_in_words(command: Command, wrong: tuple[str, ...]) -> None:
    ran = command(*wrong)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.strip()


def test_days_and_empty_reports(command: Command) -> None:
    assert command("report").code == 3
    refused = command("report", "--from", "2026-02-30")
    assert refused.code == 1
    assert "first" in refused.err
    told = command("report", "heron")
    assert "no job was done in these days" in told.out


def test_everything_goes_out_and_earlier_readings_come_in(
    shop: Shop, command: Command, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    file = tmp_path / "shop.zip"
    assert command("export", str(file)).code == 1  # a bench's key may not
    monkeypatch.setenv("SHIMSTOCK_KEY", shop.staff.tokens["manager"])
    written = command("export", str(file))
    assert (written.code, written.out) == (0, f"written to {file}\n")
    assert file.stat().st_mode & 0o077 == 0
    assert "manifest.json" in zipfile.ZipFile(file).namelist()
    old = tmp_path / "old.csv"
    header = "instrument_id,taken_at,stage,quantity,side,value,unit,fret,held_low,held_high\n"
    row = f"{shop.things.ids['instrument']},2024-05-06T10:00:00Z,final,relief,bass,VALUE,mm,9,1,22\n"
    old.write_text(header + row.replace("VALUE", "20"), encoding="utf-8")
    wrong = command("import-readings", str(old))
    assert wrong.code == 1
    assert "row 2, value: " in wrong.err
    assert wrong.err.rstrip().endswith("nothing was kept")
    old.write_text("\ufeff" + header + row.replace("VALUE", "0.2"), encoding="utf-8")
    tried = command("import-readings", str(old))
    assert tried.out == ("1 rows, 1 readings in 1 sheets\nnothing stands against them; --keep keeps them\n")
    assert command("import-readings", str(old), "--keep").out.endswith("kept\n")
    assert "were imported before" in command("import-readings", str(old), "--keep").err
    old.write_bytes(header.encode() + b"\xff\n")
    assert "UTF-8" in command("import-readings", str(old)).err
