"""Records of reports, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored
from ..words import InstrumentKind, QuantityName, RankedBy, ReportRunState


@dataclass(kw_only=True, repr=False, eq=False)
class RankedModel(Record):
    """What a model's jobs took."""

    bench_minutes_mean: Quantity | None = None
    bench_minutes_total: Quantity | None = None
    came_back: int = 0
    """Checked in again within 90 days of being ready."""
    cost_mean: float | None = None
    """Bench minutes at the shop's rate and parts; null without a rate."""
    jobs: int = 0
    kind: InstrumentKind = UNKNOWN
    maker: str = ""
    model_id: str = ""
    name: str = ""
    parts_mean: float = 0.0
    """Price of the parts of a job."""
    rank: int = 0
    received_in_spec: float | None = None
    returned_in_spec: float | None = None
    turnaround_mean: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class ReportPeriod(Record):
    """The days that a report covers."""

    first: date | None = None
    last: date | None = None
    zone: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class Ranking(Record):
    """The models by what a job on them costs, the dearest first."""

    currency: str = ""
    items: list[RankedModel] = field(default_factory=list)
    period: ReportPeriod = field(default_factory=ReportPeriod)
    ranked_by: RankedBy = UNKNOWN
    waiting: int = 0
    """Jobs that changed since they were counted; a worker counts them."""


@dataclass(kw_only=True, repr=False, eq=False)
class ReportMoisture(Record):
    """A report's moisture in figures."""

    frets: str = ""
    months: int = 0
    """Months that the line is drawn through."""
    per_percent: Quantity | None = None
    """Change for each 1 % of moisture more."""
    place: str = ""
    quantity: str = ""
    uncertainty: Quantity | None = None
    """Standard error of that change."""


@dataclass(kw_only=True, repr=False, eq=False)
class ReportTally(Record):
    """How often something was done or found."""

    count: int = 0
    """How often in these days, in any job."""
    jobs: int = 0
    """Of the jobs done in these days, in how many it was done or found."""
    name: str = ""
    per_job: float | None = None
    """That share of the jobs done."""
    way_mean: Quantity | None = None
    way_sd: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class ReportSpread(Record):
    """The spread of counted readings."""

    mean: Quantity | None = None
    median: Quantity | None = None
    p90: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class ReportJobs(Record):
    """A report's jobs in figures."""

    bench_minutes: ReportSpread = field(default_factory=ReportSpread)
    came_back: int = 0
    cost_mean: float | None = None
    count: int = 0
    gauge_changed: int = 0
    """Got another set of strings than the one that they came in with."""
    parts_mean: float | None = None
    restrung: int = 0
    turnaround: ReportSpread = field(default_factory=ReportSpread)


@dataclass(kw_only=True, repr=False, eq=False)
class ReportSpec(Record):
    """The setup spec that a report compares with."""

    converted: bool = False
    """The spec states it for another hold; it was brought to this one."""
    lower: Quantity | None = None
    scope: str = ""
    target: Quantity | None = None
    upper: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class CountedBin(Record):
    """A bin of counted readings."""

    count: int = 0
    middle: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class ReportCapability(Record):
    """A report's capability figures."""

    index: float = 0.0
    lower: float = 0.0
    upper: float = 0.0


@dataclass(kw_only=True, repr=False, eq=False)
class ReportQuantiles(Record):
    """Quantiles of counted readings."""

    median: Quantity | None = None
    p05: Quantity | None = None
    p10: Quantity | None = None
    p25: Quantity | None = None
    p75: Quantity | None = None
    p90: Quantity | None = None
    p95: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class CountedStage(Record):
    """The readings of one stage at one place."""

    bins: list[CountedBin] = field(default_factory=list)
    capability: ReportCapability | None = None
    count: int = 0
    highest: Quantity | None = None
    in_spec: int = 0
    lowest: Quantity | None = None
    mean: Quantity | None = None
    out_of_spec: int = 0
    quantiles: ReportQuantiles = field(default_factory=ReportQuantiles)
    sd: Quantity | None = None
    share_in_spec: float | None = None
    stage: str = ""
    too_close: int = 0
    zero_or_less: int = 0


@dataclass(kw_only=True, repr=False, eq=False)
class SuggestedSpec(Record):
    """A target of the shop's own that its jobs suggest."""

    lower: Quantity | None = None
    readings: int = 0
    target: Quantity | None = None
    upper: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class CountedQuantity(Record):
    """A quantity at a place, read at the same frets, with its spec, quantiles and bins."""

    frets: str = ""
    place: str = ""
    quantity: QuantityName = UNKNOWN
    resolution: Quantity | None = None
    """Width of the bins that quantiles are taken from: none is finer."""
    spec: ReportSpec | None = None
    stages: list[CountedStage] = field(default_factory=list)
    suggestion: SuggestedSpec | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class ReportVerdicts(Record):
    """How many readings were in spec."""

    in_spec: int = 0
    out_of_spec: int = 0
    share_in_spec: float | None = None
    too_close: int = 0


@dataclass(kw_only=True, repr=False, eq=False)
class ReportSeason(Record):
    """How readings follow the seasons."""

    count: int = 0
    frets: str = ""
    mean: Quantity | None = None
    median: Quantity | None = None
    month: int = 0
    p10: Quantity | None = None
    p90: Quantity | None = None
    place: str = ""
    quantity: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class ModelReport(Record):
    """What the shop knows of a model in a period: readings, steps, findings, the year."""

    against_moisture: list[ReportMoisture] = field(default_factory=list)
    currency: str = ""
    findings: list[ReportTally] = field(default_factory=list)
    jobs: ReportJobs = field(default_factory=ReportJobs)
    kind: InstrumentKind = UNKNOWN
    maker: str = ""
    model_id: str = ""
    name: str = ""
    period: ReportPeriod = field(default_factory=ReportPeriod)
    quantities: list[CountedQuantity] = field(default_factory=list)
    received: ReportVerdicts = field(default_factory=ReportVerdicts)
    returned: ReportVerdicts = field(default_factory=ReportVerdicts)
    season: list[ReportSeason] = field(default_factory=list)
    steps: list[ReportTally] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class ReportRun(Stored):
    """How far a long report is."""

    done: int = 0
    """Models that are done."""
    ended_at: datetime | None = None
    error: str | None = None
    kind: InstrumentKind | None = None
    maker: str | None = None
    period: ReportPeriod = field(default_factory=ReportPeriod)
    state: ReportRunState = UNKNOWN
    total: int | None = None
    """Null until it has begun."""
