"""What the shop has learned, through the client."""

from __future__ import annotations

import io
import zipfile
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
    half, late = levels["instrument"].half_time, levels["instrument"].late_share
    assert half is not None
    assert (half.unit, late is not None and 0.0 < late < 1.0) == ("min", True)
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


def test_a_study_and_a_check_piece_through_the_client(shop: Shop) -> None:
    bench, manager = shop.client(), shop.client("manager")
    second = manager.benches.create(name="Second bench")
    benches = [one.id for one in bench.benches.list()]
    assert second.id in benches
    study = bench.studies.create(
        name="action", quantity="action", pieces=[{"name": "one"}, {"name": "two"}], trials=2,
        readers=[{"bench_id": one} for one in benches], tolerance=Quantity(0.5, "mm"),
    )  # fmt: skip
    assert (study.state, study.readings) == ("open", 8)
    for reader in range(2):
        wanted = bench.studies.next(study, reader)
        while wanted is not None:
            value = Quantity(1.5 + 0.5 * wanted.piece + 0.01 * wanted.trial, "mm")
            wanted = bench.studies.take(study, wanted.number, value)
        assert bench.studies.next(study, reader) is None
    assert bench.studies.end(study).state == "ended"
    assert "good" in bench.studies.agreement(study).words[0]
    assert [one.id for one in bench.studies.list(state="ended")] == [study.id]
    piece = bench.check_pieces.create(
        name="block", bench_id=benches[0], quantity="action", repetitions=2, stated=Quantity(2.0, "mm")
    )
    checked = bench.check_pieces.check(piece, [Quantity(2.0, "mm"), Quantity(2.01, "mm")])
    assert checked.verdict == "too little history"
    assert [one.id for one in bench.check_pieces.checks(piece)] == [checked.id]
    assert bench.check_pieces.update(bench.check_pieces.get(piece), active=False).active is False
    assert len(bench.reports.bench_agreement()["studies"]) == 1
    assert "Do the benches agree?" in bench.reports.bench_agreement_page()
    table = bench.reports.bench_agreement_table("readings").splitlines()
    assert (len(table), table[0].split(",")[:3]) == (9, ["study_id", "study", "quantity"])
    assert [reader.here for reader in bench.studies.get(study).readers].count(True) == 1


def test_everything_goes_out_and_earlier_readings_come_in(shop: Shop) -> None:
    manager = shop.client("manager")
    archive = zipfile.ZipFile(io.BytesIO(manager.transfers.export()))
    assert {"manifest.json", "readings.csv", "tables/instruments.jsonl"} <= set(archive.namelist())
    text = (
        "instrument_id,taken_at,stage,quantity,side,value,unit,fret,held_low,held_high\n"
        f"{shop.things.ids['instrument']},2024-05-06T10:00:00Z,final,relief,bass,0.2,mm,9,1,22\n"
        f"{shop.things.ids['instrument']},2024-05-06T10:00:00Z,final,relief,treble,20,mm,9,1,22\n"
    )
    tried = manager.transfers.import_readings(text)
    assert [(one.row, one.column) for one in tried.problems] == [(3, "value")]
    kept = manager.transfers.import_readings(text.replace(",20,", ",0.2,"), dry_run=False)
    assert (kept.kept, kept.readings, kept.problems) == (True, 2, [])
