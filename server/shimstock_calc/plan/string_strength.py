"""How near strings stand to breaking at their pitch, and where nobody can say."""

from __future__ import annotations

from ..wire import BREAKING_NOTE, BREAKING_REFUSAL, breaking_fraction
from .draft import Draft
from .geometry import string_pull, string_scale
from .model import InstrumentString, Note, StringSet
from .reading_steps import numbered
from .words import Measure, say

NOT_ON = "refused: string {number} would stand at {percent} of its strength at that pitch"
NOT_UP = "do not tune up to pitch: string {number} would stand at {percent} of its strength there"


def would_break(draft: Draft, strings: StringSet, template: str = NOT_ON) -> list[Note]:
    """Why a set may not go on, or be tuned up: a string within a twentieth of its strength, or beyond it."""
    return [
        Note(
            "string-breaking",
            say(
                template,
                number=string.number,
                percent=Measure("percent", 100.0 * (breaks(draft, string) or 0.0)),
            ),
            (say("a lower pitch or a shorter scale; a lighter gauge helps little"),),
        )
        for string in sorted(strings.strings, key=lambda each: each.number)
        if (breaks(draft, string) or 0.0) >= BREAKING_REFUSAL
    ]


def say_near_breaking(draft: Draft, new: StringSet) -> None:
    """Name the strings that stand near their strength."""
    for string in sorted(new.strings, key=lambda each: each.number):
        stands = breaks(draft, string) or 0.0
        if BREAKING_NOTE <= stands < BREAKING_REFUSAL:
            draft.note(
                "string-near-breaking",
                say(
                    "string {number} stands at {percent} of its strength at that pitch: it may break early",
                    number=string.number,
                    percent=Measure("percent", 100.0 * stands),
                ),
            )


def margin_unknown(draft: Draft, new: StringSet) -> bool:
    """Whether nobody can say of a string how near it will stand to breaking."""
    return any(breaks(draft, string) is None for string in new.strings)


def say_margin_unknown(draft: Draft, new: StringSet) -> None:
    """Strings whose margin against breaking cannot be reckoned: which, why, and what would make it known."""
    reasons: dict[str, list[int]] = {}
    for string in new.strings:
        if breaks(draft, string) is None:
            reasons.setdefault(_why_no_margin(string), []).append(string.number)
    for why, numbers in reasons.items():
        draft.note(
            "margin-unknown",
            say(
                "string{plural} {numbers}: margin against breaking unknown, " + why,
                plural="s" if len(numbers) > 1 else "",
                numbers=numbered(numbers),
            ),
        )


def _why_no_margin(string: InstrumentString) -> str:
    if string.material != "steel":
        return (
            f"the strength of {string.material} is not published as that of steel wire is: tune no higher "
            "than the maker's pitch and scale"
        )
    if string.core_diameter is None and (string.wound or string.gauge is None):
        missing = "core diameter" if string.wound else "gauge"
        return f"the {missing} is not known: enter it with the string set"
    return "the linear density is not known: enter it with the string set"


def breaks(draft: Draft, string: InstrumentString) -> float | None:
    """Stress over strength of a steel string at its pitch [-]; None when its core is not known."""
    core = string.core_diameter or (string.gauge if not string.wound else None)
    if string.material != "steel" or core is None:
        return None
    pull = string_pull(string, string_scale(draft.instrument, string.number))
    return None if pull is None else float(breaking_fraction(pull, core, string.core_shape))
