"""Remarks of the calculation module as sentences."""

from __future__ import annotations

from collections.abc import Iterable


def sentences(remarks: Iterable[str]) -> list[str]:
    """Return remarks as sentences: with a capital and a full stop."""
    return [remark[0].upper() + remark[1:].removesuffix(".") + "." for remark in remarks]
