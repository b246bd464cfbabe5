"""The acceptance cases as a shop would enter them, through HTTP."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import uuid4

from shimstock_server.clock import FixedClock
from tests.server.clients import Client
from tests.server.workshop import mm

Plain = dict[str, Any]

SIXTYFOURTH = 25.4 / 64
SHOP = {"name": "The Test Bench", "zone": "Europe/Berlin", "opening_hours": []}


def told(answer: Any, status: int = 200) -> Plain:
    """The body of an answer that must have this status."""
    assert answer.status_code == status, answer.get_data(as_text=True)
    body: Plain = answer.get_json()
    return body


@dataclass
class CaseShop:
    """One case, entered."""

    manager: Client
    bench: Client
    clock: FixedClock
    case: Plain
    job: Plain
    tools: dict[str, str]

    def plan(self, query: str = "") -> Plain:
        """The plan of the job as it is answered."""
        return told(self.bench.open("GET", f"/v1/jobs/{self.job['id']}/recommendation{query}"))

    def read(self, readings: list[Plain], stage: str = "as-received", **more: Any) -> Plain:
        """Post readings at the moment that the clock shows."""
        body = {
            "id": str(uuid4()),
            "stage": stage,
            "taken_at": self.clock.now().isoformat(),
            "at_pitch": True,
            "looked_over": True,
            "readings": [self.sent(reading) for reading in readings],
            **more,
        }
        return told(self.bench.open("POST", f"/v1/jobs/{self.job['id']}/reading-sheets", json=body), 201)

    def adjust(self, part: str, **what: Any) -> Plain:
        """Say what was done at the moment that the clock shows."""
        body = {
            "id": str(uuid4()),
            "claim": self.job["claim"]["id"],
            "done_at": self.clock.now().isoformat(),
            "part": part,
            **what,
        }
        return told(self.bench.open("POST", f"/v1/jobs/{self.job['id']}/adjustments", json=body), 201)

    def sent(self, reading: Plain) -> Plain:
        """A reading as it is typed at the bench."""
        body: Plain = {"quantity": reading["quantity"], "tool_id": self.tools[reading["tool"]]}
        for name in ("side", "string", "pickup", "fret", "held"):
            if name in reading:
                body[name] = reading[name]
        for name in ("method", "confirmed"):
            if name in reading:
                body[name] = reading[name]
        if reading.get("zero_or_less"):
            return body | {"zero_or_less": True}
        value = reading["value"]
        if "1/64" in reading["tool"]:
            return body | {"value": {"value": round(value / SIXTYFOURTH, 6), "unit": "in/64"}}
        unit = "cents" if reading["quantity"] == "intonation" else "mm"
        return body | {"value": {"value": value, "unit": unit}}


def enter(manager: Client, bench: Client, clock: FixedClock, case: Plain) -> CaseShop:
    """Enter a case: catalogue, spec, instrument, job, consents and readings."""
    ids: dict[str, str] = {}

    def add(path: str, body: Plain, method: str = "POST") -> str:
        answer = manager.open(method, path, json=body)
        assert answer.status_code in (200, 201), answer.get_data(as_text=True)
        return str(answer.get_json().get("id", ""))

    add("/v1/shop", SHOP, "PUT")
    tools: dict[str, str] = {}
    for reading in case["readings"]:
        if reading["tool"] not in tools:
            unit = "cents" if reading["quantity"] == "intonation" else "mm"
            tools[reading["tool"]] = add(
                "/v1/tools",
                {
                    "name": reading["tool"],
                    "quantities": sorted(
                        {each["quantity"] for each in case["readings"] if each["tool"] == reading["tool"]}
                    ),
                    "resolution": {"value": reading["resolution"], "unit": unit},
                    "repeatability": {"value": reading["repeatability"], "unit": unit},
                },
            )
    given = case["instrument"]
    ids["tuning"] = add(
        "/v1/tunings", {"name": "Tuning", "notes": [string["note"] for string in given["strings"]]}
    )
    ids["strings"] = add("/v1/string-sets", string_set("Fitted", given["strings"]))
    sets = {"Fitted": ids["strings"]}
    for other in [*case.get("other_sets", []), case.get("wanted", {}).get("strings")]:
        if other is not None and other["name"] not in sets:
            sets[other["name"]] = add("/v1/string-sets", string_set(other["name"], other["strings"]))
    ids["model"] = add(
        "/v1/instrument-models",
        model(given) | {"string_set_id": ids["strings"], "tuning_id": ids["tuning"]},
    )
    add(f"/v1/setup-specs/shop/{given['kind']}", {"items": [spec_item(each) for each in case["spec"]]}, "PUT")
    ids["owner"] = add("/v1/owners", {"name": "Robin Example"})
    ids["instrument"] = add(
        "/v1/instruments", {"model_id": ids["model"], "owner_id": ids["owner"], **own(given)}
    )
    wanted = case.get("wanted", {})
    wants: Plain = {"restring": bool(wanted.get("restring"))}
    if wanted.get("strings"):
        wants["string_set_id"] = sets[wanted["strings"]["name"]]
    consents = [
        {"covers": "general", "given": consent["given"], "given_by": "the owner", "how": "in-person"}
        for consent in case.get("consents", [])
    ]
    job = told(
        manager.open(
            "POST",
            "/v1/jobs",
            json={"instrument_id": ids["instrument"], "wants": wants, "consents": consents},
        ),
        201,
    )
    job = told(
        manager.open(
            "POST", f"/v1/jobs/{job['id']}/moves", json={"to": "queued"}, etag=f'"{job["version"]}.mm"'
        )
    )
    job = told(bench.open("POST", "/v1/jobs/claims", json={}))
    entered = CaseShop(manager, bench, clock, case, job, tools)
    for adjustment in case.get("adjustments", []):
        entered.adjust(adjustment["part"])
    start = clock.now()
    for minutes in sorted({reading.get("at", 0.0) for reading in case["readings"]}):
        clock.advance(start + timedelta(minutes=minutes) - clock.now())
        together = [reading for reading in case["readings"] if reading.get("at", 0.0) == minutes]
        seen: set[tuple[Any, ...]] = set()
        for reading in together:  # one reading of a place on a sheet
            place = tuple(str(reading.get(name)) for name in ("quantity", "side", "string", "pickup"))
            if place in seen:
                entered.read([reading])
                together = [each for each in together if each is not reading]
            seen.add(place)
        findings = case.get("findings", []) if minutes == 0 else []
        entered.read(together, findings=[{"code": finding["code"]} for finding in findings])
    return entered


def string_set(name: str, strings: list[Plain]) -> Plain:
    """A string set as it is sent."""
    return {
        "name": name,
        "built_for": "steel",
        "strings": [
            {
                "number": string["number"],
                "gauge": mm(string["gauge"]),
                "wound": string["wound"],
                "linear_density": {"value": string["linear_density"], "unit": "g/m"},
            }
            for string in strings
        ],
    }


def spec_item(item: Plain) -> Plain:
    """A line of a spec as it is sent."""
    unit = "cents" if item["quantity"] == "intonation" else "mm"
    body: Plain = {"quantity": item["quantity"]}
    for name in ("target", "lower", "upper"):
        if item[name] is not None:
            body[name] = {"value": item[name], "unit": unit}
    return body | {name: item[name] for name in ("side", "string", "held", "fret") if name in item}


def model(given: Plain) -> Plain:
    """An instrument model as it is sent."""
    bridge: Plain = {"kind": given["bridge"]["kind"]}
    for name, value in given["bridge"].items():
        if name in ("post_spacing", "string_spread"):
            bridge[name] = mm(value)
        elif name in ("height_thread_pitch", "intonation_screw_pitch"):
            bridge[name] = {"value": value, "unit": "mm/turn"}
        elif name in ("screws_per_saddle", "intonation_screw_head", "springs"):
            bridge[name] = value
    rod: Plain = {"kind": given["rod"]["kind"]}
    if "wrench_end" in given["rod"]:
        rod["wrench_end"] = given["rod"]["wrench_end"]
    return {
        "maker": "Alder & Finch",
        "name": "Heron",
        "kind": given["kind"],
        "strings": len(given["strings"]),
        "scale_bass": mm(given["scale_bass"]),
        "scale_treble": mm(given["scale_treble"]),
        "frets": given["frets"],
        "body_joint_fret": given["body_joint_fret"],
        "radius_nut": mm(given["radius_nut"]),
        "radius_body_end": mm(given["radius_end"]),
        "bridge": bridge,
        "truss_rod": rod,
        "pickups": [
            {
                "name": pickup["name"],
                "screw": pickup["screw"],
                "thread_pitch": {"value": pickup["thread_pitch"], "unit": "mm/turn"},
            }
            for pickup in given.get("pickups", [])
        ],
    }


def own(given: Plain) -> Plain:
    """What is known of this one instrument: turns and travel left."""
    body: Plain = {}
    if "turns_left_loosen" in given["rod"]:
        body["truss_rod"] = {
            "turns_left_loosen": {"value": given["rod"]["turns_left_loosen"], "unit": "turn"}
        }
    if "travel_away" in given["bridge"]:
        body["bridge"] = {
            "travel_away": [
                {"string": int(string), "distance": mm(distance)}
                for string, distance in given["bridge"]["travel_away"].items()
            ]
        }
    return body
