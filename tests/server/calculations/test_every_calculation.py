"""What every calculation keeps: listed, its example true, its fields named when they are wrong."""

from __future__ import annotations

import copy
import itertools
import json
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shimstock_server.calculations.entry import Calculation, names_of
from shimstock_server.calculations.fields import AskedBeside
from shimstock_server.calculations.listing import fields_of
from shimstock_server.calculations.registry import CALCULATIONS
from shimstock_server.web.fields import Choice, ListOf, MapOf, Nested, Number, Text, Truth, Whole
from shimstock_server.web.quantities import QuantityIn
from tests.depth import amount
from tests.server.clients import Client, pointers

pytestmark = pytest.mark.long

BY_NAME = {calculation.name: calculation for calculation in CALCULATIONS}
EVERY = pytest.mark.parametrize("name", BY_NAME)


def post(client: Client, name: str, body: Any, units: str = "mm") -> Any:
    return client.post(f"/v1/calculations/{name}?units={units}", json=body)


def test_the_list_shows_every_calculation(calculator: Client) -> None:
    items = calculator.get("/v1/calculations").get_json()["items"]
    assert [item["name"] for item in items] == list(BY_NAME)
    for item in items:
        assert item["source"], item["name"]
        assert item["validity"], item["name"]
        assert item["ways"], item["name"]
        silent = [field["name"] for field in item["fields"] if not field["about"]]
        assert not silent, f"{item['name']} does not say what these are: {silent}"


def test_the_list_is_sent_once(calculator: Client) -> None:
    etag = calculator.get("/v1/calculations").headers["ETag"]
    again = calculator.get("/v1/calculations", headers={"If-None-Match": etag})
    assert again.status_code == 304


@EVERY
def test_the_example_of_the_list_is_true(calculator: Client, name: str) -> None:
    items = calculator.get("/v1/calculations").get_json()["items"]
    item = next(each for each in items if each["name"] == name)
    response = calculator.post(item["path"] + "?units=mm", json=item["example"]["body"])
    assert response.status_code == 200
    assert response.get_json() == item["example"]["answer"]


@EVERY
def test_an_example_answers_in_inches_too(calculator: Client, name: str) -> None:
    metric = post(calculator, name, BY_NAME[name].example["body"]).get_json()
    inches = post(calculator, name, BY_NAME[name].example["body"], "inch").get_json()
    assert set(inches) == set(metric)
    assert not [unit for unit in units_in(inches) if unit in ("mm", "N", "degC")]


def units_in(tree: Any) -> Iterator[str]:
    """Yield the units of every quantity of a tree."""
    if isinstance(tree, dict):
        if set(tree) == {"value", "unit"}:
            yield tree["unit"]
        for below in tree.values():
            yield from units_in(below)
    elif isinstance(tree, list):
        for below in tree:
            yield from units_in(below)


@EVERY
def test_a_calculation_needs_a_key_and_takes_nothing_else(calculator: Client, name: str) -> None:
    body = BY_NAME[name].example["body"]
    assert Client(calculator.app, None).post(f"/v1/calculations/{name}", json=body).status_code == 401
    response = post(calculator, name, body | {"colour": "red"})
    assert response.status_code == 422
    assert pointers(response) == ["/colour"]
    assert post(calculator, name, {}).status_code == 422


@EVERY
def test_quantities_have_a_range_and_lists_an_end(name: str) -> None:
    for field in fields_of(BY_NAME[name].question()):
        if field["type"] == "quantity" and field["units"]:
            assert field["minimum"] is not None, field["name"]
            assert field["maximum"] is not None, field["name"]
            assert field["minimum"] < field["maximum"], field["name"]


