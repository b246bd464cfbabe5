"""The short way of saying what was done: `rod tighten 1/4`, `post bass lower 1/8`, `nut 2 file 0.05mm`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from .._trade import DOINGS, EITHER_WAY, IN_MM, MOVES, PARTS, PLACED, SIGNS, SIMPLY_DONE, WAYS
from ._measures import Expected, NotUnderstood, read_measure

_SIDES = {"bass": "bass", "b": "bass", "treble": "treble", "t": "treble"}
_FILLING = {"by", "the", "side", "string", "from", "nut", "turn", "turns"}


def read_doing(words: Sequence[str]) -> dict[str, Any]:
    """Read what was done.

    Parameters
    ----------
    words : sequence of str
        `PART [SIDE or STRING] DIRECTION HOW-FAR` [-].

    Returns
    -------
    dict
        The adjustment's fields as they travel; signs as the contract says [-].

    Raises
    ------
    NotUnderstood
        Naming what would be right.

    >>> read_doing(["post", "bass", "lower", "1/8"])
    {'part': 'bridge-post', 'side': 'bass', 'turns': {'value': -0.125, 'unit': 'turn'}}
    """
    text = " ".join(words).split()
    if not text:
        raise NotUnderstood(f"what was done? e.g. {DOINGS['truss-rod']}")
    part = _part(text[0])
    done: dict[str, Any] = {"part": part}
    rest = _take_place(text[1:], part, done)
    if part not in PLACED and len(done) > 1:
        raise NotUnderstood(f"{text[0]}: there is only one; name no side and no string; e.g. {DOINGS[part]}")
    if part in SIMPLY_DONE:
        if rest:
            raise NotUnderstood(f"{text[0]}: nothing more is said of them; e.g. {DOINGS[part]}")
        return done
    if part == "neck-shim":
        return {**done, "amount": read_measure(" ".join(rest), Expected("shim", "length", "mm")).wire()}
    return {**done, **_how_far(rest, part)}


def _part(word: str) -> str:
    name = word.lower()
    meant = {part for short, part in PARTS.items() if short == name} or {
        part for short, part in PARTS.items() if short.startswith(name) and len(name) > 1
    }
    if len(meant) != 1:
        raise NotUnderstood(
            f"{word!r} is no part; one of {', '.join(sorted(set(PARTS) - set(PARTS.values())))}"
        )
    return meant.pop()


def _take_place(words: Sequence[str], part: str, done: dict[str, Any]) -> list[str]:
    rest: list[str] = []
    pickup: list[str] = []
    for word in words:
        bare = word.lower().rstrip(",:")
        if rest or bare in SIGNS or part == "neck-shim":
            rest.append(word)
        elif bare in _SIDES:
            done["side"] = _SIDES[bare]
        elif bare.isdecimal() and "string" not in done and "side" not in done:
            done["string"] = int(bare)
        elif part == "pickup-screw" and bare not in _FILLING:
            pickup.append(word)
        elif bare not in _FILLING:
            rest.append(word)
    if pickup:
        done["pickup"] = " ".join(pickup)
    return rest


def _how_far(rest: Sequence[str], part: str) -> dict[str, Any]:
    fitting = WAYS[part]
    right = " or ".join(EITHER_WAY[kind] for kind in fitting)
    if not rest or rest[0].lower() not in SIGNS:
        raise NotUnderstood(f"{part.replace('-', ' ')}: which way, {right}? e.g. {DOINGS[part]}")
    kind, sign = SIGNS[rest[0].lower()]
    if kind not in fitting:
        raise NotUnderstood(
            f"{part.replace('-', ' ')}: {right} was expected, not {rest[0]}; e.g. {DOINGS[part]}"
        )
    told = " ".join(word for word in rest[1:] if word.lower() not in _FILLING)
    if not told:
        raise NotUnderstood(f"{part.replace('-', ' ')}: how far? e.g. {DOINGS[part]}")
    if told[0] in "+-−":
        raise NotUnderstood(f"{part.replace('-', ' ')}: no sign, {right} says which way; e.g. {DOINGS[part]}")
    more = {"part": "saddle-position"} if kind == "away" else {}
    if kind in IN_MM:
        amount = read_measure(told, Expected("amount", "length", "mm")).wire()
        return {"amount": {**amount, "value": sign * amount["value"]}}
    if kind == "away" and not _is_turns(told):
        amount = read_measure(told, Expected("distance", "length", "mm")).wire()
        return {**more, "amount": {**amount, "value": sign * amount["value"]}}
    turns = read_measure(told, Expected("turns", "turns", "turn")).wire()
    return {**more, "turns": {**turns, "value": sign * turns["value"]}}


def _is_turns(text: str) -> bool:
    return not any(text.lower().endswith(unit) for unit in ("mm", "in", "inch", "thou", '"'))


def describe_doing(done: dict[str, Any]) -> str:
    """Say what was understood: "bridge post, bass side: lower 1/8 turn"."""
    from .. import Quantity
    from ._plan_layout import turns

    part = str(done["part"])
    place = [part.replace("-", " ")]
    if done.get("pickup"):
        place.append(f"{done['pickup']} pickup")
    if done.get("side"):
        place.append(f"{done['side']} side")
    if done.get("string") is not None:
        place.append(f"string {done['string']}")
    told = _plain(done.get("turns")) or _plain(done.get("amount"))
    if told is None:
        return ", ".join(place)
    quantity = Quantity(abs(told["value"]), told["unit"])
    size = turns(quantity) if quantity.unit == "turn" else str(quantity)
    return f"{', '.join(place)}: {_way(part, told['value'])} {size}".replace("  ", " ")


def _plain(quantity: Any) -> dict[str, Any] | None:
    if quantity is None or isinstance(quantity, dict):
        return quantity
    plain: dict[str, Any] = quantity.wire()
    return plain


def _way(part: str, value: float) -> str:
    more, less = MOVES[part]
    return more if value > 0 else less
