"""Learning: responses to adjustments, readings counted for the reports, benches compared."""

from . import stale  # noqa: F401 - it follows what happens
from .agreement_routes import check_routes, study_routes
from .counting import KEPT, MOISTURE, Cell, CellKey, Cells, merge_cells, width_of
from .judging import relief_factor
from .kinds import KINDS
from .recount import rebuild, work_off_marks
from .responses import learned_responses
from .routes import blueprint
from .store import counted_facts, counted_period
from .studies import bench_repeatability
from .tallies import FINDING, STEP, Tallies, jobs_with, merge_tallies

__all__ = [
    "FINDING",
    "KEPT",
    "KINDS",
    "MOISTURE",
    "STEP",
    "Cell",
    "CellKey",
    "Cells",
    "Tallies",
    "bench_repeatability",
    "counted_facts",
    "counted_period",
    "jobs_with",
    "learned_responses",
    "merge_cells",
    "merge_tallies",
    "rebuild",
    "relief_factor",
    "width_of",
    "work_off_marks",
]

blueprints = (blueprint, study_routes, check_routes)
