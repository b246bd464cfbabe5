"""A report takes an instrument as it went out: of each place the last reading, if nothing moved it since."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.learning import rebuild, work_off_marks
from tests.server.cards.conftest import Session
from tests.server.clients import Client
from tests.server.workshop import case_one_readings, intonation, mm, set_up


@pytest.fixture
def session(client: Client, bench_client: Client, clock: FixedClock) -> Session:
    """A job whose bridge was turned on the last evening of March, read before it, and ready in April."""
    workshop = set_up(client)
    clock.advance(datetime(2026, 3, 31, 12, tzinfo=UTC) - clock.now())
    session = Session(workshop, bench_client, clock)
    session.read([*case_one_readings(workshop), *intonation()], "as-received")
    session.do("bridge-post", side="bass", turns={"value": -0.5, "unit": "turn"})
    depth = workshop.ids["depth"]
    first = {"quantity": "action", "side": "bass", "value": mm(1.80), "tool_id": depth}
    session.read([first], "in-progress")
    session.do("bridge-post", side="bass", turns={"value": -0.125, "unit": "turn"})
    clock.advance(datetime(2026, 4, 1, 8, tzinfo=UTC) - clock.now())
    moved = [{**each, "value": mm(1.70)} for each in case_one_readings(workshop)[1:]]
    nut = [{**each, "value": mm(0.45)} for each in moved[2:]]
    session.read([*moved[:2], *nut, *intonation(0.4)], "final")
    session.move("final-check")
    return session


def counts(session: Session, first: str, last: str) -> dict[tuple[str, str], list[tuple[str, int, float]]]:
    """Stage, count and mean of each quantity and place."""
    model = session.workshop.ids["model"]
    answer = session.workshop.manager.get(f"/v1/reports/instrument-models/{model}?first={first}&last={last}")
    told: dict[str, Any] = answer.get_json()
    return {
        (each["quantity"], each["place"]): [
            (stage["stage"], stage["count"], stage["mean"]["value"]) for stage in each["stages"]
        ]
        for each in told["quantities"]
    }


def test_a_final_sheet_of_what_moved_leaves_nothing_out(
    session: Session, database: Database, config: Config, clock: FixedClock
) -> None:
    relief, action = ("relief", "bass"), ("action", "bass")
    in_april = counts(session, "2026-04-01", "2026-04-30")
    assert in_april[action] == [("final", 1, 1.70)]
    before = counts(session, "2026-03-01", "2026-03-31")
    # the job is not done: what was read as received may still be moved
    assert before[relief] == [("as-received", 1, 0.45)]
    session.move("ready")
    for count in (lambda: None, lambda: work_off_marks(database, config, clock),
                  lambda: rebuild(database, config, clock)):  # fmt: skip
        count()
        whole = counts(session, "2026-03-01", "2026-04-30")
        assert whole[relief] == [("as-received", 1, 0.45), ("final", 1, 0.45), ("kept", 1, 0.45)]
        assert whole[action] == [
            ("as-received", 1, 2.20), ("in-progress", 1, 1.80), ("final", 1, 1.70), ("kept", 1, 1.70),
        ]  # fmt: skip
        assert relief not in counts(session, "2026-04-01", "2026-04-30")
        in_march = counts(session, "2026-03-15", "2026-03-31")
        assert in_march[relief] == whole[relief]
        assert [stage for stage, *_ in in_march[action]] == ["as-received", "in-progress"]
    model = session.workshop.ids["model"]
    told = session.workshop.manager.get(f"/v1/reports/instrument-models/{model}?first=2026-01-01").get_json()
    # relief, two sides of action and of nut action, six strings
    assert told["returned"]["in_spec"] + told["returned"]["out_of_spec"] + told["returned"]["too_close"] == 11
    assert told["returned"]["out_of_spec"] == 1


def test_what_was_moved_after_its_last_reading_did_not_go_out_so(session: Session) -> None:
    session.move("on-bench")
    session.do("saddle-position", string=3, turns={"value": 0.25, "unit": "turn"})
    session.move("final-check")
    session.move("ready", reason="the owner waits")
    found = counts(session, "2026-03-01", "2026-04-30")
    assert "final" not in [stage for stage, *_ in found["intonation", "string 3"]]
    assert "final" in [stage for stage, *_ in found["intonation", "string 2"]]
