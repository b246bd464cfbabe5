"""The demo shop's climates, rooms and their log, loaded on any day."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import pytest

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.operations import seed
from shimstock_server.seasons import work_off_marks
from tests.house.files import CHECKOUT
from tests.server.clients import Client
from tests.server.conftest import SECRET
from tests.server.workshop import mm

ON_SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
SEED = CHECKOUT / "seed"
DAYS = (datetime(2026, 3, 29, 1, 30, tzinfo=UTC), datetime(2028, 2, 29, 23, 30, tzinfo=UTC))


@pytest.mark.parametrize("today", DAYS)
def test_the_demo_shop_warns_and_reminds(
    client: Client, database: Database, config: Config, clock: FixedClock, today: datetime
) -> None:
    clock.set(today)
    loaded = seed.load(database, SEED, today, secret=SECRET)
    assert (loaded.added["rooms"], loaded.added["climates"]) == (3, 2)
    assert loaded.added["room readings"] > 400
    assert str(seed.load(database, SEED, today, secret=SECRET)) == "nothing new"
    while work_off_marks(database, config, clock):
        pass
    rooms = {room["name"]: room["id"] for room in client.get("/v1/rooms").get_json()["items"]}
    (damp,) = client.get("/v1/room-warnings?lasting=true").get_json()["items"]
    assert (damp["code"], damp["room_id"], len(damp["instruments"])) == ("too-damp", rooms["cellar store"], 1)
    air = client.get(f"/v1/rooms/{rooms['workshop']}/air").get_json()
    assert air["fit_for_verdicts"]
    (strings,) = client.get("/v1/reminders?kind=strings").get_json()["items"]
    # strings of 2 March 2026, played 10 h a week: 100 h are reached after 70 days
    assert (strings["instrument"], strings["due_on"]) == ("Brackwater Ternall", "2026-05-11")
    # a warm dry flat, in whatever season its instrument is set up
    (herrow,) = client.get("/v1/instruments?serial=H-0448").get_json()["items"]
    job = client.post("/v1/jobs", json={"instrument_id": herrow["id"], "complaints": "buzzes"}).get_json()
    sheet = {
        "id": str(uuid4()), "stage": "final", "taken_at": today.isoformat(), "at_pitch": True,
        "readings": [{"quantity": "relief", "value": mm(0.2)}],
    }  # fmt: skip
    posted = client.post(f"/v1/jobs/{job['id']}/reading-sheets", json=sheet)
    assert posted.status_code == 201, posted.get_data(as_text=True)
    while work_off_marks(database, config, clock):
        pass
    (seasonal,) = client.get("/v1/reminders?kind=seasonal").get_json()["items"]
    forecast = client.get(f"/v1/instruments/{herrow['id']}/forecast").get_json()
    assert (seasonal["serial"], seasonal["due_on"]) == ("H-0448", forecast["recheck_on"])
    assert "the wood has moved far enough to look" in seasonal["sentence"]
    assert forecast["air"]["climate"] == "Lindenfurt, normal year"


@ON_SQLITE
def test_bad_seeds_of_rooms_are_named(database: Database, tmp_path: Path) -> None:
    shutil.copytree(SEED, tmp_path / "seed")
    file = tmp_path / "seed" / "seasons.json"
    now = datetime(2026, 3, 2, tzinfo=UTC)
    for entry, words in (
        ('{"room_logs": [{"room": "attic", "days": 3, "times": ["09:00"], "months": []}]}', "/room_logs/0"),
        ('{"hygrometers": [{"name": "dial", "room": "attic"}]}', "no 'attic'"),
        ('{"keepings": [{"model": ["Fennimoor", "Lantrel"], "serial": "X"}]}', "no instrument 'X'"),
        ('{"climates": [{"name": "a", "source": "b", "months": []}]}', "/climates/0"),
    ):
        file.write_text(entry)
        with pytest.raises(seed.SeedError, match=words):
            seed.load(database, tmp_path / "seed", now, secret=SECRET)
    file.unlink()
    loaded = seed.load(database, tmp_path / "seed", now, secret=SECRET)
    assert loaded.added["instruments"] == 17
    assert loaded.added["rooms"] == 0
