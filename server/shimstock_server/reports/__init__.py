"""Batch reports by instrument model: what was read, done and spent; how benches and forecasts stand."""

from .agreement_routes import blueprint as agreement_blueprint
from .calibration_routes import blueprint as calibration_blueprint
from .routes import blueprint
from .runs import make_long_reports

__all__ = ["make_long_reports"]

blueprints = (blueprint, agreement_blueprint, calibration_blueprint)
