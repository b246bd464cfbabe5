"""Looking over the instrument: what a setup cannot cure, and what it must wait for."""

from __future__ import annotations

from ..vocabulary import FINDINGS, FindingTerm
from .consents import refused
from .draft import Draft
from .model import Finding, Step
from .reading_steps import in_bad_air, listed
from .words import Sentence, say


def look_over(draft: Draft) -> None:
    """Place the look over when it is still to be done, and say what its findings mean."""
    if not draft.plan_input.looked_over:
        draft.place_reading(
            Step(
                0,
                "look-over",
                "instrument",
                say("Look over: frets, twist, cracks, bridge, neck angle, rod, nut, tuners"),
            ),
            gate="nothing",
        )
    for finding in sorted(
        draft.plan_input.findings, key=lambda each: (each.order, each.code, each.fret or 0)
    ):
        if not FINDINGS[finding.code].text or _done_with(draft, finding):
            continue
        meaning = FINDINGS[finding.code]
        text = _text(finding, meaning)
        lines, quote = _lines(draft, finding, meaning)
        draft.note(finding.code, text, lines, quote=quote)
        if finding.code == "frets-worn" and refused(draft, "fret-work"):
            continue
        for work in meaning.blocks:
            draft.blocked.setdefault(work, text)
    if draft.instrument.delicate_finish:
        draft.note("delicate-finish", say("old finish: no flame, no heat gun, no solvent without a test"))


def _done_with(draft: Draft, finding: Finding) -> bool:
    """Whether work since has mended it: frets that were worked on, strings that were changed."""
    if FINDINGS[finding.code].of_frets:
        return finding.order < last_fret_work(draft)
    changed = [each.order for each in draft.plan_input.adjustments if each.part == "strings"]
    return finding.code == "string-damaged" and finding.order < max(changed, default=-1)


def _lines(draft: Draft, finding: Finding, meaning: FindingTerm) -> tuple[list[Sentence], bool]:
    """What is to be done, and whether that is a quote: no verdict on frets in air too dry or too damp."""
    if meaning.of_frets and in_bad_air(draft):
        return [say("no verdict on the frets yet: look again once the instrument has recovered")], False
    if finding.code == "twist" and draft.instrument.delicate_finish:
        return [say("fret work, by a repairer")], True
    return [say(line) for line in meaning.quote], bool(meaning.quote) and not meaning.within_setup


def _text(finding: Finding, meaning: FindingTerm) -> Sentence:
    where = " (string {string})" if finding.string is not None else ""
    template = meaning.text + where + (": {note}" if finding.note else "")
    fret = str(finding.fret) if finding.fret is not None else "(not said which)"
    return say(template, fret=fret, string=finding.string or 0, note=finding.note)


def last_fret_work(draft: Draft) -> int:
    """Rank of the last work on the frets; findings before it are done with."""
    return max((each.order for each in draft.plan_input.adjustments if each.part == "frets"), default=-1)


def fret_check(draft: Draft) -> None:
    """Check frets that were found high or loose, once the neck is where it should be."""
    levelled = last_fret_work(draft)
    found = {
        finding.fret
        for finding in draft.plan_input.findings
        if finding.code in {"fret-high", "fret-loose"}
        and finding.fret is not None
        and finding.order >= levelled
    }
    if not found:
        return
    draft.place_reading(
        Step(
            0,
            "fret-check",
            "frets",
            say(
                "Frets: rock a short straightedge over fret {frets} and mark what is high or loose",
                frets=listed([str(fret) for fret in sorted(found)]),
            ),
            why=say("nothing is filed before the frets are level; seating and levelling are quoted"),
        ),
        gate="nothing",
    )
