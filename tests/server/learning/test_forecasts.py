"""Forecasts are kept as they were made, counted against what was read, and tell how much tools scatter."""

from __future__ import annotations

import csv
import io
import math
import random
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import select, update
from statsmodels.stats.proportion import proportion_confint

from shimstock_server.bench import gather, whole_life
from shimstock_server.database.session import Database
from shimstock_server.database.tables.bench import Reading
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import JobPrior, ReadingForecast, ToolNoise
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.learning import rebuild
from tests.server.workshop import case_one_readings, mm

from .conftest import Shop

pytestmark = pytest.mark.long
ONE_READING = 0.03**2 + 0.05**2 / 12.0
"""Variance of one reading with the feelers: repeatability, and a rectangular step (GUM 4.3.7) [mm²]."""
AGAIN = math.sqrt(2.0 * ONE_READING)
"""Standard deviation of a second reading about the first [mm]."""


def report(shop: Shop, query: str = "") -> dict[str, Any]:
    answer = shop.manager.get(f"/v1/reports/calibration{query}")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def listed(shop: Shop) -> list[dict[str, str]]:
    """Every forecast that counts, as the table has it."""
    answer = shop.manager.get("/v1/reports/calibration?table=forecasts", headers={"Accept": "text/csv"})
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return list(csv.DictReader(io.StringIO(answer.get_data(as_text=True))))


def kept(database: Database) -> list[tuple[Any, ...]]:
    with database.read() as session:
        columns = ReadingForecast.__table__.columns
        return [tuple(row) for row in session.execute(select(*columns).order_by(*columns[:2]))]


def post(shop: Shop, job: dict[str, Any], part: str, rise: float) -> None:
    """Both posts up, or down."""
    shop.turn(job, None, part, amount=mm(rise), side="bass")
    shop.turn(job, None, part, amount=mm(rise), side="treble")


def action(shop: Shop, job: dict[str, Any], bass: float, treble: float, **more: Any) -> str:
    tool = shop.workshop.ids["depth"]
    readings = [
        {"quantity": "action", "side": side, "value": mm(round(value, 2)), "tool_id": tool, "confirmed": True}
        for side, value in (("bass", bass), ("treble", treble))
    ]
    return shop.read(job, readings, **more)


# ---------------------------------------------------------------- as they were made


def test_the_first_reading_has_none_and_the_next_is_expected_where_it_lay(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.45)
    assert listed(shop) == []
    shop.wait(5)
    sheet_id = shop.relief(job, 0.50)
    (row,) = listed(shop)
    assert (row["sheet_id"], row["quantity"], row["side"]) == (sheet_id, "relief", "bass")
    assert (row["tool"], row["bench"], row["doubtful"]) == ("Feeler leaves", "First bench", "True")
    assert (float(row["read"]), float(row["expected"])) == pytest.approx((0.50, 0.45), abs=1e-6)
    assert float(row["spread"]) == pytest.approx(AGAIN, abs=5e-4)  # a table tells three decimals
    assert float(row["distance"]) == pytest.approx(0.05 / AGAIN, rel=1e-3)


def test_a_rested_neck_is_expected_where_it_has_come_to_by_then(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.45)
    shop.wait(5)
    shop.turn(job, 0.25)
    for minutes in (5.0, 120.0):
        shop.wait(minutes)
        shop.relief(job, 0.41)
    first, rested = listed(shop)
    # the stated prior: -0.40 mm a turn past 0.08 turn of play, 60 % at once, 20 % each with 45 and 400 min

    def moved(minutes: float) -> float:
        late = 2.0 - math.exp(-minutes / 45.0) - math.exp(-minutes / 400.0)
        return 0.17 * -0.40 * (0.6 + 0.2 * late)

    assert float(first["expected"]) == pytest.approx(0.45 + moved(5.0), abs=2e-3)
    came = moved(125.0) - moved(5.0)
    pulled = float(rested["expected"]) - float(first["expected"])
    assert -0.005 < pulled - came < 0.005  # the reading between said a little of its own
    assert (first["doubtful"], rested["doubtful"]) == ("False", "False")


