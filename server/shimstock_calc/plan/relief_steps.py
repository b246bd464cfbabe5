"""The truss rod, and the hour that the neck needs after it."""

from __future__ import annotations

import math

from ..bridge import round_to_eighth
from ..vocabulary import GEOMETRY
from . import directions
from .cautions import cautions
from .draft import Draft
from .model import Block, Move, Step
from .reading_steps import after_rest, place_again, read_again, settling
from .readings import Known
from .rod_check import DOUBTED, TEST_TURN, proven, rod_answers, rod_turns, turns_back
from .string_steps import heavier_sets, neck_compliance
from .words import Measure, Sentence, say

MOST_AT_ONCE = 0.25
"""Most that a rod is turned before tuning and reading again [turns]."""

MOST_IN_ALL = 3.0
"""Turns of a rod in one job, both ways, after which it is left to a repair or accepted [turns]; judgement."""

FAR = 1.5
"""Turns in all from which a rod may come to its end [turns]; judgement."""

SLACKEN_FROM = 0.5
"""Tightening in all from which the strings are slackened first [turns]; judgement."""


def relief(draft: Draft) -> None:
    """Place the rod step, or say why the rod cannot give what is needed."""
    _say_twist(draft)
    goals = [known for known in draft.of("relief") if known.spot in draft.values]
    if not goals:
        return
    if any(draft.choice.doubtful(known) for known in goals) and not rod_answers(draft, goals):
        return
    if any(draft.asks_again(known) for known in goals):
        # while the rod is being turned relief alone is read
        read_again(draft, ("relief",) if draft.belief.turned else GEOMETRY, gate="everything")
        return
    if not any(draft.wants_step(known) for known in goals):
        return
    turns = _turns_wanted(draft, goals)
    total = round_to_eighth(turns)
    if total == 0.0:
        _say_left(draft, goals)
        return
    if _filed_since_read(draft):
        _read_before_turning(draft, goals)
        return
    if "relief" in draft.blocked:
        _unreachable(draft, goals, draft.blocked["relief"])
        return
    turned = sum(abs(each.turns or 0.0) for each in rod_turns(draft))
    if turned >= MOST_IN_ALL:
        why = say(
            "the rod was turned {turns} in all and is turned no further", turns=Measure("turns", turned)
        )
        _unreachable(draft, goals, why, some=True)
        return
    reach = _reach(draft, total)
    if reach == 0.0:
        doubtful = [
            known for known in goals if known.verdict.verdict == "too close to call" and not known.several
        ]
        if doubtful:
            place_again(draft, doubtful, gate="everything")  # before work is quoted that it may not need
        else:
            _unreachable(draft, goals, _why_not(draft, total))
        return
    _place(draft, goals, turns, reach)
    if abs(reach) < abs(total):
        _say_end(draft, goals, total)


def _filed_since_read(draft: Draft) -> bool:
    """Whether something was filed since relief was last read."""
    filed = [each.order for each in draft.plan_input.adjustments if each.part in {"nut-slot", "saddle"}]
    read = [each.order for each in draft.plan_input.readings if each.quantity == "relief"]
    return max(filed, default=-1) > max(read, default=-1)


def _read_before_turning(draft: Draft, goals: list[Known]) -> None:
    draft.place_reading(
        Step(
            0,
            "read-again",
            None,
            say("Read relief again"),
            why=say("something was filed since: the rod is turned only on a relief that was read after it"),
            probability=draft.choice.chance(goals[0]),
            readings_next=draft.next_readings("relief", why="read before something was filed"),
        ),
        gate="everything",
    )


def _say_end(draft: Draft, goals: list[Known], total: float) -> None:
    """The rod ends before the target; that is enough when the limits are reached."""
    if all(_inside(draft, known) for known in goals):
        draft.note("rod-end", _why_not(draft, total))
    else:
        _unreachable(draft, goals, _why_not(draft, total), some=True)


