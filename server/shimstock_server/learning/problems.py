"""What can stand in the way of a study or of a daily check."""

from __future__ import annotations

from shimstock_server.web.problems import Conflict


class StudyEnded(Conflict):
    """This study has ended; begin another."""

    code = "study-ended"
    title = "Study ended"


class StudyOpen(Conflict):
    """Values and verdict are shown once every reading is in: whoever reads is blind to earlier values."""

    code = "study-open"
    title = "Study still open"


class StudyIncomplete(Conflict):
    """Readings of this study are still to be taken: take them, end it as it stands, or abandon it."""

    code = "study-incomplete"
    title = "Study incomplete"


class NotTheNextReading(Conflict):
    """The order was drawn so that nobody remembers; take the reading that `next` names."""

    code = "not-the-next-reading"
    title = "Not the next reading"


class NothingVaries(Conflict):
    """All readings of this study are the same: nothing can be told from them; take a finer tool."""

    code = "nothing-varies"
    title = "Nothing varies"


class CheckPieceRetired(Conflict):
    """This check piece is no longer read; take the one that has replaced it."""

    code = "check-piece-retired"
    title = "Check piece retired"
