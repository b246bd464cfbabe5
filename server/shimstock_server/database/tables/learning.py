"""What the shop learns: responses to adjustments, counted readings, benches compared, check pieces."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import BigInteger, ForeignKey, ForeignKeyConstraint, Index, Integer, String
from sqlalchemy.orm import Mapped, mapped_column

from ..words import Quantity, ReportState, ResponseKind, ResponseLevel, StudyState
from .base import Base, Identified, Json, Versioned, check, words

Counter = BigInteger().with_variant(Integer, "sqlite")


class LearningMark(Identified, Base):
    """Something about a job changed: what was counted of it is counted anew. Added and taken away only."""

    __tablename__ = "learning_marks"
    __table_args__ = (Index("ix_learning_marks_job_id", "job_id"), {"info": {"audited": False}})

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))


class ResponseSample(Base):
    """What a job says of a response, and the readings in which it is seen; worked out anew with its job.

    Its message is information, held at the first and last fret and read where relief is largest.
    """

    __tablename__ = "response_samples"
    __table_args__ = (
        Index("ix_response_samples_model", "kind", "model_id", "at", "id"),
        Index("ix_response_samples_job_id", "job_id"),
        {"info": {"audited": False}},
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    """Made from kind and job: worked out anew it stays the same."""
    kind: Mapped[ResponseKind] = mapped_column(words(ResponseKind, "kind"))
    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    instrument_id: Mapped[UUID] = mapped_column(ForeignKey("instruments.id"))
    model_id: Mapped[UUID] = mapped_column(ForeignKey("instrument_models.id"))
    at: Mapped[datetime]
    """When the reading afterwards was taken."""
    moved: Mapped[float]
    """Turns, positive = tighten; for pull N; for the coupling mm of relief."""
    before: Mapped[float]
    after: Mapped[float]
    before_uncertainty: Mapped[float]
    after_uncertainty: Mapped[float]
    settled: Mapped[bool]
    alone: Mapped[bool]
    expected: Mapped[float]
    """What is expected without samples."""
    response: Mapped[float | None]
    """What the readings say by themselves; null when nothing can be learned from them."""
    variance: Mapped[float | None]
    """Of a sample of an earlier release."""
    precision: Mapped[list[Any] | None] = mapped_column(Json)
    """The message's inverse covariance, its lower triangle row by row; null until it is worked out."""
    pull: Mapped[list[Any] | None] = mapped_column(Json)
    """The message's precision times mean."""
    adjustments: Mapped[list[Any]] = mapped_column(Json)
    doubt: Mapped[str | None] = mapped_column(String(200))
    """Why a human should look at it."""
    used: Mapped[bool]
    """Whether it is used unless a review leaves it out."""


class SampleReview(Base):
    """A flagged sample was looked at, and perhaps left out."""

    __tablename__ = "sample_reviews"

    sample_id: Mapped[UUID] = mapped_column(primary_key=True)
    """No foreign key: samples are worked out anew."""
    reviewed_at: Mapped[datetime]
    key_id: Mapped[UUID] = mapped_column(ForeignKey("api_keys.id"))
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))
    leave_out: Mapped[bool]
    note: Mapped[str | None] = mapped_column(String(1000))


class LearnedResponse(Base):
    """What is believed of an instrument, a model or the shop; written when its figures move."""

    __tablename__ = "learned_responses"
    __table_args__ = ({"info": {"audited": False}},)

    kind: Mapped[ResponseKind] = mapped_column(words(ResponseKind, "kind"), primary_key=True)
    subject: Mapped[UUID] = mapped_column(primary_key=True)
    """The instrument's id or the model's; zero for the shop."""
    level: Mapped[ResponseLevel] = mapped_column(words(ResponseLevel, "level"))
    model_id: Mapped[UUID | None] = mapped_column(ForeignKey("instrument_models.id"))
    mean: Mapped[float]
    """Of the whole response; of the coupling that of action."""
    sd: Mapped[float]
    parts: Mapped[list[Any] | None] = mapped_column(Json)
    """Means of all numbers of the kind; null until they are learned."""
    covariance: Mapped[list[Any] | None] = mapped_column(Json)
    """Of the parts, the lower triangle row by row."""
    samples: Mapped[int]
    """Jobs that it was learned from."""
    learned_at: Mapped[datetime]


