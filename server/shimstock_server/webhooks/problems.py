"""What can stand in the way of webhooks."""

from __future__ import annotations

from shimstock_server.web.problems import Conflict


class TooManyEndpoints(Conflict):
    """This key's website, or the shop, has as many endpoints as the service keeps; delete one first."""

    code = "too-many-endpoints"
    title = "Too many endpoints"


class StillOnItsWay(Conflict):
    """This delivery is on its way; it can be replayed once it was delivered or parked."""

    code = "still-on-its-way"
    title = "Still on its way"
