"""What Alembic runs the migrations in; the connection and its transaction come from `database/migrate.py`."""

from __future__ import annotations

from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import JSON, Enum

from shimstock_server.database.tables import Base
from shimstock_server.database.tables.base import Instant


def render(kind: str, item: Any, autogen: AutogenContext) -> str | Literal[False]:
    """Write our own column types into a new migration by their names."""
    if kind == "type" and isinstance(item, Instant):
        autogen.imports.add("from shimstock_server.database.tables.base import Instant")
        return "Instant()"
    if kind == "type" and isinstance(item, JSON) and item._variant_mapping:
        autogen.imports.add("from shimstock_server.database.tables.base import Json")
        return "Json"
    if kind == "type" and isinstance(item, Enum):
        autogen.imports.add("from shimstock_server.database.migrations.columns import words")
        return f'words("{item.name}", "{" ".join(item.enums)}")'
    return False


connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=Base.metadata,
    render_as_batch=True,
    render_item=render,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
