"""Do two benches measure the same thing? A guided study over HTTP, and what it changes."""

from __future__ import annotations

import random
import threading
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Any
from uuid import UUID, uuid4

import pytest

from shimstock_calc.agreement import bench_agreement
from shimstock_server.clock import FixedClock
from shimstock_server.database.session import Database
from shimstock_server.database.tables.shop import Bench
from shimstock_server.learning.studies import drawn_order
from tests.reference import load
from tests.server.clients import Client, code, pointers
from tests.server.workshop import mm, sheet

from .conftest import Shop

ROWS = [(row["part"], row["operator"], float(row["value"])) for row in load.rows("gauge_rr_aiag")]


def published(method: str, quantity: str) -> float:
    return float(load.rows("gauge_rr_aiag_published", method=method, quantity=quantity)[0]["published"])


@pytest.fixture
def benches(shop: Shop, database: Database, clock: FixedClock) -> list[str]:
    """Three benches; the first is the one that the bench key stands on."""
    with database.write({"now": clock.now()}) as session:
        for name in ("Second bench", "Third bench"):
            session.add(Bench(name=name, active=True, skills=[]))
    found = shop.manager.get("/v1/benches").get_json()["items"]
    return [each["id"] for each in sorted(found, key=lambda each: each["name"])]


def begin(client: Client, benches: list[str], pieces: int = 2, **more: Any) -> dict[str, Any]:
    body: dict[str, Any] = {
        "name": "Relief, first study", "quantity": "relief",
        "pieces": [
            {"name": f"neck {n + 1}", "side": "bass", "held": [1, 22], "fret": 9} for n in range(pieces)
        ],
        "readers": [{"bench_id": bench} for bench in benches], "trials": 2, "seed": 7,
    } | more  # fmt: skip
    answer = client.post("/v1/studies", json=body)
    assert answer.status_code == 201, answer.get_data(as_text=True)
    study: dict[str, Any] = answer.get_json()
    return study


def take(client: Client, study: dict[str, Any], number: int, value: float) -> None:
    answer = client.post(f"/v1/studies/{study['id']}/readings", json={"number": number, "value": mm(value)})
    assert answer.status_code == 201, answer.get_data(as_text=True)


def read_all(
    client: Client, study: dict[str, Any], values: Any, unit: str = "mm", readers: Any = None
) -> None:
    """Take every reading in the order that the service names; `values[piece, reader][trial]`."""
    for reader in range(len(study["readers"])) if readers is None else readers:
        wanted = client.get(f"/v1/studies/{study['id']}/next?reader={reader}").get_json()
        while wanted is not None:
            value = values[wanted["piece"], reader][wanted["trial"] - 1]
            answer = client.post(
                f"/v1/studies/{study['id']}/readings",
                json={
                    "number": wanted["number"],
                    "value": {"value": value, "unit": unit},
                    "confirmed": True,
                },
            )
            assert answer.status_code == 201, answer.get_data(as_text=True)
            wanted = answer.get_json()["next"]
        assert client.get(f"/v1/studies/{study['id']}/next?reader={reader}").status_code == 204


def test_the_published_study_through_the_public_surface(shop: Shop, benches: list[str]) -> None:
    """AIAG, Measurement Systems Analysis, 4th ed. (2010), ch. III: 10 parts, 3 appraisers, 3 trials."""
    parts, operators = sorted({r[0] for r in ROWS}, key=int), sorted({r[1] for r in ROWS})
    values: dict[tuple[int, int], list[float]] = {}
    for part, operator, value in ROWS:
        values.setdefault((parts.index(part), operators.index(operator)), []).append(value)
    study = begin(shop.manager, benches, 10, quantity="pickup-height", trials=3)
    assert (study["readings"], study["taken"]) == (90, 0)
    read_all(shop.manager, study, values, "in")
    ended = shop.manager.post(f"/v1/studies/{study['id']}/end", json={})
    assert (ended.status_code, ended.get_json()["state"]) == (200, "ended")
    told = shop.manager.get(f"/v1/studies/{study['id']}/agreement").get_json()
    anova, ranges = told["methods"]
    assert (anova["method"], ranges["method"]) == ("anova", "average-range")
    for name, symbol in (("repeatability", "EV"), ("reproducibility", "AV"), ("agreement", "GRR"),
                         ("pieces", "PV")):  # fmt: skip
        found = ranges[name]["value"] / 25.4  # read in inches, told in mm
        assert found == pytest.approx(published("average_range", symbol), abs=1e-4), symbol
    assert ranges["percent_of_total"] == pytest.approx(published("average_range", "pGRR"), abs=0.01)
    assert ranges["classes"] == 5
    assert anova["percent_of_total"] == pytest.approx(27.86, abs=0.01)
    assert anova["classes"] == 4
    assert anova["interaction_pooled"] is True
    assert "usable with care" in told["words"][0]
    assert len(told["readings"]) == 90


