"""Pages for people, made from the OpenAPI document: no script, nothing from elsewhere."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup, escape

from shimstock_server.web.html import content_policy
from shimstock_server.web.problems import every_problem
from shimstock_server.web.sharing import resolve

_METHODS = ("get", "post", "put", "patch", "delete")
_STYLE = (files(__package__) / "templates" / "pages.css").read_text(encoding="utf-8")

HEADERS = {
    "Content-Security-Policy": content_policy(_STYLE),
    "Cache-Control": "no-cache",
}

_templates = jinja2.Environment(
    loader=jinja2.PackageLoader("shimstock_server.operations"),
    autoescape=True,
    trim_blocks=True,
    lstrip_blocks=True,
)


def render_page(package: str, template: str, **values: Any) -> str:
    """Return a page of another package in the look of these; its template may use `style` and `prose`."""
    page = _templates.overlay(loader=jinja2.PackageLoader(package)).get_template(template)
    return page.render(style=Markup(_STYLE), prose=_prose, **values)  # noqa: S704 - a file of this package


def document_page(document: dict[str, Any]) -> str:
    """Return the page that shows every operation and schema."""
    schemas = document["components"]["schemas"]
    return _templates.get_template("docs.html").render(
        style=Markup(_STYLE),  # noqa: S704 - a file of this package
        document=document,
        tags=_by_tag(document),
        events={name: _whole(document, told["post"]) for name, told in document.get("webhooks", {}).items()},
        schemas={
            name: _schema(document, schema) for name, schema in sorted(schemas.items()) if _is_object(schema)
        },
        describe=_type_of,
        prose=_prose,
        example=lambda schema: json.dumps(_example(schema, schemas), indent=2, ensure_ascii=False),
    )


def problems_page(document: dict[str, Any]) -> str:
    """Return the page that explains every problem."""
    return _templates.get_template("problems.html").render(
        style=Markup(_STYLE),  # noqa: S704 - a file of this package
        title=document["info"]["title"],
        problems=[
            {
                "code": problem.code,
                "status": problem.status,
                "title": problem.title,
                "meaning": problem.meaning(),
            }
            for problem in every_problem()
        ],
        prose=_prose,
    )


def _by_tag(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the operations under their topics, in the order of the topics."""
    topics = {tag["name"]: {**tag, "operations": []} for tag in document["tags"]}
    for path, methods in document["paths"].items():
        shared = methods.get("parameters", [])
        for method in _METHODS:
            if method in methods:
                operation = _whole(document, methods[method], shared)
                topics[operation["tags"][0]]["operations"].append(
                    {
                        **operation,
                        "method": method.upper(),
                        "path": path,
                        "keyed": bool(operation.get("security")),
                    }
                )
    return [topic for topic in topics.values() if topic["operations"]]


def _whole(
    document: dict[str, Any], operation: dict[str, Any], parameters: Iterable[dict[str, Any]] = ()
) -> dict[str, Any]:
    """Return an operation with its own and the path's parameters, and its responses, without references."""
    told = [*parameters, *operation.get("parameters", [])]
    return {
        **operation,
        "parameters": [resolve(document, each) for each in told],
        "responses": {status: resolve(document, each) for status, each in operation["responses"].items()},
    }


def _is_object(schema: dict[str, Any]) -> bool:
    """Whether a schema has a table of its own; a single value stands in the tables of those that have it."""
    return "$ref" not in schema and schema.get("type") == "object"


def _schema(document: dict[str, Any], schema: dict[str, Any]) -> dict[str, Any]:
    required = set(schema.get("required", ()))
    fields = {
        name: field if _is_object(whole := resolve(document, field)) else whole
        for name, field in schema.get("properties", {}).items()
    }
    rows = [
        {
            "name": name,
            "type": _type_of(field),
            "needed": name in required,
            "about": field.get("description", ""),
        }
        for name, field in fields.items()
    ]
    return {"about": schema.get("description", ""), "rows": rows}


