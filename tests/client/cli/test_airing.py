"""Rooms, forecasts and reminders at the command line, against the real service."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from shimstock_client import Quantity
from shimstock_client.cli._layout import local
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.seasons import work_off_marks
from tests.client.conftest import URL, Command, Ran, Shop
from tests.server.seasons.conftest import months_of
from tests.server.seasons.test_places import epw_of

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
    first, gap, last = (local(datetime(2026, 1, 2, hour, tzinfo=UTC)) for hour in (10, 13, 20))
    told = f"5 of 5 readings stored, {first} to {last}; nothing for 7 h from {gap}.\n"
    assert sent.out == told
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
        ("room-log", "back", "21C 45%", "--zone", "UTC"),
    ):
        ran = command(*wrong)
        assert (ran.code, ran.out) == (2, ""), wrong
        assert ran.err.strip()
    file.write_text("taken_at,temperature_degC,relative_humidity_percent\n2026-01-02 10:00,21,145\n")
    refused = command("room-log", "back", "--file", str(file))
    assert refused.code == 1
    assert "0 to 100" in refused.err
    file.write_bytes(
        b"taken_at,temperature_degC,relative_humidity_percent,note\n2026-01-02 10:00,21,45,caf\xe9\n"
    )
    refused = command("room-log", "back", "--file", str(file))
    assert (refused.code, "save it as UTF-8" in refused.err) == (2, True)
    assert "confirm it" in command("room-log", "back", "2C 70%").err
    assert command("room-log", "back", "2C 70%", "--sure").code == 0


def test_a_hygrometer_is_checked_over_salts(shop: Shop, command: Command) -> None:
    shop.client().hygrometers.create(name="Brass one")
    shop.client().hygrometers.create(name="Brass one, spare")
    assert (command("salt-check", "brass one").code, command("salt-check", "tin").code) == (3, 2)
    # L. Greenspan, J. Res. NBS 81A, 89 (1977): MgCl2 32.79, NaCl 75.30 % at 25 degC
    checked = command("salt-check", "brass one", "36%", "77%", "--at", "25C", "--json")
    assert json.loads(checked.out)["gain"] == pytest.approx((75.30 - 32.79) / (77.0 - 36.0), abs=1e-3)
    assert command("salt-check", "brass one").out.startswith("Brass one, ")
    for wrong in (("36%",), ("36%", "77%"), ("36%", "warm", "--at", "25C"),
                  ("36%", "77%", "--at", "25C", "--salts", "NaCl")):  # fmt: skip
        ran = command("salt-check", "brass one", *wrong)
        assert (ran.code, ran.out) == (2, ""), wrong
    refused = command("salt-check", "brass one", "77%", "36%", "--at", "25C")
    assert (refused.code, "high_reading" in refused.err) == (1, True)


@pytest.fixture
def manage(shop: Shop, command: Command, monkeypatch: pytest.MonkeyPatch) -> Command:
    """Run a command under a manager's key."""

    def ran(*arguments: str) -> Ran:
        with monkeypatch.context() as signed:
            signed.setenv("SHIMSTOCK_KEY", shop.staff.tokens["manager"])
            return command(*arguments)

    return ran


def test_a_climate_is_read_in_and_used(shop: Shop, command: Command, manage: Command, tmp_path: Path) -> None:
    assert command("climates").code == 3
    table = tmp_path / "oberau.csv"
    lines = [f"{n},{n - 4},75" for n in range(1, 13)]
    table.write_text("\n".join(["month,temperature_degC,relative_humidity_percent", *lines]))
    shop.client("manager").forecasts.set_up(
        home={"cooled": True, "heating_set_point": Quantity(19.0, "degC")}, earliest_days=21
    )
    named = ("climates", str(table), "--name", "Oberau", "--source", "made up", "--use", "ober")
    assert "takes a manager key" in command(*named).err
    assert manage(*named).out == "Oberau, months from -3 °C to 8 °C: the shop's own\n"
    said = shop.client().forecasts.settings()
    assert (said.home["cooled"], said.earliest_days) == (True, 21)
    assert said.home["heating_set_point"] == {"value": 19.0, "unit": "degC"}
    for wrong in ((str(table),), (str(table), "--name", "X"), ("--name", "X"), ("--use", "nowhere")):
        assert manage("climates", *wrong).code == 2, wrong
    table.write_text("\n".join(["month,temperature_degC,relative_humidity_percent", *lines[:11]]))
    refused = manage("climates", str(table), "--name", "Short", "--source", "made up")
    assert (refused.code, "December" in refused.err) == (1, True)
    table.write_text(epw_of("tucson"))
    assert "tucson" in manage("climates", str(table)).out