def test_a_part_that_moved_by_a_known_amount_moves_what_is_expected(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    action(shop, job, 2.20, 1.90)
    shop.wait(5)
    post(shop, job, "bridge-post", -0.4)
    shop.wait(5)
    action(shop, job, 2.00, 1.75)
    bass, treble = listed(shop)
    # the 12th fret halves the string, and so what the saddle does; a hand is good to a tenth
    assert (float(bass["expected"]), float(treble["expected"])) == pytest.approx((2.00, 1.70), abs=0.03)
    one = 0.03**2 + 0.01**2 / 12.0
    assert float(bass["spread"]) == pytest.approx(math.sqrt(2.0 * one + (0.1 * 0.2) ** 2), rel=0.05)
    assert {bass["doubtful"], treble["doubtful"]} == {"False"}


def test_what_was_made_stays_whatever_comes_later(shop: Shop, database: Database) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    first = shop.relief(job, 0.45)
    shop.wait(5)
    second = shop.relief(job, 0.50)
    made, told = kept(database), listed(shop)
    assert len(made) == 1
    # another first reading, another tool, another shop
    shop.wait(5)
    shop.relief(job, 0.55, supersedes=first, supersedes_reason="misread", stage="as-received")
    feelers = shop.manager.get(f"/v1/tools/{shop.workshop.ids['feelers']}").get_json()
    coarse = shop.manager.patch(
        f"/v1/tools/{feelers['id']}", json={"repeatability": mm(0.2)}, etag=f'"{feelers["version"]}.mm"'
    )
    assert coarse.status_code == 200, coarse.get_data(as_text=True)
    settled = shop.manager.get("/v1/shop")
    changed = shop.manager.patch("/v1/shop", json={"settle_first_minutes": 300}, etag=settled.headers["ETag"])
    assert changed.status_code == 200, changed.get_data(as_text=True)
    shop.count()
    assert [row for row in kept(database) if row[0] == UUID(second)] == made
    assert [row for row in listed(shop) if row["sheet_id"] == second] == told
    # a corrected sheet keeps its rows, and does not count
    shop.wait(5)
    shop.relief(job, 0.45, supersedes=second, supersedes_reason="misread")
    assert second not in {row["sheet_id"] for row in listed(shop)}
    assert made[0] in kept(database)


def test_a_sheet_that_is_sent_again_is_forecast_once(shop: Shop, database: Database) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.45)
    shop.wait(5)
    body = {
        "id": "0197f000-0000-7000-8000-000000000001", "stage": "in-progress", "taken_at": shop.now,
        "at_pitch": True, "readings": case_one_readings(shop.workshop),
    }  # fmt: skip
    path = f"/v1/jobs/{job['id']}/reading-sheets"
    assert shop.bench.post(path, json=body).status_code == 201
    made = kept(database)
    assert len(made) == 1
    assert shop.bench.post(path, json=body).status_code == 200
    assert kept(database) == made


def test_what_cannot_be_used_or_only_touched_has_no_forecast(shop: Shop) -> None:
    job = shop.job(shop.workshop.ids["instrument"])
    shop.relief(job, 0.45)
    shop.wait(5)
    shop.relief(job, 0.50, at_pitch=False)
    touching = {"quantity": "relief", "side": "bass", "zero_or_less": True, "confirmed": True}
    shop.read(job, [touching])
    assert listed(shop) == []


# ---------------------------------------------------------------- counted


def test_counts_are_those_of_a_table_made_by_hand(shop: Shop) -> None:
    """Second readings so far from the first: 0, 1.06, 2.12 and 3.19 standard deviations."""
    wren = shop.model("Wren")
    # of 50, 80 and 95 %: 0.674, 1.282 and 1.960 standard deviations (from memory, any table)
    by_hand = {"model": ([0.0, 0.05, 0.05, 0.10], (1, 3, 3)), wren: ([0.0, 0.0, 0.15], (2, 2, 2))}
    for model, (apart, _) in by_hand.items():
        for by in apart:
            job = shop.job(shop.instrument(model))
            shop.relief(job, 0.40)
            shop.wait(5)
            shop.relief(job, 0.40 + by)
            shop.give_back(job)
    found = report(shop)
    groups = {(group["by"], group["name"]): group for group in found["groups"]}
    assert set(groups) == {
        ("all", "all readings"), ("quantity", "relief"), ("tool", "Feeler leaves"), ("bench", "First bench"),
        ("model", "Alder & Finch Heron"), ("model", "Alder & Finch Wren"),
    }  # fmt: skip
    expected = {
        ("model", "Alder & Finch Heron"): ((1, 3, 3), 4),
        ("model", "Alder & Finch Wren"): ((2, 2, 2), 3),
        ("all", "all readings"): ((3, 5, 5), 7),
        ("quantity", "relief"): ((3, 5, 5), 7),
    }
    for key, (inside, of) in expected.items():
        group = groups[key]
        assert group["shares"] == []  # a second reading of what still stands is told apart
        assert [each["stated"] for each in group["doubtful"]] == [0.50, 0.80, 0.95]
        for each, count in zip(group["doubtful"], inside, strict=True):
            bounds = proportion_confint(count, of, method="wilson")
            assert (each["inside"], each["of"], each["seen"]) == (count, of, pytest.approx(count / of))
            assert (each["lower"], each["upper"]) == pytest.approx(bounds, abs=1e-9)
    assert groups["model", "Alder & Finch Wren"]["id"] == shop.workshop.ids[wren]
    # days: all was read today
    assert report(shop, "?last=2026-03-01")["groups"] == []
    assert report(shop, "?first=2026-03-02&last=2026-03-02")["groups"] == found["groups"]
    table = shop.manager.get("/v1/reports/calibration?table=coverage", headers={"Accept": "text/csv"})
    rows = list(csv.DictReader(io.StringIO(table.get_data(as_text=True))))
    assert [int(row["inside"]) for row in rows if row["name"] == "Alder & Finch Heron"] == [1, 3, 3]