def test_the_order_is_drawn_and_the_same_seed_draws_it_again() -> None:
    order = drawn_order(10, 3, 3, 42)
    assert order == drawn_order(10, 3, 3, 42)
    assert order != drawn_order(10, 3, 3, 43)
    assert sorted(map(tuple, order)) == sorted(
        (piece, reader, trial) for piece in range(10) for reader in range(3) for trial in range(3)
    )
    # nobody begins a trial before everybody has ended the one before
    trials = [trial for _, _, trial in order]
    assert trials == sorted(trials)
    by_reader = [[piece for piece, reader, trial in order if (reader, trial) == (0, n)] for n in range(3)]
    assert len({tuple(pieces) for pieces in by_reader}) > 1


@pytest.mark.parametrize("pieces", [2, 3, 10])
def test_nobody_reads_a_piece_twice_running(pieces: int) -> None:
    for seed in range(50):
        order = drawn_order(pieces, 3, 4, seed)
        for reader in range(3):
            own = [piece for piece, who, _ in order if who == reader]
            assert all(one != other for one, other in pairwise(own))


def test_whoever_reads_is_blind_to_earlier_values_and_keeps_to_the_order(
    shop: Shop, benches: list[str]
) -> None:
    study = begin(shop.bench, benches[:2])
    path = f"/v1/studies/{study['id']}"
    first = shop.bench.get(f"{path}/next?reader=0").get_json()
    taken = shop.bench.post(f"{path}/readings", json={"number": first["number"], "value": mm(0.4321)})
    assert taken.get_json()["next"]["number"] > first["number"]
    for address in (path, f"{path}/next?reader=1", f"{path}/next?reader=0", "/v1/studies"):
        assert "0.432" not in shop.bench.get(address).get_data(as_text=True)
    assert code(shop.bench.get(f"{path}/agreement")) == "study-open"
    again = shop.bench.post(f"{path}/readings", json={"number": first["number"], "value": mm(0.40)})
    assert code(again) == "not-the-next-reading"
    assert again.get_json()["next"] == taken.get_json()["next"]["number"]
    early = shop.bench.post(f"{path}/end", json={})
    assert (code(early), early.get_json()["left"]) == ("study-incomplete", 7)
    given_up = shop.bench.post(f"{path}/end", json={"abandon": True})
    assert given_up.get_json()["state"] == "abandoned"
    assert code(shop.bench.post(f"{path}/readings", json={"number": 1, "value": mm(0.4)})) == "study-ended"
    assert code(shop.bench.get(f"{path}/next?reader=0")) == "study-ended"
    assert code(shop.bench.post(f"{path}/end", json={})) == "study-ended"


def test_a_benchs_repeatability_counts_for_its_readings(
    shop: Shop, benches: list[str], bench_client: Client
) -> None:
    feelers = shop.workshop.ids["feelers"]
    own = str(bench_client.bench_id) if bench_client.bench_id else benches[0]
    readers = [own, *[bench for bench in benches if bench != own][:1]]
    job = shop.workshop.job()

    def repeatability() -> float | None:
        shop.wait(1)
        reading = {"quantity": "relief", "side": "bass", "value": mm(0.2), "tool_id": feelers}
        body = sheet([reading], taken_at=shop.now)
        answer = shop.bench.post(f"/v1/jobs/{job['id']}/reading-sheets", json=body)
        told = answer.get_json()["readings"][0]["repeatability"]
        return None if told is None else float(told["value"])

    assert repeatability() == 0.03  # the tool's own
    study = begin(
        shop.manager, [], 3, readers=[{"bench_id": each, "tool_id": feelers} for each in readers],
        tolerance=mm(0.2),
    )  # fmt: skip
    values = {
        (piece, reader): [0.20 + 0.1 * piece + off for off in offs]
        for piece in range(3)
        for reader, offs in enumerate([(-0.03, 0.03), (-0.01, 0.01)])
    }
    read_all(shop.manager, study, values)
    assert repeatability() == 0.03
    assert shop.manager.post(f"/v1/studies/{study['id']}/end", json={}).status_code == 200
    table = [[values[piece, reader] for reader in range(2)] for piece in range(3)]
    found = bench_agreement(table, tolerance=0.2)
    expected = found.bench_repeatability[0]
    assert repeatability() == pytest.approx(expected, abs=0.0005)
    assert expected == pytest.approx(0.0424, abs=0.0001)
    job = shop.workshop.job()  # one whose only reading is this one
    assert repeatability() == pytest.approx(expected, abs=0.0005)
    plan = shop.bench.get(f"/v1/jobs/{job['id']}/recommendation").get_json()
    verdict = next(each for each in plan["verdicts"] if each["quantity"] == "relief")
    whole = (expected**2 + found.offset_uncertainty**2) ** 0.5
    assert verdict["uncertainty"]["value"] == pytest.approx(whole, abs=0.0005)
    assert verdict["uncertainty_source"] == (
        'how well this bench repeats, by the study "Relief, first study"'
    )
    told = shop.manager.get("/v1/reports/bench-agreement").get_json()
    (short,) = told["studies"]
    assert short["percent_of_tolerance"] == pytest.approx(
        bench_agreement(table, tolerance=0.2).percent_of_tolerance, abs=0.01
    )
    assert "0." in " ".join(short["words"])
    assert "thou" in " ".join(
        shop.manager.get("/v1/reports/bench-agreement?units=inch").get_json()["studies"][0]["words"]
    )


