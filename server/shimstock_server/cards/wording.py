"""A card in words: every sentence that the owner reads, in their units and language."""

from __future__ import annotations

from collections.abc import Sequence

from shimstock_server.database.words import WENT_OUT

from .content import CardContent, Line, Look, Offer, Refusal
from .speech import Speech

MOVES_THE_NECK = frozenset({"truss-rod", "strings"})


def notice(content: CardContent, speech: Speech) -> str | None:
    """Say in one sentence how far the card can be relied on; None when nothing is to be said."""
    if content.returned_because:
        return speech.say("page", "returned", reason=content.returned_because)
    if content.final:
        return None
    if content.state not in WENT_OUT:
        return speech.say("page", "provisional")
    read = any(line.after.is_read for line in content.lines)
    return speech.say("page", "not_all_read") if read else None


def summary(content: CardContent, speech: Speech) -> str:
    """Say in one sentence how the instrument stands, and how it came in."""
    read = [line for line in content.lines if line.after.usable]
    if not read:
        return speech.say("summary", "nothing_read")
    inside = sum(line.after.verdict == "in spec" for line in read)
    if inside == len(read):
        text = speech.say("summary", "all_in")
    elif all(line.after.settled_on for line in read):
        out = any(line.after.verdict == "out of spec" for line in read)
        name = "left" if out else "all_accepted"
        text = speech.say("summary", name, inside=inside, all=len(read))
    elif inside:
        name = "one_out" if inside == len(read) - 1 else "some_in"
        text = speech.say("summary", name, inside=inside, all=len(read))
    else:
        text = speech.say("summary", "none_in")
    came = [line for line in content.lines if line.before.usable]
    if came and content.final:
        was = sum(line.before.verdict == "in spec" for line in came)
        text = f"{text} {speech.say('summary', 'was', inside=was, all=len(came))}"
    return text


# ---------------------------------------------------------------- what stays


def refused(content: CardContent, speech: Speech) -> list[str]:
    """Say what the owner said no to: steps that cannot be undone, and work beyond the setup."""
    return [_refusal(refusal, speech) for refusal in content.refusals] + [
        _offer(offer, speech) for offer in content.offers if offer.approved is False
    ]


def _refusal(refusal: Refusal, speech: Speech) -> str:
    how = speech.say("how", refusal.how) if speech.words.knows("how", refusal.how) else refusal.how
    step, day = speech.say("step", refusal.covers), speech.day(refusal.on)
    if refusal.note:
        return speech.say("open", "refused_note", step=step, day=day, how=how, note=refusal.note)
    return speech.say("open", "refused", step=step, day=day, how=how)


def _offer(offer: Offer, speech: Speech) -> str:
    name = {True: "agreed", False: "declined", None: "offered"}[offer.approved]
    return speech.say("open", name, work=offer.work, price=speech.price(offer.amount, offer.currency))


def left_open(content: CardContent, speech: Speech) -> list[str]:
    """Say what is not in spec, could not be judged or was not read, why, and what is offered beyond."""
    told = [_not_in_spec(line, speech) for line in content.lines if line.after.usable]
    told += [
        speech.say(
            "open", "unjudged", reading=speech.reading(line), value=_with_unit(line, line.after, speech),
            reason=speech.sentence(line.after.reason),
        )
        for line in content.lines
        if line.after.is_read and not line.after.usable and line.after.reason is not None
    ]  # fmt: skip
    unread = _unread(content, speech)
    if unread:
        readings = speech.say("page", "list_semicolon").join(unread)
        told.append(speech.say("open", "unread", readings=readings))
    for remark in content.remarks:
        told.append(speech.sentence(remark.text))
        if remark.alternatives:
            options = [_lower(speech.sentence(each).rstrip(".")) for each in remark.alternatives]
            told.append(speech.say("open", "instead", alternatives="; ".join(options)))
    told += [_offer(offer, speech) for offer in content.offers if offer.approved is not False]
    return [_ended(text) for text in told if text]


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?", ":")) else f"{text}."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _unread(content: CardContent, speech: Speech) -> list[str]:
    """What was not read, a quantity as a whole where all of it is missing; nothing when nothing was read."""
    if not any(line.after.is_read for line in content.lines):
        return []
    told = []
    for quantity in dict.fromkeys(line.quantity for line in content.lines):
        lines = [line for line in content.lines if line.quantity == quantity]
        missing = [line for line in lines if not line.after.is_read]
        name = speech.say("quantity", quantity)
        if len(missing) == len(lines):
            told.append(_lower(name))
            continue
        told += [_lower(speech.reading(line)) for line in missing if line.string is None]
        strings = [line.string for line in missing if line.string is not None]
        if strings:
            comma = speech.say("page", "list_comma")
            told.append(_lower(f"{name}{comma}{place_of_strings(strings, speech)}"))
    return told


