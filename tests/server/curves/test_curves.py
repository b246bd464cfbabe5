"""The clearance map and the intonation curves of the demo shop's instruments."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from tests.house.files import CHECKOUT
from tests.server.demo_shop import DemoShop, at_targets, cents, mm

MODELS = [
    model["name"]
    for model in json.loads((CHECKOUT / "seed" / "models.json").read_text(encoding="utf-8"))[
        "instrument_models"
    ]
]
EVERY_MODEL = pytest.mark.parametrize("model", MODELS)

# Total pull of usual sets by kind and number of strings [N]; common practice, no published source.
PULL = {
    ("electric", 6): (330, 480), ("electric", 7): (450, 620), ("acoustic-steel", 6): (600, 800),
    ("acoustic-steel", 12): (900, 1250), ("classical-nylon", 6): (330, 480), ("bass", 4): (600, 900),
}  # fmt: skip


@pytest.fixture(scope="module")
def maps(demo_shop: DemoShop) -> dict[str, dict[str, Any]]:
    """The map and the curves of every demo model at the shop's targets."""
    found = {}
    for model in MODELS:
        instrument_id = demo_shop.set_up(model, intonation=True)
        found[model] = {
            "clearance": demo_shop.get(instrument_id, "clearance"),
            "intonation": demo_shop.get(instrument_id, "intonation"),
        }
    return found


def free(clearance: dict[str, Any]) -> Any:
    """Return the free force of every string and position [N]."""
    return np.array(
        [[each["free_force"]["value"] for each in string["positions"]] for string in clearance["strings"]]
    )


@EVERY_MODEL
def test_the_total_pull_is_that_of_a_usual_set(
    demo_shop: DemoShop, maps: dict[str, dict[str, Any]], model: str
) -> None:
    known = demo_shop.models[model]
    total = sum(string["tension"]["value"] for string in maps[model]["clearance"]["strings"])
    low, high = PULL[known["kind"], known["strings"]]
    assert low < total < high
    greatest = known["greatest_pull"]
    assert greatest is None or total < greatest["value"]


@EVERY_MODEL
def test_at_the_shops_targets_it_plays_freely_and_not_without_end(
    maps: dict[str, dict[str, Any]], model: str
) -> None:
    # forces are a judgement: a light touch is free everywhere, five newtons touch somewhere
    force = free(maps[model]["clearance"])
    assert force.min() > 0.25
    assert force.min() < 5.0
    # a string held higher up is nearer to its board only beyond: the low positions are the tight ones
    assert (force[:, 1:4].min(axis=1) < force[:, 12:15].min(axis=1)).all()


@EVERY_MODEL
def test_heights_come_out_as_they_were_read(
    demo_shop: DemoShop, maps: dict[str, dict[str, Any]], model: str
) -> None:
    strings = maps[model]["clearance"]["strings"]
    read = {
        (each["quantity"], each.get("side")): each["value"]["value"]
        for each in at_targets(demo_shop.models[model]["kind"])
    }
    treble, bass = strings[0], strings[-1]
    assert (treble["action"]["value"], bass["action"]["value"]) == pytest.approx(
        (read["action", "treble"], read["action", "bass"])
    )
    assert bass["relief"]["value"] == pytest.approx(read["relief", "bass"], abs=2e-3)
    actions = [string["action"]["value"] for string in strings]
    assert actions == sorted(actions)  # inner strings lie between the two sides
    # at rest, every string clears every fret
    assert all(
        position["free_amplitude"]["value"] > 0 for string in strings for position in string["positions"]
    )


@EVERY_MODEL
def test_saddles_are_suggested_where_a_technician_expects_them(
    maps: dict[str, dict[str, Any]], model: str
) -> None:
    strings = maps[model]["intonation"]["strings"]
    setbacks = {string["string"]: string["suggested_setback"]["value"] for string in strings}
    # common practice, no published source: a few mm behind the scale length
    assert all(0.8 < setback < 8.0 for setback in setbacks.values())
    assert len(strings) == len(maps[model]["clearance"]["strings"])
    for string in strings:
        assert abs(string["frets"][11]["suggested"]["value"]) < 3.0
        assert string["suggested_rms"]["value"] < 2.0
        # a note read sharp wants its saddle farther from the nut
        assert string["frets"][11]["now"]["value"] == pytest.approx(2.0, abs=0.01)
        assert string["saddle_move"]["value"] > 0


def test_saddles_step_back_within_plain_and_within_wound_strings(maps: dict[str, dict[str, Any]]) -> None:
    # common practice, no published source: the plain third of an electric stands far back, the wound fourth
    # comes forward again
    first, second, third, fourth, fifth, sixth = (
        string["suggested_setback"]["value"] for string in maps["Kessim"]["intonation"]["strings"]
    )
    assert first < second < third > fourth < fifth < sixth