def _inside(draft: Draft, known: Known) -> bool:
    item, value = known.goal.item, draft.values[known.spot]
    return (item.lower is None or value >= item.lower) and (item.upper is None or value <= item.upper)


def _mean(draft: Draft, goals: list[Known]) -> float:
    return sum(draft.values[known.spot] for known in goals) / len(goals)


def _target(goals: list[Known]) -> float:
    return sum(known.goal.item.target for known in goals) / len(goals)


def _turns_wanted(draft: Draft, goals: list[Known]) -> float:
    return (_target(goals) - _mean(draft, goals)) / draft.response.mean


def _reach(draft: Draft, total: float) -> float:
    """What of a total the rod can give: nothing without a rod, nothing by loosening a loose nut."""
    rod = draft.instrument.rod
    if rod.kind == "none":
        return 0.0
    left = rod.turns_left_tighten if total > 0 else rod.turns_left_loosen
    if left is None:
        return total
    most = math.floor(max(left, 0.0) * 8.0 + 1e-9) / 8.0
    return math.copysign(min(abs(total), most), total) if most else 0.0


def _why_not(draft: Draft, total: float) -> Sentence:
    rod = draft.instrument.rod
    if rod.kind == "none":
        return say("this neck has no truss rod")
    if total > 0:
        return say("the truss rod comes to its end")
    if rod.kind == "single-action":
        return say(
            "a single-action rod whose nut is loose has nothing left to give: never tighten it in back-bow"
        )
    return say("the truss rod comes to its end")


def _place(draft: Draft, goals: list[Known], wanted: float, total: float) -> None:
    rod, response = draft.instrument.rod, draft.response
    testing = rod.reversed is not False and not proven(draft)
    now = math.copysign(min(abs(total), TEST_TURN if testing else MOST_AT_ONCE), total)
    shift = draft.relief_shift(now * response.mean, abs(now) * response.spread)
    all_of_it = draft.relief_shift(total * response.mean, abs(total) * response.spread)
    direction, seen = directions.rod(now, rod)
    partly = abs(now) < abs(total)
    head = goals[0].spot
    after = draft.values[head] + all_of_it[head][0]
    spread = math.hypot(draft.spreads[head], all_of_it[head][1])
    looks = 1 if draft.odds.faulty >= DOUBTED else 0
    draft.place_change(
        Step(
            0,
            "relief",
            "truss-rod",
            say(
                "Truss rod: {direction} {turns} ({seen})",
                direction=direction,
                turns=Measure("turns", now),
                seen=seen,
            ),
            moves=(Move("truss-rod", direction, seen, now, None, wanted=wanted, total_turns=total),),
            changes=draft.changes(shift, ["relief"]),
            total=draft.changes(all_of_it, ["relief"]) if partly else (),
            forecasts=draft.changes(shift, ["action", "nut-action"]),
            total_forecasts=draft.changes(all_of_it, ["action", "nut-action"]) if partly else (),
            probability=draft.chance(head, after, spread),
            confidence=say(
                "the rod is taken to give {mean} ± {sd} ({source})",
                mean=Measure("rod-response", abs(response.mean)),
                sd=Measure("rod-response", response.spread),
                source=draft.plan_input.responses.rod.source,
            ),
            why=_why(draft, goals),
            cautions=cautions(
                "rod",
                "rod-stop",
                ("rod-reversed" if rod.reversed else "rod-test") if testing else "",
                "rod-slacken" if now > 0 and total >= SLACKEN_FROM else "",
                "rod-far" if abs(total) > FAR else "",
                "loose-nut" if now < 0 and rod.kind == "single-action" else "",
                "free-play" if rod.kind == "dual-action" and turns_back(draft, now) else "",
            ),
            readings_next=(
                *draft.next_readings("relief"),
                *(draft.wanted(known, "the rod may not follow", finest=True) for known in goals[:looks]),
            ),
        ),
        alone=True,
    )
    draft.apply(all_of_it)
    draft.disturb("intonation")
    draft.rod_to_come = True


