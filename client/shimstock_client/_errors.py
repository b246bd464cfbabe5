"""What can go wrong, one class a cause; each carries what the service said and the id of the request."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


class ShimstockError(Exception):
    """Base of everything that this package raises about the service.

    Attributes
    ----------
    status : int or None
        HTTP status; None when no answer came [-].
    code : str
        Short name of the cause, stable [-].
    detail : str
        What went wrong, in one or two sentences [-].
    request_id : str or None
        Names this request in the service's logs [-].
    errors : tuple of FieldError
        Every field that cannot be taken [-].
    """

    status: int | None = None
    code: str = "error"

    def __init__(
        self,
        detail: str,
        *,
        code: str | None = None,
        status: int | None = None,
        request_id: str | None = None,
        errors: Sequence[FieldError] = (),
    ) -> None:
        super().__init__(detail)
        self.detail = detail
        self.code = code or type(self).code
        self.status = status if status is not None else type(self).status
        self.request_id = request_id
        self.errors = tuple(errors)

    def __str__(self) -> str:
        lines = [self.detail, *(f"  {error}" for error in self.errors)]
        said = [self.code]
        if self.status is not None:
            said.append(str(self.status))
        if self.request_id:
            said.append(f"request {self.request_id}")
        lines.append(f"({', '.join(said)})")
        return "\n".join(lines)


@dataclass(frozen=True)
class FieldError:
    """A field that cannot be taken, and what would be right."""

    pointer: str
    """JSON Pointer (RFC 6901) into the body; empty = the whole body."""
    message: str

    def __str__(self) -> str:
        return f"{self.pointer}: {self.message}" if self.pointer else self.message


class PlainHttpWarning(UserWarning):
    """The key travels over plain http to another machine, where everybody on the way can read it."""


class NotReachable(ShimstockError):  # noqa: N818 - named after its cause
    """No answer came: the service is down, the network is, or the address is wrong. Send it again later."""

    code = "not-reachable"


class BadAnswer(ShimstockError):  # noqa: N818 - named after its cause
    """Something answered that is not this service, or not as its contract says."""

    code = "bad-answer"


class Refused(ShimstockError):  # noqa: N818 - named after its cause
    """The service answered with a problem (RFC 9457).

    Attributes
    ----------
    title : str
        Short text of the cause [-].
    instance : str or None
        What the problem is about [-].
    retry_after : float or None
        When it is worth trying again [s].
    extra : dict
        Further members of the problem, such as the allowed moves or the present holder [-].
    """

    def __init__(
        self,
        detail: str,
        *,
        title: str = "",
        instance: str | None = None,
        retry_after: float | None = None,
        extra: Mapping[str, Any] | None = None,
        **common: Any,
    ) -> None:
        super().__init__(detail, **common)
        self.title = title
        self.instance = instance
        self.retry_after = retry_after
        self.extra = dict(extra or {})


class BadRequest(Refused):
    """The request could not be read."""


class NotSignedIn(Refused):
    """The key is missing, unknown, expired or revoked."""


class NotAllowed(Refused):
    """This key may not do this."""


class NotFound(Refused):
    """There is no such thing, or not for this key."""


class Conflict(Refused):
    """A rule of the shop stands against it as things are now."""


class ClaimEnded(Conflict):
    """This claim is over; another bench may hold the job now."""


class Changed(Refused):
    """Somebody else changed it since it was read; read it again."""


class InvalidFields(Refused):
    """Some fields cannot be taken; nothing was stored."""


class TooManyRequests(Refused):
    """This key asks too often."""


class ServiceFailed(Refused):
    """The service could not do it this time."""


_BY_CODE: dict[str, type[Refused]] = {"claim-ended": ClaimEnded}
_BY_STATUS: dict[int, type[Refused]] = {
    400: BadRequest,
    401: NotSignedIn,
    403: NotAllowed,
    404: NotFound,
    409: Conflict,
    412: Changed,
    422: InvalidFields,
    429: TooManyRequests,
}
_COMMON = {"type", "code", "title", "status", "detail", "instance", "request_id", "errors"}


def refusal(
    status: int, problem: Mapping[str, Any], *, request_id: str | None, retry_after: float | None
) -> Refused:
    """Make the error that a problem document stands for.

    Parameters
    ----------
    status : int
        HTTP status of the answer [-].
    problem : mapping
        The parsed problem document; unknown members go to `extra` [-].
    request_id : str or None
        From the answer's header, when the document names none [-].
    retry_after : float or None
        From the answer's header [s].

    Returns
    -------
    Refused
        Of the class that fits code and status [-].
    """
    code = str(problem.get("code") or f"http-{status}")
    kind = _BY_CODE.get(code) or _BY_STATUS.get(status) or (ServiceFailed if status >= 500 else Refused)
    title = str(problem.get("title") or "")
    return kind(
        str(problem.get("detail") or title or f"the service answered {status}"),
        title=title,
        code=code,
        status=status,
        request_id=str(problem["request_id"]) if problem.get("request_id") else request_id,
        errors=_field_errors(problem.get("errors")),
        instance=str(problem["instance"]) if problem.get("instance") else None,
        retry_after=retry_after,
        extra={name: value for name, value in problem.items() if name not in _COMMON},
    )


def _field_errors(listed: Any) -> tuple[FieldError, ...]:
    if not isinstance(listed, list):
        return ()
    return tuple(
        FieldError(str(one.get("pointer") or ""), str(one.get("message") or "cannot be taken"))
        for one in listed
        if isinstance(one, dict)
    )
