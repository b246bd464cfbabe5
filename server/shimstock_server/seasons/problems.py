"""What can stand in the way with climates, rooms, their air and reminders."""

from __future__ import annotations

from shimstock_server.web.problems import Conflict


class NameUsedAlready(Conflict):
    """Something of this kind has that name already; choose another one, or change that one."""

    code = "name-used-already"
    title = "Name used already"


class TwoReadingsAtOnce(Conflict):
    """This hygrometer showed something else at the same instant: one of the two is wrong."""

    code = "two-readings-at-once"
    title = "Two readings at once"


class NoFinalReading(Conflict):
    """There is nothing to begin at: a forecast needs relief or action read to the end of a job, or at a
    recheck, and no work done since."""

    code = "no-final-reading"
    title = "No final reading"


class AirUnknown(Conflict):
    """Nobody has said what the air is like where this instrument lives: name a climate, or log a whole year
    in its room."""

    code = "air-unknown"
    title = "Air unknown"


class ReminderClosed(Conflict):
    """This reminder is done or cancelled; it stays as it is."""

    code = "reminder-closed"
    title = "Reminder closed"
