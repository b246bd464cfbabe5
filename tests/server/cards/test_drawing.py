"""The picture: what is known is drawn to scale, what is not is said."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest

from shimstock_calc.scale import fret_position
from shimstock_server.cards.content import CardContent, Line, Look
from shimstock_server.cards.drawing import Frame, picture, pictures
from shimstock_server.cards.side_view import side_view
from shimstock_server.web.svg import NAMESPACE

from .samples import ALL, EACH_NUT, ELECTRIC, NYLON, PARTLY, RELIEF, UNREAD, look, speech

SVG = f"{{{NAMESPACE}}}"


def drawn(content: CardContent, units: str = "mm") -> ET.Element:
    """The picture of both sides, read back."""
    return ET.fromstring(picture(content, speech(units)))


def texts(root: ET.Element) -> list[str]:
    """Every text of a drawing."""
    return ["".join(each.itertext()).replace("\u00a0", " ") for each in root.iter(f"{SVG}text")]


def lines_of(root: ET.Element, name: str) -> list[ET.Element]:
    """The lines of a name, bass side first."""
    return [each for each in root.iter() if each.get("data-line") == name]


@pytest.mark.parametrize("name", ALL)
def test_a_picture_speaks_to_who_cannot_see_it(name: str) -> None:
    root = drawn(ALL[name])
    assert root.get("role") == "img"
    named = (root.get("aria-labelledby") or "").split()
    ids = {each.get("id"): each.text for each in root.iter() if each.get("id")}
    assert [bool(ids[each]) for each in named] == [True, True]
    assert root.find(f"{SVG}title") is not None


def test_both_sides_are_dimensioned_in_the_readers_units() -> None:
    told = " | ".join(texts(drawn(ELECTRIC)))
    assert "action at fret 12\u20022.20 → 1.72 mm" in told
    assert "action at fret 12\u20021.90 → 1.47 mm" in told
    assert told.count("relief at fret 9\u20020.45 → 0.20 mm") == 2
    inch = " | ".join(texts(drawn(ELECTRIC, "inch")))
    # 0.45 and 0.20 mm in thousandths, 2.2 and 1.72 mm in sixty-fourths of an inch of 25.4 mm
    assert "17.7 → 7.9 thou" in inch
    assert "5.5 → 4.3/64 in" in inch


def test_before_is_dashed_and_after_is_solid() -> None:
    root = drawn(ELECTRIC)
    assert all(each.get("stroke-dasharray") for each in lines_of(root, "string-before"))
    assert not any(each.get("stroke-dasharray") for each in lines_of(root, "string-after"))
    names = [f"{what}-{when}" for what in ("string", "frets") for when in ("before", "after")]
    assert [len(lines_of(root, name)) for name in names] == [2, 2, 2, 2]


def test_action_is_drawn_to_the_scale_that_is_stated() -> None:
    root = ET.fromstring(pictures(ELECTRIC, speech())["bass"])
    times = int(re.search(r"×(\d+)", " ".join(texts(root)))[1])  # type: ignore[index]
    string = lines_of(root, "string-after")[0]
    x_nut, y_nut, x_saddle, y_saddle = (float(string.get(name) or "") for name in ("x1", "y1", "x2", "y2"))
    frets = [
        tuple(map(float, pair.split(",")))
        for pair in lines_of(root, "frets-after")[0].get("points", "").split()
    ]
    along = (x_saddle - x_nut) / 628.65
    x_12 = x_nut + float(fret_position(12, 628.65)) * along
    y_string = y_nut + (y_saddle - y_nut) * (x_12 - x_nut) / (x_saddle - x_nut)
    (left, y_left), (right, y_right) = next(
        pair for pair in pairwise(frets) if pair[0][0] <= x_12 <= pair[1][0]
    )
    y_fret = y_left + (y_right - y_left) * (x_12 - left) / (right - left)
    assert (y_fret - y_string) / (along * times) == pytest.approx(1.72, abs=0.02)


def test_more_relief_lifts_the_nut_end_and_back_bow_lowers_it() -> None:
    forward, back = side_view(ELECTRIC, "bass").before, side_view(NYLON, "bass").before
    assert forward.curvature > 0 > back.curvature
    assert side_view(ELECTRIC, "bass").top(forward, 0.0) > 0 > side_view(NYLON, "bass").top(back, 0.0)


def test_relief_between_chord_and_frets_is_what_was_read() -> None:
    view = side_view(ELECTRIC, "bass")
    x = view.at(9)
    assert view.chord(view.before, x) - view.top(view.before, x) == pytest.approx(0.45, abs=1e-9)
    assert view.chord(view.after, x) - view.top(view.after, x) == pytest.approx(0.20, abs=1e-9)


def test_relief_of_one_side_stands_for_the_other_and_says_so() -> None:
    one_sided = replace(ELECTRIC, lines=(replace(RELIEF, side="bass"), *ELECTRIC.lines[1:]))
    assert side_view(one_sided, "treble").before.curvature > 0
    told = " ".join(texts(ET.fromstring(pictures(one_sided, speech())["treble"])))
    assert "Relief was read on the bass side and is drawn here too." in told


def test_what_is_missing_is_said_and_not_drawn() -> None:
    root = drawn(UNREAD)
    assert not lines_of(root, "string-before")
    assert not lines_of(root, "string-after")
    told = " ".join(texts(root))
    assert "Before and after: relief was not read; the neck is drawn straight." in told
    assert "Before and after: action was not read; no string is drawn." in told


def test_without_nut_action_the_string_is_drawn_over_its_fret_alone() -> None:
    root = ET.fromstring(pictures(PARTLY, speech())["bass"])
    short = lines_of(root, "string-before")[0]
    whole = lines_of(root, "string-after")[0]

    def length(each: ET.Element) -> float:
        return float(each.get("x2") or "") - float(each.get("x1") or "")

    assert length(short) < length(whole) / 3
    told = " ".join(texts(root))
    assert "zero or less → 0.12 mm" in told
    assert "Before: nut action was not read; the string is drawn over fret 12 alone." in told.replace(
        "  ", " "
    )


def test_a_nut_read_string_by_string_is_drawn_by_the_outermost_strings() -> None:
    numbers = {"bass": 6, "treble": 1}  # string 1 lies on the treble side
    by_side = tuple(
        replace(line, string=None, side=side)
        for side, number in numbers.items()
        for line in EACH_NUT.lines
        if (line.quantity, line.string) == ("nut-action", number)
    )
    others = tuple(line for line in EACH_NUT.lines if line.quantity != "nut-action")
    assert len(lines_of(drawn(EACH_NUT), "string-before")) == 2
    assert picture(EACH_NUT, speech()) == picture(replace(EACH_NUT, lines=(*by_side, *others)), speech())


def test_readings_that_contradict_each_other_are_said() -> None:
    nowhere = [
        replace(line, after=look(0.0, 0.99)) if line.quantity == "action"
        else replace(line, after=look(2.0, 0.99)) if line.quantity == "nut-action" else line
        for line in ELECTRIC.lines
    ]  # fmt: skip
    told = " ".join(texts(drawn(replace(ELECTRIC, lines=tuple(nowhere)))))
    assert "these readings cannot all be true of one string" in told


def test_heights_of_both_sides_share_one_scale() -> None:
    root = drawn(replace(ELECTRIC, lines=tuple(_higher(line) for line in ELECTRIC.lines)))
    scales = {text for text in texts(root) if "×" in text}
    assert len(scales) == 1


def _higher(line: Line) -> Line:
    return replace(line, after=look(6.0, 0.0)) if line.quantity == "action" and line.side == "bass" else line


def test_the_frame_points_up() -> None:
    frame = Frame(0.5, 20.0, 100.0)
    assert frame.y(1.0) < frame.y(0.0)
    assert frame.x(1.0) > frame.x(0.0)


def test_a_reading_without_a_verdict_is_not_drawn() -> None:
    assert side_view(PARTLY, "treble").after.string_height is None
    assert Look(1.5).is_read
    assert not Look(1.5).usable
