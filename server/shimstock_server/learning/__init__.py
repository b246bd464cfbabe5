"""Learning: how instruments answer to adjustments, and readings counted for the reports."""

from .counting import KEPT, MOISTURE, Cell, CellKey, Cells, merge_cells, width_of
from .recount import rebuild, work_off_marks
from .responses import learned_responses
from .routes import blueprint
from .store import counted_facts, counted_period
from .tallies import FINDING, STEP, Tallies, merge_tallies

__all__ = [
    "FINDING",
    "KEPT",
    "MOISTURE",
    "STEP",
    "Cell",
    "CellKey",
    "Cells",
    "Tallies",
    "counted_facts",
    "counted_period",
    "learned_responses",
    "merge_cells",
    "merge_tallies",
    "rebuild",
    "width_of",
    "work_off_marks",
]

blueprints = (blueprint,)
