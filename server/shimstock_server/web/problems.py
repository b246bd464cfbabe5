"""Problems: every error that a client can see, one class a cause, as application/problem+json (RFC 9457)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, ClassVar

FieldError = dict[str, str]

EXPLAINED = "/docs/problems#"
MOST_ERRORS = 1000
"""Bad fields that an answer lists; a body of nothing else would get an answer a hundred times its length."""


class Problem(Exception):  # noqa: N818 - named after its cause
    """The request could not be answered.

    Parameters
    ----------
    detail : str, optional
        What was wrong this time and what would be right; the class's docstring by default.
    errors : sequence of dict, optional
        One ``{"pointer", "message"}`` for each bad field.
    headers : mapping, optional
        Headers of the answer.
    **extra
        Further members of the answer.
    """

    status: ClassVar[int] = 500
    code: ClassVar[str] = "problem"
    title: ClassVar[str] = "The request could not be answered"

    def __init__(
        self,
        detail: str | None = None,
        *,
        errors: Sequence[FieldError] | None = None,
        headers: Mapping[str, str] | None = None,
        **extra: Any,
    ) -> None:
        self.detail = detail if detail is not None else self.meaning()
        self.errors = list(errors) if errors is not None else None
        self.headers = dict(headers or {})
        self.extra = extra
        super().__init__(self.detail)

    @classmethod
    def meaning(cls) -> str:
        """Return what this problem means, in one sentence: the first paragraph of the docstring."""
        first = (cls.__doc__ or "").strip().split("\n\n")[0]
        return " ".join(first.split())

    def body(self) -> dict[str, Any]:
        """Return the members of the answer, without those that belong to the request."""
        body: dict[str, Any] = {
            "type": EXPLAINED + self.code,
            "code": self.code,
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
        }
        if self.errors is not None:
            body["errors"] = self.errors[:MOST_ERRORS]
            if len(self.errors) > MOST_ERRORS:
                body["detail"] += f" There are more than the {MOST_ERRORS} that are listed."
        return body | self.extra


def every_problem() -> list[type[Problem]]:
    """List every kind of problem that has a code of its own, by status and code."""

    def below(cls: type[Problem]) -> Iterator[type[Problem]]:
        for child in cls.__subclasses__():
            if "code" in vars(child):
                yield child
            yield from below(child)

    return sorted(set(below(Problem)), key=lambda cls: (cls.status, cls.code))


def check_codes() -> None:
    """Refuse two problems of one code: programs decide by it, and each has one explanation and one status."""
    seen: dict[str, type[Problem]] = {}
    for problem in every_problem():
        other = seen.setdefault(problem.code, problem)
        if other is not problem:
            raise TypeError(f"{problem.__name__} and {other.__name__} share the code {problem.code}")


class BadRequest(Problem):
    """The request could not be understood."""

    status = 400
    code = "bad-request"
    title = "Bad request"


class BadJson(BadRequest):
    """The body is not JSON in UTF-8."""

    code = "bad-json"
    title = "Not JSON"


class IdempotencyKeyMissing(BadRequest):
    """This request creates something: send an Idempotency-Key header of your own making, and the same one
    when you send the request again."""

    code = "idempotency-key-missing"
    title = "Idempotency-Key missing"


class BadIdempotencyKey(BadRequest):
    """An Idempotency-Key has 1 to 200 printable ASCII characters, in double quotes or bare."""

    code = "bad-idempotency-key"
    title = "Bad Idempotency-Key"


class TechnicianRequired(BadRequest):
    """A bench key's writes name who did it: send the header Technician with the technician's id."""

    code = "technician-required"
    title = "Technician missing"


class InvalidCursor(BadRequest):
    """The cursor does not belong to this list with this filter and sort; begin again without a cursor."""

    code = "invalid-cursor"
    title = "Invalid cursor"


class Unauthorized(Problem):
    """Send a valid API key: Authorization: Bearer shim_…"""

    status = 401
    code = "unauthorized"
    title = "No valid key"

    def __init__(self, detail: str | None = None, **extra: Any) -> None:
        super().__init__(detail, headers={"WWW-Authenticate": 'Bearer realm="shimstock"'}, **extra)


class Forbidden(Problem):
    """This key's scope does not allow that."""

    status = 403
    code = "forbidden"
    title = "Not allowed"