def leaves(tree: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the path of every value of a body; of a list, two entries stand for all."""
    if isinstance(tree, dict) and set(tree) != {"value", "unit"}:
        for key, below in tree.items():
            yield from leaves(below, (*path, key))
    elif isinstance(tree, list):
        for n, below in enumerate(tree[:2]):
            yield from leaves(below, (*path, n))
    else:
        yield path


def changed(tree: Any, path: tuple[Any, ...], value: Any) -> Any:
    """Return a body with another value at a path."""
    body = copy.deepcopy(tree)
    here = body
    for part in path[:-1]:
        here = here[part]
    here[path[-1]] = value
    return body


def at(tree: Any, path: tuple[Any, ...]) -> Any:
    """Return what stands at a path."""
    for part in path:
        tree = tree[part]
    return tree


def wrong_values(value: Any) -> list[Any]:
    """Return what must be refused in place of a value."""
    nothing: list[Any] = [None, [], {}, "\ud800", "x" * 10_001]
    if isinstance(value, dict):
        unit = value["unit"]
        other = "Hz" if unit != "Hz" else "mm"
        return [
            *nothing,
            {"value": 1e9, "unit": unit}, {"value": -1e9, "unit": unit}, {"value": 1e300, "unit": unit},
            {"value": True, "unit": unit}, {"value": "1", "unit": unit}, {"value": 1, "unit": other},
            {"value": 1, "unit": "furlong"}, {"value": 1}, {"unit": unit}, 3,
        ]  # fmt: skip
    if isinstance(value, bool):
        return [*nothing, 1, "true"]
    if isinstance(value, (int, float)):
        return [*nothing, -1e16, 1e300, 2**62, "1", True]
    return [*nothing, 5, True, "no such word anywhere"]


@EVERY
def test_a_wrong_value_is_named(calculator: Client, name: str) -> None:
    body = BY_NAME[name].example["body"]
    for path in leaves(body):
        where = "/" + "/".join(str(part) for part in path)
        for wrong in wrong_values(at(body, path)):
            response = post(calculator, name, changed(body, path, wrong))
            assert response.status_code == 422, (where, wrong)
            assert any(each.startswith(where) for each in pointers(response)), (where, wrong)


@EVERY
@pytest.mark.parametrize("constant", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_finite_number_is_named(calculator: Client, name: str, constant: str) -> None:
    body = BY_NAME[name].example["body"]
    for path in leaves(body):
        if not isinstance(at(body, path), dict):
            continue
        text = json.dumps(changed(body, (*path, "value"), "HERE")).replace('"HERE"', constant)
        response = calculator.post(
            f"/v1/calculations/{name}", data=text, headers={"Content-Type": "application/json"}
        )
        assert response.status_code == 422
        assert pointers(response) == ["/" + "/".join(str(part) for part in (*path, "value"))]


def bodies(schema: Any) -> st.SearchStrategy[dict[str, Any]]:
    """Return a strategy for bodies that the schema takes, with any of the optional fields."""
    fields = {field.data_key or key: field for key, field in schema.fields.items()}
    needed = {name: values(field) for name, field in fields.items() if field.required}
    free = {name: values(field) for name, field in fields.items() if not field.required}
    return st.fixed_dictionaries(needed, optional=free)


def fitting_bodies(calculation: Calculation) -> st.SearchStrategy[dict[str, Any]]:
    """Return a strategy for bodies that ask in one of the ways in which the calculation can be asked."""
    fields = {field.data_key or key: field for key, field in calculation.question().fields.items()}
    deciding = set().union(*(way.fields() | set(way.may) for way in calculation.ways))
    common = {name: values(field) for name, field in fields.items() if name not in deciding}
    asked = []
    for way in calculation.ways:
        free = common | {name: values(fields[name]) for name in way.may}
        for chosen in itertools.product(*(names_of(need) for need in way.needs)):
            needed = {name: values(fields[name]) for name in chosen}
            optional = {name: value for name, value in free.items() if name not in needed}
            asked.append(st.fixed_dictionaries(needed, optional=optional))
    return st.one_of(asked)


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.one_of(st.sampled_from([low, high]), st.floats(low, high, allow_nan=False))


def values(field: Any) -> st.SearchStrategy[Any]:
    """Return a strategy for what a field takes."""
    if isinstance(field, QuantityIn):
        assert field.min is not None
        assert field.max is not None
        low, high = field.min, field.max
        return st.builds(lambda value: {"value": value, "unit": field.kind.unit.value}, numbers(low, high))
    if isinstance(field, AskedBeside):
        return st.builds(lambda value: {"value": value, "unit": "mm"}, numbers(field.min, field.max))
    if isinstance(field, Whole):
        return st.integers(field.min, field.max)
    if isinstance(field, Number):
        return numbers(field.min, field.max)
    if isinstance(field, Choice):
        return st.sampled_from(list(field.choices))
    if isinstance(field, Truth):
        return st.booleans()
    if isinstance(field, Text):
        return st.sampled_from(["E4", "F#3", "Bb-1", "H9", "E", "maple", "G9"])
    if isinstance(field, ListOf):
        return st.lists(values(field.inner), min_size=field.min, max_size=min(field.max, field.min + 3))
    if isinstance(field, Nested):
        return bodies(field.schema)
    assert isinstance(field, MapOf), f"no strategy for {type(field).__name__}"
    return st.just({})


@EVERY
def test_any_body_gets_an_answer_or_a_reason(calculator: Client, name: str) -> None:
    question = BY_NAME[name].question()

    @settings(max_examples=amount(40, deep=1000), suppress_health_check=list(HealthCheck))
    @given(sent=st.one_of(fitting_bodies(BY_NAME[name]), bodies(question)))
    def check(sent: dict[str, Any]) -> None:
        response = post(calculator, name, sent)
        assert response.status_code in (200, 422), sent
        if response.status_code == 422:
            names = {field.data_key or key for key, field in question.fields.items()}
            assert pointers(response), sent
            for each in pointers(response):
                assert each.split("/")[1] in names, (each, sent)

    check()
