"""Column types as the migrations write them."""

from __future__ import annotations

import sqlalchemy as sa


def words(name: str, choices: str) -> sa.Enum:
    """Return a text column that holds one of the words, checked by the database."""
    return sa.Enum(*choices.split(), name=name, native_enum=False, create_constraint=True, length=40)
