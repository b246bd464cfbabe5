"""The demo's computed instrument, and the session played on it through the service."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest
from flask import Flask

from shimstock_client import Client, WSGITransport
from shimstock_server.clock import SystemClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.operations import seed
from tests.client.live import served
from tests.house.files import CHECKOUT
from tests.server.conftest import app, config, database, make_app, staff  # noqa: F401 - fixtures

SIDES = ("bass", "treble")


@pytest.fixture
def clock() -> SystemClock:
    """The machine's own clock, as in the demo."""
    return SystemClock()


@pytest.fixture(scope="module")
def deploy() -> Iterator[None]:
    """The folder that the demo's scripts import each other from."""
    sys.path.insert(0, str(CHECKOUT / "deploy"))
    yield
    sys.path.remove(str(CHECKOUT / "deploy"))


@pytest.fixture
def instrument(deploy: None) -> ModuleType:
    """The module of the computed instrument."""
    return import_module("demo_instrument")


@pytest.fixture
def session(deploy: None) -> ModuleType:
    """The module of the session."""
    return import_module("demo_session")


def test_the_instrument_comes_in_as_stated(instrument: ModuleType) -> None:
    held = instrument.DemoInstrument()
    assert held.true_relief() == pytest.approx(0.45)
    heights = [held.true_height(side, fret) for fret in (12, 1) for side in SIDES]
    assert heights == pytest.approx([2.2, 1.9, 0.50, 0.40])
    assert held.true_pickup_height("neck", "bass") == pytest.approx(2.6)


def test_a_rod_turn_moves_everything_as_the_geometry_says(instrument: ModuleType) -> None:
    # elementary geometry of a bent neck: 628.65 mm, joint at fret 16, held 1-22, read at 9: 1.670, 0.430
    held = instrument.DemoInstrument(rod_response=-0.40, slow_share=0.0)
    held.turn_rod(0.625)
    assert held.true_relief() == pytest.approx(0.20)
    heights = [held.true_height(side, fret) for fret in (12, 1) for side in SIDES]
    assert heights == pytest.approx([1.783, 1.483, 0.392, 0.292], abs=1e-3)


def test_the_neck_goes_on_moving_for_an_hour(instrument: ModuleType) -> None:
    held = instrument.DemoInstrument(rod_response=-0.40, slow_share=0.25, slow_minutes=20.0)
    held.turn_rod(0.25)
    at_once = held.true_relief()
    held.wait(60)
    assert at_once == pytest.approx(0.45 - 0.075)
    assert held.true_relief() == pytest.approx(0.45 - 0.1 * (1 - 0.25 * 0.049787))  # exp(-3)


def test_a_post_answers_at_both_strings(instrument: ModuleType) -> None:
    # strings 11 mm inside posts 74 mm apart: 63/74 and 11/74 of the bass post's move, half of it at fret 12
    held = instrument.DemoInstrument()
    held.turn_post("bass", -0.125)
    lowered = 0.125 * 1.25
    assert held.true_height("bass", 12) == pytest.approx(2.2 - lowered * 63 / 74 / 2)
    assert held.true_height("treble", 12) == pytest.approx(1.9 - lowered * 11 / 74 / 2)


def test_directions_are_those_of_a_real_instrument(instrument: ModuleType) -> None:
    held = instrument.DemoInstrument()
    sharp = held._cents[1]
    held.move_saddle(2, +1.0)  # away from the nut: flatter
    assert held._cents[1] < sharp
    gap = held.true_pickup_height("neck", "bass")
    held.turn_pickup("neck", "bass", +1.0)  # closer to the string
    assert held.true_pickup_height("neck", "bass") == pytest.approx(gap - 0.5)
    nut = held.true_height("treble", 1)
    held.file_slot(1, None, 0.05)
    assert held.true_height("treble", 1) < nut


