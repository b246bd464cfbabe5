"""The maps and curves of instruments over HTTP."""
