"""The demo shop: loaded once, complete for the plan, its figures right."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from shimstock_calc.plan.model import Instrument as PlanInstrument
from shimstock_calc.strings import breaking_fraction, tension
from shimstock_server import catalogue
from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.tables.base import Base
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.shop import Tool
from shimstock_server.database.words import BridgeKind, Kind, RodKind, Skill
from shimstock_server.operations import seed
from tests.server.beginnings import Beginning

SEED = Path(__file__).parents[3] / "seed"
SECRET = "a secret of the tests that is long enough, 7291"


_SEEDED: Beginning[object] = Beginning()


@pytest.fixture
def seeded(database: Database, clock: FixedClock) -> Database:
    """The demo shop."""
    _SEEDED.begin(database, lambda: seed.load(database, SEED, clock.now(), secret=SECRET), now=clock.now())
    return database


def counts(database: Database) -> dict[str, int]:
    with database.read() as session:
        return {
            name: session.scalar(select(func.count()).select_from(table)) or 0
            for name, table in Base.metadata.tables.items()
        }


def test_loading_it_twice_changes_nothing(seeded: Database, clock: FixedClock) -> None:
    before = counts(seeded)
    assert before["instruments"] > 10
    assert str(seed.load(seeded, SEED, clock.now(), secret=SECRET)) == "nothing new"
    assert counts(seeded) == before


sqlite_only = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def all_planned(database: Database) -> list[tuple[Instrument, PlanInstrument]]:
    with database.read() as session:
        rows = session.scalars(select(Instrument)).all()
        return [(row, catalogue.plan_instrument(session, row)) for row in rows]


def pulls(instrument: PlanInstrument, scale: float) -> list[float]:
    return [float(tension(string.linear_density, scale, string.frequency)) for string in instrument.strings]


@sqlite_only
def test_every_instrument_can_be_planned_and_every_bridge_and_rod_is_there(seeded: Database) -> None:
    planned = all_planned(seeded)
    assert {instrument.bridge.kind for _, instrument in planned} == {kind.value for kind in BridgeKind}
    assert {instrument.rod.kind for _, instrument in planned} == {kind.value for kind in RodKind}
    assert {instrument.kind for _, instrument in planned} == {kind.value for kind in Kind}
    assert any(instrument.scale_bass != instrument.scale_treble for _, instrument in planned)
    assert any(instrument.left_handed for _, instrument in planned)


@sqlite_only
def test_no_string_of_the_demo_shop_would_break_and_no_model_is_overloaded(seeded: Database) -> None:
    for row, instrument in all_planned(seeded):
        for string in instrument.strings:
            pull = float(tension(string.linear_density, instrument.scale_bass, string.frequency))
            # 20 to 260 N: what a technician expects of one string (common practice, no published source)
            assert 20 < pull < 260, (row.serial, string.number, pull)
            if string.material == "steel":
                # an ordinary 12-string's octave G4 stands at 0.75 (computed)
                assert float(breaking_fraction(pull, string.core_diameter)) < 0.80
        total = sum(pulls(instrument, instrument.scale_bass))
        assert instrument.max_total_pull is None or total < instrument.max_total_pull


@sqlite_only
def test_the_two_electric_sets_pull_as_the_acceptance_cases_say(seeded: Database) -> None:
    with seeded.read() as session:
        row = session.scalars(select(Instrument).where(Instrument.serial == "T-2203")).one()
        light = catalogue.plan_instrument(session, row).strings
        (heavy,) = catalogue.plan_other_sets(session, row)
    assert heavy.name == "electric .010–.046"
    total = sum(float(tension(s.linear_density, 647.7, s.frequency)) for s in light)
    more = sum(float(tension(s.linear_density, 647.7, s.frequency)) for s in heavy.strings)
    # mu (2 X f)², plain strings as cylinders of steel, 7850 kg/m3; wound ones from core and wrap
    assert total == pytest.approx(365, abs=0.5)
    assert more - total == pytest.approx(82, abs=0.5)
    assert more / total == pytest.approx(1.225, abs=0.001)


# quantity, side -> target, lower, upper by kind; common practice, no published source
DEFAULTS: dict[str, dict[tuple[str, str | None], tuple[float, float, float | None]]] = {
    "electric": {
        ("relief", None): (0.20, 0.10, 0.30), ("action", "bass"): (1.7, 1.45, 1.95),
        ("action", "treble"): (1.5, 1.25, 1.75), ("nut-action", "bass"): (0.45, 0.35, 0.60),
        ("nut-action", "treble"): (0.35, 0.25, 0.50), ("pickup-height", "bass"): (2.0, 1.6, 2.4),
        ("pickup-height", "treble"): (2.0, 1.6, 2.4), ("intonation", None): (0, -3, 3),
        ("twist", None): (0, -0.10, 0.10),
    },
    "acoustic-steel": {
        ("relief", None): (0.20, 0.10, 0.30), ("action", "bass"): (2.4, 2.1, 2.7),
        ("action", "treble"): (1.9, 1.6, 2.2), ("nut-action", "bass"): (0.50, 0.40, 0.65),
        ("nut-action", "treble"): (0.40, 0.30, 0.55), ("intonation", None): (0, -4, 4),
        ("twist", None): (0, -0.10, 0.10), ("saddle-out", None): (2.0, 2.0, None),
    },
    "classical-nylon": {
        ("relief", None): (0.25, 0.10, 0.40), ("action", "bass"): (4.0, 3.6, 4.4),
        ("action", "treble"): (3.1, 2.7, 3.5), ("nut-action", "bass"): (0.75, 0.60, 0.95),
        ("nut-action", "treble"): (0.60, 0.45, 0.80), ("intonation", None): (0, -5, 5),
        ("twist", None): (0, -0.15, 0.15), ("saddle-out", None): (1.5, 1.5, None),
    },
    "bass": {
        ("relief", None): (0.30, 0.15, 0.45), ("action", "bass"): (2.4, 2.1, 2.7),
        ("action", "treble"): (2.0, 1.7, 2.3), ("nut-action", "bass"): (0.55, 0.40, 0.75),
        ("nut-action", "treble"): (0.45, 0.30, 0.60), ("pickup-height", "bass"): (2.8, 2.3, 3.3),
        ("pickup-height", "treble"): (2.4, 1.9, 2.9), ("intonation", None): (0, -4, 4),
        ("twist", None): (0, -0.15, 0.15),
    },
}  # fmt: skip


@sqlite_only
@pytest.mark.parametrize("kind", list(Kind))
def test_the_default_spec_of_each_kind(seeded: Database, kind: Kind) -> None:
    with seeded.read() as session:
        items = catalogue.resolve_spec(session, kind=kind, model_id=None)
    found = {(each.quantity.value, each.side and each.side.value): each for each in items}
    assert {key: (each.target, each.lower, each.upper) for key, each in found.items()} == DEFAULTS[kind.value]
    assert found["relief", None].fret == 8


@sqlite_only
def test_the_tools_are_those_of_a_bench(seeded: Database) -> None:
    with seeded.read() as session:
        tools = {
            row.name: (row.unit, row.resolution, row.repeatability) for row in session.scalars(select(Tool))
        }
    # common practice; repeatabilities from memory
    assert tools["steel rule 1/64 in, whole divisions"] == ("mm", 0.396875, 0.08)
    assert tools["feeler leaves, 0.05 mm steps"] == ("mm", 0.05, 0.03)
    assert tools["digital depth gauge"] == ("mm", 0.01, 0.03)
    assert tools["radius gauges, 1/2 in steps"] == ("mm", 12.7, None)
    assert tools["ordinary tuner"] == ("cents", 1.0, 1.2)
    assert tools["hygrometer, acoustic bench, unchecked"] == ("percent", 1.0, 4.0)
    assert len(tools) == 15


def test_somebody_in_the_shop_has_each_skill() -> None:
    people = json.loads((SEED / "people.json").read_text())["technicians"]
    assert {skill for each in people for skill in each["skills"]} == set(Skill)


@sqlite_only
@pytest.mark.parametrize(
    ("file", "change", "words"),
    [
        ("shop.json", lambda it: it["shop"].update(zone="Nowhere"), "/shop/zone must be a time zone"),
        ("models.json", lambda it: it["instrument_models"][0].update(frets=99), "/instrument_models/0/frets"),
        ("models.json", lambda it: it["instrument_models"][0].update(tuning="x"), "there is no 'x'"),
        ("owners.json", lambda it: it["owners"][0]["instruments"][0].update(model="x"), "maker and name"),
        ("specs.json", lambda it: it["shop_specs"][0].update(kind="harp"), "/shop_specs/0/kind must be"),
        ("people.json", lambda it: it.update(gnomes=[]), "gnomes is not known"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_taken_is_named_and_nothing_is_stored(
    database: Database, clock: FixedClock, tmp_path: Path, *, file: str, change: Any, words: str
) -> None:
    for source in SEED.glob("*.json"):
        contents = json.loads(source.read_text())
        if source.name == file:
            change(contents)
        (tmp_path / source.name).write_text(json.dumps(contents))
    with pytest.raises(seed.SeedError, match=r".*") as refused:
        seed.load(database, tmp_path, clock.now(), secret=SECRET)
    assert words in str(refused.value)
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(InstrumentModel)) == 0


@sqlite_only
def test_a_missing_file_is_named(database: Database, clock: FixedClock, tmp_path: Path) -> None:
    with pytest.raises(seed.SeedError, match=r"shop\.json is missing"):
        seed.load(database, tmp_path, clock.now(), secret=SECRET)
