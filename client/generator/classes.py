"""From schemas and paths to classes: records, bodies, lists."""

from __future__ import annotations

import keyword
import re
from collections.abc import Iterator
from typing import Any

from .about import ABOUT
from .annotations import Writer, camel, said
from .document import Document, Schema, is_nullable, is_quantity
from .names import AS_TEXT, BASES, BY_HAND, DICTIONARIES, FIELDS, LEFT_OUT, SENT


def _by_call(name: str, lines: list[str]) -> list[str]:
    """Return a dictionary some of whose keys are no Python names, from the lines of a class."""
    told = [line.strip().split(": ", 1) for line in lines if re.match(r"    [\w-]+: ", line)]
    members = ", ".join(f'"{key}": {kind}' for key, kind in told)
    return [f'{name} = TypedDict("{name}", {{{members}}})', f'{name}.__doc__ = "A dictionary as it travels."']


STORED = ("id", "version", "created_at", "updated_at")
SILENT = frozenset({"secret", "path", "picture", "card_path"})
"""Fields that no log or traceback should show."""


class Contract:
    """What is written, by tag of the document."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.writer = Writer(document)
        self.tags = [tag for tag in document.tags() if tag not in LEFT_OUT]
        self.sources: dict[str, list[str]] = {}
        """The schemas that each record is made of."""
        self.homes: dict[str, dict[str, str]] = {"records": {}, "bodies": {}, "lists": {}}
        self.classes: dict[str, dict[str, list[tuple[str, list[str]]]]] = {
            kind: {tag: [] for tag in self.tags} for kind in self.homes
        }
        self.operations = [
            (method, path, operation)
            for method, path, operation in document.operations()
            if operation["tags"][0] not in LEFT_OUT
        ]

    def collect(self) -> None:
        """Walk the document tag by tag: what an earlier tag needs lives there."""
        for tag in self.tags:
            mine = [one for one in self.operations if one[2]["tags"][0] == tag]
            for _, _, operation in mine:
                self._record_of(self.document.answer_of(operation), tag)
                self._body_of(self.document.body_of(operation), tag)
            for method, path, operation in mine:
                self._filters_of(method, path, operation, tag)
            for _, path, _ in [one for one in mine if one[0] == "get"]:
                self._list_of(path, tag)
        for name, (schema, left_out) in FIELDS.items():
            tag = self.homes["bodies"][schema]
            lines = self._dictionary(name, self.document.schemas[schema], "bodies", set(left_out.split()))
            lines[0] = f"class {name}(WriteOptions):"
            self._add("bodies", tag, name, lines)

    def _add(self, kind: str, tag: str, name: str, lines: list[str]) -> None:
        self.homes[kind][name] = tag
        self.classes[kind][tag].append((name, lines))

    # Records

    def is_page(self, name: str) -> bool:
        """Tell whether a schema is a list of something, page by page or whole."""
        there = set(self.document.schemas[name].get("properties", ()))
        return "items" in there and there <= {"items", "next"}

    def _record_of(self, schema: Schema | None, tag: str) -> None:
        for name in self._components(schema):
            whole = self.document.schemas[name]
            record = self.writer.record_name(name)
            if is_quantity(whole) or record in self.homes["records"] or "properties" not in whole:
                continue
            if self.is_page(name):
                self._record_of(whole, tag)
                continue
            same = [one for one in self.document.schemas if self.writer.record_name(one) == record]
            same = [one for one in same if one.endswith("Out") or one == name]
            self.homes["records"][record] = tag  # before its parts, should one hold it again
            for one in same:
                self._record_of(self.document.schemas[one], tag)
            base = BASES.get(record, "")
            for one in self.document.schemas:
                if self.writer.record_name(one) == base and base not in self.homes["records"]:
                    self._record_of({"$ref": f"#/components/schemas/{one}"}, tag)
            if name in DICTIONARIES:
                lines = self._dictionary(record, whole, "records", set())
            else:
                self.sources[record] = same
                lines = self._record(record, same)
            self._add("records", tag, record, lines)

    def _components(self, schema: Any) -> Iterator[str]:
        """Walk the names of the components that a schema holds, itself first."""
        if isinstance(schema, dict):
            if "$ref" in schema:
                yield str(self.document.name_of(schema))
                return
            for key in ("anyOf", "oneOf", "allOf"):
                for one in schema.get(key, ()):
                    yield from self._components(one)
            for one in schema.get("properties", {}).values():
                yield from self._components(one)
            for key in ("items", "additionalProperties"):
                yield from self._components(schema.get(key))

    def _record(self, record: str, schemas: list[str]) -> list[str]:
        all_of_it = [self.document.schemas[name] for name in schemas]
        names = dict.fromkeys(field for whole in all_of_it for field in whole["properties"])
        stored = "id" in names
        base = BASES.get(record, "")
        inherited = set(STORED) if stored else set()
        for one, whole in self.document.schemas.items():
            if base and self.writer.record_name(one) == base:
                inherited |= set(whole["properties"])
        root = "Stored" if stored else "" if base and base in self.homes["records"] else "Record"
        bases = ", ".join(one for one in (base, root) if one)
        lines = ["@dataclass(kw_only=True, repr=False, eq=False)", f"class {record}({bases}):"]
        described = {"description": ABOUT.get(record, f"`{schemas[0]}` of the document.")}
        lines += said(next((one for one in all_of_it if one.get("description")), described), "    ")
        lines.append("")
        for field in names:
            if field in inherited:
                continue
            holders = [whole for whole in all_of_it if field in whole["properties"]]
            kind, default = self._merged(record, field, holders, schemas, len(holders) < len(all_of_it))
            if field in SILENT:
                default = f"field(default={default}, repr=False)"
            lines.append(f"    {field + '_' if keyword.iskeyword(field) else field}: {kind} = {default}")
            lines += said(holders[0]["properties"][field], "    ")
        return lines

    def _merged(
        self, record: str, field: str, holders: list[Schema], schemas: list[str], partly: bool
    ) -> tuple[str, str]:
        told = [self.writer.answered(whole["properties"][field], field, schemas[0]) for whole in holders]
        if f"{record}.{field}" in AS_TEXT:
            nullable = any(is_nullable(whole["properties"][field]) for whole in holders)
            return ("str | None", "None") if nullable else ("str", '""')
        plain = {kind.removesuffix(" | None") for kind, _ in told}
        if len(plain) > 1:
            raise SystemExit(f"{record}.{field} is {' and '.join(sorted(plain))}: they cannot be one record")
        empty = next((one for one in told if one[0].endswith(" | None")), None)
        if empty or not partly or told[0][0].startswith(("list", "dict", "Any")):
            return empty or told[0]
        return f"{told[0][0]} | None", "None"

    def _dictionary(self, name: str, whole: Schema, kind: str, left_out: set[str]) -> list[str]:
        plain = all(field.isidentifier() and not keyword.iskeyword(field) for field in whole["properties"])
        lines = [f"class {name}(TypedDict):"]
        lines += said(whole, "    ") or ['    """A dictionary as it travels."""']
        lines.append("")
        for field, schema in whole["properties"].items():
            if field in left_out or schema.get("readOnly"):
                continue
            filled_in = f"?{field}" in left_out
            if kind == "records":
                lines.append(f"    {field}: {self.writer.travelling(schema, field, name)}")
                continue
            told = self.writer.taken(schema, field, name)
            needed = field in whole.get("required", ())
            if filled_in and not told.endswith("None"):
                told += " | None"
            lines.append(f"    {field}: {told if needed and not filled_in else f'NotRequired[{told}]'}")
        return lines if plain else _by_call(name, lines)

    # Bodies

    def _body_of(self, schema: Schema | None, tag: str) -> None:
        for name in self._components(schema):
            whole = self.document.schemas[name]
            body = self.writer.body_name(name)
            if is_quantity(whole) or body in self.homes["bodies"] or "properties" not in whole:
                continue
            self.homes["bodies"][body] = tag
            self._body_of(whole, tag)
            self._add("bodies", tag, body, self._dictionary(body, whole, "bodies", set()))
            if name in SENT:
                self._add("bodies", tag, SENT[name], self._sent(name, whole))

    def _sent(self, name: str, whole: Schema) -> list[str]:
        lines = ["@dataclass(frozen=True, kw_only=True)", f"class {SENT[name]}:"]
        lines += [f'    """`{name}` to be built bit by bit; fields that are None are not sent."""', ""]
        needed = [field for field in whole["properties"] if field in whole.get("required", ())]
        for field in [*needed, *(one for one in whole["properties"] if one not in needed)]:
            told = self.writer.taken(whole["properties"][field], field, name).replace(" | QuantityDict", "")
            optional = f"{told.removesuffix(' | None')} | None = None"
            lines.append(f"    {field}: {told if field in needed else optional}")
        return lines

    # Lists

    def _filters_of(self, method: str, path: str, operation: Schema, tag: str) -> None:
        told = [one for one in operation["parameters"] if one["in"] == "query"]
        told = [one for one in told if one["name"] not in {"units", "cursor"} and one["name"].isidentifier()]
        told = [one for one in told if not keyword.iskeyword(one["name"])]
        if method != "get" or not told:
            return
        name = filters_name(path)
        lines = [f"class {name}(CallOptions, total=False):", f'    """What `{path}` can be asked for."""', ""]
        for one in told:
            kind = self.writer.taken(one["schema"], one["name"], name).removesuffix(" | None")
            lines.append(f"    {one['name']}: {kind} | None")
        self._add("bodies", tag, name, lines)

    def _operation(self, method: str, path: str) -> Schema | None:
        return next((one for how, where, one in self.operations if (how, where) == (method, path)), None)

    def _member(self, path: str, method: str) -> tuple[str, Schema] | None:
        pattern = re.compile(re.escape(path) + r"/\{\w+\}$")
        return next(
            ((where, one) for how, where, one in self.operations if how == method and pattern.match(where)),
            None,
        )

    def _listed(self, path: str) -> str | None:
        operation = self._operation("get", path)
        page = self.document.name_of(self.document.answer_of(operation) or {}) if operation else None
        if page is None or not self.is_page(page):
            return None
        item = self.document.schemas[page]["properties"]["items"]["items"]
        return self.writer.record_name(str(self.document.name_of(item)))

    def _list_of(self, path: str, tag: str) -> None:
        record = self._listed(path)
        of_job = path.startswith("/v1/jobs/{job_id}/")
        if record is None or "{" in path.removeprefix("/v1/jobs/{job_id}/"):
            return
        if not of_job and (path.count("/") != 2 or self._member(path, "get") is None):
            return
        if of_job and self._operation("post", path) is None:
            return
        name = ("Job" if of_job else "") + camel(path.rsplit("/", 1)[1])
        base = "OfJob" if of_job else "Listed"
        lines = [f"class {name}({base}[{record}]):", f'    """`{path}`."""', ""]
        lines += [
            f'    _path = "{path.removeprefix("/v1").removeprefix("/jobs/{job_id}")}"',
            f"    _record = {record}",
            "",
        ]
        job = "job: Job | UUID | str, " if of_job else ""
        sent = "job, " if of_job else ""
        if filters_name(path) in self.homes["bodies"]:
            lines += [
                f"    def list(self, {job}**filters: Unpack[{filters_name(path)}]) -> Iterator[{record}]:",
                '        """Walk all of them, page after page; `limit` = rows a page."""',
                f"        return self._walk({sent}{{**filters}})",
                "",
            ]
        elif of_job:
            lines += [
                f"    def list(self, {job}**call: Unpack[CallOptions]) -> Iterator[{record}]:",
                '        """Walk all of them."""',
                f"        return self._walk({sent}{{**call}})",
                "",
            ]
        lines += self._writing(path, record, job, sent, name)
        self._add("lists", tag, name, lines)

    def _writing(self, path: str, record: str, job: str, sent: str, name: str) -> list[str]:
        options = (
            "idempotency_key: str | None = None, retries: int | None = None, timeout: Timeout | None = None"
        )
        passed = "idempotency_key=idempotency_key, retries=retries, timeout=timeout"
        lines: list[str] = []
        added = self.document.body_of(self._operation("post", path) or {"responses": {}})
        if added and f"{name}.create" not in BY_HAND:
            answered = self.document.name_of(
                self.document.answer_of(self._operation("post", path) or {}) or {}
            )
            if answered and self.writer.record_name(answered) == record:
                body = self.document.name_of(added)
                lines += [
                    f"    def create(self, {job}*, {options}, **fields: Unpack[{body}]) -> {record}:",
                    '        """Add one; sent again under the same idempotency key it is added once."""',
                    f"        return self._create({sent}{{**fields}}, {passed})",
                    "",
                ]
        changed = None if job else self._member(path, "patch")
        if changed:
            body = self.document.name_of(self.document.body_of(changed[1]) or {})
            lines += [
                f"    def update(self, thing: {record}, *, {options}, **fields: Unpack[{body}]) -> {record}:",
                '        """Change the named fields; refused when it was changed since it was read.',
                "",
                "        Raises",
                "        ------",
                "        Changed",
                "            Read it again, look, and decide again.",
                '        """',
                f"        return self._update(thing, {{**fields}}, {passed})",
                "",
            ]
        deleted = None if job else self._member(path, "delete")
        if deleted and deleted[1]["operationId"].startswith("delete"):
            lines += [
                f"    def delete(self, thing: {record}, **call: Unpack[WriteOptions]) -> None:",
                '        """Delete one."""',
                "        self._delete(thing, **call)",
                "",
            ]
        return lines


def filters_name(path: str) -> str:
    """Return the name of what a list can be asked for."""
    words = camel(re.sub(r"\{\w+\}", "", path.removeprefix("/v1/")))
    return (words.removesuffix("s") if path.endswith("}") else words) + "Filters"
