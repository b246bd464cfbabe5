"""The kind of value of each quantity: its dimension, and the units that it is told in."""

from __future__ import annotations

from shimstock_calc.vocabulary import QUANTITIES

KINDS: dict[str, str] = {word: term.kind_of_value for word, term in QUANTITIES.items()}
