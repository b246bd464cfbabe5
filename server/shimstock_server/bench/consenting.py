"""What was done that needed the owner's yes: what cannot be undone, and strings that pull harder."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from shimstock_calc.plan.geometry import total_pull
from shimstock_calc.restring import SAME_PULL
from shimstock_server.catalogue import own_values, plan_string_set, strung
from shimstock_server.database.tables.catalogue import StringSet, Tuning
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import ConsentKind, Part
from shimstock_server.jobs import covering_consent

from .problems import ConsentNeeded


def covering(session: Session, job: Job, instrument: Instrument, wish: dict[str, Any]) -> UUID | None:
    """The consent that covers what was done; None for what needs none.

    Raises
    ------
    ConsentNeeded
        When it needs one and the owner has not given it.
    """
    if wish["part"] is Part.STRINGS:
        return _for_strings(session, job, instrument, wish)
    step = _step(wish)
    if step is None:
        return None
    named_only = _delicate(instrument)
    consent = covering_consent(session, job.id, step, named_only=named_only)
    if consent is None:
        what = step.value.replace("-", " ")
        raise ConsentNeeded(
            f"{what.capitalize()} cannot be undone, and no consent covers it: ask the owner for one that "
            + (f"names {what}." if named_only else f"names {what}, or a general one."),
            covers=[step.value] if named_only else [step.value, ConsentKind.GENERAL.value],
        )
    return consent.id


def _step(wish: dict[str, Any]) -> ConsentKind | None:
    part: Part = wish["part"]
    takes_off = not part.term.is_filed or (wish["amount"] is not None and wish["amount"].value > 0)
    return ConsentKind(part.term.consent) if takes_off and part.term.consent is not None else None


def _delicate(instrument: Instrument) -> bool:
    return instrument.named_consents or instrument.model.named_consents


def _for_strings(session: Session, job: Job, instrument: Instrument, wish: dict[str, Any]) -> UUID | None:
    """On an old or delicate instrument, and on one with courses, more pull needs a yes of its own."""
    in_courses = any(len(course) > 1 for course in instrument.model.courses or ())
    if not (_delicate(instrument) or in_courses) or not _may_pull_harder(session, instrument, wish):
        return None
    consent = covering_consent(session, job.id, ConsentKind.HIGH_PULL, named_only=True)
    if consent is None:
        raise ConsentNeeded(
            "These strings pull harder than those before, or nobody knows how hard, and this instrument "
            "takes no such strings unasked: ask the owner for a consent that names high pull.",
            covers=[ConsentKind.HIGH_PULL.value],
        )
    return consent.id


def _may_pull_harder(session: Session, instrument: Instrument, wish: dict[str, Any]) -> bool:
    strings, tuning = strung(session, instrument)
    fitted = session.get(StringSet, wish["string_set_id"]) if wish["string_set_id"] else strings
    tuned = session.get(Tuning, wish["tuning_id"]) if wish["tuning_id"] else tuning
    if (fitted, tuned) == (strings, tuning):
        return False
    before, after = _pull(session, instrument, strings, tuning), _pull(session, instrument, fitted, tuned)
    return before is None or after is None or after - before > SAME_PULL


def _pull(
    session: Session, instrument: Instrument, strings: StringSet | None, tuning: Tuning | None
) -> float | None:
    """Total pull [N]; None where nobody knows it."""
    if strings is None or tuning is None or len(strings.strings) != len(tuning.notes):
        return None
    values = own_values(instrument)
    if values["scale_bass"] is None or values["scale_treble"] is None:
        return None
    tuned = plan_string_set(session, strings, tuning, instrument.model.courses)
    return total_pull(tuned.strings, values["scale_bass"], values["scale_treble"])
