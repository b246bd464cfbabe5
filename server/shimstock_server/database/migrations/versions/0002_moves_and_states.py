"""a job's state and its moves cannot part; looks at a settling neck; indexes for the order of the queue

A session that goes past the service is held to the same rules:

* a job's state changes only together with `move_id`, and only by a move that stands in `allowed_moves`;
* the move that `move_id` names is written by the end of the transaction (a deferred reference);
* moves follow each other without a gap, are never changed (a text may be blotted out) and never deleted;
* `allowed_moves` changes by a migration alone, which drops the three triggers on it first.
"""

from __future__ import annotations

from collections.abc import Callable

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

JOB_REFUSALS = (("NEW.move_id IS NULL", "a job names the move that brought its state"),)
STATE_REFUSALS = (
    (
        "EXISTS (SELECT 1 FROM job_moves WHERE id = NEW.move_id)",
        "this move was made already; a change of state brings a new one",
    ),
    (
        "NEW.move_id IS NULL OR NEW.move_id = OLD.move_id",
        "the state of a job changes only with the move that brings it",
    ),
    (
        "NOT EXISTS (SELECT 1 FROM allowed_moves WHERE from_state = OLD.state AND to_state = NEW.state)",
        "this move is not among the allowed moves",
    ),
)
MOVE_REFUSALS = (
    (
        "(NEW.sequence = 1) <> (NEW.from_state IS NULL)",
        "the first move comes from nowhere, every other from a state",
    ),
    (
        "NEW.sequence = 1 AND NEW.to_state NOT IN ('booked', 'received')",
        "a job begins booked or received",
    ),
    (
        "NEW.sequence > 1 AND NOT EXISTS (SELECT 1 FROM job_moves AS before WHERE before.job_id = NEW.job_id"
        " AND before.sequence = NEW.sequence - 1 AND before.to_state = NEW.from_state)",
        "a move begins where the one before it ended",
    ),
    (
        "EXISTS (SELECT 1 FROM jobs WHERE jobs.id = NEW.job_id AND jobs.move_id = NEW.id"
        " AND jobs.state <> NEW.to_state)",
        "a move brings the state that the job has",
    ),
    (
        "EXISTS (SELECT 1 FROM jobs WHERE jobs.move_id = NEW.id AND jobs.id <> NEW.job_id)",
        "a move belongs to the job that names it",
    ),
    (
        # A job whose own move is still to come is being loaded with its whole history.
        "EXISTS (SELECT 1 FROM jobs JOIN job_moves AS last ON last.id = jobs.move_id"
        " WHERE jobs.id = NEW.job_id AND jobs.move_id <> NEW.id)",
        "a move is written together with the state that it brings",
    ),
)
KEPT = (
    "id", "created_at", "job_id", "sequence", "from_state", "to_state", "waiting_for", "available_at", "look",
    "readings_asked", "claim_id", "key_id", "technician_id",
)  # fmt: skip
NEVER = "moves of a job are appended, never changed or deleted"
FIXED = "the moves there are change with a release, by a migration"

# Name, table, when, and what is refused: conditions with their messages, each tried for every row.
TRIGGERS = (
    ("jobs_begin_with_a_move", "jobs", "AFTER INSERT", "", JOB_REFUSALS),
    ("jobs_state_by_a_move", "jobs", "BEFORE UPDATE OF state, move_id",
     "NEW.state <> OLD.state OR NEW.move_id IS NULL OR NEW.move_id <> OLD.move_id", STATE_REFUSALS),
    ("job_moves_follow", "job_moves", "AFTER INSERT", "", MOVE_REFUSALS),
    ("job_moves_stay", "job_moves", "BEFORE UPDATE", "", (
        (" OR ".join(f"NEW.{column} IS DISTINCT FROM OLD.{column}" for column in KEPT)
         + " OR (NEW.reason IS NOT NULL AND NEW.reason IS DISTINCT FROM OLD.reason)", NEVER),)),
    ("job_moves_remain", "job_moves", "BEFORE DELETE", "", (("1 = 1", NEVER),)),
    ("allowed_moves_no_more", "allowed_moves", "BEFORE INSERT", "", (("1 = 1", FIXED),)),
    ("allowed_moves_stay", "allowed_moves", "BEFORE UPDATE", "", (("1 = 1", FIXED),)),
    ("allowed_moves_remain", "allowed_moves", "BEFORE DELETE", "", (("1 = 1", FIXED),)),
)  # fmt: skip

REFERENCE = (
    "CONSTRAINT fk_jobs_move_id FOREIGN KEY(move_id) REFERENCES job_moves (id) DEFERRABLE INITIALLY DEFERRED"
)
LOOKS = "CHECK (look IN ('settle-hour', 'settle-day'))"