def test_a_study_that_tells_nothing_cannot_end(shop: Shop, benches: list[str]) -> None:
    study = begin(shop.manager, benches[:2])
    read_all(shop.manager, study, {(p, r): [0.2, 0.2] for p in range(2) for r in range(2)})
    assert code(shop.manager.post(f"/v1/studies/{study['id']}/end", json={})) == "nothing-varies"
    assert shop.manager.get(f"/v1/studies/{study['id']}").get_json()["state"] == "open"


def table_of(values: dict[tuple[int, int], list[float]], pieces: int, readers: int) -> list[Any]:
    return [[values[piece, reader] for reader in range(readers)] for piece in range(pieces)]


def test_who_is_off_sick_does_not_keep_the_others_waiting(shop: Shop, benches: list[str]) -> None:
    dice = random.Random(5)
    values = {
        (piece, reader): [0.2 + 0.1 * piece + dice.gauss(0.01 * reader, 0.01) for _ in range(3)]
        for piece in range(3)
        for reader in range(3)
    }
    study = begin(shop.manager, benches, 3, trials=3, tolerance=mm(0.2))
    path = f"/v1/studies/{study['id']}"
    early = shop.manager.post(f"{path}/end", json={"as_it_stands": True})
    assert (code(early), "read every piece twice" in early.get_json()["detail"]) == ("study-incomplete", True)
    read_all(shop.manager, study, values, readers=(0, 2))
    for _ in range(4):  # the second bench reads a round and one piece more
        wanted = shop.manager.get(f"{path}/next?reader=1").get_json()
        take(shop.manager, study, wanted["number"], values[wanted["piece"], 1][wanted["trial"] - 1])
    waiting = shop.manager.post(f"{path}/end", json={})
    assert (code(waiting), waiting.get_json()["left"]) == ("study-incomplete", 5)
    assert shop.manager.post(f"{path}/end", json={"as_it_stands": True}).get_json()["state"] == "ended"
    told = shop.manager.get(f"{path}/agreement").get_json()
    two = {(piece, place): values[piece, reader] for piece in range(3) for place, reader in enumerate((0, 2))}
    expected = bench_agreement(table_of(two, 3, 2), tolerance=0.2)
    assert told["methods"][0]["percent_of_tolerance"] == pytest.approx(
        expected.percent_of_tolerance, abs=1e-6
    )
    assert told["words"][-1] == "Without Second bench, who did not read everything."
    assert [each["name"] for each in told["methods"][0]["readers"]] == ["First bench", "Third bench"]
    assert len(told["readings"]) == 22
    assert sum(each["judged"] for each in told["readings"]) == 18
    report = shop.manager.get("/v1/reports/bench-agreement").get_json()
    assert [len(each["repeats"]) for each in report["benches"]] == [1, 0, 1]


