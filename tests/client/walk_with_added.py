"""A walk with a quantity and a kind of bridge that were added: sheet, plan, card, report and prompt.

No part of the usual run: `test_adding_to_the_trade.py` adds them to a copy, and runs this there.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.learning import rebuild
from tests.client.conftest import Command, Shop
from tests.server.workshop import mm, two_post_electric

IN_SPEC = (
    "relief bass 0.20 with feeler",
    "action bass 1.7 with depth",
    "action treble 1.5 with depth",
    "nut bass 0.47 with depth",
    "nut treble 0.38 with depth",
    *(f"intonation {string} 0.2" for string in range(1, 7)),
)


pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def test_a_quantity_from_the_sheet_to_the_report(
    shop: Shop, command: Command, database: Database, config: Config, tmp_path: Path
) -> None:
    model = shop.things.ids["model"]
    asked = {"quantity": "heel-gap", "target": mm(0.1), "lower": mm(0.0), "upper": mm(0.2)}
    shop.things.add("gap", f"/v1/instrument-models/{model}/setup-spec", {"items": [asked]}, "PUT")
    shop.things.queued_job()
    assert command("take").code == 0

    # the sheet, typed by its short name
    read = command("read", *IN_SPEC, "heel 0.4", "--looked-over", "--at-pitch")
    assert read.code == 0, read.err
    refused = command("read", "heel 40", "--at-pitch")
    assert "heel gap from 0 to 3 mm is plausible" in refused.err
    # the plan: judged, and moved by the shim, not by the rod
    plan = json.loads(command("plan", "--json").out)
    assert verdict(plan) == ("out of spec", 0.4, "mm")
    assert command("done", "rod", "tighten", "1/8", "--own").code == 0
    assert verdict(json.loads(command("plan", "--json").out))[1] == 0.4
    assert command("done", "shim", "0.3mm", "--own").code == 0
    told = command("plan").out
    assert "heel gap" in told
    assert verdict(json.loads(command("plan", "--json").out))[0] is None
    # the final check asks for it
    assert "heel gap" in " ".join(command("final-check").out.split())
    assert command("read", *IN_SPEC, "heel 0.1", "--at-pitch").code == 0
    # the card
    page = tmp_path / "card.html"
    ready = command("ready", "--page", str(page))
    assert ready.code == 0, ready.err
    card = page.read_text(encoding="utf-8")
    assert "Heel gap" in card
    assert (
        "between the neck&#39;s heel and the body" in card or "between the neck's heel and the body" in card
    )
    # the report
    rebuild(database, config, shop.clock)
    report = command("report", "Heron")
    assert report.code == 0, report.err
    assert "heel gap [mm]" in report.out
    assert "heel-gap" in command("prices").out


def test_a_kind_of_bridge_from_the_model_to_the_plan(shop: Shop, command: Command) -> None:
    ids = shop.things.ids
    strung = {"string_set_id": ids["strings"], "tuning_id": ids["tuning"]}
    model = two_post_electric("Rocker") | strung
    model["bridge"] |= {"kind": "rocker"}
    shop.things.add("model", "/v1/instrument-models", model)
    shop.things.add("instrument", "/v1/instruments", {"model_id": ids["model"], "owner_id": ids["owner"]})
    asked = {"quantity": "heel-gap", "target": mm(0.1), "lower": mm(0.0), "upper": mm(0.2)}
    shop.things.add("gap", f"/v1/instrument-models/{ids['model']}/setup-spec", {"items": [asked]}, "PUT")
    shop.things.queued_job()
    assert command("take").code == 0
    high = [text.replace("1.7", "2.6").replace("1.5", "2.4") for text in IN_SPEC]
    assert command("read", *high, "heel 0.1", "--looked-over", "--at-pitch").code == 0
    steps = json.loads(command("plan", "--json").out)["steps"]
    assert "rocker screw" in command("plan").out
    # turning them moves the heel too, as was said of the quantity: it is read once more at the end
    (last,) = [step["readings_next"] for step in steps if step["kind"] == "final-readings"]
    assert "heel-gap" in [each["quantity"] for each in last]
    # it stands on two posts, and springs hold it not
    assert command("done", "post", "bass", "lower", "1/8", "--own").code == 0
    refused = command("done", "claw", "tighten", "1/8", "--own")
    assert "this model's bridge (rocker) has no spring claw" in refused.err


def verdict(plan: dict[str, object]) -> tuple[str | None, float | None, str | None]:
    """Return the verdict on the added quantity, and what was read."""
    verdicts = plan["verdicts"]
    assert isinstance(verdicts, list)
    (found,) = [each for each in verdicts if each["quantity"] == "heel-gap"]
    value = found["value"] or {}
    return found["verdict"], value.get("value"), value.get("unit")
