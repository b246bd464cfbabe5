"""The card in words: what the owner reads, in their units and language."""

from __future__ import annotations

import string
import tomllib
from dataclasses import replace
from importlib.resources import files

import pytest

from shimstock_calc.plan.model import Note
from shimstock_calc.plan.words import Measure, Sentence, say
from shimstock_server.cards import wording
from shimstock_server.cards.content import Offer, Remark, Work
from shimstock_server.cards.done import what_was_done
from shimstock_server.cards.gathering import for_the_owner
from shimstock_server.cards.language import available, language
from shimstock_server.database.words import ConsentKind, Part, Quantity

from .samples import ELECTRIC, NYLON, PARTLY, UNREAD, look, speech


def done(*works: Work, units: str = "mm") -> list[str]:
    """What a card says was done, with plain spaces."""
    told = what_was_done(replace(ELECTRIC, works=works), speech(units))
    return [text.replace("\u00a0", " ") for text in told]


# Signs of adjustments: positive = tighten, raise, away from the nut, taken off (the contract's convention).
@pytest.mark.parametrize(
    "work, text",
    [
        (Work("truss-rod", turns=0.25), "Truss rod: tightened 1/4 turn"),
        (Work("truss-rod", turns=-0.125), "Truss rod: loosened 1/8 turn"),
        (Work("bridge-post", side="bass", turns=-0.125), "Bridge: bass side lowered 1/8 turn"),
        (Work("saddle-position", string=2, turns=4.125),
         "Saddle position: string 2 away from the nut by 4 1/8 turns"),
        (Work("saddle-position", string=5, amount=-2.23),
         "Saddle position: string 5 toward the nut by 2.23 mm"),
        (Work("saddle", side="bass", amount=0.8), "Saddle: bass side taken down by 0.80 mm"),
        (Work("saddle", side="bass", amount=-0.3), "Saddle: bass side shimmed up by 0.30 mm"),
        (Work("nut-slot", string=1, amount=0.1), "Nut slots: string 1 filed by 0.10 mm"),
        (Work("neck-shim", amount=0.5), "Neck joint: shim fitted, 0.50 mm"),
        (Work("tailpiece", turns=0.5), "Tailpiece: raised 1/2 turn"),
        (Work("spring-claw", turns=0.5), "Tremolo springs: tightened 1/2 turn"),
        (Work("frets", note="two loose frets seated"), "Frets: two loose frets seated"),
        (Work("tuners"), "Tuners: worked on"),
        (Work("strings"), "Strings: new strings fitted"),
    ],
    ids=lambda each: each.part if isinstance(each, Work) else "",
)  # fmt: skip
def test_each_part_is_told_with_its_direction(work: Work, text: str) -> None:
    assert done(work) == [text]


def test_turns_of_one_part_add_up_and_a_change_of_direction_is_told_in_its_order() -> None:
    quarter, back = Work("truss-rod", turns=0.25), Work("truss-rod", turns=-0.125)
    assert done(quarter, quarter) == ["Truss rod: tightened 1/2 turn, in 2 small steps"]
    assert done(quarter, back) == ["Truss rod: tightened 1/4 turn, then loosened 1/8 turn"]


def test_equal_work_at_several_places_is_told_once() -> None:
    slots = [Work("nut-slot", string=number, amount=0.1) for number in (4, 1, 2, 3)]
    assert done(*slots) == ["Nut slots: strings 1 to 4 filed by 0.10 mm"]
    sides = [Work("pickup-screw", pickup="neck", side=side, turns=1.0) for side in ("bass", "treble")]
    assert done(*sides) == ["Pickup height: neck pickup both sides raised 1 turn"]


def test_every_part_has_a_name() -> None:
    for part in Part:
        assert done(Work(part.value, turns=0.25, note="seen to"))[0].split(":")[0]


