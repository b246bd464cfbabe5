"""The published document: small, nothing in it written twice, and fit for generators of typed clients."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from openapi_spec_validator import validate

from shimstock_server.operations.admin import current_document
from shimstock_server.web.sharing import operations_of, resolve
from tests.house.files import CHECKOUT
from tests.server.clients import Client

LARGEST = 800_000  # byte, without blanks (judgement)
PUBLISHED: dict[str, Any] = json.loads((CHECKOUT / "openapi" / "shimstock.json").read_text(encoding="utf-8"))


def compact(part: Any) -> str:
    return json.dumps(part, separators=(",", ":"), sort_keys=True, ensure_ascii=False)


def parts_of(tree: Any) -> Iterator[dict[str, Any]]:
    """Yield every object of a document."""
    if isinstance(tree, dict):
        yield tree
        for below in tree.values():
            yield from parts_of(below)
    elif isinstance(tree, list):
        for below in tree:
            yield from parts_of(below)


def uses_of(kind: str) -> list[Any]:
    """Return a header, parameter or response once for each place in which it stands."""
    operations = list(operations_of(PUBLISHED))
    responses = [each for operation in operations for each in operation["responses"].values()]
    if kind == "responses":
        return responses
    if kind == "headers":
        written = [*responses, *PUBLISHED["components"]["responses"].values()]
        return [header for response in written for header in response.get("headers", {}).values()]
    lists = [each.get("parameters", []) for each in (*operations, *PUBLISHED["paths"].values())]
    return [parameter for each in lists for parameter in each]


def test_the_document_is_small() -> None:
    assert len(compact(PUBLISHED).encode()) <= LARGEST


@pytest.mark.parametrize("kind", ["headers", "parameters", "responses"])
def test_nothing_is_written_out_twice(kind: str) -> None:
    inline = Counter(compact(part) for part in uses_of(kind) if "$ref" not in part)
    assert not [text for text, count in inline.items() if count > 1]
    components = [compact(part) for part in PUBLISHED["components"][kind].values()]
    assert len(components) == len(set(components))
    assert not set(components) & set(inline)


def test_every_reference_leads_somewhere_and_no_component_is_left_over() -> None:
    # OpenAPI Specification 3.1.0, section "Components Object": what nothing refers to has no effect.
    references = {part["$ref"] for part in parts_of(PUBLISHED) if isinstance(part.get("$ref"), str)}
    for reference in references:
        assert resolve(PUBLISHED, {"$ref": reference})
    shared = {
        f"#/components/{kind}/{name}"
        for kind in ("headers", "parameters", "responses")
        for name in PUBLISHED["components"][kind]
    }
    assert shared
    assert not shared - references


def test_no_field_has_null_as_its_default() -> None:
    """A field that may be left out says so by not being required.

    Generators of typed clients take a field with a default for one that is always there, and would refuse a
    body that leaves it out.
    """
    with_null = [part for part in parts_of(PUBLISHED) if "default" in part and part["default"] is None]
    assert not with_null


def test_a_problem_that_many_operations_share_has_one_place() -> None:
    for status in ("401", "403", "429", "503", "507"):
        places = {
            each["responses"][status].get("$ref")
            for each in operations_of(PUBLISHED)
            if status in each["responses"]
        }
        assert len(places) == 1, f"{status}: {places}"
        assert None not in places


def test_the_document_is_valid() -> None:
    validate(PUBLISHED)


def test_the_service_answers_the_same_document_without_blanks(client: Client) -> None:
    answer = client.get("/openapi.json")
    same = answer.get_data(as_text=True) == compact(json.loads(current_document()))
    assert same, "the answer is not what `shimstock-admin openapi` writes"


def test_the_page_shows_what_is_shared(client: Client) -> None:
    page = client.get("/docs").get_data(as_text=True)
    shown = {
        told: page.count(told)
        for told in ("<td><code>Technician</code>", "Send a valid API key", "The cursor of the next page")
    }
    assert min(shown.values()) > 30, shown
    assert page.count('id="schema-NextCursor"') == 0, "a value has no table"