class NotFound(Problem):
    """There is nothing here, or nothing that this key may see."""

    status = 404
    code = "not-found"
    title = "Not found"


class MethodNotAllowed(Problem):
    """This address does not know that method; the Allow header lists those that it knows."""

    status = 405
    code = "method-not-allowed"
    title = "Method not allowed"


class Conflict(Problem):
    """That conflicts with what the shop's records say."""

    status = 409
    code = "conflict"
    title = "Conflict"


class RequestInProgress(Conflict):
    """A request under the same Idempotency-Key is still at work; send it again in a moment."""

    code = "request-in-progress"
    title = "Request in progress"

    def __init__(self, detail: str | None = None) -> None:
        super().__init__(detail, headers={"Retry-After": "1"})


class IdTaken(Conflict):
    """That id is taken by something with another content."""

    code = "id-taken"
    title = "Id taken"


class PreconditionFailed(Problem):
    """Somebody changed it since you read it: read it again, and apply your change to that.

    Or If-Match holds no ETag of it, or a weak one: the detail says so.
    """

    status = 412
    code = "precondition-failed"
    title = "If-Match does not match"


class TooLarge(Problem):
    """The body is larger than the service takes."""

    status = 413
    code = "too-large"
    title = "Too large"


class UnsupportedMedia(Problem):
    """Send the body as application/json."""

    status = 415
    code = "unsupported-media-type"
    title = "Not application/json"


class Unprocessable(Problem):
    """The request was understood and cannot be carried out."""

    status = 422
    code = "unprocessable"
    title = "Cannot be carried out"


class InvalidFields(Unprocessable):
    """Some fields are not right; each is listed with a JSON Pointer to it. Pointers under /query and /header
    name query parameters and headers."""

    code = "invalid-fields"
    title = "Invalid fields"

    @classmethod
    def at(cls, pointer: str, message: str) -> InvalidFields:
        """Make the problem of one bad field."""
        return cls(errors=[{"pointer": pointer, "message": message}])

    @classmethod
    def of(cls, errors: Mapping[str, str]) -> InvalidFields:
        """Make the problem of several bad fields: pointer to message."""
        return cls(errors=[{"pointer": pointer, "message": message} for pointer, message in errors.items()])


class CannotCalculate(Unprocessable):
    """The values given allow no answer: out of range, contradictory, missing, or refused for safety."""

    code = "cannot-calculate"
    title = "Cannot be calculated"


class KeyReused(Unprocessable):
    """That Idempotency-Key was used for another request; use a new one for each new request."""

    code = "idempotency-key-reused"
    title = "Idempotency-Key reused"


class ClockAhead(Unprocessable):
    """The time given lies ahead of the service's clock; check the clock of the bench, or confirm the time.

    More than 48 hours ahead cannot be confirmed: what is dated so would be the newest for ever.
    """

    code = "clock-ahead"
    title = "Clock ahead"


class PreconditionRequired(Problem):
    """Send If-Match with the ETag of what you read, so that nobody's change is lost."""

    status = 428
    code = "precondition-required"
    title = "If-Match missing"


class TooManyRequests(Problem):
    """This key has sent too many requests in the last minute; wait as long as Retry-After says."""

    status = 429
    code = "too-many-requests"
    title = "Too many requests"


class Unexpected(Problem):
    """Something went wrong in the service; the request id finds it in the logs."""

    status = 500
    code = "unexpected"
    title = "Unexpected error"


class DatabaseAway(Problem):
    """The database is away or too slow at the moment; send the request again, under the same Idempotency-Key
    when it has one."""

    status = 503
    code = "database-away"
    title = "Database away"

    def __init__(self, detail: str | None = None, *, retry_after: int = 2) -> None:
        super().__init__(detail, headers={"Retry-After": str(retry_after)})


class DiskFull(Problem):
    """The disk of the service is full; nothing was changed."""

    status = 507
    code = "disk-full"
    title = "Disk full"


def pointer(*parts: str | int) -> str:
    """Return the JSON Pointer (RFC 6901) of a path.

    Examples
    --------
    >>> pointer("readings", 3, "value")
    '/readings/3/value'
    >>> pointer("a/b", "m~n")
    '/a~1b/m~0n'
    """
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)
