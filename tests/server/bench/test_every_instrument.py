"""Every kind of instrument, bridge and rod gets a plan over HTTP in the trade's order; common practice."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest

from shimstock_server.database.words import BridgeKind, Kind, RodKind
from tests import cases
from tests.depth import amount
from tests.server.clients import Client
from tests.server.workshop import mm

from .case_shop import SHOP, Plain, model, spec_item, string_set, told

pytestmark = pytest.mark.usefixtures("staff")

ORDER = (
    "look-over", "tune", "measure", "read-again", "relief", "settle", "fret-check", "nut", "action",
    "break-clearance", "pickups", "intonation", "final-readings",
)  # fmt: skip
ON_POSTS = {"two-post", "one-piece", "movable", "floating-tremolo", "locking-tremolo"}
STATES = {"in spec": (0.20, 1.7, 0.45), "high": (0.45, 2.4, 0.95), "low": (0.02, 1.2, 0.38)}


def bridge(kind: str) -> Plain:
    """A bridge of a kind, with all that its plan needs."""
    plain: Plain = {"kind": kind, "string_spread": 52.0}
    if kind in ON_POSTS:
        plain |= {"post_spacing": 74.0, "height_thread_pitch": 1.25}
    elif kind != "fixed-saddle":
        plain |= {"height_thread_pitch": 0.5, "screws_per_saddle": 1 if kind == "paired-saddles" else 2}
    if kind not in {"fixed-saddle", "movable"}:
        plain |= {"intonation_screw_pitch": 0.5, "intonation_screw_head": "tail"}
    return plain


def readings(state: str, *, fixed: bool) -> list[Plain]:
    """A sheet of an instrument in this state."""
    relief, action, nut = STATES[state]
    found: list[Plain] = [{"quantity": "relief", "value": mm(relief), "held": [1, 22], "fret": 9}]
    for side, less in (("bass", 0.0), ("treble", 0.2)):
        found += [
            {"quantity": "action", "side": side, "value": mm(round(action - less, 2))},
            {"quantity": "nut-action", "side": side, "value": mm(round(nut - less / 2, 2))},
        ]
        if fixed:
            found.append({"quantity": "saddle-out", "side": side, "value": mm(4.5)})
    return found


def check(plan: Plain, kind: str, state: str) -> None:
    """The trade's order, one change at a time, and no caution missing."""
    kinds = [step["kind"] for step in plan["steps"]]
    late = [each for each in kinds if each not in {"measure", "read-again", "tune"}]
    assert late == sorted(late, key=ORDER.index)
    now = [step for step in plan["steps"] if step["do_now"] and step["changes_instrument"]]
    assert len(now) <= 1
    relief = any(step["kind"] == "relief" for step in plan["steps"])
    for step in plan["steps"]:
        care = {caution["code"] for caution in step["cautions"]}
        for move in step["moves"]:
            turns = move["turns"]["value"] if move["turns"] else 0.0
            assert move["direction"] != "leave" or turns == 0.0
            if move["part"] == "truss-rod":
                assert 0 < abs(turns) <= 0.25
                assert (turns > 0) == (state == "high")
                assert {"rod", "rod-stop"} <= care
            if move["part"] == "bridge-post" and turns > 0:
                assert "posts-slacken" in care
                assert ("movable" in care) == (kind == "movable")
        if step["irreversible"]:
            assert {"irreversible", "dust"} <= care
            assert not (step["do_now"] and (relief or state == "low"))


@pytest.mark.parametrize("instrument", list(Kind))
def test_every_instrument_gets_a_plan_in_the_trades_order(
    client: Client, bench_client: Client, instrument: Kind
) -> None:
    """Every bridge with every rod in every state; in the usual run the kinds of instruments share them."""
    told(client.open("PUT", "/v1/shop", json=SHOP))
    strings = cases.LIGHT_10
    material = "nylon" if instrument is Kind.CLASSICAL_NYLON else "steel"
    fitted_set = string_set("Ten", strings) | {"built_for": material}
    for string in fitted_set["strings"]:
        string["material"] = material
    fitted = told(client.open("POST", "/v1/string-sets", json=fitted_set), 201)["id"]
    notes = [each["note"] for each in strings]
    tuning = told(client.open("POST", "/v1/tunings", json={"name": "Usual", "notes": notes}), 201)["id"]
    spec = [each for each in cases.electric_spec([1, 22], 9) if each["quantity"] != "pickup-height"]
    shares = amount(len(Kind), deep=1)
    all_of_them = list(product(BridgeKind, RodKind, STATES))
    for kind, rod, state in all_of_them[list(Kind).index(instrument) % shares :: shares]:
        given = cases.electric(628.65, 22, bridge(kind), {"kind": str(rod)}, kind=str(instrument))
        named: dict[str, Any] = {**model(given), "string_set_id": fitted, "tuning_id": tuning}
        described = {name: value for name, value in named.items() if name not in {"name", "maker"}}
        body = {
            "instrument": described,
            "spec": [spec_item(each) for each in spec],
            "readings": readings(state, fixed=kind == "fixed-saddle"),
            "consents": [{"covers": "general", "given": True}],
            "at_pitch": True,
            "looked_over": True,
        }
        plan = told(bench_client.open("POST", "/v1/recommendations", json=body))
        check(plan, str(kind), state)
        assert ("relief" in [step["kind"] for step in plan["steps"]]) == (
            state != "in spec" and rod is not RodKind.NONE
        )
