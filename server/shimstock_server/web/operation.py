"""How a request flows: one operation checks in the order that the contract names, works, and answers."""

from __future__ import annotations

import hashlib
import json
import random
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal
from uuid import UUID

from flask import Response, current_app, g, request
from sqlalchemy.orm import Session

from shimstock_server.database.session import TryAgain

from . import idempotency
from .authentication import authenticate, note_use, read_technician
from .context import current
from .etags import etag, none_match, require_if_match
from .parsing import (
    load,
    load_query,
    read_bytes,
    read_file,
    read_idempotency_key,
    read_json,
    read_text,
    read_units,
)
from .problems import (
    DatabaseAway,
    FieldError,
    Forbidden,
    IdempotencyKeyMissing,
    InvalidFields,
    NotFound,
    Problem,
    UnsupportedMedia,
)
from .schemas import StrictSchema, without_secrets
from .visibility import rule_for

Creates = Literal["key", "client-id"]
_ATTEMPTS = 3

FILE_BODY = 4 * 1024 * 1024
"""Largest file that is sent as text [byte]: a typical year of hours has 1.7 MB."""


@dataclass
class Answer:
    """What a view returns when the object alone does not say it all.

    Attributes
    ----------
    data : object
        What the schema of the status dumps.
    status : int, optional
        The operation's own by default.
    headers : dict
        Further headers.
    version : int or str, optional
        The version behind the ETag; taken from `data.version` by default.
    digest : str, optional
        The same for computed answers.
    location : str, optional
        The address of what was created.
    text : str or bytes, optional
        The finished body, for media types other than JSON.
    media_type : str, optional
        The media type of `text`.
    by_the_clock : bool
        Whether part of it changes with the time alone, so that one version can mean several answers.
    keep : bool
        Whether the answer may be kept under its Idempotency-Key. A claim that found no job may not.
    """

    data: Any = None
    status: int | None = None
    headers: Mapping[str, str] = field(default_factory=dict)
    version: int | str | None = None
    digest: str | None = None
    location: str | None = None
    text: str | bytes | None = None
    media_type: str | None = None
    by_the_clock: bool = False
    keep: bool = True


