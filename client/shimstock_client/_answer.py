"""What came back over HTTP, before it becomes a record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ._errors import BadAnswer


@dataclass(frozen=True)
class Answer:
    """Status, headers and content of an answer that is not a problem."""

    status: int
    headers: Mapping[str, str]
    content: Any
    """Parsed JSON, text of another kind, the bytes of a zip, or None for an empty answer."""

    @property
    def etag(self) -> str | None:
        """What a later edit must match."""
        return self.headers.get("ETag")

    @property
    def request_id(self) -> str | None:
        """Names the request in the service's logs."""
        return self.headers.get("Request-Id")

    @property
    def replayed(self) -> bool:
        """True when the service had done this under the same key before, and gave the same answer again."""
        return self.headers.get("Idempotent-Replayed", "").lower() == "true"

    def object(self) -> dict[str, Any]:
        """Return the content as a JSON object.

        Raises
        ------
        BadAnswer
            When it is something else.
        """
        if not isinstance(self.content, dict):
            raise BadAnswer(
                f"a JSON object was expected, not {type(self.content).__name__}; "
                "is this address the service?",
                status=self.status,
                request_id=self.request_id,
            )
        return self.content
