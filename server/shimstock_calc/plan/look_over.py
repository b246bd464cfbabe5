"""Looking over the instrument: what a setup cannot cure, and what it must wait for."""

from __future__ import annotations

from typing import NamedTuple

from .consents import refused
from .draft import Draft
from .model import Finding, Step
from .reading_steps import in_bad_air, listed
from .words import Sentence, say


class Meaning(NamedTuple):
    """What a finding says, what to quote for, and which work it rules out until repaired."""

    text: str
    quote: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()
    within_setup: bool = False
    """What is to be done is no repair: nothing is quoted."""


STRUCTURE = ("restring", "relief", "nut", "action", "saddle-filing")

MEANINGS: dict[str, Meaning] = {
    "frets-worn": Meaning(
        "frets are worn",
        (
            "level and crown the frets, or replace them, before nut or saddle are filed to them",
            "when the owner says no to fret work the rest is planned on them as they are",
        ),
        ("filing",),
    ),
    "fret-high": Meaning("fret {fret} is high", ("seat it, or level and crown the frets",), ("filing",)),
    "fret-loose": Meaning("fret {fret} is loose", ("seat and glue it, then level it",), ("filing",)),
    "fret-ends-sharp": Meaning("fret ends are sharp: the board has dried", ("dress the fret ends",)),
    "rise-at-the-end": Meaning("the board rises at its end", ("level the last frets",)),
    "crack": Meaning("there is a crack", ("repair the crack before string pull is changed",), STRUCTURE),
    "bridge-lifting": Meaning(
        "the bridge lifts",
        ("reglue the bridge before anything else", "the strings stay slack until then"),
        STRUCTURE,
    ),
    "belly": Meaning(
        "the top bellies behind the bridge", ("check the braces; string pull stays as it is",), ("more-pull",)
    ),
    "neck-angle-low": Meaning("a straightedge on the frets meets the bridge too low", ("neck angle",)),
    "neck-joint-loose": Meaning(
        "the neck joint moves",
        ("tighten or reglue the neck joint before anything else", "the strings stay slack until then"),
        STRUCTURE,
    ),
    "twist": Meaning("the neck is twisted", ("fret work or a heat treatment, by a repairer",)),
    "rod-stiff": Meaning(
        "the truss rod is stiff: it is not forced", ("free or replace the truss rod",), ("relief",)
    ),
    "rod-creaks": Meaning(
        "the truss rod creaks: it is not turned further", ("free or replace the truss rod",), ("relief",)
    ),
    "rod-no-response": Meaning(
        "relief does not follow the truss rod", ("repair of the truss rod",), ("relief",)
    ),
    "rod-broken": Meaning(
        "the truss rod is broken", ("repair of the truss rod: a major repair",), ("relief",)
    ),
    "nut-cracked": Meaning("the nut is cracked", ("a new nut",), ("nut",)),
    "nut-slot-low": Meaning("a nut slot is too low", ("fill the slot or replace the nut",)),
    "tuner-slips": Meaning(
        "a tuner slips: check the pitch at every reading", ("tighten or replace the tuner",)
    ),
    "string-damaged": Meaning(
        "a string is damaged and may break: mind your eyes",
        ("fit new strings before intonation is read",),
        within_setup=True,
    ),
    "saddle-pickup-uneven": Meaning(
        "the undersaddle pickup sounds uneven", ("true the slot and the saddle's underside",)
    ),
}
"""Common practice, no published source."""

FRETS = frozenset({"frets-worn", "fret-high", "fret-loose", "fret-ends-sharp", "rise-at-the-end"})
SILENT = frozenset({"plate-level", "plate-tail-high", "plate-tail-low"})


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
        if finding.code in SILENT or _done_with(draft, finding):
            continue
        meaning = MEANINGS[finding.code]
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
    if finding.code in FRETS:
        return finding.order < last_fret_work(draft)
    changed = [each.order for each in draft.plan_input.adjustments if each.part == "strings"]
    return finding.code == "string-damaged" and finding.order < max(changed, default=-1)


def _lines(draft: Draft, finding: Finding, meaning: Meaning) -> tuple[list[Sentence], bool]:
    """What is to be done, and whether that is a quote: no verdict on frets in air too dry or too damp."""
    if finding.code in FRETS and in_bad_air(draft):
        return [say("no verdict on the frets yet: look again once the instrument has recovered")], False
    if finding.code == "twist" and draft.instrument.delicate_finish:
        return [say("fret work, by a repairer")], True
    return [say(line) for line in meaning.quote], bool(meaning.quote) and not meaning.within_setup


def _text(finding: Finding, meaning: Meaning) -> Sentence:
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
