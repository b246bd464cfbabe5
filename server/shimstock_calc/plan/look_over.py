"""Looking over the instrument: what a setup cannot cure, and what it must wait for."""

from __future__ import annotations

from typing import NamedTuple

from .draft import Draft
from .model import Finding, Step
from .words import Sentence, say


class Meaning(NamedTuple):
    """What a finding says, what to quote for, and which work it rules out until repaired."""

    text: str
    quote: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()


STRUCTURE = ("restring", "relief", "nut", "action", "saddle-filing")

MEANINGS: dict[str, Meaning] = {
    "frets-worn": Meaning("frets are worn", ("level and crown the frets, or replace them",)),
    "fret-high": Meaning("fret {fret} is high", ("seat it, or level and crown the frets",), ("filing",)),
    "fret-loose": Meaning("fret {fret} is loose", ("seat and glue it, then level it",), ("filing",)),
    "fret-ends-sharp": Meaning("fret ends are sharp: the board has dried", ("dress the fret ends",)),
    "rise-at-the-end": Meaning("the board rises at its end", ("level the last frets",)),
    "crack": Meaning("there is a crack", ("repair the crack before string pull is changed",), STRUCTURE),
    "bridge-lifting": Meaning("the bridge lifts", ("reglue the bridge before anything else",), STRUCTURE),
    "belly": Meaning(
        "the top bellies behind the bridge", ("check the braces; string pull stays as it is",), ("more-pull",)
    ),
    "neck-angle-low": Meaning("a straightedge on the frets meets the bridge too low", ("neck angle",)),
    "neck-joint-loose": Meaning(
        "the neck joint moves", ("tighten or reglue the neck joint before anything else",), STRUCTURE
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
        "a tuner slips: no reading at pitch can be trusted", ("tighten or replace the tuner",)
    ),
    "saddle-pickup-uneven": Meaning(
        "the undersaddle pickup sounds uneven", ("true the slot and the saddle's underside",)
    ),
}
"""Common practice, no published source."""

FRETS = frozenset({"frets-worn", "fret-high", "fret-loose", "fret-ends-sharp", "rise-at-the-end"})
SILENT = frozenset({"plate-level", "plate-tail-high", "plate-tail-low", "string-damaged"})


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
    levelled = last_fret_work(draft)
    for finding in sorted(
        draft.plan_input.findings, key=lambda each: (each.order, each.code, each.fret or 0)
    ):
        if finding.code in SILENT or (finding.code in FRETS and finding.order < levelled):
            continue
        meaning = MEANINGS[finding.code]
        text = _text(finding, meaning)
        draft.note(finding.code, text, [say(line) for line in meaning.quote], quote=bool(meaning.quote))
        for work in meaning.blocks:
            draft.blocked.setdefault(work, text)
    if draft.instrument.delicate_finish:
        draft.note("delicate-finish", say("old finish: no flame, no heat gun, no solvent without a test"))


def _text(finding: Finding, meaning: Meaning) -> Sentence:
    template = meaning.text + (": {note}" if finding.note else "")
    fret = str(finding.fret) if finding.fret is not None else "(not said which)"
    return say(template, fret=fret, note=finding.note)


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
                "Frets: rock a short straightedge over fret {frets}; seat what is loose",
                frets=", ".join(str(fret) for fret in sorted(found)),
            ),
            why=say("nothing is filed before the frets are level; levelling is quoted"),
        ),
        gate="nothing",
    )
