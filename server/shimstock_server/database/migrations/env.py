"""What Alembic runs the migrations in; the connection and its transaction come from `database/migrate.py`."""

from __future__ import annotations

from alembic import context

from shimstock_server.database.tables import Base

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=Base.metadata,
    render_as_batch=connection.dialect.name == "sqlite",
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
