"""What can stand in the way with owners and instruments."""

from __future__ import annotations

from shimstock_server.web.problems import Conflict


class JobOpen(Conflict):
    """This owner has a job that is not over; close it first, or erase with force."""

    code = "job-open"
    title = "Job open"


class OwnerErased(Conflict):
    """This owner was erased; what is left of the record is not changed any more."""

    code = "owner-erased"
    title = "Owner erased"


class SerialTaken(Conflict):
    """There is an instrument of this model with that serial number already."""

    code = "serial-taken"
    title = "Serial taken"
