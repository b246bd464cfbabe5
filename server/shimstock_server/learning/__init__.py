"""Learning: responses to adjustments, readings counted for the reports, benches compared."""

from . import stale  # noqa: F401 - it follows what happens
from .agreement_routes import check_routes, study_routes
from .agreement_schemas import CheckPieceOut
from .check_pieces import TOO_LITTLE
from .counting import KEPT, MOISTURE, Cell, CellKey, Cells, merge_cells, start_of, width_of
from .drifts import drifts_at
from .forecasts import CountedForecasts, counted_forecasts, keep_forecasts, listed_forecasts
from .judging import relief_factor
from .kinds import KINDS
from .minutes import minutes_for
from .noises import Noises, told_noises
from .offsets import BenchOffsets, kept_offsets, present_offsets
from .recount import rebuild, work_off_marks
from .responses import learned_responses
from .routes import blueprint
from .standing import bench_standings, newest_checks, newest_studies
from .store import counted_facts, counted_period
from .study_findings import Repeatability, bench_repeatabilities
from .tallies import FINDING, STEP, Tallies, jobs_with, merge_tallies

__all__ = [
    "FINDING",
    "KEPT",
    "KINDS",
    "MOISTURE",
    "STEP",
    "TOO_LITTLE",
    "BenchOffsets",
    "Cell",
    "CellKey",
    "Cells",
    "CheckPieceOut",
    "CountedForecasts",
    "Noises",
    "Repeatability",
    "Tallies",
    "bench_repeatabilities",
    "bench_standings",
    "counted_facts",
    "counted_forecasts",
    "counted_period",
    "drifts_at",
    "jobs_with",
    "keep_forecasts",
    "kept_offsets",
    "learned_responses",
    "listed_forecasts",
    "merge_cells",
    "merge_tallies",
    "minutes_for",
    "newest_checks",
    "newest_studies",
    "present_offsets",
    "rebuild",
    "relief_factor",
    "start_of",
    "told_noises",
    "width_of",
    "work_off_marks",
]

blueprints = (blueprint, study_routes, check_routes)
