"""Around every request: its id, its log line, its headers, and errors as problems."""

from __future__ import annotations

import logging
import re
import time
from typing import Any
from urllib.parse import quote

import uuid_utils.compat
from flask import Flask, Response, current_app, g, request
from werkzeug.exceptions import HTTPException
from werkzeug.exceptions import MethodNotAllowed as WerkzeugMethodNotAllowed
from werkzeug.exceptions import NotFound as WerkzeugNotFound

from shimstock_calc.errors import CalculationError

from . import problems
from .operation import encode
from .tokens import redact_path

_log = logging.getLogger(__name__)
_access = logging.getLogger("shimstock.access")

# What RFC 3986, section 3.3, lets stand in a path as it is.
_PATH = "/:@!$&'()*+,;=~"
_REQUEST_ID = re.compile(r"[A-Za-z0-9._-]{8,64}")


def install(app: Flask) -> None:
    """Put the handlers around every request of the application."""
    app.before_request(_begin)
    app.after_request(_finish)
    app.register_error_handler(problems.Problem, answer_problem)
    app.register_error_handler(CalculationError, _answer_calculation)
    app.register_error_handler(HTTPException, _answer_http)
    app.register_error_handler(Exception, _answer_unexpected)


def _begin() -> None:
    g.started = time.perf_counter()
    g.now = current_app.extensions["shimstock"].clock.now()
    given = request.headers.get("Request-Id", "")
    g.request_id = given if _REQUEST_ID.fullmatch(given) else uuid_utils.compat.uuid7().hex


def _request_id() -> str:
    return str(g.get("request_id", ""))


def answer_problem(problem: problems.Problem) -> Response:
    """Return the answer that tells of a problem."""
    body = problem.body() | {
        "instance": quote(redact_path(request.path), safe=_PATH),
        "request_id": _request_id(),
    }
    response = Response(
        encode(_whole_text(body)), status=problem.status, content_type="application/problem+json"
    )
    for name, value in problem.headers.items():
        response.headers[name] = value
    g.problem = problem.code
    return response


def _whole_text(tree: Any) -> Any:
    """Return the tree with lone surrogates replaced; messages may quote what was sent."""
    if isinstance(tree, str):
        return tree.encode("utf-8", "replace").decode("utf-8")
    if isinstance(tree, dict):
        return {_whole_text(name): _whole_text(value) for name, value in tree.items()}
    if isinstance(tree, list):
        return [_whole_text(value) for value in tree]
    return tree


def _answer_calculation(error: CalculationError) -> Response:
    errors = None
    if error.field:
        errors = [{"pointer": problems.pointer(*error.field.split(".")), "message": error.message}]
    return answer_problem(problems.CannotCalculate(error.message, errors=errors, reason=error.code))


def _answer_http(error: HTTPException) -> Response:
    if isinstance(error, WerkzeugNotFound):
        return answer_problem(problems.NotFound())
    if isinstance(error, WerkzeugMethodNotAllowed):
        allowed = ", ".join(sorted(set(error.valid_methods or ()) - {"OPTIONS"}))
        return answer_problem(problems.MethodNotAllowed(headers={"Allow": allowed}))
    code = error.code or 500
    if code == 413:
        return answer_problem(problems.TooLarge())
    if code >= 500:
        return _answer_unexpected(error)
    if code < 400:
        return Response(status=code, headers=[("Location", dict(error.get_headers()).get("Location", "/"))])
    return answer_problem(problems.BadRequest(error.description))


def _answer_unexpected(error: Exception) -> Response:
    _log.error("unexpected error", exc_info=error, extra={"request_id": _request_id()})
    return answer_problem(problems.Unexpected())


def _finish(response: Response) -> Response:
    headers = response.headers
    headers["Request-Id"] = _request_id()
    headers.setdefault("X-Content-Type-Options", "nosniff")
    headers.setdefault("Referrer-Policy", "no-referrer")
    headers.setdefault("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
    headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
    if "actor" in g or response.status_code >= 400:
        headers.setdefault("Cache-Control", "no-store")
    if "actor" in g:
        headers["Vary"] = "Authorization, Accept"
    seconds = time.perf_counter() - g.get("started", time.perf_counter())
    _write_log(response, seconds)
    for listener in current_app.extensions["shimstock"].listeners:
        route = request.url_rule.rule if request.url_rule is not None else "(none)"
        listener(request.method, route, response.status_code, seconds)
    return response


def _write_log(response: Response, seconds: float) -> None:
    actor = g.get("actor")
    operation = request.url_rule.rule if request.url_rule is not None else None
    _access.info(
        "request",
        extra={
            "request_id": _request_id(),
            "method": request.method,
            "path": redact_path(request.path),
            "route": operation,
            "status": response.status_code,
            "milliseconds": round(seconds * 1000, 2),
            "key": str(actor.key_id) if actor is not None else None,
            "technician": str(actor.technician_id) if actor is not None and actor.technician_id else None,
            "problem": g.get("problem"),
            "address": request.remote_addr,
        },
    )
