"""Learning: responses to adjustments, readings counted for the reports, benches compared."""

from . import stale  # noqa: F401 - it follows what happens
from .agreement_routes import check_routes, study_routes
from .agreement_schemas import CheckPieceIn, CheckPieceOut, CheckReadingIn, StudyIn, StudyReadingIn
from .bench_tools import BenchTools, kept_tools, present_tools
from .check_pieces import TOO_LITTLE, add_piece, record_check
from .counting import KEPT, MOISTURE, Cell, CellKey, Cells, merge_cells, start_of, width_of
from .drifts import drifts_at
from .forecasts import CountedForecasts, counted_forecasts, keep_forecasts, listed_forecasts
from .judging import relief_factor
from .kinds import KINDS
from .minutes import minutes_for
from .noises import told_noises
from .recount import rebuild, work_off_marks
from .responses import learned_responses
from .routes import blueprint
from .standing import bench_standings, newest_checks, newest_studies
from .store import counted_facts, counted_period
from .studies import begin_study, record_reading
from .study_findings import Repeatability, bench_repeatabilities, end_study
from .tallies import FINDING, STEP, Tallies, jobs_with, merge_tallies
from .values import read_value

__all__ = [
    "FINDING",
    "KEPT",
    "KINDS",
    "MOISTURE",
    "STEP",
    "TOO_LITTLE",
    "BenchTools",
    "Cell",
    "CellKey",
    "Cells",
    "CheckPieceIn",
    "CheckPieceOut",
    "CheckReadingIn",
    "CountedForecasts",
    "Repeatability",
    "StudyIn",
    "StudyReadingIn",
    "Tallies",
    "add_piece",
    "begin_study",
    "bench_repeatabilities",
    "bench_standings",
    "counted_facts",
    "counted_forecasts",
    "counted_period",
    "drifts_at",
    "end_study",
    "jobs_with",
    "keep_forecasts",
    "kept_tools",
    "learned_responses",
    "listed_forecasts",
    "merge_cells",
    "merge_tallies",
    "minutes_for",
    "newest_checks",
    "newest_studies",
    "present_tools",
    "read_value",
    "rebuild",
    "record_check",
    "record_reading",
    "relief_factor",
    "start_of",
    "told_noises",
    "width_of",
    "work_off_marks",
]

blueprints = (blueprint, study_routes, check_routes)
