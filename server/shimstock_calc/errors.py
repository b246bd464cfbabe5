"""What a calculation says when it cannot answer."""

from __future__ import annotations


class CalculationError(ValueError):
    """A calculation cannot be done with what was given.

    Parameters
    ----------
    message : str
        What was wrong and what would be right, in one sentence.
    field : str, optional
        The parameter it concerns, by its trade name (`scale_length`, `relief` …).
    """

    code = "calculation"

    def __init__(self, message: str, field: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field


class OutOfRange(CalculationError):  # noqa: N818 - named after its cause
    """A value lies where the formula, or nature, has no answer."""

    code = "out-of-range"


class Missing(CalculationError):  # noqa: N818 - named after its cause
    """Something the calculation needs was not given."""

    code = "missing"


class Contradiction(CalculationError):  # noqa: N818 - named after its cause
    """The values given cannot all be true of one instrument."""

    code = "contradiction"


class Refused(CalculationError):  # noqa: N818 - named after its cause
    """The answer would hurt someone or spoil the instrument, so it is not given."""

    code = "refused"
