"""One belief about an instrument: what its readings, adjustments and hours together say, now and tomorrow."""
