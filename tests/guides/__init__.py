"""The guides, executed."""
