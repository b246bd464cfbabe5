"""The card of a job through HTTP, on both databases."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4
from xml.etree import ElementTree as ET

import pytest

from shimstock_server.clock import FixedClock
from tests.server.clients import Client, code
from tests.server.workshop import Workshop, case_one_readings, mm

from .conftest import ROOM, Session

Begin = Callable[..., Session]


def of(
    card: dict[str, Any], quantity: str, side: str | None = None, string: int | None = None
) -> dict[str, Any]:
    """One item of a card."""
    return next(
        item
        for item in card["quantities"]
        if (item["quantity"], item["side"], item["string"]) == (quantity, side, string)
    )


@pytest.fixture
def finished(begin: Begin) -> Session:
    """The first acceptance case, measured at its end."""
    session = begin(
        consents=[
            {"covers": "nut-filing", "given": False, "given_by": "Robin Example", "how": "phone"},
            {"covers": "general", "given": True, "given_by": "Robin Example", "how": "in-person"},
        ]
    )
    session.finish()
    return session


def test_before_and_after_stand_side_by_side(finished: Session) -> None:
    card = finished.card().get_json()
    relief = of(card, "relief", "bass")
    assert (relief["before"]["value"], relief["after"]["value"]) == (mm(0.45), mm(0.2))
    assert (relief["before"]["verdict"], relief["after"]["verdict"]) == ("out of spec", "in spec")
    assert (relief["lower"], relief["target"], relief["upper"]) == (mm(0.1), mm(0.2), mm(0.3))
    action = of(card, "action", "treble")
    assert (action["before"]["value"], action["after"]["value"]) == (mm(1.9), mm(1.47))
    assert card["job"]["final"]
    assert card["job"]["owner"] == "Robin Example"
    assert card["job"]["received_on"] == "2026-03-02"
    assert card["job"]["room"]["relative_humidity"] == {"value": 46.0, "unit": "percent"}
    assert card["instrument"]["strings"].startswith("Light .009")


def test_what_was_done_and_refused_is_told(finished: Session) -> None:
    card = finished.card().get_json()
    done = [text.replace("\u00a0", " ") for text in card["done"]]
    assert done == ["Truss rod: tightened 5/8 turn, in 3 small steps", "Bridge: bass side lowered 1/8 turn"]
    assert [text[:34] for text in card["refused"]] == ["You said no to filing the nut slot"]
    assert any("string 3" in text and "too close" in text for text in card["left"])
    assert {"humidity", "cold"} <= {caution["code"] for caution in card["cautions"]}
    assert "technician's eye and hand decide" in card["judgement"]


def test_what_was_not_read_before_is_null(finished: Session) -> None:
    string = of(finished.card().get_json(), "intonation", string=1)
    assert string["before"]["value"] is None
    assert string["before"]["verdict"] is None
    assert string["after"]["verdict"] == "in spec"


def test_accept_chooses_data_page_or_picture(finished: Session) -> None:
    page = finished.card(accept="text/html")
    assert page.mimetype == "text/html"
    assert "style-src 'sha256-" in page.headers["Content-Security-Policy"]
    assert page.headers["Content-Language"] == "en"
    assert page.get_data(as_text=True).startswith("<!DOCTYPE html>")
    picture = finished.card(accept="image/svg+xml")
    assert picture.mimetype == "image/svg+xml"
    assert ET.fromstring(picture.data).get("role") == "img"
    data = finished.card()
    assert data.mimetype == "application/json"
    assert data.get_json()["picture"] == picture.get_data(as_text=True)
    assert len({answer.headers["ETag"] for answer in (page, picture, data)}) == 3


def test_the_owners_units_count_unless_the_request_names_others(
    finished: Session, workshop: Workshop, client: Client
) -> None:
    owner = f"/v1/owners/{workshop.ids['owner']}"
    changed = client.patch(owner, json={"units": "inch"}, etag=client.get(owner).headers["ETag"])
    assert changed.status_code == 200, changed.get_data(as_text=True)
    # 0.45 mm = 17.7 thousandths of an inch of 25.4 mm
    inch = finished.card()
    assert of(inch.get_json(), "relief", "bass")["before"]["value"] == {"value": 17.7, "unit": "thou"}
    assert inch.headers["ETag"].endswith('.inch"')
    assert "17.7 → 7.9" in finished.card(accept="image/svg+xml").get_data(as_text=True)
    metric = finished.card(query="?units=mm")
    assert of(metric.get_json(), "relief", "bass")["before"]["value"] == mm(0.45)
    assert metric.headers["ETag"].endswith('.mm"')


def test_an_unchanged_card_is_not_sent_again(finished: Session, clock: FixedClock) -> None:
    first = finished.card()
    clock.advance(timedelta(days=3))
    again = finished.bench.get(
        f"/v1/jobs/{finished.id}/card", headers={"If-None-Match": first.headers["ETag"]}
    )
    assert again.status_code == 304


def test_a_new_reading_makes_another_card(finished: Session) -> None:
    first = finished.card()
    finished.read([{"quantity": "relief", "side": "bass", "value": mm(0.25)}], "final")
    second = finished.card()
    assert second.headers["ETag"] != first.headers["ETag"]
    assert of(second.get_json(), "relief", "bass")["after"]["value"] == mm(0.25)


def test_the_newest_stands_in_for_a_final_reading_that_is_missing(begin: Begin) -> None:
    session = begin()
    session.read(case_one_readings(session.workshop), "as-received", room=ROOM)
    session.read([{"quantity": "relief", "side": "bass", "value": mm(0.30)}], "in-progress")
    card = session.card().get_json()
    relief = of(card, "relief", "bass")
    assert (relief["before"]["value"], relief["after"]["value"]) == (mm(0.45), mm(0.30))
    assert not card["job"]["final"]
    assert "Provisional" in session.card(accept="text/html").get_data(as_text=True)


def test_before_is_what_came_in_not_what_was_read_after_the_first_turn(begin: Begin) -> None:
    session = begin()
    session.read(case_one_readings(session.workshop), "as-received")
    session.do("truss-rod", turns={"value": 0.25, "unit": "turn"})
    session.read([{"quantity": "relief", "side": "bass", "value": mm(0.35)}], "as-received")
    relief = of(session.card().get_json(), "relief", "bass")
    assert (relief["before"]["value"], relief["after"]["value"]) == (mm(0.45), mm(0.35))


def test_a_corrected_sheet_does_not_stand(begin: Begin) -> None:
    session = begin()
    wrong = str(uuid4())
    session.read([{"quantity": "action", "side": "bass", "value": mm(3.2)}], "as-received", id=wrong)
    session.read([{"quantity": "action", "side": "bass", "value": mm(2.2)}], "as-received",
                 supersedes=wrong, supersedes_reason="misread by a millimetre")  # fmt: skip
    assert of(session.card().get_json(), "action", "bass")["before"]["value"] == mm(2.2)


def test_a_reading_older_than_the_adjustment_has_no_verdict_and_says_why(begin: Begin) -> None:
    session = begin()
    session.read(case_one_readings(session.workshop), "as-received")
    session.do("truss-rod", turns={"value": 0.25, "unit": "turn"})
    relief = of(session.card().get_json(), "relief", "bass")
    assert relief["before"]["verdict"] == "out of spec"
    assert relief["after"]["verdict"] is None
    assert relief["after"]["stale"]
    assert "older than the last adjustment" in relief["after"]["reason"]


def test_a_job_without_readings_has_a_card_that_says_so(begin: Begin) -> None:
    card = begin().card().get_json()
    assert card["summary"] == "Nothing has been read against the setup spec yet."
    assert card["done"] == []


def test_a_booked_job_without_an_instrument_has_no_card(workshop: Workshop, client: Client) -> None:
    booked = workshop.add("booked", "/v1/jobs", {"state": "booked", "owner_id": workshop.ids["owner"]})
    answer = client.get(f"/v1/jobs/{booked['id']}/card")
    assert answer.status_code == 409
    assert code(answer) == "instrument-unknown"


def test_an_erased_owner_is_not_named(finished: Session, workshop: Workshop, client: Client) -> None:
    owner = f"/v1/owners/{workshop.ids['owner']}"
    erased = client.post(f"{owner}/erasure", json={"force": True})
    assert erased.status_code in (200, 204), erased.get_data(as_text=True)
    text = finished.card(accept="text/html").get_data(as_text=True)
    assert "Robin Example" not in text
    assert finished.card().get_json()["job"]["owner"] is None


def test_quotes_stand_on_the_card_with_their_answer(finished: Session, client: Client) -> None:
    quotes = f"/v1/jobs/{finished.id}/quotes"
    made = client.post(quotes, json={"work": "Level and crown the frets", "amount": 180})
    assert made.status_code == 201, made.get_data(as_text=True)
    told = [text.replace("\u00a0", " ") for text in finished.card().get_json()["left"]]
    assert "Offered, still open: Level and crown the frets (180.00 EUR)." in told
    quote = f"{quotes}/{made.get_json()['id']}"
    answered = client.patch(
        quote, json={"approved": False, "answered_how": "phone"}, etag=made.headers["ETag"]
    )
    assert answered.status_code == 200, answered.get_data(as_text=True)
    told = [text.replace("\u00a0", " ") for text in finished.card().get_json()["refused"]]
    assert "You decided against: Level and crown the frets (180.00 EUR)." in told


def test_a_settling_neck_is_looked_at_again_and_a_ready_one_is_not(begin: Begin, clock: FixedClock) -> None:
    session = begin()
    session.read(case_one_readings(session.workshop), "as-received")
    session.do("truss-rod", turns={"value": 0.25, "unit": "turn"})
    session.move("settling", available_at=(clock.now() + timedelta(days=1)).isoformat())
    assert "still settling; we read it again from 3 March 2026" in " ".join(
        session.card().get_json()["next_look"]
    )


def test_a_ready_card_names_the_day_and_leaves_settling_to_the_owner(finished: Session) -> None:
    finished.move("final-check")
    finished.move("ready")
    card = finished.card().get_json()
    assert card["job"]["ready_on"] == "2026-03-02"
    told = " ".join(card["next_look"])
    assert "still settling" not in told
    assert "After a turn of its truss rod a neck moves on" in told


def test_what_cannot_be_reached_is_told_with_what_would_help(begin: Begin, workshop: Workshop) -> None:
    # the second acceptance case: back-bow, and a single-action rod with nothing left to loosen
    instrument = f"/v1/instruments/{workshop.ids['instrument']}"
    found = workshop.manager.get(instrument)
    changed = workshop.manager.patch(
        instrument,
        json={"truss_rod": {"turns_left_loosen": {"value": 0, "unit": "turn"}}},
        etag=found.headers["ETag"],
    )
    assert changed.status_code == 200, changed.get_data(as_text=True)
    session = begin()
    readings = [each for each in case_one_readings(workshop) if each["quantity"] != "relief"]
    session.read(
        [*readings, {"quantity": "relief", "side": "bass", "value": mm(-0.10), "method": "straightedge"}],
        "as-received",
    )
    told = session.card().get_json()["left"]
    assert any(text.startswith("What would help: ") for text in told), told


def test_readings_of_two_sheets_that_contradict_each_other_still_make_a_card(begin: Begin) -> None:
    session = begin()
    session.read([{"quantity": "relief", "side": "bass", "value": mm(1.4)}], "as-received")
    session.read(
        [
            {"quantity": "action", "side": "bass", "value": mm(0.6)},
            {"quantity": "nut-action", "side": "bass", "value": mm(0.1)},
        ],
        "as-received",
    )
    answer = session.card()
    assert answer.status_code == 200
    assert "cannot all be true of one string" in answer.get_json()["picture"]
