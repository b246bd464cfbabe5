"""What can stand in the way of webhooks."""

from __future__ import annotations

from shimstock_server.web.problems import Conflict


class TooManyEndpoints(Conflict):
    """This key's website, or the shop, has as many endpoints as the service keeps; delete one first."""

    code = "too-many-endpoints"
    title = "Too many endpoints"


class EndpointSwitchedOff(Conflict):
    """This endpoint is switched off and is told of nothing; switch it on with `{"active": true}` first."""

    code = "endpoint-switched-off"
    title = "Endpoint switched off"
