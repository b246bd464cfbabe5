"""Rooms and reminders at the command line, against the real service."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from shimstock_client import Quantity
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.seasons import work_off_marks
from tests.client.conftest import Command, Shop
from tests.server.seasons.conftest import months_of

SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
pytestmark = SQLITE


def test_a_rooms_air_is_written_down_and_shown(shop: Shop, command: Command, tmp_path: Path) -> None:
    assert command("room").code == 3
    shop.client().rooms.create(name="Back room", use="shop")
    assert "nothing was read here" in command("room").out
    logged = command("room-log", "back", "21C 31%")
    assert (logged.code, logged.out) == (0, "Back room: 21 °C, 31 %\n")
    shown = command("room", "back room")
    assert "Back room: 21 °C, 31 %" in shown.out
    assert "31 % RH is below 35: no fret or action verdict" in shown.out
    file = tmp_path / "log.csv"
    file.write_text(
        "taken_at,temperature_degC,relative_humidity_percent\n"
        "2026-01-02 10:00,21,45\n2026-01-02 11:00,21,45\n2026-01-02 12:00,21,45\n"
        "2026-01-02 13:00,21,45\n2026-01-02 20:00,21,45\n"
    )
    sent = command("room-log", "back", "--file", str(file), "--zone", "UTC")
    assert sent.out == "5 of 5 readings stored; nothing for 7 h from 2026-01-02T13:00:00Z.\n"
    again = command("room-log", "back", "--file", str(file), "--zone", "UTC", "--json")
    assert json.loads(again.out)["stored"] == 0
    shop.client().hygrometers.create(name="Brass one")
    assert command("room-log", "back", "21C 45%", "--with", "brass").code == 0
    for wrong in (
        ("room-log", "back"),
        ("room-log", "back", "21C 45%", "--file", str(file)),
        ("room-log", "back", "warm"),
        ("room-log", "cellar", "21C 45%"),
        ("room-log", "back", "21C 45%", "--with", "tin"),
    ):
        ran = command(*wrong)
        assert (ran.code, ran.out) == (2, ""), wrong
        assert ran.err.strip()
    file.write_text("taken_at,temperature_degC,relative_humidity_percent\n2026-01-02 10:00,21,145\n")
    refused = command("room-log", "back", "--file", str(file))
    assert refused.code == 1
    assert "0 to 100" in refused.err


def test_reminders_are_listed_and_answered(
    shop: Shop, command: Command, database: Database, config: Config
) -> None:
    manager = shop.client("manager")
    climate = manager.climates.create(name="Here", source="NREL TMY3 Chicago", months=months_of())
    manager.change("PUT", "/season-settings", {"climate_id": climate.id})
    assert command("reminders", "--all").code == 3
    job = shop.things.job()
    reading = {"quantity": "relief", "side": "bass", "value": Quantity(0.27, "mm")}
    shop.client().reading_sheets.post(
        job["id"], [reading], stage="final", at_pitch=True, taken_at=shop.clock.now()
    )
    work_off_marks(database, config, shop.clock)
    assert command("reminders").code == 3
    listed = command("reminders", "--all")
    assert "Alder & Finch Heron: seasonal, from " in listed.out
    assert "Relief on the bass side was 0.27 mm at the final reading" in listed.out
    short = listed.out[:8]
    assert json.loads(command("reminders", "--all", "--json").out)["items"][0]["id"].endswith(short)
    shown = command("reminder", short)
    assert shown.out.rstrip().endswith("made")
    assert ", acknowledged\n" in command("reminder", short, "--seen").out
    later = command("reminder", short, "--later", "2w", "--note", "away")
    assert "snoozed: away" in later.out
    for wrong in (
        ("reminder", short, "--seen", "--later", "1d"),
        ("reminder", short, "--drop"),
        ("reminder", short, "--later", "soon"),
    ):
        assert command(*wrong).code == 2, wrong
    assert command("reminder", "nowhere").code == 1
    refused = command("reminder", short, "--done")
    assert (refused.code, "recheck sheet" in refused.err) == (1, True)
    assert command("reminder", short, "--drop", "--note", "sold").code == 0
    assert command("reminders", "--all").code == 3
