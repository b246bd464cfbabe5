"""The one decorator that makes a function an operation of the service, and documents it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import flask_smorest
import marshmallow

from . import documents
from .operation import Answer, Creates, Operation
from .problems import Problem
from .schemas import StrictSchema

__all__ = ["Answer", "Blueprint"]

View = TypeVar("View", bound=Callable[..., Any])
Schema = type[StrictSchema] | StrictSchema


class Blueprint(flask_smorest.Blueprint):  # type: ignore[misc]
    """The routes of one topic.

    Parameters
    ----------
    name : str
        The topic, as it stands in the OpenAPI document.
    description : str
        What it is, in one or two sentences.
    prefix : str
        What stands before every path.
    """

    def __init__(self, name: str, description: str, *, prefix: str = "/v1") -> None:
        super().__init__(name, "shimstock_server.web", url_prefix=prefix or None, description=description)
        self.operations: list[Operation] = []

    def operation(
        self,
        method: str,
        rule: str,
        *,
        scopes: tuple[str, ...] | None,
        body: Schema | None = None,
        query: Schema | None = None,
        answer: Schema | None = None,
        status: int = 200,
        writes: bool = False,
        creates: Creates | None = None,
        edits: bool = False,
        conflicts: tuple[type[Problem], ...] = (),
        also: Mapping[int, Schema | None] | None = None,
        types: tuple[str, ...] = ("application/json",),
        text: tuple[str, ...] = (),
        binary: tuple[str, ...] = (),
        by_hand: bool = True,
        shows_again: Callable[[dict[str, Any]], dict[str, Any]] | None = None,
    ) -> Callable[[View], View]:
        """Make the decorated function answer a method of an address.

        Parameters
        ----------
        method : str
            ``GET``, ``POST``, ``PUT``, ``PATCH`` or ``DELETE``.
        rule : str
            The path after the prefix. Every ``<uuid:name>`` in it needs a visibility rule.
        scopes : tuple of str, or None
            The scopes that may use it; empty for any valid key, None for everybody without a key.
        body, query : schema, optional
            What it takes; the view gets ``body`` and ``query`` as deserialised dicts.
        answer : schema, optional
            What dumps the answer; without it the answer has no JSON body.
        status : int
            The status of the usual answer.
        writes : bool
            Whether the view works inside a write transaction.
        creates : {"key", "client-id"}, optional
            What makes a repeated POST harmless: a required Idempotency-Key, or an id made by the client.
        edits : bool
            Whether If-Match is required; the view calls ``must_match``.
        conflicts : tuple of problem classes
            The domain's own refusals, for the document.
        also : mapping, optional
            Further statuses and their schemas.
        types : tuple of str
            The media types of the answer, the first by default; ``current.media_type`` tells the one wanted.
        text : tuple of str
            Media types of a file that is sent as it is instead of a JSON body; the view gets it as ``text``.
        binary : tuple of str
            The same for a file that is no text; the view gets its bytes as ``data``.
        by_hand : bool
            Whether a bench key's request names the technician; False for what devices send by themselves.
        shows_again : function, optional
            Puts a secret back into the answer that was kept without it, for a repetition of the request.
        """
        method = method.upper()
        answers = {status: _instance(answer)} | {code: _instance(each) for code, each in (also or {}).items()}

        def decorate(view: View) -> View:
            operation = Operation(
                method=method,
                rule=(self.url_prefix or "") + rule,
                view=view,
                scopes=scopes,
                body=_instance(body),
                query=_instance(query),
                answers=answers,
                status=status,
                writes=writes,
                creates=creates,
                edits=edits,
                types=types,
                conflicts=conflicts,
                text=text,
                binary=binary,
                by_hand=by_hand,
                shows_again=shows_again,
            )
            _check(operation)
            self.operations.append(operation)

            def endpoint(**path: Any) -> Any:
                return operation(**path)

            endpoint.__name__ = view.__name__
            endpoint.__doc__ = view.__doc__
            endpoint.provide_automatic_options = False  # type: ignore[attr-defined]
            endpoint.operation = operation  # type: ignore[attr-defined]
            endpoint._apidoc = {"manual_doc": documents.describe(operation)}  # type: ignore[attr-defined]
            self.add_url_rule(rule, None, endpoint, methods=[method])
            return view

        return decorate

    @staticmethod
    def _prepare_response_doc(doc: Any, _doc_info: Any, **_: Any) -> Any:
        """Leave the answers to `documents.describe`: each operation names every one that it gives."""
        return doc


def _instance(schema: Schema | None) -> StrictSchema | None:
    return schema() if isinstance(schema, type) else schema


def _check(operation: Operation) -> None:
    """Refuse a declaration that contradicts itself, when the module is imported."""
    where = f"{operation.method} {operation.rule}"
    if operation.method not in ("GET", "POST", "PUT", "PATCH", "DELETE"):
        raise TypeError(f"{where}: the service knows no such method")
    if operation.method == "GET" and (operation.writes or operation.body is not None):
        raise TypeError(f"{where}: a GET neither writes nor takes a body")
    if (operation.text or operation.binary) and (operation.method != "POST" or operation.body is not None):
        raise TypeError(f"{where}: a file comes by POST, in the place of a JSON body")
    if (operation.creates or operation.edits) and not operation.writes:
        raise TypeError(f"{where}: what creates or edits writes")
    if operation.scopes is None and "<uuid:" in operation.rule:
        raise TypeError(f"{where}: an id in the address needs a key")
    if operation.creates == "client-id" and (operation.body is None or "id" not in operation.body.fields):
        raise TypeError(f"{where}: an id made by the client stands in the body as `id`")
    for schema in (operation.body, *operation.answers.values()):
        if isinstance(schema, marshmallow.Schema) and not isinstance(schema, StrictSchema):
            raise TypeError(f"{where}: {type(schema).__name__} is not strict")
    if operation.body is not None and {"query", "header"} & set(operation.body.fields):
        raise TypeError(
            f"{where}: a field named query or header cannot be told from a parameter in a pointer"
        )
    if not re.fullmatch(r"[a-z][a-z0-9_]*", operation.view.__name__):
        raise TypeError(f"{where}: a view has a plain name")
