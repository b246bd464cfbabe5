"""Instrument models: what is kept, what they lack, what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from shimstock_server.database.words import BridgeKind
from tests.server.clients import Client, code, pointers

from .bodies import BRIDGES, LIGHT, NYLON, STANDARD, TWO_POST, model, per_turn, quantity
from .conftest import Add

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


SADDLES = BRIDGES["individual-saddles"]


def test_a_model_is_kept_in_mm_and_as_typed(add: Add, client: Client) -> None:
    made = add("/v1/instrument-models", model())
    assert made["scale_bass"] == quantity(628.65)
    assert made["typed"]["scale_bass"] == quantity(24.75, "in")
    assert made["typed"]["bridge/height_thread_pitch"] == per_turn(1.25)
    inch = client.get(f"/v1/instrument-models/{made['id']}?units=inch").get_json()
    assert inch["scale_bass"] == quantity(24.75, "in")
    assert inch["radius_nut"] == quantity(12, "in")


def test_a_model_says_what_the_plan_will_lack(add: Add) -> None:
    made = add(
        "/v1/instrument-models",
        model(body_joint_fret=None, bridge={"kind": "two-post"}, scale_treble=quantity(600)),
    )
    assert [lack["field"] for lack in made["lacks"]] == [
        "body_joint_fret",
        "tuning_id",
        "perpendicular_fret",
        "bridge/post_spacing",
        "bridge/string_spread",
        "bridge/height_thread_pitch",
    ]
    assert all(lack["why"] for lack in made["lacks"])


def test_a_complete_model_lacks_nothing(add: Add) -> None:
    tuning = add("/v1/tunings", STANDARD)
    assert add("/v1/instrument-models", model(tuning_id=tuning["id"]))["lacks"] == []


@pytest.mark.parametrize("kind", list(BridgeKind))
def test_every_kind_of_bridge_keeps_what_it_has(add: Add, kind: BridgeKind) -> None:
    sent = BRIDGES[kind.value]
    made = add("/v1/instrument-models", model(bridge=sent))["bridge"]
    assert {field: made[field] for field in sent} == sent


@pytest.mark.parametrize(
    ("kind", "field", "value"),
    [
        ("fixed-saddle", "height_thread_pitch", per_turn(0.5)),
        ("fixed-saddle", "travel_away", [{"string": 1, "distance": quantity(1)}]),
        ("individual-saddles", "post_spacing", quantity(74)),
        ("two-post", "screws_per_saddle", 2),
        ("two-post", "saddle_total_height", {"bass": quantity(8), "treble": quantity(7)}),
        ("two-post", "springs", 3),
        ("paired-saddles", "undersaddle_pickup", True),
    ],
)
def test_a_bridge_does_not_take_what_its_kind_does_not_have(
    client: Client, kind: str, field: str, value: Any
) -> None:
    answer = client.post("/v1/instrument-models", json=model(bridge=BRIDGES[kind] | {field: value}))
    assert answer.status_code == 422
    assert pointers(answer) == [f"/bridge/{field}"]
    assert kind in answer.get_json()["errors"][0]["message"]


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"perpendicular_fret": 30}, "/perpendicular_fret"),
        ({"body_joint_fret": 23}, "/body_joint_fret"),
        ({"body_joint_fret": 3}, "/body_joint_fret"),
        ({"frets": 40}, "/frets"),
        ({"strings": 2}, "/strings"),
        ({"scale_bass": quantity(200)}, "/scale_bass/value"),
        ({"scale_bass": quantity(600)}, "/scale_bass"),
        ({"scale_treble": quantity(400)}, "/scale_treble"),
        ({"radius_body_end": None}, "/radius_body_end"),
        ({"radius_nut": None}, "/radius_nut"),
        ({"radius_body_end": quantity(200)}, "/radius_body_end"),
        ({"radius_nut": quantity(90)}, "/radius_nut/value"),
        ({"radius_nut": quantity(12, "cents")}, "/radius_nut/unit"),
        ({"built_for": "nylon", "kind": "acoustic-steel"}, "/built_for"),
        ({"kind": "harp"}, "/kind"),
        ({"courses": [[1, 2], [3, 4]]}, "/courses"),
        ({"bridge": TWO_POST | {"string_spread": quantity(80)}}, "/bridge/string_spread"),
        ({"bridge": {}}, "/bridge/kind"),
        ({"bridge": SADDLES | {"travel_away": [{"string": 7, "distance": quantity(1)}]}},
         "/bridge/travel_away/0/string"),
        ({"truss_rod": {"kind": "none", "wrench_end": "head"}}, "/truss_rod/wrench_end"),
        ({"truss_rod": {"kind": "single-action", "free_play": quantity(1, "turn")}}, "/truss_rod/free_play"),
        ({"neck_joint": {"kind": "set", "pocket_length": quantity(76)}}, "/neck_joint/pocket_length"),
        ({"nut": {"slot_widths": [{"string": 8, "width": quantity(1)}]}}, "/nut/slot_widths/0/string"),
        ({"pickups": [{"name": "bridge"}, {"name": "bridge"}]}, "/pickups/1/name"),
        ({"pickups": [{"name": "x", "screw": None, "thread_pitch": per_turn(1)}]}, "/pickups/0/thread_pitch"),
        ({"parts": [{"part": "neck"}, {"part": "neck"}]}, "/parts/1/part"),
        ({"colour": "red"}, "/colour"),
        ({"string_set_id": "01890a5d-ac96-774b-bcce-b302099a8057"}, "/string_set_id"),
    ],
)  # fmt: skip
def test_a_model_that_cannot_be_is_refused_with_the_field(
    client: Client, changes: dict[str, Any], pointer: str
) -> None:
    answer = client.post("/v1/instrument-models", json=model(**changes))
    assert answer.status_code == 422
    assert pointers(answer) == [pointer]
    assert client.get("/v1/instrument-models").get_json()["items"] == []


def test_all_bad_fields_are_named_at_once(client: Client) -> None:
    answer = client.post(
        "/v1/instrument-models",
        json=model(
            body_joint_fret=23, radius_nut=None, truss_rod={"kind": "none", "free_play": quantity(1, "turn")}
        ),
    )
    assert set(pointers(answer)) == {"/body_joint_fret", "/radius_nut", "/truss_rod/free_play"}


def test_known_woods_take_the_handbooks_name_and_others_stay(add: Add) -> None:
    parts = [
        {"part": "neck", "species": "SUGAR (hard) Maple", "finish": "Shellac", "coats": 2},
        {"part": "fingerboard", "species": "bog oak"},
    ]
    made = add("/v1/instrument-models", model(parts=parts))["parts"]
    # USDA Wood Handbook FPL-GTR-190 (2010), Table 4-3
    assert made[0] == {"part": "neck", "species": "sugar (hard) maple", "finish": "shellac", "coats": 2}
    assert made[1]["species"] == "bog oak"


def test_strings_and_tuning_fit_the_model(add: Add, client: Client) -> None:
    nylon, light = add("/v1/string-sets", NYLON), add("/v1/string-sets", LIGHT)
    short = add("/v1/tunings", {"name": "short", "notes": ["E4", "B3", "G3"]})
    classical = {
        "kind": "classical-nylon",
        "bridge": {"kind": "fixed-saddle"},
        "truss_rod": {"kind": "none"},
    }
    wrong = client.post("/v1/instrument-models", json=model(tuning_id=short["id"]))
    assert pointers(wrong) == ["/tuning_id"]
    steel = client.post("/v1/instrument-models", json=model(**classical, string_set_id=light["id"]))
    assert pointers(steel) == ["/string_set_id"]
    made = add("/v1/instrument-models", model(**classical, string_set_id=nylon["id"]))
    assert made["built_for"] == "nylon"


def test_a_change_keeps_the_rest_and_what_was_typed(add: Add, client: Client) -> None:
    made = add("/v1/instrument-models", model())
    path = f"/v1/instrument-models/{made['id']}"
    body = {"radius_nut": quantity(300), "radius_body_end": quantity(400), "notes": "compound now"}
    changed = client.patch(path, json=body, etag='"1.mm"').get_json()
    assert changed["version"] == 2
    assert changed["radius_body_end"] == quantity(400)
    assert changed["typed"]["scale_bass"] == quantity(24.75, "in")
    assert changed["typed"]["radius_nut"] == quantity(300)
    assert changed["bridge"] == made["bridge"]


def test_a_change_is_checked_against_what_stays(add: Add, client: Client) -> None:
    made = add("/v1/instrument-models", model())
    answer = client.patch(f"/v1/instrument-models/{made['id']}", json={"frets": 12}, etag='"1.mm"')
    assert pointers(answer) == ["/body_joint_fret"]


def test_models_are_found_by_kind_and_maker(add: Add, client: Client) -> None:
    add("/v1/instrument-models", model())
    add("/v1/instrument-models", model("Barque", kind="bass", strings=4, maker="Tallowmere"))
    bass = client.get("/v1/instrument-models?kind=bass").get_json()["items"]
    assert [row["name"] for row in bass] == ["Barque"]
    mine = client.get("/v1/instrument-models?maker=Brackwater").get_json()["items"]
    assert [row["name"] for row in mine] == ["Quillon"]
    assert client.get("/v1/instrument-models?kind=harp").status_code == 422


def test_a_maker_has_one_model_of_a_name(add: Add, client: Client) -> None:
    add("/v1/instrument-models", model())
    answer = client.post("/v1/instrument-models", json=model())
    assert (answer.status_code, code(answer)) == (409, "name-taken")
    add("/v1/instrument-models", model(maker="Tallowmere"))
