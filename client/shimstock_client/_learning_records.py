"""What the shop has learned, as typed records."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ._quantity import Quantity
from ._records import Stored
from ._wire import Record


@dataclass(kw_only=True)
class AdjustmentResponse(Record):
    """How far a reading follows an adjustment, of the shop, a model or an instrument.

    `late_share` and `half_time` belong to the rod, `nut_mean_number` and `nut_sd_number` to the coupling.
    """

    kind: str = ""
    level: str = ""
    model_id: str | None = None
    instrument_id: str | None = None
    mean: Quantity | None = None
    sd: Quantity | None = None
    mean_number: float | None = None
    sd_number: float | None = None
    late_share: float | None = None
    half_time: Quantity | None = None
    nut_mean_number: float | None = None
    nut_sd_number: float | None = None
    samples: int = 0
    learned_at: datetime | None = None


@dataclass(kw_only=True)
class ResponseSample(Stored):
    """What a job says of a response, with the readings before and after its adjustments."""

    kind: str = ""
    job_id: str = ""
    instrument_id: str = ""
    model_id: str = ""
    at: datetime | None = None
    moved: Quantity | None = None
    before: Quantity | None = None
    after: Quantity | None = None
    settled: bool = False
    alone: bool = False
    response: float | None = None
    expected: float | None = None
    adjustments: list[str] = field(default_factory=list)
    doubt: str | None = None
    used: bool = False
    reviewed_at: datetime | None = None
    review_note: str | None = None


@dataclass(kw_only=True)
class RankedModel(Record):
    """What a model's jobs took."""

    rank: int = 0
    model_id: str = ""
    maker: str = ""
    name: str = ""
    kind: str = ""
    jobs: int = 0
    came_back: int = 0
    bench_minutes_mean: Quantity | None = None
    bench_minutes_total: Quantity | None = None
    turnaround_mean: Quantity | None = None
    parts_mean: float | None = None
    cost_mean: float | None = None
    received_in_spec: float | None = None
    returned_in_spec: float | None = None


@dataclass(kw_only=True)
class Ranking(Record):
    """The models by what a job on them costs, the dearest first."""

    currency: str = ""
    ranked_by: str = ""
    waiting: int = 0
    items: list[RankedModel] = field(default_factory=list)


@dataclass(kw_only=True)
class CountedStage(Record):
    """The readings of one stage at one place."""

    stage: str = ""
    count: int = 0
    zero_or_less: int = 0
    mean: Quantity | None = None
    sd: Quantity | None = None
    in_spec: int = 0
    too_close: int = 0
    out_of_spec: int = 0
    share_in_spec: float | None = None


@dataclass(kw_only=True)
class CountedQuantity(Record):
    """A quantity at a place, read at the same frets; its spec, quantiles and bins stand in `raw`."""

    quantity: str = ""
    place: str = ""
    frets: str = ""
    stages: list[CountedStage] = field(default_factory=list)


@dataclass(kw_only=True)
class ModelReport(Record):
    """What the shop knows of a model in a period; steps, findings and the year stand in `raw`."""

    model_id: str = ""
    maker: str = ""
    name: str = ""
    kind: str = ""
    currency: str = ""
    quantities: list[CountedQuantity] = field(default_factory=list)


@dataclass(kw_only=True)
class StatedShare(Record):
    """How many readings fell inside an interval that was stated, and the bounds of the true share."""

    stated: float = 0.0
    inside: int = 0
    of: int = 0
    seen: float = 0.0
    lower: float = 0.0
    upper: float = 0.0


@dataclass(kw_only=True)
class CalibrationGroup(Record):
    """Readings alike in one thing: `all`, or a `quantity`, `tool`, `bench` or `model`."""

    by: str = ""
    id: str | None = None
    name: str = ""
    shares: list[StatedShare] = field(default_factory=list)
    doubtful: list[StatedShare] = field(default_factory=list)


@dataclass(kw_only=True)
class ToolNoise(Record):
    """How much more a tool scatters on a bench than is declared."""

    bench_id: str = ""
    bench: str = ""
    tool_id: str = ""
    tool: str = ""
    factor: float = 1.0
    readings: int = 0
    words: str = ""


@dataclass(kw_only=True)
class Calibration(Record):
    """Whether readings fell where they were expected; its period stands in `raw`."""

    groups: list[CalibrationGroup] = field(default_factory=list)
    noises: list[ToolNoise] = field(default_factory=list)


@dataclass(kw_only=True)
class ReportRun(Stored):
    """How far a long report is."""

    state: str = ""
    maker: str | None = None
    kind: str | None = None
    done: int = 0
    total: int | None = None
    ended_at: datetime | None = None
    error: str | None = None


@dataclass(kw_only=True)
class StudyReader(Record):
    """Who reads in a study, how much is left, and whether it is the bench whose key asks."""

    name: str = ""
    bench_id: str = ""
    technician_id: str | None = None
    tool_id: str | None = None
    left: int = 0
    here: bool = False


@dataclass(kw_only=True)
class Study(Stored):
    """A guided study; its pieces stand in `raw`."""

    name: str = ""
    quantity: str = ""
    state: str = ""
    trials: int = 0
    seed: int = 0
    readings: int = 0
    taken: int = 0
    tolerance: Quantity | None = None
    readers: list[StudyReader] = field(default_factory=list)
    ended_at: datetime | None = None


@dataclass(kw_only=True)
class NextReading(Record):
    """What a reader of a study reads next."""

    number: int = 0
    reader: int = 0
    piece: int = 0
    trial: int = 0
    left: int = 0
    what: dict[str, object] = field(default_factory=dict)


@dataclass(kw_only=True)
class StudyAgreement(Record):
    """What a study says; its figures by both methods stand in `raw`."""

    study_id: str = ""
    quantity: str = ""
    words: list[str] = field(default_factory=list)


@dataclass(kw_only=True)
class CheckReading(Stored):
    """A day's check of a piece and its verdict."""

    piece_id: str = ""
    day: str = ""
    taken_at: datetime | None = None
    mean: Quantity | None = None
    deviation: Quantity | None = None
    verdict: str = ""
    note: str | None = None


@dataclass(kw_only=True)
class ControlLimits(Record):
    """Limits of a check piece, from its bench's own days."""

    mean: Quantity | None = None
    lower: Quantity | None = None
    upper: Quantity | None = None
    spread_upper: Quantity | None = None
    days: int = 0
    bias: Quantity | None = None
    bias_uncertainty: Quantity | None = None


@dataclass(kw_only=True)
class CheckPiece(Stored):
    """A thing that a bench reads every day."""

    name: str = ""
    bench_id: str = ""
    quantity: str = ""
    tool_id: str | None = None
    stated: Quantity | None = None
    repetitions: int = 0
    limits_from: str | None = None
    active: bool = True
    limits: ControlLimits | None = None
    days_to_limits: int = 0
    newest: CheckReading | None = None
    drifting: bool = False
    repeats_badly: bool = False


@dataclass(kw_only=True)
class RowProblem(Record):
    """Something that stands against a row of a file; the header is row 1."""

    row: int = 0
    column: str | None = None
    message: str = ""


@dataclass(kw_only=True)
class ReadingsImport(Record):
    """What a file of earlier readings holds, whether it was kept, and every problem by row."""

    rows: int = 0
    sheets: int = 0
    readings: int = 0
    kept: bool = False
    problems: list[RowProblem] = field(default_factory=list)
