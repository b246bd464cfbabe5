"""From the last readings to ready: what moved is read again, what stands is not, and the card says which."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.server.clients import Client
from tests.server.workshop import intonation, mm

from .conftest import Session
from .test_card import of

Begin = Callable[..., Session]


def in_spec(session: Session) -> list[dict[str, Any]]:
    """Every quantity of the spec but intonation, in spec."""
    feelers, depth = session.workshop.ids["feelers"], session.workshop.ids["depth"]
    rows = [
        ("relief", "bass", 0.20, feelers),
        ("action", "bass", 1.70, depth),
        ("action", "treble", 1.50, depth),
        ("nut-action", "bass", 0.45, depth),
        ("nut-action", "treble", 0.38, depth),
    ]
    return [
        {"quantity": quantity, "side": side, "value": mm(value), "tool_id": tool}
        for quantity, side, value, tool in rows
    ]


def ready(session: Session, **more: Any) -> Any:
    """Ask for the move to ready."""
    now = session.bench.get(f"/v1/jobs/{session.id}")
    body = {"to": "ready", "claim": session.claim, **more}
    return session.bench.post(f"/v1/jobs/{session.id}/moves", json=body, etag=now.headers["ETag"])


def unread(answer: Any) -> set[tuple[str, str | None]]:
    """What a refusal names."""
    assert (answer.status_code, answer.get_json()["code"]) == (409, "final-readings-needed")
    return {(each["quantity"], each["side"]) for each in answer.get_json()["unread"]}


def test_what_nothing_has_moved_is_not_read_again(begin: Begin) -> None:
    session = begin()
    session.read([*in_spec(session), *intonation()], "as-received")
    session.move("final-check")
    assert session.card().get_json()["job"]["final"]
    assert ready(session).status_code == 200
    card = session.card().get_json()
    assert card["job"]["final"]
    assert of(card, "relief", "bass")["after"]["value"] == mm(0.2)


def test_a_final_sheet_holds_what_moved_and_the_rest_stands(begin: Begin) -> None:
    session = begin()
    session.read([*in_spec(session), *intonation()], "as-received")
    session.do("bridge-post", side="bass", turns={"value": -0.125, "unit": "turn"})
    session.move("final-check")
    moved = {
        ("action", "bass"), ("action", "treble"), ("nut-action", "bass"), ("nut-action", "treble"),
        ("intonation", None),
    }  # fmt: skip
    refused = ready(session)
    assert unread(refused) == moved
    assert "action, bass and treble side" in refused.get_json()["detail"]
    plan = session.bench.get(f"/v1/jobs/{session.id}/recommendation").get_json()
    (final,) = [step for step in plan["steps"] if step["kind"] == "final-readings"]
    assert {(each["quantity"], each["side"]) for each in final["readings_next"]} == moved
    assert not session.card().get_json()["job"]["final"]
    again = [each for each in in_spec(session) if each["quantity"] != "relief"]
    session.read([{**again[0], "value": mm(1.62)}, *again[1:], *intonation(0.4)], "final")
    assert ready(session).status_code == 200
    card = session.card().get_json()
    assert card["job"]["final"]
    # the reading itself, and beside it the chance by all that was read and done
    after = of(card, "action", "bass")["after"]
    assert after["value"] == mm(1.62)
    assert after["now"]["probability"] >= 0.95
    assert 0.0 < after["tomorrow"]["probability"] <= 1.0
    assert of(card, "relief", "bass")["after"]["value"] == mm(0.2)
    assert of(card, "relief", "bass")["before"]["now"] is None


def test_what_moved_after_its_last_reading_keeps_the_card_open(begin: Begin) -> None:
    session = begin()
    session.read([*in_spec(session), *intonation()], "final")
    session.do("saddle-position", string=3, turns={"value": 0.25, "unit": "turn"})
    session.move("final-check")
    assert unread(ready(session)) == {("intonation", None)}
    assert [each["string"] for each in ready(session).get_json()["unread"]] == [3]
    assert not session.card().get_json()["job"]["final"]
    session.read(intonation()[2:3], "final")
    assert session.card().get_json()["job"]["final"]
    assert ready(session).status_code == 200


def test_ready_with_a_reason_does_not_stand_above_provisional(begin: Begin, client: Client) -> None:
    session = begin()
    session.read([*in_spec(session), *intonation()], "as-received")
    session.do("bridge-post", side="bass", turns={"value": -0.125, "unit": "turn"})
    session.move("final-check")
    assert "Provisional" in session.card(accept="text/html").get_data(as_text=True)
    assert ready(session, reason="the owner is in a hurry").status_code == 200
    link = client.post(f"/v1/jobs/{session.id}/card-links", json={})
    assert link.status_code == 201, link.get_data(as_text=True)
    owners = client.get(link.get_json()["path"]).get_data(as_text=True)
    assert "It is ready. Come and get it." in owners
    for page in (owners, session.card(accept="text/html").get_data(as_text=True)):
        assert "Provisional" not in page
        assert "Not everything was read again after the last work" in page
    card = session.card().get_json()
    assert not card["job"]["final"]
    told = [text for text in card["left"] if "older than the last adjustment" in text]
    assert len(told) == len(intonation()) + 4


def test_a_shop_that_reads_everything_at_the_end_waits_for_all_of_it(begin: Begin, client: Client) -> None:
    shop = client.get("/v1/shop")
    changed = client.patch("/v1/shop", json={"everything_at_the_end": True}, etag=shop.headers["ETag"])
    assert changed.status_code == 200
    session = begin()
    session.read([*in_spec(session), *intonation()], "as-received")
    session.move("final-check")
    assert not session.card().get_json()["job"]["final"]
    assert ("relief", "bass") in unread(ready(session))
    session.read(intonation(), "final")
    assert unread(ready(session)) == {(each["quantity"], each["side"]) for each in in_spec(session)}
    session.read(in_spec(session), "final")
    assert ready(session).status_code == 200
    assert session.card().get_json()["job"]["final"]