def test_a_multi_scale_instrument_has_a_scale_for_each_string(maps: dict[str, dict[str, Any]]) -> None:
    scales = [each["scale_length"]["value"] for each in maps["Slantwise 7"]["clearance"]["strings"]]
    assert scales == pytest.approx(np.linspace(25.5 * 25.4, 26.5 * 25.4, 7).tolist(), abs=0.01)


def test_octave_pairs_pull_and_clear_by_themselves(maps: dict[str, dict[str, Any]]) -> None:
    strings = maps["Dozenfold"]["clearance"]["strings"]
    assert [string["note"] for string in strings[4:6]] == ["G3", "G4"]
    assert strings[4]["tension"]["value"] != strings[5]["tension"]["value"]
    assert len(strings) == 12


def test_a_harder_touch_leaves_less(demo_shop: DemoShop) -> None:
    instrument_id = demo_shop.set_up("Kessim")
    margins = [
        demo_shop.get(instrument_id, "clearance", f"?touch={touch}")["tightest"][0]["margin"]["value"]
        for touch in ("light", "usual", "hard")
    ]
    assert margins == sorted(margins, reverse=True)
    assert margins[2] < 0
    assert demo_shop.get(instrument_id, "clearance", "?touch=brutal", status=422)


def test_a_higher_action_clears_more(demo_shop: DemoShop) -> None:
    instrument_id = demo_shop.instrument("Kessim")
    job_id = demo_shop.job(instrument_id)
    demo_shop.read(job_id, at_targets("electric"))
    before = free(demo_shop.get(instrument_id, "clearance"))
    higher = [
        reading | {"value": mm(reading["value"]["value"] + 0.3)}
        for reading in at_targets("electric")
        if reading["quantity"] == "action"
    ]
    demo_shop.read(job_id, higher, taken_at="2026-03-02T11:30:00Z")
    after = demo_shop.get(instrument_id, "clearance")
    assert (free(after) > before).all()
    assert after["read_at"] == "2026-03-02T11:30:00Z"


def test_an_inner_string_that_was_read_counts_by_itself(demo_shop: DemoShop) -> None:
    instrument_id = demo_shop.instrument("Kessim")
    low = {"quantity": "action", "string": 3, "value": mm(1.2)}
    demo_shop.read(demo_shop.job(instrument_id), [*at_targets("electric"), low])
    found = demo_shop.get(instrument_id, "clearance")
    assert found["strings"][2]["action"] == mm(1.2)
    assert any(each["string"] == 3 for each in found["readings"])
    assert found["tightest"][0]["string"] == 3


def test_readings_of_an_earlier_job_count(demo_shop: DemoShop) -> None:
    instrument_id = demo_shop.set_up("Kessim")
    later = demo_shop.job(instrument_id)
    demo_shop.read(
        later, [{"quantity": "relief", "side": "bass", "value": mm(0.1)}], taken_at="2026-03-02T11:45:00Z"
    )
    found = demo_shop.get(instrument_id, "clearance")
    assert found["strings"][-1]["relief"] == mm(0.1)
    assert found["strings"][-1]["action"] == mm(1.7)


def missing(problem: dict[str, Any]) -> dict[str, str]:
    """Return what a problem says is to be read."""
    assert problem["code"] == "readings-missing"
    return {each["pointer"]: each["message"] for each in problem["errors"]}


def without(quantity: str, side: str | None = None) -> Iterator[dict[str, Any]]:
    """Yield the readings of an electric but some."""
    for reading in at_targets("electric"):
        if reading["quantity"] != quantity or side not in (None, reading.get("side")):
            yield reading


@pytest.mark.parametrize("what", ["clearance", "intonation"])
def test_what_is_to_be_read_is_named(demo_shop: DemoShop, what: str) -> None:
    instrument_id = demo_shop.instrument("Kessim")
    told = missing(demo_shop.get(instrument_id, what, status=409))
    assert told == {
        "/readings/relief": "not read yet",
        "/readings/action/bass": "not read yet",
        "/readings/action/treble": "not read yet",
        "/readings/nut-action/bass": "not read yet",
        "/readings/nut-action/treble": "not read yet",
    }
    demo_shop.read(demo_shop.job(instrument_id), list(without("action", "treble")))
    told = missing(demo_shop.get(instrument_id, what, status=409))
    assert told == {"/readings/action/treble": "not read yet"}


def test_why_a_reading_does_not_count(demo_shop: DemoShop) -> None:
    off_pitch = demo_shop.instrument("Kessim")
    demo_shop.read(demo_shop.job(off_pitch), at_targets("electric"), at_pitch=False)
    told = missing(demo_shop.get(off_pitch, "clearance", status=409))
    assert "off pitch" in told["/readings/action/bass"]

    touching = demo_shop.instrument("Kessim")
    nothing = {"quantity": "relief", "side": "bass", "zero_or_less": True}
    demo_shop.read(demo_shop.job(touching), [*without("relief"), nothing])
    told = missing(demo_shop.get(touching, "clearance", status=409))
    assert "notched straightedge" in told["/readings/relief"]
    straight = {"quantity": "relief", "side": "bass", "method": "straightedge", "value": mm(-0.1)}
    demo_shop.read(demo_shop.job(touching), [straight], taken_at="2026-03-02T11:20:00Z")
    assert demo_shop.get(touching, "clearance")["strings"][-1]["relief"] == mm(-0.1)


