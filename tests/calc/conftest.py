"""Property tests here have no deadline: a busy machine must not fail a formula."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("calculations", deadline=None)
settings.load_profile("calculations")