class JobPrior(Base):
    """What was learned when the first reading of a job came: its plan stays with it."""

    __tablename__ = "job_priors"
    __table_args__ = ({"info": {"audited": False}},)

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"), primary_key=True)
    instrument_id: Mapped[UUID] = mapped_column(ForeignKey("instruments.id"))
    """Of which it was learned: once the job is on another instrument it counts no more."""
    learned: Mapped[dict[str, Any]] = mapped_column(Json)
    """By kind: level, parts, covariance, samples; a kind that is missing stands at the stated prior.

    Beside them `minutes`, by group and name.
    """
    noise: Mapped[dict[str, Any] | None] = mapped_column(Json)
    """Noise factors by `bench/tool`; what is missing stands at 1, and so does all of an earlier release."""
    benches: Mapped[list[Any] | None] = mapped_column(Json)
    """What was known of each bench's offset, by tool and quantity; null: nothing is taken off."""
    kept_at: Mapped[datetime]


class ReadingForecast(Base):
    """What a reading was expected to show when its sheet came; never worked out anew."""

    __tablename__ = "reading_forecasts"
    __table_args__ = (
        ForeignKeyConstraint(["sheet_id", "number"], ["readings.sheet_id", "readings.number"]),
        check("spread > 0 AND level >= 0 AND own >= 0 AND noise > 0", "spreads"),
        {"info": {"audited": False}},
    )

    sheet_id: Mapped[UUID] = mapped_column(primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    expected: Mapped[float]
    """[mm; cents]."""
    spread: Mapped[float]
    """Standard deviation of the reading about it, the tool's own noise included [mm; cents]."""
    level: Mapped[float]
    """Variance of the level alone [mm²; cents²]."""
    own: Mapped[float]
    """Part of it that earlier readings with the tool brought in, were its noise factor 1 [mm²; cents²]."""
    noise: Mapped[float]
    """Noise factor that the forecast reckoned with."""
    doubtful: Mapped[bool]
    """Read because an earlier reading was in doubt, or once more where one still stood."""


class ToolNoise(Base):
    """How much more a tool scatters on a bench than is declared; learned from forecasts."""

    __tablename__ = "tool_noises"
    __table_args__ = ({"info": {"audited": False}},)

    bench_id: Mapped[UUID] = mapped_column(ForeignKey("benches.id"), primary_key=True)
    tool_id: Mapped[UUID] = mapped_column(ForeignKey("tools.id"), primary_key=True)
    factor: Mapped[float]
    readings: Mapped[int]
    """From how many it was learned."""
    learned_at: Mapped[datetime]


class ReportMonth(Base):
    """A month of a model whose readings are counted."""

    __tablename__ = "report_months"
    __table_args__ = ({"info": {"audited": False}},)

    model_id: Mapped[UUID] = mapped_column(ForeignKey("instrument_models.id"), primary_key=True)
    month: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    """Year times 12 plus month less 1, in the shop's zone."""
    counted_at: Mapped[datetime]


class ReportCell(Base):
    """The readings of a model, quantity, place, stage and month: count, mean, M2, verdicts."""

    __tablename__ = "report_cells"
    __table_args__ = (
        Index(
            "uq_report_cells_place", "model_id", "month", "quantity", "place", "frets", "stage", unique=True
        ),
        {"info": {"audited": False}},
    )

    id: Mapped[int] = mapped_column(Counter, primary_key=True)
    model_id: Mapped[UUID] = mapped_column(ForeignKey("instrument_models.id"))
    month: Mapped[int]
    quantity: Mapped[str] = mapped_column(String(40))
    """A quantity's word, or `room-moisture`."""
    place: Mapped[str] = mapped_column(String(120))
    """`bass`, `treble`, `string 3`, `pickup neck, bass`; empty where there is only one."""
    frets: Mapped[str] = mapped_column(String(40))
    """Where it was read: `held 1-22, fret 9`, `fret 12`; empty where frets mean nothing."""
    stage: Mapped[str] = mapped_column(String(20))
    """A stage, or `kept`: final readings of jobs that did not come back."""
    count: Mapped[int]
    mean: Mapped[float]
    squares: Mapped[float]
    lowest: Mapped[float]
    highest: Mapped[float]
    touching: Mapped[int]
    """Readings of zero or less, which have no value."""
    in_spec: Mapped[int]
    too_close: Mapped[int]
    out_of_spec: Mapped[int]


class ReportBin(Base):
    """How many readings of a cell lie in a bin of 0.01 mm, 0.5 cents or 0.1 % MC."""

    __tablename__ = "report_bins"
    __table_args__ = ({"info": {"audited": False}},)

    cell_id: Mapped[int] = mapped_column(Counter, ForeignKey("report_cells.id"), primary_key=True)
    bin: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    count: Mapped[int]


class ReportTally(Base):
    """Steps done and findings of a model and month: in how many jobs, how often, how far."""

    __tablename__ = "report_tallies"
    __table_args__ = ({"info": {"audited": False}},)

    model_id: Mapped[UUID] = mapped_column(ForeignKey("instrument_models.id"), primary_key=True)
    month: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    what: Mapped[str] = mapped_column(String(20), primary_key=True)
    """`step` or `finding`."""
    name: Mapped[str] = mapped_column(String(60), primary_key=True)
    unit: Mapped[str] = mapped_column(String(10), primary_key=True)
    """`turn` or `mm` where the way was noted, else empty."""
    jobs: Mapped[int]
    count: Mapped[int]
    mean: Mapped[float]
    squares: Mapped[float]


class ReportJob(Base):
    """One closed job: a row that lists and ranks need no readings for."""

    __tablename__ = "report_jobs"
    __table_args__ = (
        Index("ix_report_jobs_model", "model_id", "day"),
        Index("ix_report_jobs_day", "day"),
        {"info": {"audited": False}},
    )

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"), primary_key=True)
    model_id: Mapped[UUID] = mapped_column(ForeignKey("instrument_models.id"))
    day: Mapped[date]
    """On which it was ready or went back unrepaired, in the shop's zone."""
    minutes: Mapped[int]
    turnaround_hours: Mapped[float]
    """From received to ready."""
    parts_price: Mapped[float]
    restrung: Mapped[bool]
    gauge_changed: Mapped[bool]
    came_back: Mapped[bool]
    received_in: Mapped[int]
    received_close: Mapped[int]
    received_out: Mapped[int]
    returned_in: Mapped[int]
    returned_close: Mapped[int]
    returned_out: Mapped[int]
    took: Mapped[dict[str, Any] | None] = mapped_column(Json)
    """Minutes of its readings and adjustments, by group and name; null until they are worked out."""


class LearnedMinutes(Base):
    """What a reading or an adjustment takes in this shop: the median of what closed jobs took."""

    __tablename__ = "learned_minutes"
    __table_args__ = ({"info": {"audited": False}},)

    group: Mapped[str] = mapped_column("kind", String(20), primary_key=True)
    """`reading` or `adjustment`."""
    name: Mapped[str] = mapped_column(String(40), primary_key=True)
    """A quantity's word or a part's."""
    minutes: Mapped[float]
    count: Mapped[int]


class ReportRun(Identified, Base):
    """A long report that the worker makes, model by model."""

    __tablename__ = "report_runs"
    __table_args__ = (Index("ix_report_runs_state", "state", "id"), {"info": {"audited": False}})

    state: Mapped[ReportState] = mapped_column(words(ReportState, "state"))
    wish: Mapped[dict[str, Any]] = mapped_column(Json)
    done: Mapped[int] = mapped_column(default=0)
    total: Mapped[int | None]
    ended_at: Mapped[datetime | None]
    error: Mapped[str | None] = mapped_column(String(1000))


class ReportRunPart(Base):
    """One model's part of a long report."""

    __tablename__ = "report_run_parts"
    __table_args__ = ({"info": {"audited": False}},)

    run_id: Mapped[UUID] = mapped_column(ForeignKey("report_runs.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    model_id: Mapped[UUID] = mapped_column(ForeignKey("instrument_models.id"))
    content: Mapped[dict[str, Any]] = mapped_column(Json)


class Study(Versioned, Base):
    """A guided study of whether benches measure the same: who reads what in which order."""

    __tablename__ = "studies"
    __table_args__ = (
        check("trials BETWEEN 2 AND 10", "trials"),
        check("(state = 'open') = (ended_at IS NULL)", "ended"),
    )

    name: Mapped[str] = mapped_column(String(200))
    quantity: Mapped[Quantity] = mapped_column(words(Quantity, "quantity"))
    state: Mapped[StudyState] = mapped_column(words(StudyState, "state"))
    pieces: Mapped[list[Any]] = mapped_column(Json)
    """What is read: instrument, and the side or string and frets at which it is read."""
    readers: Mapped[list[Any]] = mapped_column(Json)
    """Who reads: bench, technician, tool."""
    trials: Mapped[int]
    tolerance: Mapped[float | None]
    seed: Mapped[int] = mapped_column(BigInteger)
    """What the order was drawn from: the same seed gives the same order."""
    order: Mapped[list[Any]] = mapped_column("reading_order", Json)
    """[piece, reader, trial] in the order in which they are read."""
    ended_at: Mapped[datetime | None]
    note: Mapped[str | None] = mapped_column(String(4000))


class StudyReading(Base):
    """One reading of a study; never edited."""

    __tablename__ = "study_readings"
    __table_args__ = (Index("uq_study_readings_id", "id", unique=True),)

    study_id: Mapped[UUID] = mapped_column(ForeignKey("studies.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    """Its place in the order, from 1."""
    id: Mapped[UUID | None]
    """Made by the client: the same reading sent again is the same reading."""
    fingerprint: Mapped[str | None] = mapped_column(String(64))
    confirmed: Mapped[bool | None]
    """Outside the plausible range, and confirmed by the technician."""
    value: Mapped[float]
    typed_value: Mapped[float]
    typed_unit: Mapped[str] = mapped_column(String(10))
    taken_at: Mapped[datetime]
    key_id: Mapped[UUID] = mapped_column(ForeignKey("api_keys.id"))
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))


class BenchRepeatability(Base):
    """How well a bench repeats, as a study found; later readings of the bench take it over."""

    __tablename__ = "bench_repeatabilities"
    __table_args__ = (Index("ix_bench_repeatabilities_bench", "bench_id", "quantity", "found_at"),)

    study_id: Mapped[UUID] = mapped_column(ForeignKey("studies.id"), primary_key=True)
    reader: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    bench_id: Mapped[UUID] = mapped_column(ForeignKey("benches.id"))
    quantity: Mapped[Quantity] = mapped_column(words(Quantity, "quantity"))
    tool_id: Mapped[UUID | None] = mapped_column(ForeignKey("tools.id"))
    repeatability: Mapped[float]
    difference: Mapped[float]
    """By how much it read above the mean of all."""
    found_at: Mapped[datetime]


class CheckPiece(Versioned, Base):
    """A thing that a bench reads every day to see whether it still reads the same."""

    __tablename__ = "check_pieces"
    __table_args__ = (Index("ix_check_pieces_bench_id", "bench_id"),)

    name: Mapped[str] = mapped_column(String(200))
    bench_id: Mapped[UUID] = mapped_column(ForeignKey("benches.id"))
    quantity: Mapped[Quantity] = mapped_column(words(Quantity, "quantity"))
    tool_id: Mapped[UUID | None] = mapped_column(ForeignKey("tools.id"))
    stated: Mapped[float | None]
    """What it is known to measure."""
    repetitions: Mapped[int]
    limits_from: Mapped[date | None]
    """The first day of the history that the limits are drawn from; null: its first."""
    active: Mapped[bool] = mapped_column(default=True)
    note: Mapped[str | None] = mapped_column(String(1000))


class CheckReading(Identified, Base):
    """One day's check of a piece; never edited. Its id may be made by the client."""

    __tablename__ = "check_readings"
    __table_args__ = (Index("ix_check_readings_piece", "piece_id", "taken_at", "id"),)

    piece_id: Mapped[UUID] = mapped_column(ForeignKey("check_pieces.id"))
    day: Mapped[date]
    """In the shop's zone."""
    taken_at: Mapped[datetime]
    values: Mapped[list[Any]] = mapped_column("readings", Json)
    typed: Mapped[list[Any]] = mapped_column(Json)
    mean: Mapped[float]
    deviation: Mapped[float | None]
    verdict: Mapped[str] = mapped_column(String(60))
    """`in control`, what is out and which way, or `too little history`."""
    fingerprint: Mapped[str | None] = mapped_column(String(64))
    confirmed: Mapped[bool | None]
    """Outside the plausible range, and confirmed by the technician."""
    key_id: Mapped[UUID] = mapped_column(ForeignKey("api_keys.id"))
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))
    note: Mapped[str | None] = mapped_column(String(1000))
