"""What every list of things offers: walk it, read one, add one, change one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Generic, TypeVar
from urllib.parse import quote
from uuid import UUID

from ._answer import Answer
from ._connection import Connection
from ._errors import BadAnswer
from ._records import Stored
from ._wire import Record, to_wire
from ._writes import Way, Write, new_key

R = TypeVar("R", bound=Record)
S = TypeVar("S", bound=Stored)


class Link:
    """What the resources share: one way to ask, and one way to change."""

    def __init__(self, connection: Connection, way: Way, technician: str | None, units: str | None) -> None:
        self._connection = connection
        self._way = way
        self._technician = technician
        self._units = units

    def ask(self, path: str, *, accept: str = "application/json", **query: Any) -> Answer:
        """GET; `query` without what is None."""
        return self._connection.get("/v1" + path, self._query(query), accept=accept)

    def change(
        self,
        method: str,
        path: str,
        body: Mapping[str, Any] | None = None,
        *,
        if_match: str | None = None,
        idempotency_key: str | None = None,
    ) -> Answer:
        """POST, PUT, PATCH or DELETE: every change of this client goes through here."""
        write = Write(
            method=method,
            path="/v1" + path,
            body=None if body is None else to_wire(body),
            query=self._query({}),
            if_match=if_match,
            idempotency_key=idempotency_key or new_key(),
            technician=self._technician,
        )
        return self._way.send(write)

    def send_file(self, path: str, text: str, media_type: str, **query: Any) -> Answer:
        """POST a file as it is; `query` without what is None."""
        write = Write(
            method="POST",
            path="/v1" + path,
            query=self._query(query),
            technician=self._technician,
            text=text,
            media_type=media_type,
        )
        return self._way.send(write)

    def walk(self, path: str, record: type[R], **query: Any) -> Iterator[R]:
        """Walk a list, page after page."""
        seen: set[str] = set()
        cursor: str | None = None
        while True:
            answer = self.ask(path, **query, cursor=cursor)
            page = answer.object()
            items = page.get("items")
            if not isinstance(items, list):
                raise BadAnswer(
                    f"{path}: a list was expected", status=answer.status, request_id=answer.request_id
                )
            for item in items:
                yield record.from_wire(item)
            cursor = page.get("next")
            if cursor is None:
                return
            if not isinstance(cursor, str) or cursor in seen:
                raise BadAnswer(f"{path}: the list goes in a circle", request_id=answer.request_id)
            seen.add(cursor)

    def _query(self, query: Mapping[str, Any]) -> dict[str, Any]:
        asked = {name: to_wire(value, name) for name, value in query.items() if value is not None}
        if self._units is not None:
            asked["units"] = self._units
        return asked


def id_of(thing: Stored | UUID | str) -> str:
    """Return the id of a record, or the id itself, safe in a path.

    Raises
    ------
    ValueError
        When there is none.
    """
    text = thing.id if isinstance(thing, Stored) else str(thing)
    if not text:
        raise ValueError("id: an id was expected, not an empty text")
    return quote(text, safe="", errors="surrogatepass")


def read(record: type[R], answer: Answer) -> R:
    """Read one record from an answer; it remembers its etag."""
    return record.from_wire(answer.object(), etag=answer.etag)


def etag_of(link: Link, path: str, thing: S, record: type[S]) -> str:
    """Return what an edit of `thing` must match: its etag, or one made of its version for a row of a list.

    The contract's tag is `"<version>.<units>"`; a record with neither is read first.
    """
    if thing.etag is not None:
        return thing.etag
    if thing.version is not None:
        return f'"{thing.version}.mm"'
    etag = read(record, link.ask(path)).etag
    if etag is None:
        raise BadAnswer(f"{path}: the answer has no ETag, so it cannot be changed safely")
    return etag


class Listed(Generic[S]):
    """A list that can be walked, and whose members can be read."""

    def __init__(self, link: Link, path: str, record: type[S]) -> None:
        self._link = link
        self._path = path
        self._record = record

    def list(self, **filters: Any) -> Iterator[S]:
        """Walk all of them, page after page; `filters` as the service knows them, `limit` = rows a page."""
        return self._link.walk(self._path, self._record, **filters)

    def get(self, thing: S | UUID | str) -> S:
        """Read one."""
        return read(self._record, self._link.ask(self._one(thing)))

    def _one(self, thing: S | UUID | str) -> str:
        return f"{self._path}/{id_of(thing)}"


class Collection(Listed[S]):
    """A list to which one can add, and whose members can be changed."""

    def create(self, *, idempotency_key: str | None = None, **fields: Any) -> S:
        """Add one; sent again under the same idempotency key it is added once."""
        return read(
            self._record, self._link.change("POST", self._path, fields, idempotency_key=idempotency_key)
        )

    def update(self, thing: S, *, idempotency_key: str | None = None, **fields: Any) -> S:
        """Change the fields that are named; refused when somebody else changed it since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        path = self._one(thing)
        etag = etag_of(self._link, path, thing, self._record)
        return read(
            self._record,
            self._link.change("PATCH", path, fields, if_match=etag, idempotency_key=idempotency_key),
        )
