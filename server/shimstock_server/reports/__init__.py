"""Batch reports: what the shop has read, done and spent, by instrument model; how the benches stand."""

from .agreement_routes import blueprint as agreement_blueprint
from .routes import blueprint
from .runs import make_long_reports

__all__ = ["make_long_reports"]

blueprints = (blueprint, agreement_blueprint)
