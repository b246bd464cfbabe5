"""A bench that is known to read too high: what is taken off its readings, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID, uuid4

import pytest

from shimstock_server.database.session import Database
from shimstock_server.database.tables.learning import ResponseSample
from shimstock_server.learning.messages import messages_of
from tests.server.clients import Client
from tests.server.workshop import mm

from .conftest import Shop
from .test_check_pieces import add, check
from .test_studies import begin, read_all

APART = 0.05
"""How much more the second bench reads than the first [mm]."""


@pytest.fixture
def second(shop: Shop) -> Client:
    """The key of a second bench, with a technician of its own."""
    bench = shop.workshop.add("second", "/v1/benches", {"name": "Second bench"})
    key = shop.workshop.add("key", "/v1/keys", {"name": "k", "scope": "bench", "bench_id": bench["id"]})
    who = shop.workshop.add("who", "/v1/technicians", {"name": "Second technician"})
    return Client(shop.bench.app, key["secret"], technician_id=UUID(who["id"]), bench_id=UUID(bench["id"]))


def study(shop: Shop, second: Client) -> None:
    """Both benches read three necks three times; the second reads 0.05 mm more."""
    feelers = shop.workshop.ids["feelers"]
    benches = [str(shop.bench.bench_id), str(second.bench_id)]
    made = begin(
        shop.manager, [], 3, readers=[{"bench_id": each, "tool_id": feelers} for each in benches], trials=3
    )
    values = {
        (piece, reader): [0.20 + 0.1 * piece + reader * APART + off for off in (-0.01, 0.0, 0.01)]
        for piece in range(3)
        for reader in range(2)
    }
    read_all(shop.manager, made, values)
    assert shop.manager.post(f"/v1/studies/{made['id']}/end", json={}).status_code == 200


def read(
    shop: Shop, client: Client, job: dict[str, Any], value: float, at: str | None = None
) -> dict[str, Any]:
    """Relief on the bass side with feelers."""
    reading = {
        "quantity": "relief", "side": "bass", "value": mm(value), "tool_id": shop.workshop.ids["feelers"]
    }  # fmt: skip
    body = {
        "id": str(uuid4()), "stage": "as-received", "taken_at": at or shop.now, "at_pitch": True,
        "looked_over": True, "readings": [reading],
    }  # fmt: skip
    answer = client.post(f"/v1/jobs/{job['id']}/reading-sheets", json=body)
    assert answer.status_code == 201, answer.get_data(as_text=True)
    told: dict[str, Any] = answer.get_json()
    return told


def plan(shop: Shop, job: dict[str, Any]) -> dict[str, Any]:
    told: dict[str, Any] = shop.bench.get(f"/v1/jobs/{job['id']}/recommendation").get_json()
    return told


def relief(told: dict[str, Any]) -> dict[str, Any]:
    return next(each for each in told["verdicts"] if each["quantity"] == "relief" and each["reading"])


def test_two_benches_agree_on_a_guitar_once_a_study_knows_them(shop: Shop, second: Client) -> None:
    """Relief 0.235 mm by the mean of both benches, limits 0.10 to 0.30, feelers of 0.03 mm."""

    def judged() -> list[dict[str, Any]]:
        found = []
        for client, value in ((shop.bench, 0.21), (second, 0.26)):
            job = shop.workshop.job()
            read(shop, client, job, value)
            found.append(plan(shop, job))
        return found

    without = [relief(each) for each in judged()]
    assert [each["verdict"] for each in without] == ["in spec", "too close to call"]
    assert [each["taken_off"]["value"] for each in without] == [0.0, 0.0]
    study(shop, second)
    plans = judged()
    first, other = (relief(each) for each in plans)
    assert [each["verdict"] for each in (first, other)] == ["in spec", "in spec"]
    assert first["value"]["value"] == pytest.approx(0.235, abs=6e-4)
    assert first["value"] == other["value"]
    assert first["probability"] == pytest.approx(other["probability"], abs=1e-9)
    # the offset's own uncertainty: repeats of 0.01 mm, 9 of each bench, hidden steps of 0.05 mm on 3 necks
    assert first["uncertainty"]["value"] == pytest.approx((0.05**2 / 12 / 3 + 0.05**2 / 12) ** 0.5, abs=6e-4)
    assert [each["taken_off"]["value"] for each in (first, other)] == [-0.025, 0.025]
    assert first["reason"] == "Feeler leaves at First bench reads 0.03 mm too low; added"
    assert other["reason"] == "Feeler leaves at Second bench reads 0.03 mm too high; taken off"
    notes = [each["text"] for each in plans[1]["notes"] if each["code"] == "bench-offset"]
    assert notes == [
        'Feeler leaves at Second bench reads relief 0.03 mm too high, by the study "Relief, first study"; '
        "taken off"
    ]
    assert notes[0] in plans[1]["text"]


def test_what_was_read_stays_as_typed_on_sheet_and_card(shop: Shop, second: Client) -> None:
    study(shop, second)
    job = shop.workshop.job()
    kept = read(shop, second, job, 0.26)
    assert kept["readings"][0]["value"]["value"] == 0.26
    path = f"/v1/jobs/{job['id']}"
    (reading,) = shop.bench.get(f"{path}/readings").get_json()["items"]
    assert reading["value"]["value"] == 0.26
    card = shop.bench.get(f"{path}/card").get_json()
    line = next(each for each in card["quantities"] if each["quantity"] == "relief")
    assert (line["before"]["value"]["value"], line["before"]["verdict"]) == (0.26, "in spec")
    (told,) = card["offsets"]
    assert "Second bench reads relief 0.03" in told
    page = shop.bench.get(f"{path}/card", headers={"Accept": "text/html"}).get_data(as_text=True)
    assert "Numbers are as read" in page


def test_a_job_stays_with_what_was_known_at_its_first_reading(shop: Shop, second: Client) -> None:
    job = shop.workshop.job()
    read(shop, second, job, 0.26)
    before = plan(shop, job)
    study(shop, second)
    after = plan(shop, job)
    assert (after["digest"], after["text"]) == (before["digest"], before["text"])
    shop.wait(5)
    read(shop, second, job, 0.27)
    assert relief(plan(shop, job))["taken_off"]["value"] == 0.0
    begun = shop.workshop.job()
    read(shop, second, begun, 0.26)
    kept = plan(shop, begun)
    piece = add(shop, bench_id=str(second.bench_id), repetitions=1)
    for _ in range(6):
        check(shop, piece, 1.20)
    again = plan(shop, begun)
    assert (again["digest"], again["text"]) == (kept["digest"], kept["text"])


def test_sheets_of_two_benches_merge_in_any_order(shop: Shop, second: Client) -> None:
    study(shop, second)
    sent: list[Callable[[dict[str, Any]], Any]] = [
        lambda job: read(shop, shop.bench, job, 0.21, at="2026-03-02T11:00:00Z"),
        lambda job: read(shop, second, job, 0.26, at="2026-03-02T11:10:00Z"),
        lambda job: read(shop, second, job, 0.25, at="2026-03-02T11:20:00Z"),
    ]
    found = []
    for order in ((0, 1, 2), (2, 1, 0), (1, 0, 2)):
        job = shop.workshop.job()
        for place in order:
            sent[place](job)
        told = plan(shop, job)
        found.append(({**relief(told), "reading": None}, told["text"]))
    assert found[0] == found[1] == found[2]
    assert found[0][0]["value"]["value"] == pytest.approx(0.2317, abs=1.5e-3)  # mean of 0.235, 0.235, 0.225


def test_a_request_that_says_the_same_of_its_tools_is_answered_the_same(shop: Shop, second: Client) -> None:
    study(shop, second)
    job = shop.workshop.job()
    reading = {"quantity": "relief", "side": "bass"}
    leaves = {"name": "Feeler leaves", "resolution": mm(0.05), "repeatability": mm(0.010541)}
    history = [("2026-03-02T11:00:00Z", shop.bench, 0.21, "a"), ("2026-03-02T11:10:00Z", second, 0.26, "b")]
    for at, client, value, _ in history:
        read(shop, client, job, value, at=at)
    kept = plan(shop, job)
    offset = {"offset_uncertainty": mm(0.00833333)}
    body = {
        "instrument": {"instrument_id": shop.workshop.ids["instrument"]},
        "tools": [
            leaves | offset | {"name": "a", "bench": "First bench", "offset": mm(-0.025)},
            leaves | offset | {"name": "b", "bench": "Second bench", "offset": mm(0.025)},
        ],
        "sheets": [
            {"taken_at": at, "readings": [reading | {"value": mm(value), "tool": tool}]}
            for at, _, value, tool in history
        ],
    }
    answer = shop.manager.post("/v1/recommendations", json=body)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    told = relief(answer.get_json())
    for name in ("value", "uncertainty", "verdict", "taken_off", "now", "tomorrow"):
        assert told[name] == relief(kept)[name]
    assert told["probability"] == pytest.approx(relief(kept)["probability"], abs=1e-4)
    assert told["reason"].endswith("b at Second bench reads 0.03 mm too high; taken off")
    # the shop's own tool at the bench of the key carries what is known of it
    own = {"taken_at": shop.now, "readings": [reading | {"value": mm(0.26)}]}
    own["tool_id"] = shop.workshop.ids["feelers"]
    asked = second.post("/v1/recommendations", json={"instrument": body["instrument"], "sheets": [own]})
    assert relief(asked.get_json())["taken_off"]["value"] == 0.025
    wrong = body | {"tools": [leaves | {"name": "a", "offset": {"value": 1, "unit": "cents"}}]}
    refused = shop.manager.post("/v1/recommendations", json=wrong | {"sheets": []})
    assert [each["pointer"] for each in refused.get_json()["errors"]] == ["/tools/0/offset/unit"]


def test_a_check_piece_tells_where_the_truth_lies_for_all_benches(shop: Shop, second: Client) -> None:
    """The first bench reads a block of 1.00 mm as 1.04; the second reads 0.05 mm more, so 0.09 too much."""
    piece = add(shop)
    for day in range(8):
        check(shop, piece, 1.04, 1.03 + 0.01 * (day % 3), 1.05)
    limits = shop.bench.get(f"/v1/check-pieces/{piece['id']}").get_json()["limits"]
    assert limits["bias"]["value"] == pytest.approx(0.04, abs=0.003)
    assert 0.0 < limits["bias_uncertainty"]["value"] < 0.05 / 12**0.5
    study(shop, second)
    bias = limits["bias"]["value"]
    for client, offset in ((shop.bench, bias), (second, bias + APART)):
        job = shop.workshop.job()
        read(shop, client, job, 0.30)
        found = relief(plan(shop, job))
        assert found["taken_off"]["value"] == pytest.approx(offset, abs=0.002)
        assert found["value"]["value"] == pytest.approx(0.30 - offset, abs=0.002)


def test_a_bench_that_no_study_saw_is_as_unsure_as_benches_differ(shop: Shop, second: Client) -> None:
    third = shop.workshop.add("third", "/v1/benches", {"name": "Third bench"})
    made = {"name": "third", "scope": "bench", "bench_id": third["id"]}
    key = shop.workshop.add("key", "/v1/keys", made)
    stranger = Client(
        shop.bench.app, key["secret"], technician_id=second.technician_id, bench_id=UUID(third["id"])
    )
    study(shop, second)
    job = shop.workshop.job()
    read(shop, stranger, job, 0.20)
    found = relief(plan(shop, job))
    # between two benches 0.05 mm apart: variance 0.05²/2, less what their repeats explain
    assert (found["taken_off"]["value"], found["value"]["value"]) == (0.0, 0.20)
    assert found["uncertainty"]["value"] == pytest.approx((0.05**2 / 2 + 0.03**2) ** 0.5, abs=6e-4)
    assert "how well this bench's offset is known" in found["uncertainty_source"]


def test_what_a_job_teaches_is_free_of_its_benches(shop: Shop, second: Client, database: Database) -> None:
    """Relief falls by 0.10 mm in a quarter turn; the second bench, which read it afterwards, shows 0.05."""
    study(shop, second)
    responses = []
    for after in (shop.bench, second):
        job = shop.job(shop.instrument())
        read(shop, shop.bench, job, 0.40)
        shop.wait(5)
        shop.turn(job, 0.25)
        shop.wait(600)
        read(shop, after, job, 0.30 if after is shop.bench else 0.30 + APART)
        shop.give_back(job)
        with database.read() as session:
            (row,) = (each for each in messages_of(session, [UUID(job["id"])]) if each["kind"] == "rod")
        responses.append(row["response"])
        assert row.keys() >= {each.name for each in ResponseSample.__table__.columns} - {"doubt"}
    assert responses[0] == responses[1] == pytest.approx(-0.40, abs=0.005)  # where relief is largest


def test_reports_count_what_benches_read_without_their_offsets(shop: Shop, second: Client) -> None:
    study(shop, second)
    job = shop.job(shop.instrument())
    read(shop, second, job, 0.26)
    shop.count()
    query = "first=2026-03-01&last=2026-03-31"
    path = f"/v1/reports/instrument-models/{shop.workshop.ids['model']}?{query}"
    told = shop.manager.get(path).get_json()
    stage = next(
        stage
        for each in told["quantities"]
        if each["quantity"] == "relief"
        for stage in each["stages"]
        if stage["stage"] == "as-received"
    )
    assert (stage["count"], stage["mean"]["value"], stage["in_spec"]) == (1, 0.235, 1)


def test_a_tool_that_drifted_is_told_at_the_next_reading(shop: Shop, second: Client) -> None:
    piece = add(shop, repetitions=2)
    job = shop.workshop.job()
    for _ in range(6):
        check(shop, piece, 1.00, 1.01)
    assert read(shop, shop.bench, job, 0.26)["drifts"] == []
    first = check(shop, piece, 1.10, 1.11)["day"]
    last = check(shop, piece, 1.12, 1.13)["day"]
    (told,) = read(shop, shop.bench, job, 0.26)["drifts"]
    assert (told["check_piece"], told["tool"], told["verdict"]) == (
        "block 1.00", "Feeler leaves", "reads high"
    )  # fmt: skip
    assert (told["since"], told["mean"]["value"]) == (first, 1.125)
    assert told["beyond"]["value"] == pytest.approx(
        told["mean"]["value"] - told["limit"]["value"], abs=0.0011
    )
    assert told["text"].startswith(
        f"Feeler leaves at First bench was out of its limits at its last check on {last}, as at every check "
        f'since {first}: it read "block 1.00" as 1.12 mm, '
    )
    assert "Check it on the piece again" in told["text"]
    # another bench's feelers, and a tool that no piece checks, are another matter
    assert read(shop, second, job, 0.26)["drifts"] == []
    check(shop, piece, 1.00, 1.01)
    assert read(shop, shop.bench, job, 0.26)["drifts"] == []
    check(shop, piece, 1.00, 1.20)
    (spread,) = read(shop, shop.bench, job, 0.26)["drifts"]
    assert spread["verdict"] == "repeats badly"
    assert "scattered by" in spread["text"]
