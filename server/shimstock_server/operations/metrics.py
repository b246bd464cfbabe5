"""Figures about the running service, for Prometheus.

With several processes the figures are summed over all of them: `shimstock-admin serve` names the folder where
they meet (PROMETHEUS_MULTIPROC_DIR) before this module is imported.
"""

from __future__ import annotations

import os

from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector

CONTENT_TYPE = "text/plain; version=0.0.4"

_own = CollectorRegistry()
_requests = Counter("shimstock_requests", "Requests answered.", ["method", "route", "status"], registry=_own)
_seconds = Histogram(
    "shimstock_request_seconds",
    "Time to answer [s].",
    ["method", "route"],
    registry=_own,
    buckets=(0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10),
)
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
"""Methods that have a figure of their own; a figure is kept for ever, and a client can invent any word."""


def count(method: str, route: str, status: int, seconds: float) -> None:
    """Count one answered request."""
    method = method if method in METHODS else "other"
    _requests.labels(method, route, str(status)).inc()
    _seconds.labels(method, route).observe(seconds)


def exposition() -> bytes:
    """Return all figures in the text format of Prometheus."""
    if "PROMETHEUS_MULTIPROC_DIR" not in os.environ:
        return bytes(generate_latest(_own))
    registry = CollectorRegistry()
    MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    return bytes(generate_latest(registry))