def test_what_an_adjustment_made_old_is_to_be_read_again(demo_shop: DemoShop) -> None:
    instrument_id = demo_shop.instrument("Kessim")
    job_id = demo_shop.job(instrument_id)
    demo_shop.read(job_id, at_targets("electric"))
    claim = claimed(demo_shop, job_id)
    turned = demo_shop.bench.post(
        f"/v1/jobs/{job_id}/adjustments",
        json={
            "id": "0193a5c0-0000-7000-8000-00000000c0de", "done_at": "2026-03-02T11:40:00Z",
            "part": "truss-rod", "turns": {"value": 0.25, "unit": "turn"}, "claim": claim, "plan": None,
        },
    )  # fmt: skip
    assert turned.status_code == 201, turned.get_data(as_text=True)
    told = missing(demo_shop.get(instrument_id, "clearance", status=409))
    assert "older than the last adjustment" in told["/readings/relief"]
    assert set(told) >= {"/readings/action/bass", "/readings/nut-action/bass"}


def claimed(demo_shop: DemoShop, job_id: str) -> str:
    """Put a job into the queue and take it; return the claim's id."""
    job = demo_shop.manager.get(f"/v1/jobs/{job_id}")
    moved = demo_shop.manager.post(
        f"/v1/jobs/{job_id}/moves", json={"to": "queued"}, etag=job.headers["ETag"]
    )
    assert moved.status_code == 200, moved.get_data(as_text=True)
    taken = demo_shop.bench.post(f"/v1/jobs/{job_id}/claim", json={})
    assert taken.status_code in (200, 201), taken.get_data(as_text=True)
    return str(taken.get_json()["claim"]["id"])


def test_without_a_reading_of_intonation_only_the_suggestion_is_told(demo_shop: DemoShop) -> None:
    instrument_id = demo_shop.set_up("Lantrel")
    string = demo_shop.get(instrument_id, "intonation")["strings"][0]
    assert string["saddle_move"] is None
    assert string["frets"][0]["now"] is None
    assert string["suggested_setback"]["value"] > 0


# M. B. Anderson & R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024): nylon strings of their guitar
# need 1.2 to 2.5 mm with the nut moved too; with the nut left alone a little more
def test_a_nylon_instruments_setbacks_are_near_the_published_ones(maps: dict[str, dict[str, Any]]) -> None:
    setbacks = [each["suggested_setback"]["value"] for each in maps["Lantrel"]["intonation"]["strings"]]
    assert min(setbacks) > 1.2
    assert max(setbacks) < 3.6


def test_inches(demo_shop: DemoShop) -> None:
    instrument_id = demo_shop.set_up("Kessim", intonation=True)
    clearance = demo_shop.get(instrument_id, "clearance", "?units=inch")
    assert clearance["strings"][0]["action"]["unit"] == "in/64"
    metric = demo_shop.get(instrument_id, "clearance")
    first = clearance["strings"][0]["positions"][1]["free_force"]
    assert first["unit"] == "lbf"
    assert first["value"] == pytest.approx(
        metric["strings"][0]["positions"][1]["free_force"]["value"] / 4.4482216, abs=6e-4
    )
    intonation = demo_shop.get(instrument_id, "intonation", "?units=inch")
    assert intonation["strings"][0]["suggested_setback"]["unit"] == "thou"


def test_an_answer_is_named_by_what_is_behind_it(demo_shop: DemoShop) -> None:
    instrument_id = demo_shop.set_up("Kessim")
    path = f"/v1/instruments/{instrument_id}/clearance"
    first = demo_shop.bench.get(path)
    again = demo_shop.bench.get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
    other = demo_shop.bench.get(path + "?touch=hard")
    assert other.headers["ETag"] != first.headers["ETag"]


def test_intonation_that_no_saddle_explains_is_told_string_by_string(demo_shop: DemoShop) -> None:
    instrument_id = demo_shop.instrument("Bargel")
    wild = {"quantity": "intonation", "string": 1, "value": cents(-60.0), "confirmed": True}
    demo_shop.read(demo_shop.job(instrument_id), [*at_targets("bass"), wild])
    found = demo_shop.get(instrument_id, "intonation")
    assert [each["string"] for each in found["not_known"]] == [1]
    assert "no saddle within 20 mm" in found["not_known"][0]["why"]
    assert [each["string"] for each in found["strings"]] == [2, 3, 4]