@dataclass(frozen=True)
class Operation:
    """One method of one address: who may use it, what it takes, what it answers."""

    method: str
    rule: str
    view: Callable[..., Any]
    scopes: tuple[str, ...] | None
    body: StrictSchema | None
    query: StrictSchema | None
    answers: Mapping[int, StrictSchema | None]
    status: int
    writes: bool
    creates: Creates | None
    edits: bool
    types: tuple[str, ...]
    conflicts: tuple[type[Problem], ...] = ()
    text: tuple[str, ...] = ()
    binary: tuple[str, ...] = ()
    by_hand: bool = True
    shows_again: Callable[[dict[str, Any]], dict[str, Any]] | None = None

    @property
    def keyed(self) -> bool:
        """Whether it needs a key."""
        return self.scopes is not None

    def __call__(self, **path: Any) -> Response:
        """Answer the request at hand."""
        service = current_app.extensions["shimstock"]
        given: dict[str, Any] = {}
        body: Any = None
        last_used = None
        with service.database.read(self._info()) as session:
            g.session = session
            limit = None
            if self.keyed:
                g.actor, last_used = authenticate(session, request, current.now)
                limit = service.limit.count(g.actor.key_id)
                if self.scopes and g.actor.scope not in self.scopes:
                    raise Forbidden(
                        f"A {g.actor.scope} key may not do that; it takes {_either(self.scopes)}."
                    )
            self._look(session, path)
            if limit is not None:
                raise limit
            body, given, key = self._read(session)
            if not self.writes:
                response = self._answer(self.view(**path, **given))
        if self.writes:
            response = self._write(path, given, key, body)
        if self.keyed:
            note_use(service.database, g.actor, last_used, current.now)
        return response

    def _info(self) -> dict[str, Any]:
        return {
            "actor": g.get("actor"),
            "now": current.now,
            "request_id": current.request_id,
            "secret": current.config.secret,
        }

    def _look(self, session: Session, path: Mapping[str, Any]) -> None:
        """Refuse to know of what this key may not see."""
        for name, value in path.items():
            if isinstance(value, UUID):
                rule = rule_for(name)
                if rule is None or not rule(session, g.actor, value):
                    raise NotFound()

    def _read(self, session: Session) -> tuple[Any, dict[str, Any], str | None]:
        """Return the parsed body, the arguments of the view, and the Idempotency-Key."""
        errors: list[FieldError] = []
        given: dict[str, Any] = {}
        tree: Any = None
        strict: InvalidFields | None = None
        if self.body is not None:
            try:
                tree = read_json(
                    request, max_depth=current.config.max_depth, max_body=current.config.max_body
                )
            except InvalidFields as problem:
                strict = problem
        else:
            given, tree = self._read_file()
        key = read_idempotency_key(request) if self.writes and self.keyed else None
        if self.creates == "key" and key is None:
            raise IdempotencyKeyMissing()
        if self.writes and self.keyed:
            try:
                technician = read_technician(session, request, g.actor, by_hand=self.by_hand)
            except InvalidFields as problem:
                errors += problem.errors or []
            else:
                g.actor = replace(g.actor, technician_id=technician)
        asked, wrong = read_units(request)
        g.units = asked or (g.actor.units if self.keyed else None) or "mm"
        errors += wrong
        if strict is not None:
            errors += strict.errors or []
        elif self.body is not None:
            given["body"], wrong = load(self.body, tree)
            errors += wrong
        query, wrong = load_query(self.query, request)
        errors += wrong
        if self.query is not None:
            given["query"] = query
        if errors:
            raise InvalidFields(errors=errors)
        g.fingerprint = idempotency.content_hash(tree)
        g.media_type = request.accept_mimetypes.best_match(self.types) or self.types[0]
        return tree, given, key

    def _read_file(self) -> tuple[dict[str, Any], str | None]:
        """Return what the view gets of a file in the place of a JSON body, and what tells it from others."""
        if self.text:
            text = read_text(request, self.text, max_body=FILE_BODY)
            return {"text": text}, text
        if self.binary:
            data = read_file(request, self.binary, max_body=FILE_BODY)
            return {"data": data}, hashlib.sha256(data).hexdigest()
        if request.method != "GET":
            _refuse_body()
        return {}, None

    def _write(self, path: Mapping[str, Any], given: dict[str, Any], key: str | None, tree: Any) -> Response:
        sameness = idempotency.fingerprint(tree) if key is not None else ""
        for attempt in range(_ATTEMPTS):
            try:
                with current.database.write(self._info()) as session:
                    g.session = session
                    return self._work(session, path, given, key, sameness)
            except TryAgain:
                time.sleep(random.uniform(0.01, 0.05) * (attempt + 1))  # noqa: S311 - spreads retries
        raise DatabaseAway(retry_after=1)

    def _work(
        self, session: Session, path: Mapping[str, Any], given: dict[str, Any], key: str | None, sameness: str
    ) -> Response:
        claim = None
        if key is not None:
            found = idempotency.claim(session, key, sameness)
            if isinstance(found, Response):
                return self._once_more(found)
            claim = found
        g.matched = False
        if self.edits:
            require_if_match()
        result = self.view(**path, **given)
        if self.edits and not g.matched and current_app.debug:
            raise AssertionError(f"{self.method} {self.rule} edits and has not called must_match")
        session.flush()
        response = self._answer(result)
        if claim is not None:
            if isinstance(result, Answer) and not result.keep:
                claim.drop(session)
            else:
                claim.keep(session, response, self._body_to_keep(response))
        return response

    def _once_more(self, kept: Response) -> Response:
        """Return a kept answer, with the secrets that the service can make again."""
        if self.shows_again is not None and kept.status_code == self.status:
            kept.set_data(encode(self.shows_again(json.loads(kept.get_data(as_text=True)))))
        return kept

    def _body_to_keep(self, response: Response) -> str | None:
        schema = self.answers.get(response.status_code)
        text = response.get_data(as_text=True)
        if schema is None or not text:
            return text or None
        shown = without_secrets(schema, json.loads(text))
        return encode(shown) if shown is not None else text

    def _answer(self, result: Any) -> Response:
        answer = result if isinstance(result, Answer) else Answer(result)
        status = answer.status or self.status
        if status not in self.answers:
            raise AssertionError(
                f"{self.method} {self.rule} answers {status}, which its contract does not know"
            )
        schema = self.answers[status]
        media = ""
        if answer.text is not None:
            response = Response(answer.text, status=status, content_type=_content_type(answer.media_type))
            media = (answer.media_type or "").split(";")[0].rsplit("/", 1)[-1].split("+")[0]
        elif schema is None:
            if status != 204:
                raise AssertionError(
                    f"{self.method} {self.rule} answers {status} without a body; 204 says that"
                )
            response = Response(status=status)
            response.headers.pop("Content-Type", None)
        else:
            response = Response(
                encode(schema.dump(answer.data)), status=status, content_type="application/json"
            )
        version = answer.digest or answer.version or _version_of(answer.data)
        if version is not None and status != 204:
            response.headers["ETag"] = etag(version, current.units, media)
        if answer.location is not None:
            response.headers["Location"] = answer.location
        response.headers.extend(answer.headers)
        if self.method != "GET" or answer.by_the_clock or "ETag" not in response.headers:
            return response
        if none_match(response.headers["ETag"]):
            return _not_modified(response)
        return response


def encode(tree: Any) -> str:
    """Return a tree as JSON text; what JSON cannot say is an error of the service and must not leave it."""
    return json.dumps(tree, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _version_of(data: Any) -> int | str | None:
    version = data.get("version") if isinstance(data, Mapping) else getattr(data, "version", None)
    return version if isinstance(version, (int, str)) else None


# A browser puts these in the place of those that it kept with the page (RFC 9111, section 4.3.4).
_KEPT_BY_304 = ("ETag", "Cache-Control", "Content-Security-Policy", "Set-Cookie", "Vary")


def _not_modified(response: Response) -> Response:
    short = Response(status=304)
    short.headers.pop("Content-Type", None)
    for name in _KEPT_BY_304:
        for value in response.headers.getlist(name):
            short.headers.add(name, value)
    return short


def _content_type(media_type: str | None) -> str:
    media_type = media_type or "text/plain"
    needs_charset = "charset" not in media_type and (
        media_type.startswith("text/") or media_type.endswith("xml")
    )
    return media_type + "; charset=utf-8" if needs_charset else media_type


def _refuse_body() -> None:
    """Take an empty body, or an empty object, where none is wanted."""
    data = read_bytes(request, current.config.max_body)
    if not data:
        return
    if request.mimetype != "application/json":
        raise UnsupportedMedia("This request takes no body.")
    if data.strip() != b"{}":
        raise InvalidFields.at("", "this request takes no body")


def _either(words: tuple[str, ...]) -> str:
    return "a " + (words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]) + " key"
