"""Do two benches measure the same thing? A guided study over HTTP, and what it changes."""

from __future__ import annotations

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


def read_all(client: Client, study: dict[str, Any], values: Any, unit: str = "mm") -> None:
    """Take every reading in the order that the service names; `values[piece, reader][trial]`."""
    for reader in range(len(study["readers"])):
        wanted = client.get(f"/v1/studies/{study['id']}/next?reader={reader}").get_json()
        while wanted is not None:
            value = values[wanted["piece"], reader][wanted["trial"] - 1]
            answer = client.post(
                f"/v1/studies/{study['id']}/readings",
                json={"number": wanted["number"], "value": {"value": value, "unit": unit}},
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
    study = begin(shop.manager, benches, 10, quantity="intonation", trials=3)
    assert (study["readings"], study["taken"]) == (90, 0)
    read_all(shop.manager, study, values, "cents")
    ended = shop.manager.post(f"/v1/studies/{study['id']}/end", json={})
    assert (ended.status_code, ended.get_json()["state"]) == (200, "ended")
    told = shop.manager.get(f"/v1/studies/{study['id']}/agreement").get_json()
    anova, ranges = told["methods"]
    assert (anova["method"], ranges["method"]) == ("anova", "average-range")
    # the answer is told to a hundredth of a cent
    assert ranges["repeatability"]["value"] == pytest.approx(published("average_range", "EV"), abs=0.0051)
    assert ranges["reproducibility"]["value"] == pytest.approx(published("average_range", "AV"), abs=0.0051)
    assert ranges["agreement"]["value"] == pytest.approx(published("average_range", "GRR"), abs=0.0051)
    assert ranges["pieces"]["value"] == pytest.approx(published("average_range", "PV"), abs=0.0051)
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
    expected = bench_agreement(table, tolerance=0.2).bench_repeatability[0]
    assert repeatability() == pytest.approx(expected, abs=0.0005)
    assert expected == pytest.approx(0.0424, abs=0.0001)
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


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"pieces": [{"name": "one"}]}, "/pieces"),
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
    answer = shop.manager.post("/v1/studies", json=body)
    assert answer.status_code == 422
    assert where in pointers(answer)
