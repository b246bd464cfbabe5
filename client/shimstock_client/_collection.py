"""What every list of things offers: walk it, read one, add one, change one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Generic, TypeVar, Unpack
from urllib.parse import quote
from uuid import UUID

from ._answer import Answer
from ._connection import Connection
from ._errors import BadAnswer
from ._wire import Record, Stored, to_wire
from ._writes import CallOptions, Way, Write, WriteOptions, apart, new_key

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
        """GET; `query` without what is None, and with the options of the call."""
        told, call = apart(query)
        patience: CallOptions = {"retries": call.get("retries"), "timeout": call.get("timeout")}
        return self._connection.get("/v1" + path, self._query(told), accept=accept, **patience)

    def change(
        self,
        method: str,
        path: str,
        body: Mapping[str, Any] | None = None,
        *,
        if_match: str | None = None,
        **call: Unpack[WriteOptions],
    ) -> Answer:
        """POST, PUT, PATCH or DELETE: every change of this client goes through here."""
        travelling = None if body is None else to_wire(body)
        write = Write(method, "/v1" + path, travelling, self._query({}), if_match, **self._how(call))
        return self._way.send(write)

    def send_file(self, path: str, text: str, media_type: str, **query: Any) -> Answer:
        """POST a file as it is; `query` without what is None, and with the options of the call."""
        told, call = apart(query)
        how = self._how(call) | {"text": text, "media_type": media_type}
        return self._way.send(Write("POST", "/v1" + path, query=self._query(told), **how))

    def _how(self, call: WriteOptions) -> dict[str, Any]:
        key = call.get("idempotency_key") or new_key()
        return {**call, "idempotency_key": key, "technician": self._technician}

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

    _path: str
    _record: type[S]

    def __init__(self, link: Link) -> None:
        self._link = link

    def get(self, thing: S | UUID | str, **call: Unpack[CallOptions]) -> S:
        """Read one."""
        return read(self._record, self._link.ask(self._one(thing), **call))

    def _one(self, thing: S | UUID | str) -> str:
        return f"{self._path}/{id_of(thing)}"

    def _walk(self, filters: Mapping[str, Any]) -> Iterator[S]:
        return self._link.walk(self._path, self._record, **filters)

    def _create(self, fields: Mapping[str, Any], **call: Unpack[WriteOptions]) -> S:
        return read(self._record, self._link.change("POST", self._path, fields, **call))

    def _update(self, thing: S, fields: Mapping[str, Any], **call: Unpack[WriteOptions]) -> S:
        return self._edit("PATCH", thing, "", fields, **call)

    def _delete(self, thing: S, **call: Unpack[WriteOptions]) -> None:
        path = self._one(thing)
        self._link.change("DELETE", path, if_match=etag_of(self._link, path, thing, self._record), **call)

    def _edit(
        self, method: str, thing: S, act: str, fields: Mapping[str, Any], **call: Unpack[WriteOptions]
    ) -> S:
        """Change what has to be as it was read; `act` follows its path."""
        path = self._one(thing)
        etag = etag_of(self._link, path, thing, self._record)
        return read(self._record, self._link.change(method, path + act, fields, if_match=etag, **call))


class OfJob(Generic[S]):
    """A list that belongs to one job."""

    _path: str
    _record: type[S]

    def __init__(self, link: Link) -> None:
        self._link = link

    def _of(self, job: Stored | UUID | str) -> str:
        return f"/jobs/{id_of(job)}{self._path}"

    def _walk(self, job: Stored | UUID | str, filters: Mapping[str, Any]) -> Iterator[S]:
        return self._link.walk(self._of(job), self._record, **filters)

    def _create(self, job: Stored | UUID | str, fields: Mapping[str, Any], **call: Unpack[WriteOptions]) -> S:
        return read(self._record, self._link.change("POST", self._of(job), fields, **call))


class Withdrawing(OfJob[S]):
    """A list whose members stand until they are taken back."""

    def withdraw(
        self, job: Stored | UUID | str, which: S | UUID | str, *, reason: str, **call: Unpack[WriteOptions]
    ) -> S:
        """Take one back: it stays on record with the reason, and counts no more."""
        path = f"{self._of(job)}/{id_of(which)}/withdrawal"
        return read(self._record, self._link.change("POST", path, {"reason": reason}, **call))
