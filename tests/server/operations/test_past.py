"""The year that the demo's shop has behind it: what a bench would have entered, and what it teaches."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import func, select

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.bench import Adjustment, Reading, ReadingSheet
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job, JobMove
from shimstock_server.database.tables.learning import (
    BenchRepeatability,
    CheckPiece,
    CheckReading,
    LearnedResponse,
    ReportJob,
    Study,
    ToolNoise,
)
from shimstock_server.database.words import JobState, ResponseKind, ResponseLevel, StudyState
from shimstock_server.learning import rebuild, work_off_marks
from shimstock_server.operations import seed, seeding_past
from shimstock_server.operations.seed import load
from shimstock_server.reports.calibration import WAYS, calibration
from shimstock_server.reports.content import Period
from shimstock_server.shop import learned_minutes
from tests.calc.population.past import OFFSETS, READING, RODS
from tests.depth import amount
from tests.house.files import CHECKOUT

pytestmark = pytest.mark.long
MARCH, SEPTEMBER = datetime(2027, 3, 2, 9, tzinfo=UTC), datetime(2027, 9, 20, 9, tzinfo=UTC)
SOME = {"Kessim": amount(24, deep=999), "Aldegrove": amount(24, deep=999)}
MORE = amount(0, deep=999)
FILE = CHECKOUT / "seed" / "past.json"


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    """What the file holds."""
    past: dict[str, Any] = json.loads(FILE.read_text())["past"]
    return past


@pytest.fixture
def few(told: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> int:
    """How many jobs of the file are loaded: some of two models, or in a deep run all."""
    names = [name for name, many in told["instruments"].items() for _ in range(many)]
    jobs = [
        job
        for model in dict.fromkeys(names)
        for job in [each for each in told["jobs"] if names[each[0]] == model][: SOME.get(model, MORE)]
    ]
    whole = seeding_past.load_past
    monkeypatch.setattr(seed, "load_past", lambda session, body: whole(session, {**body, "jobs": jobs}))
    return len(jobs)


def test_the_file_is_small_and_holds_a_year(told: dict[str, Any]) -> None:
    assert FILE.stat().st_size < 1_000_000
    assert 280 <= len(told["jobs"]) <= 320
    days = [job[1] for job in told["jobs"]]
    months = {day // 31 for day in days}
    assert months == set(range(12))


@pytest.mark.parametrize("now", [MARCH, SEPTEMBER])
def test_the_past_lies_in_the_year_before_today(
    database: Database, config: Config, few: int, now: datetime
) -> None:
    load(database, CHECKOUT / "seed", now, secret=config.secret, past=True)
    again = load(database, CHECKOUT / "seed", now, secret=config.secret, past=True)
    assert again.added["jobs of the past"] == 0
    with database.read({"now": now, "secret": config.secret}) as session:
        jobs = list(session.scalars(select(Job).order_by(Job.number)))
        assert [job.number for job in jobs] == list(range(1, few + 1))
        assert [job.created_at for job in jobs] == sorted(job.created_at for job in jobs)
        assert jobs[0].created_at > now - timedelta(days=370)
        assert {job.state for job in jobs} <= {JobState.COLLECTED, JobState.RETURNED_UNREPAIRED}
        for table, at in (
            (ReadingSheet, ReadingSheet.taken_at), (Adjustment, Adjustment.done_at),
            (JobMove, JobMove.created_at),
        ):  # fmt: skip
            first, last = session.execute(select(func.min(at), func.max(at)).select_from(table)).one()
            assert now - timedelta(days=370) < first
            assert last < now
        # an instrument whose later visit would come first is two
        visits = session.scalars(select(func.count(Job.id)).group_by(Job.instrument_id))
        assert set(visits) <= {1, 2}


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_benches_of_the_past_were_compared(database: Database, config: Config, few: int) -> None:
    assert few > 0
    load(database, CHECKOUT / "seed", MARCH, secret=config.secret, past=True)
    with database.read({"now": MARCH, "secret": config.secret}) as session:
        (study,) = session.scalars(select(Study))
        assert study.state is StudyState.ENDED
        found = list(session.scalars(select(BenchRepeatability).order_by(BenchRepeatability.reader)))
        # truth: each bench repeats to 0.02 mm, and reads high by `OFFSETS` (judgement)
        mean = sum(OFFSETS) / len(OFFSETS)
        for row, offset in zip(found, OFFSETS, strict=True):
            assert row.repeatability == pytest.approx(0.02, rel=0.5)
            assert row.difference == pytest.approx(offset - mean, abs=0.012)
        verdicts = {
            piece.bench_id: [
                each.verdict
                for each in session.scalars(
                    select(CheckReading)
                    .where(CheckReading.piece_id == piece.id)
                    .order_by(CheckReading.taken_at)
                )
            ]
            for piece in session.scalars(select(CheckPiece))
        }
        assert all(len(each) > 35 for each in verdicts.values())
        # one bench's gauge has drifted for three weeks
        assert sum(each[-1] != "in control" for each in verdicts.values()) == 1


def test_what_the_past_teaches_is_near_the_hidden_truth(database: Database, config: Config, few: int) -> None:
    # truth: what the simulation was made with (judgement); means within 4 stated standard deviations
    load(database, CHECKOUT / "seed", MARCH, secret=config.secret, past=True)
    assert work_off_marks(database, config, FixedClock(MARCH)) == few
    info = {"now": MARCH, "secret": config.secret}
    with database.read(info) as session:
        rows = _learned(session)
        for name in ("Kessim", "Aldegrove"):
            assert rows[name].samples >= 10
            assert abs(rows[name].mean - RODS[name]) < 0.10
        assert rows["Kessim"].mean > rows["Aldegrove"].mean
        minutes = learned_minutes(session)["reading"]
        for name in ("relief", "action", "intonation"):
            assert minutes[name] == pytest.approx(READING[name], rel=0.15)
        # truth: each tool of a job repeats to between half and all of what is declared (`Tools`)
        noises = list(session.scalars(select(ToolNoise).where(ToolNoise.readings >= 100)))
        assert len(noises) >= 3
        assert all(0.5 <= row.factor <= 1.0 for row in noises)
        assert session.scalar(select(func.count()).select_from(ReportJob)) == few
    rebuild(database, config, FixedClock(MARCH))
    with database.read(info) as session:
        assert {name: row.mean for name, row in _learned(session).items()} == {
            name: row.mean for name, row in rows.items()
        }


def test_readings_of_the_past_fell_where_they_were_expected(
    database: Database, config: Config, few: int
) -> None:
    assert few > 0
    load(database, CHECKOUT / "seed", MARCH, secret=config.secret, past=True)
    with database.read({"now": MARCH, "secret": config.secret}) as session:
        year = Period(MARCH.date() - timedelta(days=370), MARCH.date(), "UTC")
        report = calibration(session, year, listed=True)
        read = session.scalar(select(func.count()).select_from(Reading))
    everything = report["groups"][0]
    assert everything["by"] == "all"
    widest = everything["shares"][-1]
    assert widest["stated"] == 0.95
    assert widest["of"] >= 10 * few
    # judgement: hidden instruments are not drawn from the belief's own priors, so the share is not 95 % exact
    assert 0.90 <= widest["seen"] <= 0.99
    assert {group["by"] for group in report["groups"]} == set(WAYS)
    # the first reading of a job's level has nothing before it
    assert len(report["forecasts"]) < read
    first = [each[4::3] for job in json.loads(FILE.read_text())["past"]["jobs"] for each in job[5:6]]
    assert not any(any(each) for each in first)


def _learned(session: Any) -> dict[str, LearnedResponse]:
    names = {row.id: row.name for row in session.scalars(select(InstrumentModel))}
    return {
        names[row.subject]: row
        for row in session.scalars(
            select(LearnedResponse).where(
                LearnedResponse.kind == ResponseKind.ROD, LearnedResponse.level == ResponseLevel.MODEL
            )
        )
    }
