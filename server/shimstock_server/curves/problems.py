"""What can stand in the way of a map or a curve."""

from __future__ import annotations

from collections.abc import Mapping

from shimstock_server.web.problems import Conflict


class ReadingsMissing(Conflict):
    """The newest readings of this instrument do not say enough; `errors` names each that is to be taken."""

    code = "readings-missing"
    title = "Readings missing"

    @classmethod
    def of(cls, lacking: Mapping[tuple[str, ...], str]) -> ReadingsMissing:
        """Make the problem of what is lacking: quantity and place to the reason."""
        errors = [
            {"pointer": "/readings/" + "/".join(place), "message": why} for place, why in lacking.items()
        ]
        wanted = ", ".join(" ".join(place).replace("-", " ") for place in lacking)
        return cls(f"Read first: {wanted}.", errors=errors)


class StringsUnknown(Conflict):
    """Nothing can be said of these strings before the catalogue knows more of them; `errors` names them."""

    code = "strings-unknown"
    title = "Strings unknown"
