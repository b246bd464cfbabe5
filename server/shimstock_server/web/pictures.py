"""Drawing with matplotlib, which is not made for threads: one picture at a time in a process."""

from __future__ import annotations

from threading import Lock

DRAWING = Lock()
"""Held while a picture is drawn."""