def _why(draft: Draft, goals: list[Known]) -> Sentence:
    head = max(goals, key=lambda known: abs(draft.values[known.spot] - known.goal.item.target))
    item, value = head.goal.item, draft.values[head.spot]
    if head.spot in draft.touched:
        return say(
            "the new strings bring relief to about {value}, target {target}",
            value=Measure("relief", value),
            target=Measure("relief", item.target),
        )
    chance = Measure("probability", draft.choice.chance(head))
    stands = "relief comes to rest" if draft.belief.still_coming else "relief is"
    if item.upper is not None and value > item.upper:
        return say(
            stands + " {by} above its limit (chance of being in spec {chance})",
            by=Measure("relief", value - item.upper),
            chance=chance,
        )
    if item.lower is not None and value < item.lower:
        return say(
            stands + " {by} below its limit (chance of being in spec {chance})",
            by=Measure("relief", item.lower - value),
            chance=chance,
        )
    return say(
        ("relief comes to rest at" if draft.belief.still_coming else stands)
        + " {value}, too close to a limit to call (chance of being in spec {chance}): accept it with "
        "a note, or go for the target, {target}",
        value=Measure("relief", value),
        chance=chance,
        target=Measure("relief", item.target),
    )


def _say_left(draft: Draft, goals: list[Known]) -> None:
    out = [known for known in goals if not known.settled_on and known.spot not in draft.touched]
    if not out:
        return
    both = len(goals) > 1
    draft.note(
        "relief-left",
        say("what is left of relief is less than an eighth of a turn can mend")
        if not both
        else say("the two sides differ: a rod moves both, so their middle is where it should be"),
        [say("accept the reading with a note, or read it with a finer tool")],
    )


def _unreachable(draft: Draft, goals: list[Known], reason: Sentence, *, some: bool = False) -> None:
    """Say plainly that the rod cannot do it, and what else there is."""
    value, item = _mean(draft, goals), goals[0].goal.item
    if "action" in draft.blocked:
        # the finding has its own quote: nothing else is offered before that repair
        draft.note("repair-first", _stays("relief stays at {value} until the repair: ", value, reason))
        draft.relief_unreachable = True
        return
    lines: list[Sentence] = []
    if value < item.target:
        goal = item.lower if item.lower is not None else item.target
        if value < goal:
            lines.append(
                say(
                    "raising relief from {now} to {limit} by string pull would take {pull} more",
                    now=Measure("relief", value),
                    limit=Measure("relief", goal),
                    pull=Measure("pull", (goal - value) / neck_compliance(draft).mean),
                )
            )
        lines += heavier_sets(draft, goal)
    else:
        lines.append(say("a lighter set of strings"))
    lines.append(_quoted(draft, raising=value < item.target))
    if value > 0.0:
        lines.append(
            say("leave relief as it is: accept its reading with a note, and the rest is planned on it")
        )
    lead = "relief gets no further than about {value}: " if some else "relief stays at {value}: "
    draft.note("relief-unreachable", _stays(lead, value, reason), lines, quote=True)
    _say_action_at_target(draft, goals)
    draft.relief_unreachable = True


def _stays(lead: str, value: float, reason: Sentence) -> Sentence:
    return Sentence(lead + reason.template, (("value", Measure("relief", value)), *reason.values))


def _quoted(draft: Draft, *, raising: bool) -> Sentence:
    """What goes beyond a setup: no rod is worked on where there is none, no old finish is heated."""
    work = ["work on the rod"] if draft.instrument.rod.kind != "none" else []
    work += ["a heat treatment"] if raising and not draft.instrument.delicate_finish else []
    return say("quote: " + ", ".join([*work, "or fret work"] if work else ["fret work"]))