def test_a_round_that_nobody_could_end_is_left_out(shop: Shop, benches: list[str]) -> None:
    values = {(p, r): [0.2 + 0.1 * p, 0.21 + 0.1 * p, 0.3] for p in range(2) for r in range(2)}
    study = begin(shop.manager, benches[:2], 2, trials=3)
    for reader in range(2):
        for _ in range(5 - reader):
            path = f"/v1/studies/{study['id']}/next?reader={reader}"
            wanted = shop.manager.get(path).get_json()
            value = values[wanted["piece"], reader][wanted["trial"] - 1]
            take(shop.manager, study, wanted["number"], value)
    shop.manager.post(f"/v1/studies/{study['id']}/end", json={"as_it_stands": True})
    told = shop.manager.get(f"/v1/studies/{study['id']}/agreement").get_json()
    assert told["words"][-1] == "From 2 of 3 rounds: the others were not read by all."
    twice = {key: each[:2] for key, each in values.items()}
    expected = bench_agreement(table_of(twice, 2, 2)).variances.repeatability ** 0.5
    assert told["methods"][0]["repeatability"]["value"] == pytest.approx(expected, abs=0.0006)


def test_a_reading_sent_twice_is_one_and_two_readers_of_one_turn_are_told(
    shop: Shop, benches: list[str]
) -> None:
    study = begin(shop.bench, benches[:2])
    number = shop.bench.get(f"/v1/studies/{study['id']}/next?reader=0").get_json()["number"]
    body = {"id": str(uuid4()), "number": number, "value": mm(0.31)}
    path = f"/v1/studies/{study['id']}/readings"
    first = shop.bench.post(path, json=body)
    again = shop.bench.post(path, json=body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.get_json() == first.get_json()
    assert code(shop.bench.post(path, json=body | {"value": mm(0.32)})) == "id-taken"
    assert code(shop.bench.post(path, json=body | {"id": str(uuid4())})) == "not-the-next-reading"
    assert shop.bench.get(f"/v1/studies/{study['id']}").get_json()["taken"] == 1


def test_of_two_who_take_one_turn_at_once_one_has_it(shop: Shop, benches: list[str]) -> None:
    study = begin(shop.bench, benches[:2])
    start = threading.Barrier(4)

    def post(place: int) -> int:
        start.wait()
        number = study["first"]
        body = {"id": str(uuid4()), "number": number, "value": mm(0.3 + 0.01 * place)}
        return shop.bench.post(f"/v1/studies/{study['id']}/readings", json=body).status_code

    study["first"] = shop.bench.get(f"/v1/studies/{study['id']}/next?reader=0").get_json()["number"]
    with ThreadPoolExecutor(4) as hands:
        answers = sorted(hands.map(post, range(4)))
    assert answers == [201, 409, 409, 409]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_reading_that_nobody_would_believe_is_looked_at_twice(shop: Shop, benches: list[str]) -> None:
    study = begin(shop.bench, benches[:2])
    number = shop.bench.get(f"/v1/studies/{study['id']}/next?reader=0").get_json()["number"]
    path = f"/v1/studies/{study['id']}/readings"
    odd = shop.bench.post(path, json={"number": number, "value": mm(22)})
    assert (pointers(odd), "confirm it" in odd.get_data(as_text=True)) == (["/value/value"], True)
    ahead = {"number": number, "value": mm(0.2), "taken_at": "2026-03-03T12:00:00Z"}
    assert code(shop.bench.post(path, json=ahead)) == "clock-ahead"
    assert pointers(shop.bench.post(path, json={"number": 99, "value": mm(0.2)})) == ["/number"]
    assert (
        shop.bench.post(path, json={"number": number, "value": mm(22), "confirmed": True}).status_code == 201
    )


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_who_looks_again_sees_how_far_it_is_by_now(shop: Shop, benches: list[str]) -> None:
    study = begin(shop.bench, benches[:2])
    path = f"/v1/studies/{study['id']}"
    before = shop.bench.get(path)
    number = shop.bench.get(f"{path}/next?reader=0").get_json()["number"]
    take(shop.bench, study, number, 0.3)
    after = shop.bench.get(path, headers={"If-None-Match": before.headers["ETag"]})
    assert (after.status_code, after.get_json()["taken"]) == (200, 1)
    assert [each["here"] for each in after.get_json()["readers"]] == [True, False]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_two_technicians_at_one_bench_count_together(shop: Shop, benches: list[str]) -> None:
    second = shop.manager.post("/v1/technicians", json={"name": "Second technician"}).get_json()["id"]
    feelers = shop.workshop.ids["feelers"]
    readers = [
        {"bench_id": benches[0], "tool_id": feelers, "technician_id": each}
        for each in (str(shop.bench.technician_id), second)
    ]
    study = begin(shop.manager, [], 2, readers=readers)
    values = {(p, r): [0.2 + 0.1 * p, 0.2 + 0.1 * p + (0.02, 0.06)[r]] for p in range(2) for r in range(2)}
    read_all(shop.manager, study, values)
    shop.manager.post(f"/v1/studies/{study['id']}/end", json={})
    own = bench_agreement(table_of(values, 2, 2)).bench_repeatability
    job = shop.workshop.job()
    reading = {"quantity": "relief", "side": "bass", "value": mm(0.2), "tool_id": feelers}
    body = sheet([reading], taken_at=shop.now)
    told = shop.bench.post(f"/v1/jobs/{job['id']}/reading-sheets", json=body).get_json()["readings"][0]
    assert told["repeatability"]["value"] == pytest.approx((float((own**2).mean())) ** 0.5, abs=0.0006)
    assert told["repeatability_source"] == 'the study "Relief, first study"'


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_study_that_saw_no_spread_leaves_the_tools_own_figure(shop: Shop, benches: list[str]) -> None:
    feelers = shop.workshop.ids["feelers"]
    readers = [{"bench_id": each, "tool_id": feelers} for each in benches[:2]]
    study = begin(shop.manager, [], 2, readers=readers)
    read_all(shop.manager, study, {(p, r): [0.2 + 0.1 * p] * 2 for p in range(2) for r in range(2)})
    assert shop.manager.post(f"/v1/studies/{study['id']}/end", json={}).status_code == 200
    words = shop.manager.get(f"/v1/studies/{study['id']}/agreement").get_json()["words"]
    assert "a finer tool would tell more" in words[-1]
    job = shop.workshop.job()
    reading = {"quantity": "relief", "side": "bass", "value": mm(0.2), "tool_id": feelers}
    body = sheet([reading], taken_at=shop.now)
    told = shop.bench.post(f"/v1/jobs/{job['id']}/reading-sheets", json=body).get_json()["readings"][0]
    assert (told["repeatability"]["value"], told["repeatability_source"]) == (0.03, None)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"pieces": [{"name": "one"}]}, "/pieces"),
        ({"pieces": [{"name": "one"}, {"name": "One"}]}, "/pieces/1/name"),
        ({"pieces": [{"name": "a", "side": "bass", "string": 6}, {"name": "b"}]}, "/pieces/0/side"),
        ({"pieces": [{"name": "a", "instrument_id": "OURS", "fret": 30}, {"name": "b"}]}, "/pieces/0/fret"),
        (
            {"pieces": [{"name": "a", "instrument_id": "OURS", "pickup": "x"}, {"name": "b"}]},
            "/pieces/0/pickup",
        ),
        ({"readers": "ONE"}, "/readers"),
        ({"readers": "TWICE"}, "/readers/1"),
        ({"trials": 1}, "/trials"),
        ({"tolerance": {"value": 3, "unit": "cents"}}, "/tolerance/unit"),
        ({"tolerance": {"value": 0, "unit": "mm"}}, "/tolerance/value"),
        (
            {"readers": [{"bench_id": str(UUID(int=1))}, {"bench_id": str(UUID(int=2))}]},
            "/readers/0/bench_id",
        ),
        (
            {"pieces": [{"name": "a", "instrument_id": str(uuid4())}, {"name": "b"}]},
            "/pieces/0/instrument_id",
        ),
    ],
)
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_bad_study_is_refused(shop: Shop, benches: list[str], change: dict[str, Any], where: str) -> None:
    body = {
        "name": "n", "quantity": "relief", "pieces": [{"name": "a"}, {"name": "b"}],
        "readers": [{"bench_id": bench} for bench in benches[:2]],
    } | change  # fmt: skip
    if isinstance(body["readers"], str):
        body["readers"] = [{"bench_id": benches[0]}] * (1 if body["readers"] == "ONE" else 2)
    if body["pieces"][0].get("instrument_id") == "OURS":
        body["pieces"] = [
            piece | ({"instrument_id": shop.workshop.ids["instrument"]} if "instrument_id" in piece else {})
            for piece in body["pieces"]
        ]
    answer = shop.manager.post("/v1/studies", json=body)
    assert answer.status_code == 422
    assert where in pointers(answer)


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_two_open_studies_never_have_one_name(shop: Shop, benches: list[str]) -> None:
    study = begin(shop.manager, benches)
    again = {"name": study["name"].upper(), "quantity": "relief", "trials": 2,
             "pieces": [{"name": "a"}, {"name": "b"}],
             "readers": [{"bench_id": bench} for bench in benches]}  # fmt: skip
    refused = shop.manager.post("/v1/studies", json=again)
    assert (refused.status_code, pointers(refused)) == (422, ["/name"])
    assert shop.manager.post(f"/v1/studies/{study['id']}/end", json={"abandon": True}).status_code == 200
    assert shop.manager.post("/v1/studies", json=again).status_code == 201
