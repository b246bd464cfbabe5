"""Client of a Shimstock service: what a workshop's own programs use to read and change its jobs.

Everything public is named here; modules that begin with an underscore may change. Names load when they
are first used, so that the command line starts fast.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ._contract import HOMES
from ._lazy import loading
from ._version import VERSION

if TYPE_CHECKING:
    from ._answer import Answer as Answer
    from ._bench import as_planned as as_planned
    from ._client import Client as Client
    from ._contract import *  # noqa: F403
    from ._errors import *  # noqa: F403
    from ._ids import uuid7 as uuid7
    from ._quantity import Quantity as Quantity
    from ._quantity import QuantityDict as QuantityDict
    from ._retries import TIMEOUT as TIMEOUT
    from ._retries import BoundedRetry as BoundedRetry
    from ._webhooks import ForgedWebhook as ForgedWebhook
    from ._webhooks import verify_webhook as verify_webhook
    from ._wire import Record as Record
    from ._writes import CallOptions as CallOptions
    from ._writes import Way as Way
    from ._writes import Write as Write
    from ._writes import WriteOptions as WriteOptions
    from ._wsgi import WSGITransport as WSGITransport

_HOMES = {
    "_answer": "Answer",
    "_bench": "as_planned",
    "_client": "Client",
    "_errors": "BadAnswer BadRequest Changed ClaimEnded Conflict FieldError InvalidFields NotAllowed "
    "NotFound NotReachable NotSignedIn PlainHttpWarning Refused ServiceFailed ShimstockError "
    "TooManyRequests",
    "_ids": "uuid7",
    "_quantity": "Quantity QuantityDict",
    "_retries": "BoundedRetry TIMEOUT",
    "_version": "VERSION",
    "_webhooks": "ForgedWebhook verify_webhook",
    "_wire": "Record",
    "_writes": "CallOptions Way Write WriteOptions",
    "_wsgi": "WSGITransport",
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names.split()}
_HOME_OF |= dict.fromkeys(HOMES, "_contract")

__all__ = sorted(_HOME_OF)  # noqa: PLE0605

__version__ = VERSION

if not TYPE_CHECKING:
    __getattr__ = loading(__name__, _HOME_OF)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