def _say_action_at_target(draft: Draft, goals: list[Known]) -> None:
    """What action would be with relief right: the bridge is left alone until then."""
    lift = _target(goals) - _mean(draft, goals)
    shift = draft.relief_shift(lift, 0.0)
    action = [change for change in draft.changes(shift, ["action"]) if change.side is not None]
    if not action:
        return
    draft.note(
        "relief-first",
        Sentence(
            "the bridge waits for relief: with relief at {target} the action would be "
            + " / ".join(f"{{{change.side}}}" for change in action),
            (
                ("target", Measure("relief", _target(goals))),
                *((str(change.side), Measure("action", change.after)) for change in action),
            ),
        ),
    )


def _say_twist(draft: Draft) -> None:
    heatless = draft.instrument.delicate_finish
    for known in draft.of("twist"):
        found = known.verdict
        if found.usable and found.verdict == "out of spec" and found.value is not None:
            draft.note(
                "twist",
                say(
                    "the neck is twisted by {twist}: the rod bends both sides alike and cannot cure it",
                    twist=Measure("twist", found.value),
                ),
                [say("quote: fret work" + ("" if heatless else " or a heat treatment"))],
                quote=True,
            )


def settle(draft: Draft) -> None:
    """Place the rest that the neck needs, and the reading after it, where relief was not read after one."""
    draft.settling = settling(draft)
    planned = draft.rod_to_come or draft.strings_to_come
    if not planned and (draft.settling.state != "waiting" or draft.relief_unreachable):
        return
    if not draft.of("relief"):
        return
    again = [known for known in draft.known.values() if after_rest(draft, known) and draft.asks_again(known)]
    draft.place_reading(
        Step(
            0,
            "settle",
            None,
            say(
                "Let the neck settle for {rest} after the last turn or change of strings, then read relief",
                rest=Measure("minutes", draft.plan_input.settings.rest),
            )
            if planned or draft.resting
            else say("Read relief: the neck has rested since the last turn or change of strings"),
            why=say("part of what a rod does comes late: look once more tomorrow"),
            readings_next=(
                *draft.next_readings("relief", why="settling"),
                *(draft.wanted(known, "worth another reading") for known in again),
            ),
        ),
        gate="nothing",
    )


def _none_left(known: Known) -> bool:
    return known.verdict.zero_or_less or (known.verdict.value is not None and known.verdict.value <= 0.0)


def filing_blocks(draft: Draft, filed: list[Known]) -> tuple[Block, ...]:
    """Why nothing may be filed yet, as far as relief and the readings it rests on are concerned."""
    blocks = []
    if any(draft.choice.read_once(known) for known in filed):
        blocks.append(
            Block("read-once", say("waits for a second reading: what is filed off does not come back"))
        )
    reliefs = draft.of("relief")
    if any(not known.verdict.usable for known in reliefs):
        blocks.append(Block("relief-unread", say("waits for a relief reading")))
    if any(_none_left(known) for known in reliefs):
        blocks.append(Block("relief-zero-or-less", say("nothing is filed on a relief of zero or less")))
    if draft.rod_to_come:
        blocks.append(Block("rod-turn-to-come", say("waits for the truss rod")))
    if draft.strings_to_come:
        blocks.append(Block("restring-to-come", say("waits for the new strings")))
    if draft.settling.state == "waiting":
        blocks.append(Block("not-settled", say("waits until relief has settled")))
    doubtful = any(draft.asks_again(known) or draft.choice.adjusts(known) for known in reliefs)
    out = any(known.verdict.verdict == "out of spec" and not known.settled_on for known in reliefs)
    if doubtful and not draft.rod_to_come:
        blocks.append(
            Block("relief-too-close", say("waits until relief is surely in spec, or accepted with a note"))
        )
    elif out and not draft.rod_to_come:
        blocks.append(Block("relief-out", say("nothing is filed while relief is out of spec")))
    if "filing" in draft.blocked:
        blocks.append(Block("frets-first", draft.blocked["filing"]))
    return tuple(blocks)
