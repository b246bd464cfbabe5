"""Learning: responses to adjustments, readings counted for the reports, benches compared."""

from .agreement_routes import check_routes, study_routes
from .counting import KEPT, MOISTURE, Cell, CellKey, Cells, merge_cells, width_of
from .kinds import KINDS
from .recount import rebuild, work_off_marks
from .responses import learned_responses
from .routes import blueprint
from .store import counted_facts, counted_period
from .studies import bench_repeatability
from .tallies import FINDING, STEP, Tallies, merge_tallies

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
    "learned_responses",
    "merge_cells",
    "merge_tallies",
    "rebuild",
    "width_of",
    "work_off_marks",
]

blueprints = (blueprint, study_routes, check_routes)