def place_of_strings(numbers: Sequence[int], speech: Speech) -> str:
    """Say which strings; three and more in a row as a range."""
    if len(numbers) == 1:
        return speech.say("place", "string", number=numbers[0])
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = []
    for run in runs:
        if len(run) > 2:
            told.append(speech.say("place", "from_to", first=run[0], last=run[-1]))
        else:
            told += [str(number) for number in run]
    return speech.say("place", "strings", numbers=speech.listed(told))


def _with_unit(line: Line, look: Look, speech: Speech) -> str:
    if look.value is None:
        return speech.value(line, look)
    return speech.amount(line.quantity, look.value)


def _not_in_spec(line: Line, speech: Speech) -> str:
    look = line.after
    if look.verdict == "in spec":
        return ""
    reading, value = speech.reading(line), _with_unit(line, look, speech)
    if look.zero_or_less:
        return speech.say("open", "zero_or_less", reading=reading)
    if look.verdict == "too close to call":
        if look.accepted:
            return speech.say("open", "accepted", reading=reading, value=value)
        sure = speech.say("verdict", "probability", probability=speech.probability(look.probability or 0.0))
        return speech.say("open", "close", reading=reading, value=value, probability=sure)
    for name, limit, sign in (("above", line.upper, 1.0), ("below", line.lower, -1.0)):
        if limit is not None and look.value is not None and sign * (look.value - limit) > 0:
            told = speech.amount(line.quantity, limit)
            left = "_accepted" if look.accepted else ""
            return speech.say("open", name + left, reading=reading, value=value, limit=told)
    return speech.say("open", "beyond", reading=reading, value=value)


# ---------------------------------------------------------------- afterwards


def next_look(content: CardContent, speech: Speech) -> list[str]:
    """Say when the instrument wants to be looked at again."""
    parts = {work.part for work in content.works}
    told = []
    if content.settling and content.look_again_on is not None:
        told.append(speech.say("next", "settling", day=speech.day(content.look_again_on)))
    elif content.settling:
        told.append(speech.say("next", "settling_soon"))
    if parts >= MOVES_THE_NECK:
        told += [speech.say("next", "rod"), speech.say("next", "strings")]
    elif "strings" in parts:
        told.append(speech.say("next", "strings_rod"))
    elif "truss-rod" in parts:
        told.append(speech.say("next", "rod"))
    if content.strings_due_on is not None:
        told.append(speech.say("next", "strings_due", day=speech.day(content.strings_due_on)))
    return [*told, speech.say("next", "recheck")]


def care(content: CardContent, speech: Speech) -> list[tuple[str, str]]:
    """Say what the owner should mind; a code for programs, and the words."""
    low = speech.number("relative-humidity", content.humidity[0])
    high = speech.amount("relative-humidity", content.humidity[1])
    told = [
        ("humidity", speech.say("care", "humidity", low=low, high=high)),
        ("cold", speech.say("care", "cold")),
        ("strings", speech.say("care", "strings")),
        ("hands-off", speech.say("care", "hands_off")),
    ]
    if content.instrument.delicate_finish:
        told.append(("finish", speech.say("care", "finish")))
    return told


def air(content: CardContent, speech: Speech) -> str | None:
    """Say what the room's air was like."""
    if content.room is None:
        return None
    return speech.say(
        "facts",
        "air",
        temperature=speech.amount("temperature", content.room.temperature),
        humidity=speech.amount("relative-humidity", content.room.relative_humidity),
    )


def strings_fitted(content: CardContent, speech: Speech) -> str | None:
    """Say which strings are on the instrument, and since when."""
    facts = content.instrument
    if facts.string_set is None:
        return None
    told = [facts.string_set]
    if facts.thinnest is not None and facts.thickest is not None:
        low = speech.number("gauge", facts.thinnest, gauge=True)
        high = speech.number("gauge", facts.thickest, gauge=True)
        told.append(speech.with_unit("gauge", speech.say("facts", "gauges", low=low, high=high)))
    if facts.strings_fitted_on is not None:
        told.append(speech.say("facts", "fitted_on", day=speech.day(facts.strings_fitted_on)))
    return speech.say("page", "list_comma").join(told)
