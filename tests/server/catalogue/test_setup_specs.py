"""Setup specs: versions at a place, and which item counts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

import pytest

from shimstock_server import catalogue
from shimstock_server.database.session import Database
from shimstock_server.database.words import Kind
from tests.server.clients import Client, code, pointers

from .bodies import item, model
from .conftest import Add

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

SHOP = [
    item("relief", 0.2, 0.1, 0.3, fret=8),
    item("action", 1.7, 1.45, 1.95, side="bass"),
    item("action", 1.5, 1.25, 1.75, side="treble"),
    item("pickup-height", 2.0, 1.6, 2.4, side="bass"),
    item("pickup-height", 2.0, 1.6, 2.4, side="treble"),
    item("intonation", 0, -3, 3, "cents"),
]


@dataclass
class Places:
    """Where specs can stand, of one instrument in the shop."""

    client: Client
    shop: str
    model: str
    instrument: str

    def put(self, path: str, items: list[dict[str, Any]], **options: Any) -> Any:
        """Store a spec over whatever stands there."""
        present = self.client.get(path)
        etag = present.headers["ETag"] if present.status_code == 200 else None
        return self.client.put(path, json={"items": items}, etag=etag, **options)

    def applies(self, path: str | None = None) -> list[dict[str, Any]]:
        """Return the items that apply."""
        items: list[dict[str, Any]] = self.client.get(path or self.instrument).get_json()["items"]
        return items

    def one(self, quantity: str, side: str | None = None, string: int | None = None) -> dict[str, Any]:
        """Return the one item of a quantity at a place."""
        (found,) = (
            each
            for each in self.applies()
            if (each["quantity"], each["side"], each["string"]) == (quantity, side, string)
        )
        return found


@pytest.fixture
def places(add: Add, client: Client) -> Places:
    """One instrument of one model; nothing stored yet."""
    made = add("/v1/instrument-models", model(pickups=[{"name": "bridge"}]))
    owner = add("/v1/owners", {"name": "Wilma Fenstropp"})
    instrument = add("/v1/instruments", {"model_id": made["id"], "owner_id": owner["id"]})
    return Places(
        client,
        "/v1/setup-specs/shop/electric",
        f"/v1/instrument-models/{made['id']}/setup-spec",
        f"/v1/instruments/{instrument['id']}/setup-spec",
    )


def test_the_shops_default_applies_where_nothing_else_stands(places: Places) -> None:
    stored = places.put(places.shop, SHOP).get_json()
    relief = places.one("relief")
    assert relief["from"] == {"scope": "shop", "spec_id": stored["id"], "number": 1}
    assert relief["target"] == {"value": 0.2, "unit": "mm"}
    assert not relief["own"]


def test_relief_is_held_at_the_boards_first_and_last_fret_unless_told(places: Places) -> None:
    places.put(places.shop, SHOP)
    assert (places.one("relief")["held"], places.one("relief")["fret"]) == ([1, 22], 8)
    assert places.one("pickup-height", "bass")["held"] == [22]
    assert places.one("intonation")["fret"] == 12


def test_each_quantity_comes_from_the_most_specific_place(places: Places) -> None:
    places.put(places.shop, SHOP)
    places.put(places.model, [item("relief", 0.25, 0.15, 0.35, fret=9)])
    places.put(places.instrument, [item("action", 2.0, 1.8, 2.2, side="bass")])
    scopes = {
        (each["quantity"], each["side"]): (each["from"]["scope"], each["own"]) for each in places.applies()
    }
    assert scopes == {
        ("relief", None): ("model", False),
        ("action", "bass"): ("instrument", True),
        ("action", "treble"): ("shop", False),
        ("pickup-height", "bass"): ("shop", False),
        ("pickup-height", "treble"): ("shop", False),
        ("intonation", None): ("shop", False),
    }


def test_an_item_for_all_of_a_more_specific_place_beats_one_side_of_a_general_one(places: Places) -> None:
    places.put(places.shop, SHOP)
    places.put(places.instrument, [item("action", 2.0, 1.8, 2.2)])
    actions = [each for each in places.applies() if each["quantity"] == "action"]
    assert [(each["side"], each["target"]["value"]) for each in actions] == [(None, 2.0)]


def test_one_string_goes_before_all_of_them(places: Places) -> None:
    places.put(places.shop, SHOP)
    places.put(places.instrument, [item("intonation", 2, 0, 4, "cents", string=3)])
    found = [each for each in places.applies() if each["quantity"] == "intonation"]
    assert [(each["string"], each["target"]["value"]) for each in found] == [(None, 0.0), (3, 2.0)]


def test_the_outermost_string_and_its_side_are_one_place(places: Places) -> None:
    places.put(places.shop, SHOP)
    places.put(places.instrument, [item("action", 2.0, 1.8, 2.2, string=6)])
    actions = {(each["side"], each["string"]) for each in places.applies() if each["quantity"] == "action"}
    assert actions == {("treble", None), (None, 6)}


def test_both_pickup_sides_of_a_specific_place_replace_a_general_item(places: Places) -> None:
    places.put(places.shop, [item("pickup-height", 2.0, 1.6, 2.4)])
    both = [item("pickup-height", 2.2, 1.8, 2.6, side=side) for side in ("bass", "treble")]
    places.put(places.instrument, both)
    assert [each["side"] for each in places.applies()] == ["bass", "treble"]


def test_a_new_version_leaves_the_one_before_to_read(places: Places, client: Client) -> None:
    first = places.put(places.shop, SHOP).get_json()
    second = places.put(places.shop, SHOP[:1]).get_json()
    assert (first["number"], second["number"]) == (1, 2)
    old = client.get(f"/v1/setup-specs/{first['id']}").get_json()
    assert (old["current"], len(old["items"])) == (False, 6)
    listed = client.get("/v1/setup-specs?scope=shop").get_json()["items"]
    assert [row["id"] for row in listed] == [second["id"]]


def test_a_later_version_needs_the_one_that_was_read(places: Places, client: Client) -> None:
    assert client.put(places.shop, json={"items": SHOP}).status_code == 200
    assert client.put(places.shop, json={"items": []}).status_code == 428
    assert client.put(places.shop, json={"items": []}, etag='"2.mm"').status_code == 412
    assert client.put(places.shop, json={"items": []}, etag='"1.mm"').status_code == 200


@pytest.mark.parametrize("place", ["instrument", "job"])
def test_the_first_at_an_instrument_or_job_needs_no_version(
    places: Places, client: Client, place: str
) -> None:
    places.put(places.shop, SHOP)
    path = places.instrument if place == "instrument" else f"/v1/jobs/{_job(client, places)}/setup-spec"
    wish = {"items": [item("action", 2.0, 1.8, 2.2, side="bass")]}
    assert client.put(path, json=wish, etag='"made-up.mm"').status_code == 412
    first = client.put(path, json=wish)
    assert first.status_code == 200
    assert client.put(path, json=wish).status_code == 428
    assert client.put(path, json=wish, etag=first.headers["ETag"]).status_code == 200


def test_an_edit_of_what_applies_sees_a_change_of_any_place(places: Places, client: Client) -> None:
    places.put(places.shop, SHOP)
    seen = client.get(places.instrument).headers["ETag"]
    places.put(places.model, [item("relief", 0.25, 0.15, 0.35)])
    stale = client.put(places.instrument, json={"items": []}, etag=seen)
    assert stale.status_code == 412
    assert stale.headers["ETag"] == client.get(places.instrument).headers["ETag"]


def test_nothing_stored_is_not_found(places: Places, client: Client) -> None:
    assert code(client.get(places.shop)) == "no-setup-spec"
    assert code(client.get(places.model)) == "no-setup-spec"
    assert client.get("/v1/setup-specs/shop/harp").status_code == 404
    assert places.applies() == []


@pytest.mark.parametrize(
    ("bad", "pointer", "words"),
    [
        (item("relief", 0.2, 0.3, 0.1), "/lower", "lies above the upper"),
        (item("relief", 0.4, 0.1, 0.3), "/target", "above the upper limit"),
        (item("relief", 0.0, 0.1, 0.3), "/target", "below the lower limit"),
        (item("relief", 0.2, None, None), "/lower", "decides nothing"),
        (item("relief", 0.2, 0.1, 0.3, "cents"), "/target/unit", "relief is a length"),
        (item("intonation", 0, -3, 3, "mm"), "/target/unit", "intonation is a difference of pitch"),
        (item("relief", 9, 8, 10), "/target", "from -1.5 to 2.5 mm"),
        (item("colour", 1, 0, 2), "/quantity", "must be one of relief"),
        (item("relief", 0.2, 0.1, 0.3, held=[5]), "/held", "two frets"),
        (item("relief", 0.2, 0.1, 0.3, held=[22, 1]), "/held", "lower first"),
        (item("relief", 0.2, 0.1, 0.3, held=[1, 14], fret=15), "/fret", "between the two frets"),
        (item("relief", 0.2, 0.1, 0.3, held=[1, 24]), "/held/1", "22 frets"),
        (item("relief", 0.2, 0.1, 0.3, string=2), "/string", "not told apart by string"),
        (item("action", 1.7, 1.4, 2.0, string=7), "/string", "6 strings, 1 to 6"),
        (item("action", 1.7, 1.4, 2.0, fret=30), "/fret", "22 frets"),
        (item("action", 1.7, 1.4, 2.0, held=[1]), "/held", "without holding"),
        (item("action", 1.7, 1.4, 2.0, side="bass", string=6), "/string", "not both"),
        (item("pickup-height", 2.0, 1.6, 2.4, pickup="middle"), "/pickup", "it has: bridge"),
        (item("pickup-height", 2.0, 1.6, 2.4, held=[1, 22]), "/held", "one fret"),
        (item("nut-action", 0.4, 0.3, 0.5, held=[5]), "/held", "fret 3"),
        (item("twist", 0, -0.1, 0.1, side="bass"), "/side", "not told apart by side"),
    ],
)
def test_an_item_that_cannot_stand_is_refused_with_the_field(
    places: Places, client: Client, bad: dict[str, Any], pointer: str, words: str
) -> None:
    answer = places.put(places.instrument, [SHOP[5], bad])
    assert answer.status_code == 422
    errors = {error["pointer"]: error["message"] for error in answer.get_json()["errors"]}
    assert words in errors[f"/items/1{pointer}"]
    assert client.get("/v1/setup-specs").get_json()["items"] == []


def test_one_place_stands_once(places: Places) -> None:
    answer = places.put(places.shop, [SHOP[1], SHOP[1]])
    assert pointers(answer) == ["/items/1/quantity"]


def test_a_bench_asks_for_the_player_and_leaves_the_shops_default(
    places: Places, client: Client, bench_client: Client
) -> None:
    places.put(places.shop, SHOP)
    assert bench_client.put(places.shop, json={"items": []}, etag='"1.mm"').status_code == 403
    path = f"/v1/jobs/{_job(client, places)}/setup-spec"
    wish = [item("action", 1.4, 1.2, 1.6, side="bass")]
    answer = bench_client.put(path, json={"items": wish}, etag=bench_client.get(path).headers["ETag"])
    assert answer.status_code == 200
    bass = next(each for each in answer.get_json()["items"] if each["side"] == "bass")
    assert (bass["from"]["scope"], bass["target"]["value"], bass["own"]) == ("job", 1.4, True)


def test_a_job_keeps_the_versions_that_it_began_with(places: Places, client: Client) -> None:
    places.put(places.shop, SHOP)
    job = _job(client, places)
    places.put(places.shop, [item("relief", 0.5, 0.4, 0.6)])
    kept = places.applies(f"/v1/jobs/{job}/setup-spec")
    assert (kept[0]["target"]["value"], kept[0]["from"]["number"]) == (0.2, 1)
    assert places.one("relief")["target"]["value"] == 0.5


def _job(client: Client, places: Places) -> str:
    client.put("/v1/shop", json={"name": "Werkbank", "zone": "Europe/Berlin"})
    answer = client.post("/v1/jobs", json={"instrument_id": places.instrument.split("/")[3]})
    return str(answer.get_json()["id"])


def test_the_plan_gets_the_spec_in_its_own_words(places: Places, database: Database) -> None:
    places.put(places.shop, SHOP)
    places.put(places.model, [item("relief", 0.25, 0.15, 0.35)])
    stored = places.client.get(places.instrument).get_json()
    with database.read() as session:
        items = catalogue.spec_items(
            catalogue.resolve_spec(session, kind=Kind.ELECTRIC, model_id=UUID(stored["model_id"]))
        )
    relief = items[0]
    assert (relief.quantity, relief.target, relief.held, relief.fret) == ("relief", 0.25, (1, 22), 8)
    assert [each.source for each in items[:2]] == ["model", "shop default"]
    assert [each.side for each in items if each.quantity == "action"] == ["bass", "treble"]
