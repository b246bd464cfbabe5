"""Learning how strongly setups answer moisture, and whether forecasts keep what they promise."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import numpy as np
import pytest
from sqlalchemy import event, select
from sqlalchemy.orm import Session

from shimstock_calc.belief.learned import DOUBTED
from shimstock_calc.seasons import seasonal_drift
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Climate
from shimstock_server.database.words import Movable
from shimstock_server.seasons.baseline import watches_of_all
from shimstock_server.seasons.drift import PRIORS, Beliefs, laid
from shimstock_server.seasons.learning import _Messages, keep_lessons, lessons
from shimstock_server.seasons.places import AirBook
from tests.server.workshop import mm, two_post_electric

from .conftest import SeasonShop
from .simulated import (
    BEGINS,
    World,
    instant,
    log_rooms,
    look_at_instruments,
    make_world,
    settle_in,
)

ON_SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
SHOPS_MEAN = 0.035
HORIZON = 330


def recheck(shop: SeasonShop, relief: float, humidity: float, stage: str = "recheck") -> dict[str, Any]:
    """Read relief ten times over, as a study would, in a room of this air."""
    reading = {
        "quantity": "relief",
        "side": "bass",
        "value": mm(relief),
        "tool_id": shop.things.ids["feelers"],
    }
    return shop.read_to_the_end(stage=stage, room=(20.0, humidity), readings=[reading])


def test_readings_with_room_air_teach_and_the_forecast_says_so(shop: SeasonShop) -> None:
    # relief rises by 0.04 mm per percent of moisture: 45 to 65 % RH at 20 degC is 8.5 to 12.0 % MC (Eq. 4-5)
    recheck(shop, 0.14, 45.0, "final")
    shop.work()
    assert shop.forecast()["quantities"][0]["sensitivities"][0]["source"] == "prior"
    for n, (relief, humidity) in enumerate(((0.28, 65.0), (0.14, 45.0), (0.28, 65.0))):
        shop.advance(days=60)
        recheck(shop, relief, humidity)
        assert shop.learn() >= 1, n
    (said,) = shop.forecast()["quantities"][0]["sensitivities"]
    assert (said["source"], said["samples"]) == ("instrument", 1)
    assert 0.02 < said["per_moisture_percent"]["value"] < 0.045
    assert said["sd"]["value"] < 0.015
    listed = shop.bench.get("/v1/sensitivities").get_json()["items"]
    assert [row["level"] for row in listed] == ["shop", "model", "instrument"]
    assert listed[2]["subject_id"] == shop.instrument
    # an instrument of the same model that was never read again takes its model's answer
    body = {"model_id": shop.things.ids["model"], "owner_id": shop.things.ids["owner"]}
    shop.things.add("instrument", "/v1/instruments", body)
    shop.things.job()
    shop.advance(days=1)
    recheck(shop, 0.2, 50.0, "final")
    twin = shop.forecast()
    (known,) = twin["quantities"][0]["sensitivities"]
    assert known["source"] == "model"
    assert known["sd"]["value"] > said["sd"]["value"]
    assert "learned from instruments of its model" in twin["sentence"] or twin["cause"] != "spec"
    # dry air lowers relief now: the curve leaves the middle
    dry = min(twin["quantities"][0]["days"], key=lambda day: day["moisture_change"]["value"])
    assert dry["expected"]["value"] < 0.2 - 0.01


def test_two_seasons_are_enough_to_say_which_way(shop: SeasonShop) -> None:
    # relief of 0.14 mm at 45 % RH, 0.28 mm at 65 %: it rises in damp air (from the readings alone)
    recheck(shop, 0.14, 45.0, "final")
    shop.work()
    (unknown,) = shop.forecast()["quantities"][0]["sensitivities"]
    assert unknown["per_moisture_percent"]["value"] == 0.0
    shop.advance(days=180)
    recheck(shop, 0.28, 65.0)
    shop.learn()
    quantity = shop.forecast()["quantities"][0]
    (known,) = quantity["sensitivities"]
    assert known["source"] == "instrument"
    # most of 0.04 mm per % MC, which is what the readings say by themselves
    assert 0.02 < known["per_moisture_percent"]["value"] < 0.04
    assert known["sd"]["value"] < 0.8 * unknown["sd"]["value"]
    days = quantity["days"]
    dry = min(days, key=lambda day: day["moisture_change"]["value"])
    assert dry["moisture_change"]["value"] < -0.5
    assert dry["expected"]["value"] < days[0]["expected"]["value"] - 0.01


def test_an_instrument_unlike_the_others_hardly_moves_what_is_learned_of_its_model() -> None:
    # eight necks that rise by 0.03 mm per % MC, and one whose reading was mistyped (judgement)
    model = UUID(int=1)
    said = _Messages()
    rng = np.random.default_rng(8)
    for n in range(9):
        instrument = Instrument(id=UUID(int=100 + n), model_id=model)
        rise = 0.03 + float(rng.normal(0.0, 0.004)) if n else -0.30
        said.add(instrument, [[8.5, 11.5]], [0.20, 0.20 + 3.0 * rise], [0.02, 0.02])
    found = said.pooled(PRIORS[Movable.RELIEF])
    alike = _Messages(said.rows[1:]).pooled(PRIORS[Movable.RELIEF])
    with_it, without = (each.models[str(model)].block.mean[0] for each in (found, alike))
    assert 0.02 < without < 0.03
    assert with_it == pytest.approx(without, abs=0.004)
    assert found.instruments[str(UUID(int=100))].weight < DOUBTED
    other = _Messages(list(reversed(said.rows)))
    assert other.pooled(PRIORS[Movable.RELIEF]) == found


@ON_SQLITE
@pytest.mark.parametrize("part", ["truss-rod", "spring-claw"])  # springs pull against the strings' pull
def test_what_lies_between_an_adjustment_teaches_nothing(shop: SeasonShop, part: str) -> None:
    job = shop.things.ids["job"]
    path = f"/v1/jobs/{job}"
    shop.bench.post(f"{path}/moves", json={"to": "queued"}, etag=shop.bench.get(path).headers["ETag"])
    claim = shop.bench.post(f"{path}/claim", json={}).get_json()["claim"]["id"]
    recheck(shop, 0.14, 45.0, "as-received")
    shop.advance(hours=1)
    turn = {"id": str(uuid4()), "claim": claim, "done_at": shop.clock.now().isoformat(), "part": part,
            "turns": {"value": -0.25, "unit": "turn"}, "confirmed": True}  # fmt: skip
    assert shop.bench.post(f"{path}/adjustments", json=turn).status_code == 201
    shop.advance(days=30)
    recheck(shop, 0.28, 65.0, "final")
    shop.learn()
    assert shop.bench.get("/v1/sensitivities").get_json()["items"] == []
    # off pitch, or in an instrument that is still cold, teaches nothing either
    shop.advance(days=30)
    reading = {"quantity": "relief", "side": "bass", "value": mm(0.14)}
    shop.read_to_the_end(stage="recheck", room=(20.0, 45.0), readings=[reading], at_pitch=False)
    shop.advance(minutes=1)
    shop.read_to_the_end(stage="recheck", room=(20.0, 45.0), readings=[reading], acclimatised=False)
    shop.learn()
    assert shop.bench.get("/v1/sensitivities").get_json()["items"] == []


@ON_SQLITE
def test_the_last_reading_of_a_job_that_is_done_teaches_whatever_its_stage(shop: SeasonShop) -> None:
    path = f"/v1/jobs/{shop.things.ids['job']}"

    def move(to: str, **more: Any) -> None:
        etag = shop.bench.get(path).headers["ETag"]
        moved = shop.bench.post(f"{path}/moves", json={"to": to, **more}, etag=etag)
        assert moved.status_code == 200, moved.get_data(as_text=True)

    move("queued")
    claim = shop.bench.post(f"{path}/claim", json={}).get_json()["claim"]["id"]
    recheck(shop, 0.24, 45.0, "as-received")
    shop.advance(hours=1)
    turn = {"id": str(uuid4()), "claim": claim, "done_at": shop.clock.now().isoformat(), "part": "truss-rod",
            "turns": {"value": 0.25, "unit": "turn"}}  # fmt: skip
    assert shop.bench.post(f"{path}/adjustments", json=turn).status_code == 201
    for relief in (0.20, 0.14):  # at once, and when the neck has rested
        shop.advance(hours=2)
        recheck(shop, relief, 45.0, "in-progress")
    move("final-check", claim=claim)
    move("ready", claim=claim, reason="relief alone was asked for")
    shop.advance(days=60)
    recheck(shop, 0.28, 65.0)
    shop.learn()
    learned = shop.bench.get("/v1/sensitivities").get_json()["items"]
    assert [(row["level"], row["samples"]) for row in learned][-1] == ("instrument", 1)


@pytest.fixture
def world(shop: SeasonShop) -> Iterator[World]:
    """Ten rooms, 120 instruments of four models, three years of logs and looks."""
    rng = np.random.default_rng(20260112)
    models = []
    for name in ("Robin", "Linnet", "Siskin", "Plover"):
        strung = {"string_set_id": shop.things.ids["strings"], "tuning_id": shop.things.ids["tuning"]}
        made = shop.things.add(name, "/v1/instrument-models", two_post_electric(name) | strung)
        models.append(UUID(made["id"]))
    world = make_world(rng, models, rooms=10, instruments=120, mean=SHOPS_MEAN)
    ids = shop.things.ids
    assert shop.bench.technician_id is not None
    with shop.database.write({"now": instant(0), "secret": shop.config.secret}) as session:
        settle_in(
            session, world, owner_id=UUID(ids["owner"]), climate_id=UUID(ids["climate"]),
            technician_id=shop.bench.technician_id,
        )  # fmt: skip
    return world


@contextmanager
def asked(session: Session) -> Iterator[list[str]]:
    """Collect what is asked of the database meanwhile."""
    questions: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        questions.append(statement)

    engine = session.get_bind().engine
    event.listen(engine, "before_cursor_execute", note)
    try:
        yield questions
    finally:
        event.remove(engine, "before_cursor_execute", note)


def live(shop: SeasonShop, world: World, rng: np.random.Generator, year: int) -> Beliefs:
    """Let a year go by: rooms are logged, instruments are read and set up; then let the shop learn."""
    assert shop.bench.key_id is not None
    first, last = year * 365, (year + 1) * 365
    shop.clock.set(instant(last))
    with shop.database.write({"now": instant(last), "secret": shop.config.secret}) as session:
        log_rooms(session, world, first, last)
        look_at_instruments(session, world, rng, first, last, key_id=shop.bench.key_id)
    with shop.database.read() as session, asked(session) as questions:
        rows = lessons(session, now=shop.clock.now())
    # a few for all instruments together, and one for the log of each room
    assert len(questions) < 20 + len(world.rooms)
    with shop.database.write() as session:
        keep_lessons(session, rows)
    with shop.database.read() as session:
        return Beliefs.of(session)


def errors(world: World, beliefs: Beliefs) -> tuple[float, float, float]:
    """Root mean square of what the shop has wrong, its own idea of it, and the share within two of these."""
    about = [
        beliefs.about(Movable.RELIEF, instrument, model)
        for instrument, model in zip(world.instruments, world.models, strict=True)
    ]
    off = np.array([one.mean for one in about]) - world.sensitivity
    sd = np.array([one.sd for one in about])
    return float(np.sqrt(np.mean(off**2))), float(sd.mean()), float(np.mean(np.abs(off) < 2.0 * sd))


@ON_SQLITE
def test_in_three_years_the_shop_learns_what_is_hidden_and_its_forecasts_keep_their_word(
    shop: SeasonShop, world: World
) -> None:
    rng = np.random.default_rng(365)
    before = errors(world, Beliefs())
    assert before[0] == pytest.approx(np.sqrt(np.mean(world.sensitivity**2)))
    first = errors(world, live(shop, world, rng, 0))
    beliefs = live(shop, world, rng, 1)
    second = errors(world, beliefs)
    promised, kept = forecast_and_truth(shop, world, beliefs, 2 * 365)
    third = errors(world, live(shop, world, rng, 2))
    # it converges to what is hidden, and knows about how well it knows it
    assert before[0] > 3.0 * first[0] > 3.0 * second[0] > 3.0 * third[0]
    assert third[0] < 0.23 * before[0]  # each wood keeps a share of the hysteresis that is never learned
    assert third[1] < second[1] < first[1]
    assert min(first[2], second[2], third[2]) > 0.75
    # of the days forecast out of spec with probability p, a share close to p is
    edges = np.array([0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.45, 0.6, 0.8, 1.0001])
    which = np.digitize(promised, edges) - 1
    weight = np.array([np.mean(which == n) for n in range(edges.size - 1)])
    said, came = (
        np.array([each[which == n].mean() for n in range(edges.size - 1)]) for each in (promised, kept)
    )
    assert (weight * np.abs(said - came)).sum() < 0.06
    assert np.abs(said - came).max() < 0.15
    assert abs(promised.mean() - kept.mean()) < 0.05
    flat = np.mean((kept.mean() - kept) ** 2)
    assert np.mean((promised - kept) ** 2) < 0.66 * flat  # Brier score against the mean alone


def forecast_and_truth(
    shop: SeasonShop, world: World, beliefs: Beliefs, today: int
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Forecast each instrument from its last look for the year to come; and whether it was outside."""
    watches, first = [], []
    with shop.database.read() as session:
        book = AirBook(session, BEGINS + timedelta(days=today))
        assert session.get(Climate, UUID(shop.things.ids["climate"])) is not None
        rows = session.scalars(select(Instrument).where(Instrument.id.in_(world.instruments))).all()
        with asked(session) as questions:
            found = watches_of_all(session, rows)
        assert len(questions) < 40  # not one for each of the 120
        for n, identifier in enumerate(world.instruments):
            (watch,) = found[identifier]
            watches.append(watch)
            first.append((watch.read_on - BEGINS).days)
            assert watch.place == f"room:{world.rooms[n % len(world.rooms)]}"
        keys = list(dict.fromkeys(watch.place for watch in watches))
        years = [book.year(key) for key in keys]
        assert all(year is not None and year.facts["source"] == "log" for year in years)
        moisture = np.stack([year.moisture for year in years if year is not None])
    drift = seasonal_drift(moisture, laid(watches, beliefs, {key: n for n, key in enumerate(keys)}), HORIZON)
    true = np.array([world.relief(n, day + np.arange(HORIZON + 1)) for n, day in enumerate(first)])
    kept = (true < 0.10) | (true > 0.30)
    return drift.probability_out[:, 14:], kept[:, 14:]
