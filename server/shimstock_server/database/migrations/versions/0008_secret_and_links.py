"""which secret the service works with; links of owners' pages that were made with another link"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.tables.base import Instant

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "secret_fingerprint",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("fingerprint", sa.String(length=32), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_secret_fingerprint_one_row")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_secret_fingerprint")),
    )
    with op.batch_alter_table("card_links") as links:
        # which link an earlier one was made with is not known any more
        links.add_column(sa.Column("derived_from_id", sa.Uuid(), nullable=True))
        links.create_foreign_key(
            op.f("fk_card_links_derived_from_id"), "card_links", ["derived_from_id"], ["id"]
        )
    op.create_index("ix_card_links_derived_from_id", "card_links", ["derived_from_id"], unique=False)


def downgrade() -> None:
    op.drop_index("ix_card_links_derived_from_id", table_name="card_links")
    with op.batch_alter_table("card_links") as links:
        links.drop_constraint(op.f("fk_card_links_derived_from_id"), type_="foreignkey")
        links.drop_column("derived_from_id")
    op.drop_table("secret_fingerprint")
