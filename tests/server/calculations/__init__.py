"""The calculations over HTTP."""
