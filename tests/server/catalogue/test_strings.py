"""String sets and tunings: what is kept, what is computed, what is refused."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.server.clients import Client, code, pointers

from .bodies import LIGHT, NYLON, STANDARD, plain, quantity, wound
from .conftest import Add

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def test_a_plain_string_weighs_what_steel_of_its_gauge_does(add: Add) -> None:
    string = add("/v1/string-sets", LIGHT)["strings"][0]
    # cylinder of music wire, 7850 kg/m3 (ASM; from memory), d = 0.009 in = 0.2286 mm
    assert string["linear_density"] == quantity(round(7850e-3 * math.pi / 4 * 0.2286**2, 4), "g/m")
    assert string["linear_density_source"] == "computed"
    assert string["gauge"] == quantity(0.229)
    assert string["typed"] == {"gauge": quantity(9, "thou")}


def test_a_wound_string_weighs_core_and_wrap(add: Add) -> None:
    string = add("/v1/string-sets", LIGHT)["strings"][5]
    # hexagonal core: area sqrt(3)/2 s²; wrap: rho (pi w / 4)(2 sqrt(3) s + pi w); elementary geometry
    core, wrap = 18.5 * 0.0254, 10.32 * 0.0254
    area = math.sqrt(3) / 2 * core**2 + math.pi * wrap / 4 * (2 * math.sqrt(3) * core + math.pi * wrap)
    assert string["linear_density"]["value"] == pytest.approx(7.850 * area, abs=1e-4)


def test_a_stated_linear_density_goes_before_a_computed_one(add: Add) -> None:
    first = plain(1, 9) | {"linear_density": quantity(0.33, "g/m")}
    made = add("/v1/string-sets", LIGHT | {"strings": [first, *LIGHT["strings"][1:]]})
    assert made["strings"][0]["linear_density"] == quantity(0.33, "g/m")
    assert made["strings"][0]["linear_density_source"] == "stated"


def test_a_string_that_nothing_is_known_of_stays_unknown(add: Add) -> None:
    strings = [{"number": n, "gauge": quantity(0.7), "material": "nylon"} for n in (1, 2, 3)]
    made = add("/v1/string-sets", {"name": "three of nylon", "built_for": "nylon", "strings": strings})
    assert {string["linear_density_source"] for string in made["strings"]} == {"unknown"}
    assert made["strings"][0]["linear_density"] is None


def test_gauges_are_told_in_thousandths_to_whom_thinks_in_inches(add: Add, client: Client) -> None:
    made = add("/v1/string-sets", LIGHT)
    told = client.get(f"/v1/string-sets/{made['id']}?units=inch").get_json()
    assert told["strings"][5]["gauge"] == quantity(42, "thou")
    assert told["strings"][5]["core"] == quantity(18.5, "thou")


def change(n: int, **fields: Any) -> dict[str, Any]:
    strings = [dict(string) for string in LIGHT["strings"]]
    strings[n] |= fields
    return LIGHT | {"strings": strings}


@pytest.mark.parametrize(
    ("body", "pointer", "words"),
    [
        (change(1, number=1), "/strings/1/number", "twice"),
        (change(5, number=9), "/strings/5/number", "6 belongs here"),
        (change(0, core=quantity(5, "thou")), "/strings/0/core", "plain string has no core"),
        (change(3, core=quantity(30, "thou")), "/strings/3/core", "thinner than the string"),
        (change(3, wrap=quantity(9, "thou")), "/strings/3/wrap", "one of the three is wrong"),
        (change(0, gauge=quantity(9, "mm")), "/strings/0/gauge/value", "must be from 0.15 mm to 3.6 mm"),
        (change(0, gauge=quantity(9, "Hz")), "/strings/0/gauge/unit", "gauge is a length"),
        (change(0, material="string cheese"), "/strings/0/material", "must be one of steel"),
        (NYLON | {"strings": LIGHT["strings"]}, "/strings/0/material", "no steel strings"),
        (LIGHT | {"strings": LIGHT["strings"][:2]}, "/strings", "at least 3"),
    ],
)
def test_a_set_that_cannot_be_is_refused_with_the_field(
    client: Client, body: dict[str, Any], pointer: str, words: str
) -> None:
    answer = client.post("/v1/string-sets", json=body)
    assert answer.status_code == 422
    errors = {error["pointer"]: error["message"] for error in answer.get_json()["errors"]}
    assert words in errors[pointer]
    assert client.get("/v1/string-sets").get_json()["items"] == []


def test_two_sets_of_one_name_cannot_be_told_apart(add: Add, client: Client) -> None:
    add("/v1/string-sets", LIGHT)
    answer = client.post("/v1/string-sets", json=LIGHT)
    assert (answer.status_code, code(answer)) == (409, "name-taken")


def test_a_set_is_changed_by_its_version(add: Add, client: Client) -> None:
    made = add("/v1/string-sets", LIGHT)
    path = f"/v1/string-sets/{made['id']}"
    assert client.patch(path, json={"name": "lighter"}).status_code == 428
    changed = client.patch(path, json={"name": "lighter"}, etag='"1.mm"')
    assert changed.get_json()["name"] == "lighter"
    assert changed.headers["ETag"] == '"2.mm"'
    assert client.patch(path, json={"name": "lightest"}, etag='"1.mm"').status_code == 412
    assert changed.get_json()["strings"] == made["strings"]


def test_a_change_that_cannot_be_leaves_the_set_as_it_was(add: Add, client: Client) -> None:
    made = add("/v1/string-sets", LIGHT)
    path = f"/v1/string-sets/{made['id']}"
    answer = client.patch(path, json={"built_for": "nylon", "name": "other"}, etag='"1.mm"')
    assert answer.status_code == 422
    assert client.get(path).get_json() == made


def test_a_set_that_is_fitted_keeps_its_number_of_strings(add: Add, client: Client) -> None:
    from .bodies import model

    made = add("/v1/string-sets", LIGHT)
    add("/v1/instrument-models", model(string_set_id=made["id"]))
    answer = client.patch(
        f"/v1/string-sets/{made['id']}", json={"strings": LIGHT["strings"][:4]}, etag='"1.mm"'
    )
    assert pointers(answer) == ["/strings"]


def test_bronze_is_heavier_than_steel(add: Add) -> None:
    # phosphor bronze 8858 kg/m3 against 7850 kg/m3 of steel (densities looked up / from memory)
    steel = add("/v1/string-sets", LIGHT)
    strings = [*LIGHT["strings"][:5], wound(6, 42, 18.5, 10.32, "phosphor-bronze")]
    bronze = add("/v1/string-sets", {"name": "bronze", "strings": strings})
    assert bronze["strings"][5]["linear_density"]["value"] > steel["strings"][5]["linear_density"]["value"]


def test_a_tuning_tells_each_pitch(add: Add) -> None:
    made = add("/v1/tunings", STANDARD)
    # equal temperament from A4 = 440 Hz (ISO 16:1975)
    assert [each["value"] for each in made["frequencies"]] == pytest.approx(
        [329.628, 246.942, 195.998, 146.832, 110.0, 82.407], abs=1e-3
    )
    assert made["reference_pitch"] == quantity(440, "Hz")


def test_notes_are_kept_in_one_spelling(add: Add) -> None:
    made = add("/v1/tunings", {"name": "flat", "notes": ["e♭4", "b♭3", "F♯3"]})
    assert made["notes"] == ["Eb4", "Bb3", "F#3"]


@pytest.mark.parametrize(
    ("notes", "pointer", "words"),
    [
        (["E4", "H3", "G3"], "/notes/1", "must be a letter"),
        (["E4", "B3", "E0"], "/notes/2", "23"),
        (["E7", "B3", "G3"], "/notes/0", "1200"),
        (["E4", "B3"], "/notes", "at least 3"),
    ],
)
def test_a_tuning_that_cannot_be_is_refused_with_the_note(
    client: Client, notes: list[str], pointer: str, words: str
) -> None:
    answer = client.post("/v1/tunings", json={"name": "x", "notes": notes})
    errors = {error["pointer"]: error["message"] for error in answer.get_json()["errors"]}
    assert answer.status_code == 422
    assert words in errors[pointer]


def test_another_reference_pitch_moves_every_string(add: Add, client: Client) -> None:
    made = add("/v1/tunings", STANDARD)
    body = {"reference_pitch": quantity(442, "Hz")}
    changed = client.patch(f"/v1/tunings/{made['id']}", json=body, etag='"1.mm"').get_json()
    assert changed["frequencies"][4] == quantity(110.5, "Hz")


def test_a_bench_reads_the_catalogue_and_does_not_change_it(add: Add, bench_client: Client) -> None:
    made = add("/v1/string-sets", LIGHT)
    assert bench_client.get(f"/v1/string-sets/{made['id']}").status_code == 200
    assert bench_client.post("/v1/tunings", json=STANDARD).status_code == 403
