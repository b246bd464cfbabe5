"""The plan: from spec, geometry and readings to ordered steps."""

from .build import make_plan
from .model import Plan, PlanInput
from .words import Measure, Sentence, write_measure

__all__ = ["Measure", "Plan", "PlanInput", "Sentence", "make_plan", "write_measure"]
