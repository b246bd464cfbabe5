"""The webhooks in the OpenAPI document: each type of event, with its body and its headers."""

from __future__ import annotations

from typing import Any

from .events import EVENT_TYPES, TEST
from .schemas import BODIES

_HEADERS = (
    ("webhook-id", "The event's id: the same on every attempt. Keep it, and do nothing twice."),
    ("webhook-timestamp", "When this attempt was made, in seconds since 1970; refuse old ones."),
    (
        "webhook-signature",
        "`v1,` and the Base64 of the HMAC-SHA256 of `id.timestamp.body`, keyed with the bytes that stand in "
        "Base64 behind `whsec_`; of the body exactly as it came. Several, with a blank between, while one "
        "secret replaces another: one that fits is enough.",
    ),
)
_ANSWERS = {
    "2XX": {
        "x-name": "EventTaken",
        "description": "Understood. Begin to answer within 5 seconds, and do the work afterwards.",
    },
    "410": {"x-name": "EventsUnwanted", "description": "Tell this endpoint no more: it is switched off."},
    "default": {
        "x-name": "EventNotTaken",
        "description": "Tried again after 5 s, 15 s, 1 min, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h and "
        "24 h, each up to a fifth later, or as Retry-After says; then parked. Redirects are not followed.",
    },
}


def describe(spec: Any) -> None:
    """Add every type of event to the document."""
    webhooks: dict[str, Any] = {}
    for name, kind in EVENT_TYPES.items():
        spec.components.schema(kind.component, schema=BODIES[name])
        who = (
            "Told to websites of their own bookings, and to the shop."
            if kind.for_sites
            else "Told to the shop."
        )
        if name == TEST:
            who = "Told to the endpoint that is tested, a website's or the shop's."
        webhooks[name] = {
            "post": {
                "operationId": "on_" + name.replace(".", "_").replace("-", "_"),
                "summary": kind.tells,
                "description": who,
                "tags": ["webhooks"],
                "parameters": [
                    {"name": header, "in": "header", "required": True, "description": tells,
                     "schema": {"type": "string"}}
                    for header, tells in _HEADERS
                ],
                "requestBody": {
                    "required": True,
                    "content": {
                        "application/json": {"schema": {"$ref": f"#/components/schemas/{kind.component}"}}
                    },
                },
                "responses": _ANSWERS,
                "security": [],
            }
        }  # fmt: skip
    spec.options["webhooks"] = webhooks