def test_units_are_the_readers() -> None:
    # 1 in = 25.4 mm (exact): 0.45 mm is 17.7 thousandths, 2.2 mm is 5.5 sixty-fourths
    metric, inch = speech("mm"), speech("inch")
    assert metric.amount("relief", 0.45) == "0.45\u00a0mm"
    assert inch.amount("relief", 0.45) == "17.7\u00a0thou"
    assert inch.amount("action", 2.2) == "5.5/64\u00a0in"
    assert inch.amount("temperature", 21.0) == "70\u00a0°F"
    assert done(Work("saddle", side="bass", amount=0.8), units="inch") == [
        "Saddle: bass side taken down by 31.5 thou"
    ]


def test_a_sentence_of_the_plan_speaks_the_readers_units() -> None:
    sentence = say("it stays at {action}, {height} too high", action=Measure("action", 2.38125),
                   height=Measure("height", 0.254))  # fmt: skip
    assert speech("inch").sentence(sentence) == "it stays at 6.0/64\u00a0in, 10.0\u00a0thou too high"


@pytest.mark.parametrize("value, text", [(0.001, "0.00"), (-0.001, "0.00"), (-0.1, "−0.10")])
def test_nothing_is_minus_zero(value: float, text: str) -> None:
    assert speech().number("twist", value) == text


def test_certainty_is_never_complete() -> None:
    assert [speech().probability(each) for each in (0.0, 0.88, 1.0)] == [
        "<\u00a01\u00a0%",
        "88\u00a0%",
        ">\u00a099\u00a0%",
    ]


def test_the_summary_counts() -> None:
    assert wording.summary(ELECTRIC, speech()) == (
        "15 of 16 readings are in spec; the other one is named below. As received: 3 of 16."
    )
    assert wording.summary(UNREAD, speech()) == "Nothing has been read against the setup spec yet."
    good = replace(ELECTRIC, lines=ELECTRIC.lines[:5])
    assert wording.summary(good, speech()).startswith("Every reading is in spec.")


def test_a_reading_that_is_out_and_accepted_is_not_called_close() -> None:
    line = ELECTRIC.lines[0]
    out = replace(line, after=look(0.45, 0.001, accepted=True))
    card = replace(ELECTRIC, lines=(out, *ELECTRIC.lines[1:5]))
    assert wording.summary(card, speech()).startswith(
        "4 of 5 readings are in spec; the others are accepted as they are"
    )
    told = [text.replace("\u00a0", " ") for text in wording.left_open(card, speech())]
    assert told[0].endswith("0.45 mm, above its limit of 0.30 mm; accepted as it is by our technician.")


def test_what_stays_out_is_said_with_its_limit() -> None:
    told = [text.replace("\u00a0", " ") for text in wording.left_open(NYLON, speech())]
    assert told[0] == "Action, bass side: 4.60 mm, above its limit of 4.40 mm."
    assert told[2] == (
        "Saddle out of its slot, bass side: 1.60 mm, too close to its limit to call with the tool used "
        "(90 % likely to be in spec)."
    )


def test_what_could_not_be_judged_or_was_not_read_is_said() -> None:
    told = " ".join(wording.left_open(PARTLY, speech())).replace("\u00a0", " ")
    assert "Action, treble side: 1.50 mm, no verdict: taken off pitch" in told
    assert "Not read: intonation, string 6." in told


@pytest.mark.parametrize(
    "code, quote, alternatives, told",
    [
        (
            "relief-unreachable",
            True,
            ["raising relief would take 90 N more", "quote: fret work", "leave relief as it is: accept it"],
            ["fret work"],
        ),
        ("frets-worn", True, ["level and crown the frets"], ["level and crown the frets"]),
        ("relief-left", False, ["accept the reading with a note"], []),
        ("saddle-travel", False, ["never mistune other strings to hide it"], []),
        ("too-much-pull", False, ["a lighter set, or a lower tuning"], ["a lighter set, or a lower tuning"]),
    ],
)
def test_the_owner_is_told_what_can_be_had_not_what_the_bench_does(
    code: str, quote: bool, alternatives: list[str], told: list[str]
) -> None:
    note = Note(code, Sentence("as it is"), tuple(Sentence(each) for each in alternatives), quote)
    assert [each.text() for each in for_the_owner(note)] == told


