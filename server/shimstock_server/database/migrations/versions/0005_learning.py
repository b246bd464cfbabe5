"""adjustment responses, counted readings, report runs, studies, check pieces"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.migrations.columns import words
from shimstock_server.database.tables.base import Instant, Json

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "report_runs",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("state", words("state", "waiting running done failed"), nullable=False),
        sa.Column("wish", Json, nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=True),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.Column("error", sa.String(length=1000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_report_runs")),
    )
    op.create_index("ix_report_runs_state", "report_runs", ["state", "id"], unique=False)

    op.create_table(
        "studies",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column(
            "quantity",
            words(
                "quantity",
                "relief action nut-action pickup-height intonation break-clearance twist saddle-out",
            ),
            nullable=False,
        ),
        sa.Column("state", words("state", "open ended abandoned"), nullable=False),
        sa.Column("pieces", Json, nullable=False),
        sa.Column("readers", Json, nullable=False),
        sa.Column("trials", sa.Integer(), nullable=False),
        sa.Column("tolerance", sa.Double(), nullable=True),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("reading_order", Json, nullable=False),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.Column("note", sa.String(length=4000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("(state = 'open') = (ended_at IS NULL)", name=op.f("ck_studies_ended")),
        sa.CheckConstraint("trials BETWEEN 2 AND 10", name=op.f("ck_studies_trials")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_studies")),
    )
    op.create_table(
        "bench_repeatabilities",
        sa.Column("study_id", sa.Uuid(), nullable=False),
        sa.Column("reader", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("bench_id", sa.Uuid(), nullable=False),
        sa.Column(
            "quantity",
            words(
                "quantity",
                "relief action nut-action pickup-height intonation break-clearance twist saddle-out",
            ),
            nullable=False,
        ),
        sa.Column("tool_id", sa.Uuid(), nullable=True),
        sa.Column("repeatability", sa.Double(), nullable=False),
        sa.Column("difference", sa.Double(), nullable=False),
        sa.Column("found_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_bench_repeatabilities_bench_id")),
        sa.ForeignKeyConstraint(["study_id"], ["studies.id"], name=op.f("fk_bench_repeatabilities_study_id")),
        sa.ForeignKeyConstraint(["tool_id"], ["tools.id"], name=op.f("fk_bench_repeatabilities_tool_id")),
        sa.PrimaryKeyConstraint("study_id", "reader", name=op.f("pk_bench_repeatabilities")),
    )
    op.create_index(
        "ix_bench_repeatabilities_bench",
        "bench_repeatabilities",
        ["bench_id", "quantity", "found_at"],
        unique=False,
    )

    op.create_table(
        "check_pieces",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("bench_id", sa.Uuid(), nullable=False),
        sa.Column(
            "quantity",
            words(
                "quantity",
                "relief action nut-action pickup-height intonation break-clearance twist saddle-out",
            ),
            nullable=False,
        ),
        sa.Column("tool_id", sa.Uuid(), nullable=True),
        sa.Column("stated", sa.Double(), nullable=True),
        sa.Column("repetitions", sa.Integer(), nullable=False),
        sa.Column("limits_from", sa.Date(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_check_pieces_bench_id")),
        sa.ForeignKeyConstraint(["tool_id"], ["tools.id"], name=op.f("fk_check_pieces_tool_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_pieces")),
    )
    op.create_index("ix_check_pieces_bench_id", "check_pieces", ["bench_id"], unique=False)

    op.create_table(
        "learned_responses",
        sa.Column("kind", words("kind", "rod coupling compliance"), nullable=False),
        sa.Column("subject", sa.Uuid(), nullable=False),
        sa.Column("level", words("level", "instrument model shop"), nullable=False),
        sa.Column("model_id", sa.Uuid(), nullable=True),
        sa.Column("mean", sa.Double(), nullable=False),
        sa.Column("sd", sa.Double(), nullable=False),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("learned_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(
            ["model_id"], ["instrument_models.id"], name=op.f("fk_learned_responses_model_id")
        ),
        sa.PrimaryKeyConstraint("kind", "subject", name=op.f("pk_learned_responses")),
    )
    op.create_table(
        "report_cells",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("model_id", sa.Uuid(), nullable=False),
        sa.Column("month", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("place", sa.String(length=120), nullable=False),
        sa.Column("frets", sa.String(length=40), nullable=False),
        sa.Column("stage", sa.String(length=20), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("mean", sa.Double(), nullable=False),
        sa.Column("squares", sa.Double(), nullable=False),
        sa.Column("lowest", sa.Double(), nullable=False),
        sa.Column("highest", sa.Double(), nullable=False),
        sa.Column("touching", sa.Integer(), nullable=False),
        sa.Column("in_spec", sa.Integer(), nullable=False),
        sa.Column("too_close", sa.Integer(), nullable=False),
        sa.Column("out_of_spec", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["model_id"], ["instrument_models.id"], name=op.f("fk_report_cells_model_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_report_cells")),
    )
    op.create_index(
        "uq_report_cells_place",
        "report_cells",
        ["model_id", "month", "quantity", "place", "frets", "stage"],
        unique=True,
    )

    op.create_table(
        "report_months",
        sa.Column("model_id", sa.Uuid(), nullable=False),
        sa.Column("month", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("counted_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(
            ["model_id"], ["instrument_models.id"], name=op.f("fk_report_months_model_id")
        ),
        sa.PrimaryKeyConstraint("model_id", "month", name=op.f("pk_report_months")),
    )
    op.create_table(
        "report_run_parts",
        sa.Column("run_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("model_id", sa.Uuid(), nullable=False),
        sa.Column("content", Json, nullable=False),
        sa.ForeignKeyConstraint(
            ["model_id"], ["instrument_models.id"], name=op.f("fk_report_run_parts_model_id")
        ),
        sa.ForeignKeyConstraint(["run_id"], ["report_runs.id"], name=op.f("fk_report_run_parts_run_id")),
        sa.PrimaryKeyConstraint("run_id", "number", name=op.f("pk_report_run_parts")),
    )
    op.create_table(
        "report_tallies",
        sa.Column("model_id", sa.Uuid(), nullable=False),
        sa.Column("month", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("what", sa.String(length=20), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("unit", sa.String(length=10), nullable=False),
        sa.Column("jobs", sa.Integer(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("mean", sa.Double(), nullable=False),
        sa.Column("squares", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["model_id"], ["instrument_models.id"], name=op.f("fk_report_tallies_model_id")
        ),
        sa.PrimaryKeyConstraint("model_id", "month", "what", "name", "unit", name=op.f("pk_report_tallies")),
    )
    op.create_table(
        "sample_reviews",
        sa.Column("sample_id", sa.Uuid(), nullable=False),
        sa.Column("reviewed_at", Instant(), nullable=False),
        sa.Column("key_id", sa.Uuid(), nullable=False),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("leave_out", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_sample_reviews_key_id")),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_sample_reviews_technician_id")
        ),
        sa.PrimaryKeyConstraint("sample_id", name=op.f("pk_sample_reviews")),
    )
    op.create_table(
        "study_readings",
        sa.Column("study_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("typed_value", sa.Double(), nullable=False),
        sa.Column("typed_unit", sa.String(length=10), nullable=False),
        sa.Column("taken_at", Instant(), nullable=False),
        sa.Column("key_id", sa.Uuid(), nullable=False),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_study_readings_key_id")),
        sa.ForeignKeyConstraint(["study_id"], ["studies.id"], name=op.f("fk_study_readings_study_id")),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_study_readings_technician_id")
        ),
        sa.PrimaryKeyConstraint("study_id", "number", name=op.f("pk_study_readings")),
    )
    op.create_table(
        "check_readings",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("piece_id", sa.Uuid(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("taken_at", Instant(), nullable=False),
        sa.Column("readings", Json, nullable=False),
        sa.Column("typed", Json, nullable=False),
        sa.Column("mean", sa.Double(), nullable=False),
        sa.Column("deviation", sa.Double(), nullable=True),
        sa.Column("verdict", sa.String(length=60), nullable=False),
        sa.Column("key_id", sa.Uuid(), nullable=False),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_check_readings_key_id")),
        sa.ForeignKeyConstraint(["piece_id"], ["check_pieces.id"], name=op.f("fk_check_readings_piece_id")),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_check_readings_technician_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_readings")),
    )
    op.create_index("ix_check_readings_piece", "check_readings", ["piece_id", "taken_at", "id"], unique=False)

    op.create_table(
        "report_bins",
        sa.Column("cell_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("bin", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["cell_id"], ["report_cells.id"], name=op.f("fk_report_bins_cell_id")),
        sa.PrimaryKeyConstraint("cell_id", "bin", name=op.f("pk_report_bins")),
    )
    op.create_table(
        "learning_marks",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_learning_marks_job_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_learning_marks")),
    )
    op.create_index("ix_learning_marks_job_id", "learning_marks", ["job_id"], unique=False)

    op.create_table(
        "report_jobs",
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("model_id", sa.Uuid(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("turnaround_hours", sa.Double(), nullable=False),
        sa.Column("parts_price", sa.Double(), nullable=False),
        sa.Column("restrung", sa.Boolean(), nullable=False),
        sa.Column("gauge_changed", sa.Boolean(), nullable=False),
        sa.Column("came_back", sa.Boolean(), nullable=False),
        sa.Column("received_in", sa.Integer(), nullable=False),
        sa.Column("received_close", sa.Integer(), nullable=False),
        sa.Column("received_out", sa.Integer(), nullable=False),
        sa.Column("returned_in", sa.Integer(), nullable=False),
        sa.Column("returned_close", sa.Integer(), nullable=False),
        sa.Column("returned_out", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_report_jobs_job_id")),
        sa.ForeignKeyConstraint(["model_id"], ["instrument_models.id"], name=op.f("fk_report_jobs_model_id")),
        sa.PrimaryKeyConstraint("job_id", name=op.f("pk_report_jobs")),
    )
    op.create_index("ix_report_jobs_day", "report_jobs", ["day"], unique=False)
    op.create_index("ix_report_jobs_model", "report_jobs", ["model_id", "day"], unique=False)

    op.create_table(
        "response_samples",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("kind", words("kind", "rod coupling compliance"), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("instrument_id", sa.Uuid(), nullable=False),
        sa.Column("model_id", sa.Uuid(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("moved", sa.Double(), nullable=False),
        sa.Column("before", sa.Double(), nullable=False),
        sa.Column("after", sa.Double(), nullable=False),
        sa.Column("before_uncertainty", sa.Double(), nullable=False),
        sa.Column("after_uncertainty", sa.Double(), nullable=False),
        sa.Column("settled", sa.Boolean(), nullable=False),
        sa.Column("alone", sa.Boolean(), nullable=False),
        sa.Column("expected", sa.Double(), nullable=False),
        sa.Column("response", sa.Double(), nullable=True),
        sa.Column("variance", sa.Double(), nullable=True),
        sa.Column("adjustments", Json, nullable=False),
        sa.Column("doubt", sa.String(length=200), nullable=True),
        sa.Column("used", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_response_samples_instrument_id")
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_response_samples_job_id")),
        sa.ForeignKeyConstraint(
            ["model_id"], ["instrument_models.id"], name=op.f("fk_response_samples_model_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_response_samples")),
    )
    op.create_index("ix_response_samples_job_id", "response_samples", ["job_id"], unique=False)
    op.create_index(
        "ix_response_samples_model", "response_samples", ["kind", "model_id", "at", "id"], unique=False
    )

    op.create_index("ix_instruments_model_id", "instruments", ["model_id"], unique=False)
    # what is there already is counted by the first worker
    op.execute(
        "INSERT INTO learning_marks (id, job_id, created_at) "
        "SELECT id, id, created_at FROM jobs WHERE instrument_id IS NOT NULL"
    )


def downgrade() -> None:
    op.drop_index("ix_instruments_model_id", table_name="instruments")

    op.drop_index("ix_response_samples_model", table_name="response_samples")
    op.drop_index("ix_response_samples_job_id", table_name="response_samples")

    op.drop_table("response_samples")
    op.drop_index("ix_report_jobs_model", table_name="report_jobs")
    op.drop_index("ix_report_jobs_day", table_name="report_jobs")

    op.drop_table("report_jobs")
    op.drop_index("ix_learning_marks_job_id", table_name="learning_marks")

    op.drop_table("learning_marks")
    op.drop_table("report_bins")
    op.drop_index("ix_check_readings_piece", table_name="check_readings")

    op.drop_table("check_readings")
    op.drop_table("study_readings")
    op.drop_table("sample_reviews")
    op.drop_table("report_tallies")
    op.drop_table("report_run_parts")
    op.drop_table("report_months")
    op.drop_index("uq_report_cells_place", table_name="report_cells")

    op.drop_table("report_cells")
    op.drop_table("learned_responses")
    op.drop_index("ix_check_pieces_bench_id", table_name="check_pieces")

    op.drop_table("check_pieces")
    op.drop_index("ix_bench_repeatabilities_bench", table_name="bench_repeatabilities")

    op.drop_table("bench_repeatabilities")
    op.drop_table("studies")
    op.drop_index("ix_report_runs_state", table_name="report_runs")

    op.drop_table("report_runs")
