"""Thousands of instruments forecast in one night: how long, how much memory, and how both grow."""

from __future__ import annotations

import json
import time
import tracemalloc
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import numpy as np
import pytest
from sqlalchemy import func, insert, select

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Reminder, WatchedQuantity
from shimstock_server.database.words import RoomUse
from shimstock_server.seasons import every_night
from shimstock_server.seasons.marks import mark
from shimstock_server.seasons.profiles import FIELDS, USUAL
from shimstock_server.seasons.recompute import LEARNING
from tests.depth import amount
from tests.server.clients import Client
from tests.server.conftest import SECRET, Staff
from tests.server.seasons.conftest import months_of
from tests.server.workshop import Workshop, mm, set_up

pytestmark = [pytest.mark.speed, pytest.mark.long, pytest.mark.timeout(amount(900, deep=4000))]

SOME, FEW, MANY = amount((500, 1_000, 3_000), deep=(1_000, 2_500, 10_000))
HOMES, QUANTITIES = 200, 3
now = amount(time.process_time, deep=time.perf_counter)
"""In the usual run other tests run beside: they take time, but none of this process's."""
NIGHT = datetime(2026, 11, 3, 2, 30, tzinfo=UTC)


@pytest.fixture
def clock() -> FixedClock:
    """The one clock, in the night."""
    return FixedClock(NIGHT)


@pytest.fixture
def shop(client: Client, staff: Staff, clock: FixedClock) -> Workshop:
    """A shop with a climate and one sheet that every row points to."""
    shop = set_up(client)
    months = {"name": "Chicago", "source": "NREL TMY3", "months": months_of()}
    shop.add("climate", "/v1/climates", months)
    shop.add("", "/v1/season-settings", {"climate_id": shop.ids["climate"]}, "PUT")
    job = shop.job()
    sheet = {
        "id": str(uuid4()), "stage": "final", "taken_at": NIGHT.isoformat(), "at_pitch": True,
        "readings": [{"quantity": "relief", "side": "bass", "value": mm(0.2)}],
    }  # fmt: skip
    shop.add("sheet", f"/v1/jobs/{job['id']}/reading-sheets", sheet)
    return shop


def fill(database: Database, shop: Workshop, first: int, last: int) -> None:
    """Add instruments with watched quantities, in homes that are kept in two hundred ways."""
    rng = np.random.default_rng(first)
    usual = USUAL[RoomUse.HOME]
    profile = {ours: getattr(usual, theirs) for ours, theirs in FIELDS.items()}
    ids = {name: UUID(shop.ids[name]) for name in ("model", "owner", "job", "sheet")}
    stamped = {"created_at": NIGHT, "updated_at": NIGHT, "version": 1}
    instruments: list[dict[str, Any]] = []
    watched: list[dict[str, Any]] = []
    for n in range(first, last):
        identifier = uuid4()
        instruments.append(
            {"id": identifier, "model_id": ids["model"], "owner_id": ids["owner"], "handedness": "right",
             "named_consents": False, "truss_rod": {}, "bridge": {}, "parts": [], "typed": {}, **stamped}
        )  # fmt: skip
        kept = {**profile, "moisture_excess": 1.0 + 0.02 * (n % HOMES)}
        place = json.dumps({"climate": shop.ids["climate"], "profile": kept}, sort_keys=True)
        read_on = date(2026, 11, 3) - timedelta(days=int(rng.integers(0, 365)))
        for number in range(QUANTITIES):
            relief = number == 0
            watched.append(
                {"instrument_id": identifier, "number": number, "model_id": ids["model"],
                 "job_id": ids["job"],
                 "sheet_id": ids["sheet"], "basis": f"final:{ids['job']}", "read_on": read_on,
                 "quantity": "relief" if relief else "action", "side": "bass", "string": None,
                 "value": float(rng.normal(0.2 if relief else 1.7, 0.03)), "uncertainty": 0.03,
                 "lower": 0.1 if relief else 1.45, "upper": 0.3 if relief else 1.95,
                 "relief_factor": 1.0 if relief else 1.67, "neck_tau": [7.0, 19.0, 60.0], "top_tau": None,
                 "saddle_factor": 0.0, "place": f"home:{place}"}
            )  # fmt: skip
    with database.write({"now": NIGHT}) as session:
        for start in range(0, len(instruments), 1000):
            session.execute(insert(Instrument), instruments[start : start + 1000])
        for start in range(0, len(watched), 1000):
            session.execute(insert(WatchedQuantity), watched[start : start + 1000])


class Nights:
    """Lets the worker do its night's work again and again, a day later each time."""

    def __init__(self, database: Database, clock: FixedClock) -> None:
        self.database, self.clock = database, clock
        self.config = Config(secret=SECRET, database_url=str(database.engine.url), rate_per_minute=0)

    def one(self) -> float:
        """Return how long a night's work takes [s]."""
        self.clock.advance(timedelta(days=1))
        with self.database.write({"now": self.clock.now()}) as session:
            mark(session, LEARNING)
        began = now()
        every_night(self.database, self.config, self.clock)
        return now() - began

    def peak(self) -> float:
        """Return the most memory that a night's work holds beyond what was there [MB]."""
        tracemalloc.start()
        self.one()
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return peak / 1e6

    def reminders(self) -> int:
        """Count the open ones."""
        with self.database.read() as session:
            return int(
                session.scalar(select(func.count()).select_from(Reminder).where(Reminder.closed_at.is_(None)))
                or 0
            )


def test_thousands_of_instruments_in_one_night(
    database: Database, shop: Workshop, clock: FixedClock, figure: Callable[[str], None]
) -> None:
    nights = Nights(database, clock)
    nights.one()  # what changed while the shop was set up
    fill(database, shop, 0, SOME)
    nights.one()
    some_peak = nights.peak()
    fill(database, shop, SOME, FEW)
    few_first, few_again, few_peak = nights.one(), nights.one(), nights.peak()
    fill(database, shop, FEW, MANY)
    many_first, many_again = nights.one(), nights.one()
    made = nights.reminders()
    figure(
        f"{database.engine.dialect.name}: {MANY} instruments, {MANY * QUANTITIES} quantities: "
        f"{many_first:.1f} s when {made} reminders are made, {many_again:.1f} s when they stand "
        f"({few_first:.1f} and {few_again:.1f} s for {FEW}); "
        f"peak {few_peak:.0f} MB for {FEW}, {some_peak:.0f} MB for {SOME}"
    )
    assert made > MANY // 2
    assert many_again < 30.0  # seconds; a few when the machine is not shared
    assert many_again / few_again < 1.6 * MANY / FEW
    assert few_peak < 1.3 * some_peak
