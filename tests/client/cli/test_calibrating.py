"""What forecasts are worth, and how much tools scatter, at the command line, against the real service."""

from __future__ import annotations

import json
import zipfile
from datetime import timedelta
from pathlib import Path

import pytest

from shimstock_client import Quantity
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.learning import work_off_marks
from tests.client.conftest import Command, Shop


def scattering(shop: Shop, jobs: int) -> None:
    """Jobs whose relief is read three times, and shows 0.15 mm more the second time."""
    bench, ids = shop.client(), shop.things.ids
    for _ in range(jobs):
        made = shop.things.manager.post(
            "/v1/instruments", json={"model_id": ids["model"], "owner_id": ids["owner"]}
        )
        job = bench.jobs.create(instrument_id=made.get_json()["id"])
        for relief in (0.30, 0.45, 0.30):
            shop.clock.advance(timedelta(minutes=2))
            bench.reading_sheets.post(
                job,
                [{"quantity": "relief", "side": "bass", "value": Quantity(relief, "mm"),
                  "tool_id": ids["feelers"], "confirmed": True}],
                stage="in-progress", at_pitch=True, taken_at=shop.clock.now(),
            )  # fmt: skip


def test_what_forecasts_are_worth_is_told_and_written(
    shop: Shop, command: Command, database: Database, config: Config, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    none = command("report", "--calibration")
    assert (none.code, none.out) == (3, "")
    assert "no reading of these days had a forecast" in none.err
    scattering(shop, 6)
    work_off_marks(database, config, shop.clock)
    found = shop.client().reports.calibration()
    (noise,) = found.noises
    assert (noise.tool, noise.bench, noise.readings) == ("Feeler leaves", "First bench", 12)
    assert noise.factor > 1.5
    words = f"Feeler leaves at First bench: scatter {noise.factor:.1f} times what is declared (12 readings)"
    assert noise.words == words
    everything = found.groups[0]
    assert (everything.by, everything.name, everything.shares) == ("all", "all readings", [])
    assert [(each.stated, each.of) for each in everything.doubtful] == [(0.5, 12), (0.8, 12), (0.95, 12)]
    for columns, lines in ((80, 2), (50, 0)):
        monkeypatch.setenv("COLUMNS", str(columns))
        told = command("report", "--calibration")
        assert told.code == 0, told.err
        assert max(map(len, told.out.splitlines())) <= columns or words in told.out
        assert told.out.count(" … ") >= lines
        assert [line for line in told.out.splitlines() if line.startswith("by ")] == [
            "by quantity", "by tool", "by bench", "by model"
        ]  # fmt: skip
    assert words in command("learned").out.splitlines()
    raw = json.loads(command("report", "--calibration", "--json").out)
    assert raw["noises"][0]["words"] == words
    files = {name: tmp_path / name for name in ("a.html", "a.zip", "a.csv", "b.csv")}
    written = command("report", "--calibration", "--page", str(files["a.html"]), "--csv", str(files["a.zip"]))
    assert written.out.splitlines() == [f"written to {files[name]}" for name in ("a.html", "a.zip")]
    assert files["a.html"].read_text().count("<svg") == 5 + 3  # a panel a group, and the legend
    assert zipfile.ZipFile(files["a.zip"]).namelist() == ["coverage.csv", "scatter.csv", "forecasts.csv"]
    assert command("report", "--calibration", "--csv", str(files["a.csv"])).code == 0
    assert files["a.csv"].read_text().startswith("by,id,name,doubtful,stated,inside,of,seen,lower,upper")
    ran = command("report", "--calibration", "--table", "forecasts", "--csv", str(files["b.csv"]))
    assert ran.code == 0, ran.err
    assert len(files["b.csv"].read_text().splitlines()) == 1 + 12


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (("--calibration", "heron"), "--calibration is about all readings"),
        (("--calibration", "--all"), "--calibration is about all readings"),
        (("--calibration", "--pdf", "a.pdf"), "--calibration is about all readings"),
        (("--calibration", "--csv", "a.csv", "--table", "jobs"), "this report has coverage, scatter"),
        (("heron", "--csv", "a.csv", "--table", "coverage"), "this report has quantities"),
    ],
)  # fmt: skip
def test_what_does_not_go_with_the_report_on_forecasts_is_said(
    command: Command, asked: tuple[str, ...], said: str
) -> None:
    ran = command("report", *asked)
    assert ran.code == 2
    assert said in ran.err
