"""The plan: from spec, geometry and readings to ordered steps."""
