"""The one place through which every change goes, so that it can be kept and sent again as it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol, TypedDict, cast

from ._answer import Answer
from ._ids import uuid7


def new_key() -> str:
    """Make an idempotency key: sent again under the same key, a change happens once."""
    return str(uuid7())


Timeout = float | tuple[float, float]
"""Seconds for a whole call with all its tries, or seconds to connect and between two bytes of each try."""


class CallOptions(TypedDict, total=False):
    """How patient one call is."""

    retries: int | None
    """How often it is sent again at most, instead of the client's number."""
    timeout: Timeout | None
    """Instead of the client's."""


class WriteOptions(CallOptions, total=False):
    """How one change is sent."""

    idempotency_key: str | None
    """Sent again under the same key, it is done once; made here when left out."""


def apart(told: Mapping[str, Any]) -> tuple[dict[str, Any], WriteOptions]:
    """Take the fields of a body and the options of its call apart."""
    options = {name: told[name] for name in WriteOptions.__annotations__ if name in told}
    body = {name: value for name, value in told.items() if name not in options}
    return body, cast(WriteOptions, options)


def under(key: str, call: WriteOptions) -> WriteOptions:
    """Return the options of a call whose idempotency key is known."""
    return {**call, "idempotency_key": key}


@dataclass(frozen=True)
class Write:
    """A change as it goes out: whole, of JSON's own types, the same each time that it is sent."""

    method: str
    path: str
    body: Mapping[str, Any] | None = None
    query: Mapping[str, Any] = field(default_factory=dict)
    if_match: str | None = None
    idempotency_key: str = field(default_factory=new_key)
    technician: str | None = None
    text: str | None = None
    """A file that goes out as it is, in the place of a body."""
    media_type: str = "application/json"
    retries: int | None = field(default=None, compare=False)
    timeout: Timeout | None = field(default=None, compare=False)


class Way(Protocol):
    """How a change reaches the service: at once, or by way of something that keeps it until it can go."""

    def send(self, write: Write) -> Answer:
        """Send one change and return the answer."""
        ...
