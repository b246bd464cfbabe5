"""What can stand in the way of a booking."""

from __future__ import annotations

from shimstock_server.web.problems import Conflict


class NoPlace(Conflict):
    """Nothing is left in this slot; `next_slots` lists the next free ones, as the availability gives them."""

    code = "no-place"
    title = "No place"


class HoldEnded(Conflict):
    """The slot was held until a moment that has passed; `next_slots` lists what is free now; hold another."""

    code = "hold-ended"
    title = "Hold ended"


class BookingSettled(Conflict):
    """A booking in this state cannot be changed in that way."""

    code = "booking-settled"
    title = "Booking settled"


class AddressEnded(Conflict):
    """The address of the owner's page with which this recheck was booked has ended or was revoked; only the
    shop can make another."""

    code = "address-ended"
    title = "Address ended"


class NotYetMissed(Conflict):
    """The drop-off slot has not passed yet; cancel the booking instead."""

    code = "not-yet-missed"
    title = "Not yet missed"


class ServiceNameInUse(Conflict):
    """Another service has that name already."""

    code = "service-name-in-use"
    title = "Service name in use"


class AbsenceOverlaps(Conflict):
    """The technician is away then already; `absence` names that absence."""

    code = "absence-overlaps"
    title = "Absence overlaps"
