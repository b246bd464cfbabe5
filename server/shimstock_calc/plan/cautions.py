"""Cautions, each shown with the step it belongs to. Common practice and from memory."""

from __future__ import annotations

from .model import Caution

TEXTS: dict[str, str] = {
    "eyes": "a string under tension can whip: loosen before cutting, eye protection, mind the cut ends",
    "margin-unknown": "how near a string stands to breaking is not known: bring it up slowly, face and hands "
    "out of its line, never above its pitch",
    "springs": "springs and claw are under load: block the bridge first, eye protection",
    "rod": "right wrench, fully seated, nut clean; at most a quarter turn, then tune, then read",
    "rod-stop": "stop if the nut is stiff or creaks, if it is tight and relief does not follow, or if a "
    "quarter turn, free play left out, changes nothing: a broken rod is a major repair",
    "rod-slacken": "slacken the strings before a large tightening",
    "rod-far": "so much in all is more than many rods give: stop when it stiffens, and look for the reason "
    "of so much bow",
    "rod-test": "this rod's direction is not proven: an eighth as a test; relief must follow before more",
    "rod-reversed": "this rod is reversed: counter-clockwise tightens; the first eighth is a test",
    "loose-nut": "once its nut is loose a single-action rod has nothing left to give: stop there",
    "free-play": "a dual-action rod has free play between its directions: the first part may do nothing",
    "posts-slacken": "raising posts against full tension strips their threads: slacken the strings first",
    "movable": "the strings alone hold this bridge: mark its place, ease them before it is pushed or raised, "
    "and never take them all off",
    "irreversible": "cannot be undone",
    "file-and-read": "a few strokes at a time; tune and read after every pass",
    "saddle-flat": "take it off underneath, keep the underside flat and square",
    "saddle-slacken": "slacken the strings before the saddle comes out, and mind your eyes",
    "saddle-limits": "keep at least about 2 mm of the saddle out of its slot (nylon 1.5 mm) and at most "
    "about half its height",
    "undersaddle": "an undersaddle pickup needs the underside flat and square over its whole length",
    "dust": "dust of bone, shell, metal (nickel sensitises) and some hardwoods harms lungs: extraction and a "
    "respirator that fits; follow the material's safety data sheet and local workplace rules",
    "cover-pickups": "cover the pickups from filings and steel wool",
    "one-at-a-time": "change the strings one at a time, or block the bridge",
    "retune-each": "retune and let the plate come to rest before every reading",
    "pull": "more total pull than before: the owner's consent and the model's limit",
    "recover": "keep the case closed until it is room-warm, then hours to a day before a verdict: "
    "finishes craze",
    "recover-air": "about 40 to 55 % relative humidity suits it; give it days, do not force humidity",
    "magnets": "a pickup too close pulls the string's pitch: set its height first",
}


def caution(code: str) -> Caution:
    """Return one caution by its code."""
    return Caution(code, TEXTS[code])


def cautions(*codes: str) -> tuple[Caution, ...]:
    """Return cautions by their codes, in the order given; empty codes are left out."""
    return tuple(caution(code) for code in codes if code)
