"""What can stand in the way in the catalogue."""

from __future__ import annotations

from collections.abc import Iterable

from shimstock_server.web.problems import Conflict, NotFound, pointer

from .lacks import Lack


class NameTaken(Conflict):
    """Another entry of the catalogue has that name; choose another, or change that entry."""

    code = "name-taken"
    title = "Name taken"


class NoSetupSpec(NotFound):
    """No setup spec has been stored there yet; PUT the first one."""

    code = "no-setup-spec"
    title = "No setup spec"


class NoInstrumentYet(Conflict):
    """This job has no instrument yet, so no spec applies to it; name the instrument first."""

    code = "no-instrument-yet"
    title = "No instrument yet"


class InstrumentIncomplete(Conflict):
    """The plan needs something that the catalogue does not know of this instrument; `errors` names it."""

    code = "instrument-incomplete"
    title = "Instrument incomplete"

    @classmethod
    def of(cls, lacks: Iterable[Lack]) -> InstrumentIncomplete:
        """Make the problem of everything that is lacking, with a pointer to each field."""
        errors = [
            {"pointer": pointer(lack.resource, *lack.field.split("/")), "message": lack.why} for lack in lacks
        ]
        fields = ", ".join(error["pointer"].split("/", 2)[2] for error in errors)
        return cls(f"No plan can be made before the catalogue knows: {fields}.", errors=errors)
