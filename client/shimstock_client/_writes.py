"""The one place through which every change goes, so that it can be kept and sent again as it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from ._answer import Answer
from ._ids import uuid7


def new_key() -> str:
    """Make an idempotency key: sent again under the same key, a change happens once."""
    return str(uuid7())


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


class Way(Protocol):
    """How a change reaches the service: at once, or by way of something that keeps it until it can go."""

    def send(self, write: Write) -> Answer:
        """Send one change and return the answer."""
        ...