def _type_of(schema: dict[str, Any]) -> Markup:
    """Return a schema in a few words, with links to those that have a name."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[-1]
        return Markup('<a href="#schema-{0}">{0}</a>').format(name) + _units(schema)
    if "anyOf" in schema:
        return Markup(" or ").join(_type_of(each) for each in schema["anyOf"])
    kinds = schema.get("type", "any")
    kinds = [kinds] if isinstance(kinds, str) else list(kinds)
    if "enum" in schema:
        words = [
            Markup("<code>{}</code>").format("null" if each is None else each) for each in schema["enum"]
        ]
        return Markup(" | ").join(words)
    if "array" in kinds:
        told = Markup("list of ") + _type_of(schema.get("items", {}))
        return told + (" or null" if "null" in kinds else "")
    told = escape(" or ".join(kinds))
    if "format" in schema:
        told += f" ({schema['format']})"
    return told + _bounds(schema)


def _units(schema: dict[str, Any]) -> Markup:
    units = schema.get("properties", {}).get("unit", {}).get("enum")
    return Markup(" <small>in {}</small>").format(", ".join(units)) if units else Markup("")


def _bounds(schema: dict[str, Any]) -> Markup:
    low, high = schema.get("minimum"), schema.get("maximum")
    if low is not None and high is not None and abs(low) < 1e9 and abs(high) < 1e12:
        return Markup(" <small>{} … {}</small>").format(low, high)
    if "maxLength" in schema:
        return Markup(" <small>up to {} characters</small>").format(schema["maxLength"])
    return Markup("")


def _prose(text: str) -> Markup:
    """Return the little Markdown of descriptions as HTML: paragraphs, lists, code."""
    blocks = []
    for block in re.split(r"\n\s*\n", text.strip()):
        lines = block.splitlines()
        if lines and all(line.startswith(("* ", "  ")) for line in lines):
            items = re.split(r"^\* ", block, flags=re.MULTILINE)[1:]
            blocks.append(Markup("<ul>{}</ul>").format(Markup("").join(_item(item) for item in items)))
        else:
            blocks.append(Markup("<p>{}</p>").format(_inline(" ".join(lines))))
    return Markup("").join(blocks)


def _item(text: str) -> Markup:
    return Markup("<li>{}</li>").format(_inline(" ".join(text.split())))


def _inline(text: str) -> Markup:
    parts = text.split("`")
    return Markup("").join(
        Markup("<code>{}</code>").format(part) if n % 2 else escape(part) for n, part in enumerate(parts)
    )


_EXAMPLES = {
    "uuid": "01890a5d-ac96-774b-bcce-b302099a8057",
    "date-time": "2026-03-14T09:30:00Z",
    "date": "2026-03-14",
}


def _example(schema: dict[str, Any], schemas: dict[str, Any], depth: int = 0) -> Any:
    """Return what could stand there: the shape of the JSON, not advice on its values."""
    if "example" in schema:
        return schema["example"]
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[-1]
        if name == "Quantity":
            units = schema.get("properties", {}).get("unit", {}).get("enum", ["mm"])
            return {"value": 1, "unit": units[0]}
        return _example(schemas[name], schemas, depth + 1) if depth < 6 else {}
    if "anyOf" in schema:
        return _example(schema["anyOf"][0], schemas, depth)
    if "enum" in schema:
        return schema["enum"][0]
    kinds = schema.get("type", "string")
    kind = kinds if isinstance(kinds, str) else kinds[0]
    if kind == "object":
        fields = schema.get("properties", {})
        return {name: _example(field, schemas, depth + 1) for name, field in fields.items()}
    if kind == "array":
        return [_example(schema.get("items", {}), schemas, depth + 1)]
    if kind == "string":
        return _EXAMPLES.get(schema.get("format", ""), "text")
    if kind == "boolean":
        return False
    low = schema.get("minimum", 0)
    return low if low > 0 else 1
