"""The kind of value of each quantity: its dimension, and the units that it is told in."""

from __future__ import annotations

from shimstock_server.catalogue import KIND_OF_VALUE

KINDS: dict[str, str] = {quantity.value: kind for quantity, kind in KIND_OF_VALUE.items()}