def test_a_forecast_says_when_to_look_and_where_it_lives(
    shop: Shop, command: Command, manage: Command, tmp_path: Path
) -> None:
    manager = shop.client("manager")
    climate = manager.climates.create(name="Here", source="NREL TMY3 Chicago", months=months_of())
    assert manage("climates", "--use", "here").code == 0
    job = shop.things.job()
    number = str(job["number"])
    assert command("forecast", number).code == 6  # nothing was read to the end
    assert command("forecast", "S-404").code == 1
    readings = [
        {"quantity": "relief", "side": "bass", "value": Quantity(0.27, "mm")},
        {"quantity": "action", "side": "treble", "value": Quantity(1.5, "mm")},
    ]
    shop.client().reading_sheets.post(
        job["id"], readings, stage="final", at_pitch=True, taken_at=shop.clock.now()
    )
    chart = tmp_path / "chart.svg"
    chart.touch(mode=0o666)
    shown = command("forecast", number, "--chart", str(chart))
    assert chart.stat().st_mode & 0o777 == 0o600
    forecast = shop.client().forecasts.get(shop.things.ids["instrument"], step=30)
    assert forecast.sentence in " ".join(shown.out.split())
    assert "relief bass [mm]" in shown.out
    first = forecast.quantities[0].days[1]
    assert first.expected is not None
    assert first.sd is not None
    assert first.probability_out is not None
    told = f"0.27 ± {first.sd.value:.2f}  {100.0 * first.probability_out:.0f} %"
    assert told in shown.out
    assert "the climate's normals, and how such rooms are kept (Here)" in shown.out
    assert "per % of moisture: relief 0 ± 0.03 mm (not learned yet)" in shown.out
    assert chart.read_text(encoding="utf-8").startswith("<svg")
    assert command("forecast", number, "--chart", str(tmp_path)).code == 2
    assert len(json.loads(command("forecast", number, "--every", "31", "--json").out)["room"]) == 12

    assert "where nobody said" in command("keeping", number).out
    shop.client().rooms.create(name="Music room", use="home")
    kept = command("keeping", number, "--room", "music", "--hours", "7")
    assert kept.out == "lives in Music room; played 7 h a week\n"
    quiet = command("keeping", number, "--no-reminders")
    assert quiet.out == "lives in Music room; played 7 h a week; no reminders\n"
    moved = command("keeping", number, "--climate", "here", "--reminders", "--json")
    assert json.loads(moved.out)["climate_id"] == climate.id
    assert json.loads(moved.out)["room_id"] is None
    assert command("keeping", number, "--room", "music", "--climate", "here").code == 2


def test_calendars_are_made_and_revoked(shop: Shop, command: Command, manage: Command) -> None:
    assert "takes a manager key" in command("calendars").err
    assert manage("calendars").code == 3
    made = manage("calendars", "Rechecks", "--kind", "seasonal")
    path = made.out.strip().removeprefix(URL)
    assert shop.app.test_client().get(path).mimetype == "text/calendar"
    assert manage("calendars").out == "Rechecks: seasonal\n"
    again = manage("calendars", "rechecks")
    assert (again.code, "once only" in again.err) == (6, True)
    assert (manage("calendars", "--revoke").code, manage("calendars", "none", "--revoke").code) == (2, 2)
    assert manage("calendars", "rechecks", "--revoke").code == 0
    assert shop.app.test_client().get(path).status_code == 404


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
    assert "owner: Robin Example" in shown.out
    assert short in command("reminders", str(job["number"]), "--all", "--kind", "seasonal").out
    assert command("reminders", "--closed").code == 3
    assert command("reminders", "--closed", "--all").code == 2
    assert ", acknowledged\n" in command("reminder", short, "--seen").out
    later = command("reminder", short, "--later", "2w", "--note", "away")
    assert "snoozed: away" in later.out
    until = shop.client().reminders.get(json.loads(command("reminder", short[:5], "--json").out)["id"])
    assert f", snoozed until {local(until.snoozed_until)}\n" in later.out
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
    assert short in command("reminders", "--closed").out
    assert "cancelled: sold" in command("reminder", short).out
