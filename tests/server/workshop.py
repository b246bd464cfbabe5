"""A small shop for the tests of the main job, set up through the service itself; every name is invented."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from .beginnings import Beginning
from .clients import Client

SPEC: dict[str, list[tuple[Any, ...]]] = {
    # quantity, side, target, lower, upper; common practice, no published source
    "electric": [
        ("relief", None, 0.20, 0.10, 0.30),
        ("action", "bass", 1.7, 1.45, 1.95),
        ("action", "treble", 1.5, 1.25, 1.75),
        ("nut-action", "bass", 0.45, 0.35, 0.60),
        ("nut-action", "treble", 0.35, 0.25, 0.50),
        ("intonation", None, 0.0, -3.0, 3.0),
    ]
}

GAUGES = (0.2286, 0.2794, 0.4064, 0.6096, 0.8128, 1.0668)
DENSITIES = (0.3222, 0.4813, 1.0183, 1.9352, 3.4383, 5.7570)
NOTES = ["E4", "B3", "G3", "D3", "A2", "E2"]


def mm(value: float) -> dict[str, Any]:
    """A length in mm."""
    return {"value": value, "unit": "mm"}


def spec_item(quantity: str, side: str | None, target: float, lower: float, upper: float) -> dict[str, Any]:
    """One item of a setup spec as it is sent."""
    unit = "cents" if quantity == "intonation" else "mm"
    item: dict[str, Any] = {"quantity": quantity}
    if side is not None:
        item["side"] = side
    for name, value in (("target", target), ("lower", lower), ("upper", upper)):
        item[name] = {"value": value, "unit": unit}
    if quantity == "relief":
        item |= {"held": [1, 22], "fret": 9}
    return item


@dataclass
class Workshop:
    """What stands in the shop, by id."""

    manager: Client
    ids: dict[str, str] = field(default_factory=dict)

    def add(self, name: str, path: str, body: dict[str, Any], method: str = "POST") -> dict[str, Any]:
        """Create something and remember its id."""
        answer = self.manager.open(method, path, json=body)
        assert answer.status_code in (200, 201), answer.get_data(as_text=True)
        made: dict[str, Any] = answer.get_json()
        if "id" in made:
            self.ids[name] = made["id"]
        return made

    def job(self, **more: Any) -> dict[str, Any]:
        """Check the instrument in."""
        return self.add("job", "/v1/jobs", {"instrument_id": self.ids["instrument"], **more})

    def queued_job(self, **more: Any) -> dict[str, Any]:
        """Check the instrument in and put it into the queue."""
        job = self.job(**more)
        answer = self.manager.open(
            "POST", f"/v1/jobs/{job['id']}/moves", json={"to": "queued"}, etag=f'"{job["version"]}.mm"'
        )
        assert answer.status_code == 200, answer.get_data(as_text=True)
        queued: dict[str, Any] = answer.get_json()
        return queued


def two_post_electric(name: str = "Heron") -> dict[str, Any]:
    """The model of the first acceptance case: a two-post bridge, scale 628.65 mm, joint at fret 16."""
    return {
        "maker": "Alder & Finch",
        "name": name,
        "kind": "electric",
        "strings": 6,
        "scale_bass": mm(628.65),
        "scale_treble": mm(628.65),
        "frets": 22,
        "body_joint_fret": 16,
        "radius_nut": mm(304.8),
        "radius_body_end": mm(304.8),
        "bridge": {
            "kind": "two-post",
            "post_spacing": mm(74),
            "string_spread": mm(52),
            "height_thread_pitch": {"value": 1.25, "unit": "mm/turn"},
            "intonation_screw_pitch": {"value": 0.5, "unit": "mm/turn"},
        },
        "truss_rod": {"kind": "single-action", "wrench_end": "head"},
    }


_SHOP: Beginning[dict[str, str]] = Beginning()


def set_up(manager: Client) -> Workshop:
    """Set up a shop with one model, one owner and one instrument."""
    service = manager.app.extensions["shimstock"]
    made = _SHOP.begin(service.database, lambda: through_the_service(manager).ids, now=service.clock.now())
    return Workshop(manager, dict(made))


def through_the_service(manager: Client) -> Workshop:
    """Set a shop up as its manager does, request by request."""
    shop = Workshop(manager)
    shop.add(
        "shop",
        "/v1/shop",
        {
            "name": "The Test Bench",
            "zone": "Europe/Berlin",
            "opening_hours": [{"weekday": day, "opens": "09:00", "closes": "18:00"} for day in range(1, 7)],
        },
        "PUT",
    )
    shop.add("feelers", "/v1/tools", {"name": "Feeler leaves", "quantities": ["relief", "nut-action"],
                                      "resolution": mm(0.05), "repeatability": mm(0.03)})  # fmt: skip
    shop.add("depth", "/v1/tools", {"name": "Depth gauge", "quantities": ["action", "nut-action"],
                                    "resolution": mm(0.01), "repeatability": mm(0.03)})  # fmt: skip
    shop.add("strings", "/v1/string-sets", {"name": "Light .009", "built_for": "steel", "strings": [
        {"number": number + 1, "gauge": mm(GAUGES[number]), "wound": number >= 3,
         "linear_density": {"value": DENSITIES[number], "unit": "g/m"}} for number in range(6)]})  # fmt: skip
    shop.add("tuning", "/v1/tunings", {"name": "Standard", "notes": NOTES})
    shop.add("model", "/v1/instrument-models", two_post_electric() | {
        "string_set_id": shop.ids["strings"], "tuning_id": shop.ids["tuning"]})  # fmt: skip
    shop.add(
        "spec",
        "/v1/setup-specs/shop/electric",
        {"items": [spec_item(*row) for row in SPEC["electric"]]},
        "PUT",
    )
    shop.add("owner", "/v1/owners", {"name": "Robin Example"})
    shop.add("instrument", "/v1/instruments", {"model_id": shop.ids["model"], "owner_id": shop.ids["owner"]})
    return shop


def sheet(readings: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """A sheet of readings taken at noon of the tests' day."""
    return {
        "id": str(uuid4()),
        "stage": "as-received",
        "taken_at": "2026-03-02T12:00:00Z",
        "at_pitch": True,
        "looked_over": True,
        "readings": readings,
        **more,
    }


def case_one_readings(shop: Workshop) -> list[dict[str, Any]]:
    """Relief 0.45, action 2.2 / 1.9, nut action 0.50 / 0.40, as the first acceptance case reads."""
    feelers, depth = shop.ids["feelers"], shop.ids["depth"]
    return [
        {"quantity": "relief", "side": "bass", "value": mm(0.45), "tool_id": feelers},
        {"quantity": "action", "side": "bass", "value": mm(2.2), "tool_id": depth},
        {"quantity": "action", "side": "treble", "value": mm(1.9), "tool_id": depth},
        {"quantity": "nut-action", "side": "bass", "value": mm(0.50), "tool_id": depth},
        {"quantity": "nut-action", "side": "treble", "value": mm(0.40), "tool_id": depth},
    ]


def intonation(cents: float = 0.2) -> list[dict[str, Any]]:
    """Intonation of all six strings."""
    return [
        {"quantity": "intonation", "string": string, "value": {"value": cents, "unit": "cents"}}
        for string in range(1, 7)
    ]