def upgrade() -> None:
    sqlite = op.get_bind().dialect.name == "sqlite"
    json, uuid = ("JSON", "CHAR(32)") if sqlite else ("JSONB", "UUID")
    op.execute(f"ALTER TABLE job_moves ADD COLUMN look VARCHAR(40) CONSTRAINT ck_job_moves_look {LOOKS}")
    op.execute(f"ALTER TABLE job_moves ADD COLUMN readings_asked {json}")
    op.execute(f"ALTER TABLE jobs ADD COLUMN move_id {uuid}")
    if sqlite:
        _edit_sqlite_table("jobs", lambda sql: sql.rstrip().removesuffix(")") + f",\n\t{REFERENCE}\n)")
    else:
        op.execute(f"ALTER TABLE jobs ADD {REFERENCE}")
    op.execute(
        "UPDATE jobs SET move_id = (SELECT id FROM job_moves WHERE job_id = jobs.id"
        " ORDER BY sequence DESC LIMIT 1)"
    )
    if not sqlite:
        # A table with references still to be checked cannot be changed any further.
        op.execute("SET CONSTRAINTS fk_jobs_move_id IMMEDIATE")
    op.execute("DROP INDEX ix_jobs_claimable")
    op.execute(
        "CREATE INDEX ix_jobs_queued ON jobs (priority DESC, promised_on, queued_at, id)"
        " WHERE (state = 'queued') IS TRUE"
    )
    op.execute(
        "CREATE INDEX ix_jobs_queued_promised ON jobs (promised_on, priority DESC, queued_at, id)"
        " WHERE (state = 'queued') IS TRUE"
    )
    op.execute("DROP INDEX ix_jobs_state")
    op.execute("CREATE INDEX ix_jobs_state ON jobs (state, created_at, id)")
    op.execute("CREATE INDEX ix_jobs_created_at ON jobs (created_at, id)")
    op.execute("CREATE UNIQUE INDEX uq_jobs_move_id ON jobs (move_id) WHERE move_id IS NOT NULL")
    op.execute("CREATE INDEX ix_jobs_settling ON jobs (available_at, id) WHERE (state = 'settling') IS TRUE")
    for trigger in TRIGGERS:
        _refuse(sqlite, *trigger)


def downgrade() -> None:
    sqlite = op.get_bind().dialect.name == "sqlite"
    for name, table, *_ in TRIGGERS:
        op.execute(f"DROP TRIGGER {name}" + ("" if sqlite else f" ON {table}"))
        if not sqlite:
            op.execute(f"DROP FUNCTION {name}()")
    for index in (
        "ix_jobs_created_at",
        "ix_jobs_state",
        "ix_jobs_settling",
        "uq_jobs_move_id",
        "ix_jobs_queued_promised",
        "ix_jobs_queued",
    ):
        op.execute(f"DROP INDEX {index}")
    op.execute("CREATE INDEX ix_jobs_state ON jobs (state, id)")
    op.execute(
        "CREATE INDEX ix_jobs_claimable ON jobs (priority DESC, promised_on, queued_at, id)"
        " WHERE state IN ('queued', 'settling')"
    )
    if sqlite:
        _edit_sqlite_table("jobs", lambda sql: sql.replace(f",\n\t{REFERENCE}", ""))
    op.execute("ALTER TABLE jobs DROP COLUMN move_id")
    op.execute("ALTER TABLE job_moves DROP COLUMN readings_asked")
    op.execute("ALTER TABLE job_moves DROP COLUMN look")


def _edit_sqlite_table(table: str, edit: Callable[[str], str]) -> None:
    """Change a table's text without copying its rows, which keeps its checks and indexes.

    The way for constraints that do not change what is stored: section 7 of
    https://www.sqlite.org/lang_altertable.html, "Making Other Kinds Of Table Schema Changes".
    """
    bind = op.get_bind()
    version = bind.exec_driver_sql("PRAGMA schema_version").scalar_one()
    text = bind.exec_driver_sql(
        "SELECT sql FROM sqlite_master WHERE type = 'table' AND name = ?", (table,)
    ).scalar_one()
    bind.exec_driver_sql("PRAGMA writable_schema = ON")
    bind.exec_driver_sql(
        "UPDATE sqlite_master SET sql = ? WHERE type = 'table' AND name = ?", (edit(text), table)
    )
    bind.exec_driver_sql(f"PRAGMA schema_version = {version + 1}")
    bind.exec_driver_sql("PRAGMA writable_schema = OFF")
    if (found := bind.exec_driver_sql("PRAGMA integrity_check").scalar_one()) != "ok":
        raise RuntimeError(f"the table {table} would not be sound: {found}")


def _refuse(  # noqa: PLR0917 - the members of TRIGGERS
    sqlite: bool, name: str, table: str, event: str, when: str, refusals: tuple[tuple[str, str], ...]
) -> None:
    """Make a trigger that refuses a row for which one of the conditions holds."""
    guard = f" WHEN ({when})" if when else ""
    if sqlite:
        body = " ".join(
            f"SELECT RAISE(ABORT, '{message}') WHERE {condition};" for condition, message in refusals
        )
        op.execute(f"CREATE TRIGGER {name} {event} ON {table} FOR EACH ROW{guard} BEGIN {body} END")
        return
    body = " ".join(
        f"IF {condition} THEN RAISE EXCEPTION '{message}'"
        f" USING ERRCODE = 'check_violation', CONSTRAINT = '{name}'; END IF;"
        for condition, message in refusals
    )
    given = "OLD" if event.endswith("DELETE") else "NEW"
    op.execute(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {body} RETURN {given}; END $$"
    )
    op.execute(f"CREATE TRIGGER {name} {event} ON {table} FOR EACH ROW{guard} EXECUTE FUNCTION {name}()")
