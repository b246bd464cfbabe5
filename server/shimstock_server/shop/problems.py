"""What can stand in the way in the shop's own records."""

from __future__ import annotations

from shimstock_server.web.problems import Conflict, NotFound


class NoShopYet(NotFound):
    """The shop has no name, place and time zone yet; a manager sets it up with PUT /v1/shop."""

    code = "no-shop-yet"
    title = "No shop yet"


class NameInUse(Conflict):
    """Another one has that name already; two of the same name could not be told apart."""

    code = "name-in-use"
    title = "Name in use"


class DayTaken(Conflict):
    """There is an exception for that day already; delete it first."""

    code = "day-taken"
    title = "Day taken"