def test_alternatives_of_the_plan_are_told() -> None:
    remark = Remark("rod-at-its-end", Sentence("the rod has nothing left to give"),
                    (Sentence("Repair of the truss rod."), Sentence("fret work")))  # fmt: skip
    told = wording.left_open(replace(ELECTRIC, remarks=(remark,)), speech())
    assert told[-2:] == [
        "the rod has nothing left to give.",
        "What would help: repair of the truss rod; fret work.",
    ]


def test_a_no_of_the_owner_stands_on_the_card() -> None:
    told = [text.replace("\u00a0", " ") for text in wording.refused(ELECTRIC, speech())]
    assert told == [
        "You said no to filing the nut slots (12 March 2026, by phone); we left it.",
        "You decided against: Level and crown the frets (180.00 EUR).",
    ]
    open_offer = replace(ELECTRIC, refusals=(), offers=(Offer("Refret", 400, "EUR"),))
    assert wording.refused(open_offer, speech()) == []
    assert wording.left_open(open_offer, speech())[-1].startswith("Offered, still open: Refret")


def test_the_owner_is_told_of_air_and_cold() -> None:
    # 40 to 55 % relative humidity, cold case: common practice, no published source
    told = dict(wording.care(ELECTRIC, speech()))
    assert "40 to 55\u00a0%" in told["humidity"]
    assert "leave the case closed" in told["cold"]
    assert "finish" not in told
    assert "no heat" in dict(wording.care(NYLON, speech()))["finish"]


def test_the_next_look_follows_what_was_done() -> None:
    def told(*parts: str) -> str:
        works = tuple(Work(part, turns=0.25) for part in parts)
        return " ".join(wording.next_look(replace(ELECTRIC, works=works, strings_due_on=None), speech()))

    assert "truss rod" in told("truss-rod")
    assert "truss rod" not in told("bridge-post")
    assert "New strings stretch" in told("strings")
    assert "seasons" in told()


# ---------------------------------------------------------------- languages


def test_an_unknown_language_falls_back_to_english() -> None:
    for tag in ("en", "en-GB", "xx", "de-CH", "../en", "", "en_US"):
        assert language(tag).say("page", "card") == "Setup card"
    assert available() >= {"en"}


def test_a_language_that_leaves_words_out_is_filled_up_in_english(monkeypatch: pytest.MonkeyPatch) -> None:
    from shimstock_server.cards import language as module

    whole = module._read("en")
    short = {"page": {"language": "eo", "card": "Karto"}, "numbers": {"decimal_mark": ","}}
    monkeypatch.setattr(module, "available", lambda: frozenset({"en", "eo"}))
    monkeypatch.setattr(module, "_read", lambda tag: short if tag == "eo" else whole)
    found = module.language.__wrapped__("eo-EO")
    assert found.tag == "eo"
    assert found.say("page", "card") == "Karto"
    assert found.say("done", "heading") == whole["done"]["heading"]


def test_every_word_of_the_service_has_words_in_english() -> None:
    english = language("en")
    told = {"quantity": Quantity, "explained": Quantity, "part": Part, "step": ConsentKind}
    for section, words in told.items():
        assert all(english.knows(section, each.value) for each in words), section


def test_texts_have_only_named_places() -> None:
    words = tomllib.loads((files("shimstock_server.cards") / "languages" / "en.toml").read_text("utf-8"))
    for section in words.values():
        for text in section.values():
            if isinstance(text, str):
                assert all(name != "" for _, name, _, _ in string.Formatter().parse(text) if name is not None)


def test_a_look_knows_when_nothing_is_left_to_do() -> None:
    assert look(1.7, 0.99).settled_on
    assert not look(1.7, 0.5).settled_on
    assert look(1.7, 0.5, accepted=True).settled_on