# ---------------------------------------------------------------- how much a tool scatters


def jobs_with_noise(shop: Shop, jobs: int, noise: float, seed: int, *, sheets: int = 6) -> None:
    """Posts go up and down by known amounts while the depth gauge scatters more than it states.

    Truth: a post's rise reaches the 12th fret by half, hands are off by a tenth, the gauge repeats to `noise`
    times 0.03 mm and shows hundredths.
    """
    dice = random.Random(seed)
    for _ in range(jobs):
        job, sides = shop.job(shop.instrument()), [2.2, 1.9]
        for number in range(sheets):
            if number:
                rise = dice.choice([-0.3, -0.2, 0.2, 0.3])
                post(shop, job, "bridge-post", rise)
                sides = [side + 0.5 * rise * dice.gauss(1.0, 0.1) for side in sides]
            shop.wait(2)
            action(shop, job, *(side + dice.gauss(0.0, noise * 0.03) for side in sides))
            shop.wait(2)
        shop.give_back(job)
        shop.count()


def noises(shop: Shop) -> dict[str, dict[str, Any]]:
    return {each["tool"]: each for each in report(shop)["noises"]}


def test_a_tool_that_scatters_twice_what_is_declared_is_found_out(shop: Shop, database: Database) -> None:
    early = shop.job(shop.workshop.ids["instrument"])
    sheet = case_one_readings(shop.workshop)
    shop.read(early, sheet, looked_over=True)
    path = f"/v1/jobs/{early['id']}/recommendation"
    before = shop.bench.get(path).get_json()
    shop.give_back(early)
    jobs_with_noise(shop, 10, 2.0, seed=4)
    found = noises(shop)["Depth gauge"]
    assert found["readings"] == 100
    assert found["factor"] == pytest.approx(2.0, rel=0.15)
    assert found["words"] == (
        f"Depth gauge at First bench: scatter {found['factor']:.1f} times what is declared (100 readings)"
    )
    # a job stays with what it began with; one that begins now reckons with it
    again = shop.bench.get(path).get_json()
    assert again == before
    late = shop.job(shop.instrument())
    shop.read(late, sheet, looked_over=True)
    told = shop.bench.get(f"/v1/jobs/{late['id']}/recommendation").get_json()
    digest = told["digest"]
    assert digest != before["digest"]
    verdicts = [
        {each["quantity"]: each for each in plan["verdicts"] if each["side"] != "treble"}
        for plan in (before, told)
    ]
    ratio = verdicts[1]["action"]["uncertainty"]["value"] / verdicts[0]["action"]["uncertainty"]["value"]
    assert ratio == pytest.approx(found["factor"], rel=0.01)
    assert "times as much on this bench" in verdicts[1]["action"]["uncertainty_source"]
    assert verdicts[1]["relief"]["uncertainty"] == verdicts[0]["relief"]["uncertainty"]
    # frozen: what is learned afterwards changes neither the plan nor its digest
    with database.write({"now": shop.clock.now()}) as session:
        noise = session.scalars(select(ToolNoise)).one()
        noise.factor = 0.5
    assert shop.bench.get(f"/v1/jobs/{late['id']}/recommendation").get_json()["digest"] == digest
    with database.read() as session:
        prior = session.get_one(JobPrior, UUID(late["id"]))
        assert list((prior.noise or {}).values()) == [found["factor"]]
    # a job that an earlier release began goes on without: its plans were made so
    with database.write({"now": shop.clock.now()}) as session:
        session.get_one(JobPrior, UUID(late["id"])).noise = None
    told = shop.bench.get(f"/v1/jobs/{late['id']}/recommendation").get_json()
    spreads = [[each["uncertainty"] for each in plan["verdicts"]] for plan in (told, before)]
    assert spreads[0] == spreads[1]


