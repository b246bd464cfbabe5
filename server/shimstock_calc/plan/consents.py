"""What the owner has agreed to, and what that allows."""

from __future__ import annotations

from typing import Literal, TypeAlias

from ..vocabulary import ConsentWord
from .draft import Draft
from .model import Block
from .words import say

ConsentStep: TypeAlias = ConsentWord
Needed: TypeAlias = Literal["general", "named"]

NAMES: dict[ConsentStep, str] = {
    "nut-filing": "filing nut slots",
    "saddle-filing": "taking material off the saddle",
    "fret-work": "fret work",
    "high-pull": "strings that pull harder",
}


def consent_needed(draft: Draft, _step: ConsentStep, *, named: bool = False) -> Needed:
    """A general consent covers ordinary instruments; an old or valuable one needs the step named."""
    return "named" if named or draft.instrument.delicate else "general"


def refused(draft: Draft, step: ConsentStep) -> bool:
    """Whether the owner said no to this step; a no that names it goes before a general yes."""
    newest = _newest(draft, step)
    return newest is not None and not newest


def refused_by_name(draft: Draft, step: ConsentStep) -> bool:
    """Whether the owner's last answer that names this step was no."""
    naming = [each.given for each in draft.plan_input.consents if step in each.steps]
    return bool(naming) and not naming[-1]


def _newest(draft: Draft, step: ConsentStep) -> bool | None:
    """The last answer that concerns a step: the last that names it, else the last general one."""
    answers = draft.plan_input.consents
    naming = [each.given for each in answers if step in each.steps]
    if naming:
        return naming[-1]
    general = [each.given for each in answers if not each.steps]
    return general[-1] if general else None


def consent_blocks(draft: Draft, step: ConsentStep, needed: Needed) -> tuple[Block, ...]:
    """Reasons of consent for which a step has to wait, or stays undone."""
    if refused(draft, step):
        return no_block(step)
    answers = draft.plan_input.consents
    naming = any(each.given and step in each.steps for each in answers)
    general = any(each.given and not each.steps for each in answers)
    if naming or (needed == "general" and general):
        return ()
    how = "the owner's consent that names {what}" if needed == "named" else "the owner's consent to {what}"
    return (Block("consent", say("waits for " + how, what=NAMES[step])),)


def no_block(step: ConsentStep) -> tuple[Block, ...]:
    """The owner said no."""
    return (Block("refused", say("the owner said no to {what}: it stays as it is", what=NAMES[step])),)
