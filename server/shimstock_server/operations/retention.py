"""What is kept for a time only."""

from __future__ import annotations

from datetime import timedelta

from sqlalchemy import delete

from shimstock_server.clock import Clock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.operations import IdempotencyKey


def forget_kept_answers(database: Database, config: Config, clock: Clock) -> int:
    """Delete the answers kept under Idempotency-Keys whose time is over, and return how many."""
    limit = clock.now() - timedelta(days=config.idempotency_days)
    with database.write() as session:
        gone = session.execute(
            delete(IdempotencyKey)
            .where(IdempotencyKey.created_at < limit)
            .returning(IdempotencyKey.id)
            .execution_options(synchronize_session=False)
        )
        return len(gone.all())