def test_few_readings_leave_a_tool_near_what_is_declared(shop: Shop) -> None:
    jobs_with_noise(shop, 1, 2.0, seed=5, sheets=3)
    found = noises(shop)["Depth gauge"]
    assert found["readings"] == 4
    assert 0.75 < found["factor"] < 1.5


def test_what_is_learned_is_the_same_when_all_is_learned_anew(
    shop: Shop, database: Database, config: Any
) -> None:
    jobs_with_noise(shop, 2, 2.0, seed=6)
    found = noises(shop)
    with database.write({"now": shop.clock.now()}) as session:
        session.delete(session.scalars(select(ToolNoise)).one())
    assert noises(shop) == {}
    rebuild(database, config, shop.clock)
    assert noises(shop) == found
    # a correction takes the corrected readings' errors out again
    job = shop.job(shop.instrument())
    action(shop, job, 2.2, 1.9)
    shop.wait(2)
    wrong = action(shop, job, 2.8, 2.5)
    shop.count()
    assert noises(shop)["Depth gauge"]["readings"] == found["Depth gauge"]["readings"] + 2
    shop.wait(2)
    shop.read(job, [], supersedes=wrong, supersedes_reason="another instrument", looked_over=True)
    shop.count()
    assert noises(shop)["Depth gauge"] == found["Depth gauge"]


def test_a_plan_from_a_request_reckons_with_the_tools_as_they_are_now(shop: Shop) -> None:
    jobs_with_noise(shop, 3, 2.5, seed=7)
    factor = noises(shop)["Depth gauge"]["factor"]
    body = {
        "instrument": {"instrument_id": shop.workshop.ids["instrument"]},
        "at_pitch": True, "looked_over": True, "readings": case_one_readings(shop.workshop),
    }  # fmt: skip
    answers = [client.post("/v1/recommendations", json=body) for client in (shop.bench, shop.manager)]
    here, nowhere = (
        next(each for each in answer.get_json()["verdicts"] if each["quantity"] == "action")["uncertainty"]
        for answer in answers
    )
    assert here["value"] / nowhere["value"] == pytest.approx(factor, rel=0.01)


def test_whatever_is_made_of_a_job_reckons_with_the_tools_as_its_plan_does(
    shop: Shop, database: Database
) -> None:
    jobs_with_noise(shop, 3, 2.5, seed=7)
    factor = noises(shop)["Depth gauge"]["factor"]
    job = shop.job(shop.workshop.ids["instrument"])
    shop.read(job, case_one_readings(shop.workshop), looked_over=True)
    with database.read() as session:
        found = session.get_one(Job, UUID(job["id"]))
        assert found.instrument_id is not None
        life = whole_life(session, session.get_one(Instrument, found.instrument_id)).source.readings
        plan = gather(session, found).readings
    told = [{reading.quantity: reading.noise for reading in readings} for readings in (life, plan)]
    assert told[0] == told[1]
    assert told[0]["action"] == factor != 1.0


def test_a_repeatability_that_a_study_measured_is_not_widened_by_what_was_learned_before(
    shop: Shop, database: Database, config: Any
) -> None:
    # twice the noise: a study finds it as the forecasts do, and together they would say four times
    jobs_with_noise(shop, 3, 2.5, seed=7)
    job = shop.job(shop.workshop.ids["instrument"])
    shop.read(job, case_one_readings(shop.workshop), looked_over=True)

    def action_of_plan() -> dict[str, Any]:
        plan = shop.bench.get(f"/v1/jobs/{job['id']}/recommendation").get_json()
        found: dict[str, Any] = next(each for each in plan["verdicts"] if each["quantity"] == "action")
        return found

    assert "times as much on this bench" in action_of_plan()["uncertainty_source"]
    with database.write({"now": shop.clock.now()}) as session:
        session.execute(update(Reading).values(repeatability_source="the study of six blocks"))
    found = action_of_plan()
    assert found["uncertainty_source"] == "how well this bench repeats, by the study of six blocks"
    assert found["uncertainty"]["value"] == pytest.approx(0.03, abs=0.001)
    rebuild(database, config, shop.clock)
    assert noises(shop) == {}
