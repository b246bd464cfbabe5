"""what a shop's plans reckon with; whether everything is read at the end

A shop that is at work goes on reading everything at the end until its manager says otherwise.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.tables.base import Json

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column(
        "shop", sa.Column("everything_at_the_end", sa.Boolean(), nullable=False, server_default=sa.true())
    )
    op.add_column("shop", sa.Column("prices", Json, nullable=False, server_default=sa.text("'{}'")))


def downgrade() -> None:
    op.drop_column("shop", "prices")
    op.drop_column("shop", "everything_at_the_end")