def test_tools_scatter_as_stated_and_show_their_divisions(instrument: ModuleType) -> None:
    held = instrument.DemoInstrument(seed=1)
    shown = [held.read("relief") for _ in range(400)]
    assert {round(value / 0.05, 6) % 1 for value in shown} == {0.0}
    mean = sum(shown) / len(shown)
    spread = (sum((value - mean) ** 2 for value in shown) / (len(shown) - 1)) ** 0.5
    assert mean == pytest.approx(0.45, abs=0.006)
    # repeatability 0.03 and a step of 0.05: sqrt(0.03**2 + 0.05**2 / 12)
    assert spread == pytest.approx(0.0333, rel=0.15)
    assert [instrument.DemoInstrument(seed=1).read("relief")] == shown[:1], "the same seed, the same readings"


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_session_ends_with_an_instrument_in_spec_and_a_card(
    app: Flask,  # noqa: F811
    config: Config,  # noqa: F811
    database: Database,  # noqa: F811
    session: ModuleType,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    seed.load(database, CHECKOUT / "seed", secret=config.secret)
    keys = make_keys(database, config)
    places = tmp_path / "places.json"
    with served(app) as url:
        bench = session.play(url, keys, tmp_path, places)
    said = capsys.readouterr().out
    for words in (
        "At the counter",
        "tighten 1/4 turn",
        "takes the job back early",
        "Final check",
        "is ready",
        "What the seasons will do to it",
        "The worker notes a reminder for",
    ):
        assert words in said
    assert "<svg" in (tmp_path / "card.html").read_text(encoding="utf-8")
    assert json.loads(places.read_text())["card"] == str(tmp_path / "card.html")

    # what the instrument truly is, tools aside: the shop's limits for an electric
    assert 0.10 <= bench.held.true_relief() <= 0.30
    assert 1.45 <= bench.held.true_height("bass", 12) <= 1.95
    assert 1.25 <= bench.held.true_height("treble", 12) <= 1.75
    assert max(abs(cents) for cents in bench.held._cents) <= 3.0

    with Client("http://shop.test", keys["manager"], transport=WSGITransport(app)) as client:
        (job,) = client.jobs.list(state="ready")
        adjustments = list(client.adjustments.list(job))
        sheets = list(client.reading_sheets.list(job))
    rods = [one.turns.value for one in adjustments if one.part == "truss-rod" and one.turns]
    assert rods
    assert max(rods) <= 0.25
    assert all(one.plan_kept and not one.large_turn for one in adjustments)
    assert sheets[0].stage == "as-received"
    assert len(sheets) <= 15
    assert sheets[-1].taken_at > max(one.done_at for one in adjustments)
    # what a step asks for is read after it, so that no plan has to ask for it again
    assert "Measure relief" not in said
    assert all(one.taken_at and one.received_at and one.taken_at <= one.received_at for one in sheets)
    assert not any(sheet.outside_claim for sheet in sheets)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_what_a_killed_session_left_goes_back_into_the_queue(
    app: Flask,  # noqa: F811
    config: Config,  # noqa: F811
    database: Database,  # noqa: F811
    session: ModuleType,
    capsys: pytest.CaptureFixture[str],
) -> None:
    seed.load(database, CHECKOUT / "seed", secret=config.secret)
    keys = make_keys(database, config)
    transport = WSGITransport(app)
    with Client("http://shop.test", keys["manager"], transport=transport) as counter:
        technician = next(counter.technicians.list())
        with Client("http://shop.test", keys["bench-1"], technician.id, transport=transport) as client:
            bench = session.Bench(counter, client, technician)
            for state in ("on-bench", "final-check"):
                job = session.take(bench, session.check_in(bench))
                if state == "final-check":
                    client.jobs.move(job, state)
            session.put_back_leftovers(bench)
            assert [job.state for job in client.jobs.list()] == ["queued", "queued"]
    assert "Job 2 was left by an interrupted session; it is back in the queue." in capsys.readouterr().out


def test_an_unknown_service_is_said_in_a_sentence(
    session: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    keys = tmp_path / "keys.json"
    keys.write_text('{"manager": "shim_a", "bench-1": "shim_b"}')
    monkeypatch.setattr(sys, "argv", ["demo_session.py", "--url", "http://127.0.0.1:9", "--keys", str(keys)])
    assert session.main() == 1
    assert "http://127.0.0.1:9 cannot be reached: nothing listens there" in capsys.readouterr().err


def make_keys(database: Database, config: Config) -> dict[str, str]:  # noqa: F811
    """Make the keys that the demo makes."""
    from sqlalchemy import select

    from shimstock_server.database.tables.shop import Bench
    from shimstock_server.database.words import Scope
    from shimstock_server.keys import make_key

    now = SystemClock().now()
    with database.write({"now": now, "secret": config.secret}) as opened:
        bench = opened.scalars(select(Bench).order_by(Bench.created_at, Bench.id)).first()
        assert bench is not None
        _, manager = make_key(opened, name="manager", scope=Scope.MANAGER, now=now)
        _, at_bench = make_key(opened, name="bench-1", scope=Scope.BENCH, now=now, bench_id=bench.id)
    return {"manager": manager, "bench-1": at_bench}
