"""What the shop has learned, through the client."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from shimstock_client import Quantity
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.learning import work_off_marks
from shimstock_server.reports import make_long_reports

from .conftest import Shop


def relief(shop: Shop, value: float) -> list[dict[str, Any]]:
    return [
        {
            "quantity": "relief",
            "side": "bass",
            "value": Quantity(value, "mm"),
            "tool_id": shop.things.ids["feelers"],
        }
    ]


def test_responses_are_listed_and_samples_reviewed(shop: Shop, database: Database, config: Config) -> None:
    bench = shop.client()
    job = bench.jobs.create(instrument_id=shop.things.ids["instrument"])
    bench.jobs.move(job, "queued")
    taken = bench.jobs.claim(job)
    assert taken.claim is not None
    start = shop.clock.now()
    for minutes, value in ((0, 0.45), (75, 0.34)):
        shop.clock.advance(timedelta(minutes=minutes))
        bench.reading_sheets.post(
            job,
            relief(shop, value),
            stage="in-progress",
            at_pitch=True,
            taken_at=start + timedelta(minutes=minutes),
        )
        if not minutes:
            bench.adjustments.record(
                taken, "truss-rod", turns=Quantity(0.25, "turn"), done_at=start + timedelta(minutes=1)
            )
    assert work_off_marks(database, config, shop.clock) == 1
    levels = {one.level: one for one in bench.adjustment_responses.list(kind="rod")}
    assert set(levels) == {"shop", "model", "instrument"}
    mean = levels["instrument"].mean
    assert mean is not None
    assert mean.unit == "mm/turn"
    assert -0.46 < float(mean.value) < -0.40
    (sample,) = bench.adjustment_responses.samples(flagged=False)
    reviewed = bench.adjustment_responses.review(sample, leave_out=True, note="not this one")
    assert (reviewed.used, reviewed.review_note) == (False, "not this one")
    work_off_marks(database, config, shop.clock)
    assert list(bench.adjustment_responses.list()) == []


def test_reports_are_read_as_records_pages_and_tables(shop: Shop, database: Database, config: Config) -> None:
    bench = shop.client()
    job = bench.jobs.create(instrument_id=shop.things.ids["instrument"])
    bench.reading_sheets.post(job, relief(shop, 0.45), stage="as-received", at_pitch=True)
    model = shop.things.ids["model"]
    found = bench.reports.of_model(model)
    (counted,) = found.quantities
    (stage,) = counted.stages
    assert (counted.quantity, counted.place, stage.stage, stage.count) == ("relief", "bass", "as-received", 1)
    assert stage.mean == Quantity(0.45, "mm")
    assert stage.out_of_spec == 1
    assert "<svg" not in bench.reports.page_of_model(model)
    assert bench.reports.table_of_model(model, "quantities").splitlines()[0].startswith("model_id,maker")
    assert bench.reports.ranking().waiting == 1
    run = bench.reports.begin(maker="Alder & Finch")
    assert run.state == "waiting"
    assert make_long_reports(database, config, shop.clock) == 1
    done = bench.reports.run(run)
    assert (done.state, done.done, done.total) == ("done", 1, 1)
    assert [one.model_id for one in bench.reports.models_of(run)] == [model]
    assert [one.id for one in bench.reports.runs(state="done")] == [run.id]
    assert bench.reports.table_of(run, "jobs").splitlines()[0].startswith("model_id")
    assert "Alder &amp; Finch" in bench.reports.page_of(run)
