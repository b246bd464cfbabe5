"""The picture: the neck from the side, fret tops and string before (dashed) and after (solid)."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np

from shimstock_server.web.svg import (
    FONT,
    Point,
    element,
    label,
    line,
    polygon,
    polyline,
    width_of,
    wrapped,
    written,
)

from .content import SIDES, CardContent, Look
from .side_view import Curves, SideView, side_view
from .speech import Speech

WIDTH = 360.0
LEFT, RIGHT = 28.0, 30.0
INSET = 1.0
"""Kept free at both edges."""
TITLE, TEXT, SMALL = 13.5, 12.0, 11.0
TALLEST = 118.0
TIMES = (60, 50, 40, 30, 25, 20, 15, 12, 10, 8, 6, 5, 4, 3, 2)
"""By how much heights may be exaggerated against lengths; the largest that fits is taken."""
GAP = 24.0
"""Between the two sides where they stand in one drawing."""

INK, FADED, PALE, WOOD, EDGE = "#1f1d1a", "#55514a", "#8a857b", "#f1ede4", "#a39c8d"
DASHES = "5 3"
DOTS = "1 3"


@dataclass(frozen=True)
class Frame:
    """From mm of the instrument to the drawing."""

    along: float
    """Units of the drawing per mm along the neck."""
    up: float
    base: float
    """Where the plane of the fret tops over the body lies."""

    def x(self, position: float) -> float:
        return LEFT + position * self.along

    def y(self, height: float) -> float:
        return self.base - height * self.up


def pictures(content: CardContent, speech: Speech) -> dict[str, str]:
    """Draw both sides, each as an SVG of its own that a page can set beside or below the other."""
    views = {side: side_view(content, side) for side in SIDES}
    room = _room(list(views.values()))
    found: dict[str, str] = {}
    for side, view in views.items():
        root, panel = _canvas(side, *_words(view, speech))
        height = _Panel(panel, view, speech, room).draw()
        root.set("viewBox", f"0 0 {WIDTH:g} {height:g}")
        found[side] = written(root)
    return found


def picture(content: CardContent, speech: Speech) -> str:
    """Draw both sides beside each other in one SVG that stands alone."""
    views = [side_view(content, side) for side in SIDES]
    room = _room(views)
    facts = content.instrument
    title = speech.say("picture", "whole", instrument=f"{facts.maker} {facts.model}")
    says = " ".join(text for view in views for text in _words(view, speech))
    root, panel = _canvas("neck", title, says)
    background = element(panel, "rect", x=0.0, y=0.0, fill="#ffffff")
    tallest = 0.0
    for number, view in enumerate(views):
        group = element(panel, "g", transform=f"translate({number * (WIDTH + GAP):g} 0)")
        tallest = max(tallest, _Panel(group, view, speech, room).draw())
    width = 2 * WIDTH + GAP
    root.set("viewBox", f"0 0 {width:g} {tallest:g}")
    root.set("width", f"{width:g}")
    root.set("height", f"{tallest:g}")
    background.set("width", f"{width:g}")
    background.set("height", f"{tallest:g}")
    return written(root)


def _canvas(name: str, title: str, says: str) -> tuple[ET.Element, ET.Element]:
    root = element(None, "svg", role="img", aria_labelledby=f"{name}-title {name}-says")
    element(root, "title", title, id=f"{name}-title")
    element(root, "desc", says, id=f"{name}-says")
    return root, element(root, "g", font_family=FONT, fill=INK, stroke_linejoin="round")


def _words(view: SideView, speech: Speech) -> tuple[str, str]:
    """Title of one side, and what its picture shows in sentences."""
    side = speech.say("place", view.side)
    title = speech.say("picture", "title", side=side[0].upper() + side[1:])
    told = []
    for when, curves in (("before", view.before), ("after", view.after)):
        told.append(
            speech.say(
                "picture",
                "says",
                when=_capital(speech.say("picture", when)),
                fret=view.action_fret,
                relief=_told(curves.relief, "relief", speech),
                action=_told(curves.action, "action", speech),
            )
        )
    return title, " ".join([*told, *_gaps(view, speech)])


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _told(look: Look, kind: str, speech: Speech) -> str:
    if look.zero_or_less:
        return speech.say("picture", "zero_or_less")
    if look.value is None:
        return speech.say("picture", "not_read")
    return speech.amount(kind, look.value) if look.usable else speech.say("verdict", "none")


def _gaps(view: SideView, speech: Speech) -> list[str]:
    """What is not known, and what was taken from elsewhere."""
    told = []
    if view.relief_side not in (None, view.side):
        told.append(speech.say("picture", "relief_elsewhere", side=speech.say("place", view.relief_side)))
    known = {"before": view.before.gaps, "after": view.after.gaps}
    for gap in dict.fromkeys((*view.before.gaps, *view.after.gaps)):
        whens = [when for when, gaps in known.items() if gap in gaps]
        when = _capital(speech.say("picture", "both" if len(whens) == 2 else whens[0]))
        told.append(speech.say("picture", gap, when=when, fret=view.action_fret))
    return told


@dataclass(frozen=True)
class Room:
    """How heights are drawn, the same for both sides so that they can be compared."""

    times: int
    """By how much they are exaggerated."""
    high: float
    low: float
    """Highest and lowest of them [mm]."""


def _room(views: list[SideView]) -> Room:
    heights = [0.0] + [
        height for view in views for curves in (view.before, view.after) for height in view.heights(curves)
    ]
    high, low = max(heights), min(heights)
    along = min(_along(view) for view in views)
    fitting = (times for times in TIMES if (high - low) * along * times <= TALLEST)
    return Room(next(fitting, 1), high, low)


def _along(view: SideView) -> float:
    return (WIDTH - LEFT - RIGHT) / view.scale_length


class _Panel:
    """Draws one side."""

    BOARD, BACK, BODY = 7.0, 21.0, 40.0
    """Thickness of fretboard, neck and body, not to scale."""

    def __init__(self, canvas: ET.Element, view: SideView, speech: Speech, room: Room) -> None:
        self.canvas, self.view, self.speech, self.times = canvas, view, speech, room.times
        along = _along(view)
        up = along * room.times
        self.frame = Frame(along, up, 46.0 + max(room.high, 0.5) * up)
        self.lowest = self.frame.y(min(room.low, 0.0))

    def draw(self) -> float:
        """Draw everything, and return how tall it came out."""
        self._title()
        self._wood()
        self._fret_tops(self.view.before, solid=False)
        self._frets()
        self._fret_tops(self.view.after, solid=True)
        self._string(self.view.before, solid=False)
        self._string(self.view.after, solid=True)
        row = self.lowest + self.BODY + 15.0
        self._names(row - 5.0)
        self._action()
        self._relief(row + 13.0)
        return self._legend(row + 33.0)

    def _title(self) -> None:
        side = _capital(self.speech.say("place", self.view.side))
        label(self.canvas, (INSET, 15.0), side, size=TITLE, font_weight=600)
        heights = self.speech.say("picture", "heights", times=self.times)
        label(self.canvas, (WIDTH - INSET, 15.0), heights, size=SMALL, anchor="end", fill=FADED)

    def _along_the_neck(self, until: float) -> list[float]:
        joint = min(self.view.at(self.view.body_joint_fret), until)
        return [*(float(x) for x in np.linspace(0.0, joint, 25)), until]

    def _outline(self, curves: Curves, until: float, below: float = 0.0) -> list[Point]:
        frame, view = self.frame, self.view
        return [(frame.x(x), frame.y(view.top(curves, x)) + below) for x in self._along_the_neck(until)]

    def _shown(self) -> Curves:
        """The state that the wood is drawn in: after, or before where after is not known."""
        view = self.view
        return view.after if view.after.bent or not view.before.bent else view.before

    def _wood(self) -> None:
        frame, view, curves = self.frame, self.view, self._shown()
        joint, end = view.at(view.body_joint_fret), view.at(view.frets + 0.6)
        body_top, body_end = frame.base + self.BOARD + 1.0, WIDTH - INSET
        polygon(
            self.canvas,
            [(frame.x(joint) - 6, body_top), (body_end, body_top), (body_end, self.lowest + self.BODY),
             (frame.x(joint) + 4, self.lowest + self.BODY)],
            fill=WOOD, stroke=EDGE, stroke_width=0.8,
        )  # fmt: skip
        joint_name = self.speech.say("picture", "joint")
        label(self.canvas, (frame.x(joint) + 10, body_top + 22), joint_name, size=SMALL, fill=FADED)
        nut = self._outline(curves, joint, below=self.BOARD)[0]
        head = [(nut[0], nut[1] - 2), (INSET, nut[1] + 8), (INSET, nut[1] + 17), (nut[0], nut[1] + 15)]
        polygon(self.canvas, head, fill=WOOD, stroke=EDGE, stroke_width=0.8)
        neck = self._outline(curves, joint, below=self.BOARD)
        back = [(x, y + self.BACK - self.BOARD) for x, y in neck]
        polygon(self.canvas, [*neck, *reversed(back)], fill=WOOD, stroke=EDGE, stroke_width=0.8)
        top = self._outline(curves, end, below=2.5)
        under = [(x, y + self.BOARD - 2.5) for x, y in top]
        polygon(self.canvas, [*top, *reversed(under)], fill="#d9d2c3", stroke=EDGE, stroke_width=0.8)
        self._nut_and_saddle(curves, body_top)

    def _nut_and_saddle(self, curves: Curves, body_top: float) -> None:
        frame, view = self.frame, self.view
        string = curves.string or view.before.string
        nut_top = frame.y(view.top(curves, 0.0)) - 1.0 if string is None else frame.y(string[0][1])
        nut_foot = frame.y(view.top(curves, 0.0)) + self.BOARD
        x = frame.x(0.0)
        polygon(self.canvas, [(x - 4, nut_top), (x, nut_top), (x, nut_foot), (x - 4, nut_foot)],
                fill="#ffffff", stroke=FADED, stroke_width=0.8)  # fmt: skip
        x = frame.x(view.scale_length)
        top = body_top - 6.0 if string is None else frame.y(string[1][1])
        polygon(self.canvas, [(x - 1, top), (x + 4, top), (x + 12, body_top), (x - 9, body_top)],
                fill="#ffffff", stroke=FADED, stroke_width=0.8)  # fmt: skip

    def _frets(self) -> None:
        frame, view, curves = self.frame, self.view, self._shown()
        for fret in range(1, view.frets + 1):
            x = view.at(fret)
            top = frame.y(view.top(curves, x))
            line(self.canvas, (frame.x(x), top), (frame.x(x), top + 2.5), stroke=FADED, stroke_width=1.1)

    def _style(self, solid: bool) -> dict[str, object]:
        if solid:
            return {"stroke": INK}
        return {"stroke": FADED, "stroke_dasharray": DASHES}

    def _fret_tops(self, curves: Curves, *, solid: bool) -> None:
        if not curves.bent and self.view.before.bent != self.view.after.bent:
            return
        outline = self._outline(curves, self.view.at(self.view.frets))
        name = "after" if solid else "before"
        polyline(self.canvas, outline, stroke_width=1.0, data_line=f"frets-{name}", **self._style(solid))

    def _string(self, curves: Curves, *, solid: bool) -> None:
        frame, view = self.frame, self.view
        name = "after" if solid else "before"
        if curves.string is not None:
            ends = [(frame.x(x), frame.y(height)) for x, height in curves.string]
        elif curves.string_height is not None:
            x, y = frame.x(view.at(view.action_fret)), frame.y(curves.string_height)
            ends = [(x - 34.0, y), (x + 34.0, y)]
        else:
            return
        line(
            self.canvas, ends[0], ends[1], stroke_width=1.5, data_line=f"string-{name}", **self._style(solid)
        )

    def _names(self, row: float) -> None:
        """Names below the neck, the more important first; one that would touch another is left out."""
        view, frame, say = self.view, self.frame, self.speech.say
        wanted = [
            (say("picture", "nut"), frame.x(0.0) - 2.0),
            (say("picture", "saddle"), frame.x(view.scale_length)),
            (str(view.action_fret), frame.x(view.at(view.action_fret))),
            (str(view.frets), frame.x(view.at(view.frets))),
            ("5", frame.x(view.at(5))),
            ("3", frame.x(view.at(3))),
        ]
        taken = [(frame.x(view.at(view.relief_fret)) - 5.0, frame.x(view.at(view.relief_fret)) + 5.0)]
        for text, x in wanted:
            half = width_of(text, SMALL) / 2 + 4.0
            middle = min(x, WIDTH - INSET - half + 4.0)
            if all(middle + half <= low or middle - half >= high for low, high in taken):
                taken.append((middle - half, middle + half))
                label(self.canvas, (middle, row), text, size=SMALL, anchor="middle", fill=FADED)

    def _arrow(self, text_before: str, text_after: str) -> str:
        if text_before == text_after:
            return text_after
        return f"{text_before} {self.speech.say('picture', 'arrow')} {text_after}"

    def _from_to(self, kind: str, before: Look, after: Look) -> str:
        """What was read before and after, the unit said once where both are numbers."""
        values = [look.value for look in (before, after) if look.usable and look.value is not None]
        if len(values) == 2:
            numbers = [self.speech.number(kind, value) for value in values]
            return self.speech.with_unit(kind, self._arrow(*numbers))
        return self._arrow(*(_told(look, kind, self.speech) for look in (before, after)))

    def _dimension(self, x: float, low: float, high: float, *, solid: bool) -> None:
        """A height between two points of one upright, with a tick at each end."""
        style = self._style(solid) | ({} if solid else {"stroke_dasharray": "2 1.5"})
        line(self.canvas, (x, low), (x, high), stroke_width=1.0, **style)
        for end in (low, high):
            line(self.canvas, (x - 2.5, end), (x + 2.5, end), stroke=style["stroke"], stroke_width=1.0)

    def _action(self) -> None:
        view, frame = self.view, self.frame
        x = view.at(view.action_fret)
        highest = None
        for curves, shift, solid in ((view.before, -4.0, False), (view.after, 4.0, True)):
            if curves.string_height is None:
                continue
            low, high = frame.y(view.top(curves, x)), frame.y(curves.string_height)
            self._dimension(frame.x(x) + shift, low, high, solid=solid)
            highest = high if highest is None else min(highest, high)
        name = self.speech.say("picture", "action", fret=view.action_fret)
        values = self._from_to("action", view.before.action, view.after.action)
        end = None if highest is None else highest - 4.0
        self._label_with_leader(name, values, frame.x(x), (35.0, 39.0), end)

    def _relief(self, row: float) -> None:
        view, frame = self.view, self.frame
        x = view.at(view.relief_fret)
        for curves, shift, solid in ((view.before, -3.5, False), (view.after, 3.5, True)):
            if not curves.bent:
                continue
            low, high = frame.y(view.top(curves, x)), frame.y(view.chord(curves, x))
            ends = [
                (frame.x(view.at(fret)), frame.y(view.top(curves, view.at(fret))))
                for fret in view.relief_held
            ]
            line(self.canvas, ends[0], ends[1], stroke=INK if solid else FADED, stroke_width=0.8,
                 stroke_dasharray=DOTS, stroke_linecap="round")  # fmt: skip
            self._dimension(frame.x(x) + shift, low, high, solid=solid)
        name = self.speech.say("picture", "relief", fret=view.relief_fret)
        values = self._from_to("relief", view.before.relief, view.after.relief)
        back = frame.y(view.top(self._shown(), x)) + self.BACK + 3.0
        self._label_with_leader(name, values, frame.x(x), (row, row - SMALL - 1.0), back)

    def _label_with_leader(
        self, name: str, values: str, x: float, rows: tuple[float, float], end: float | None
    ) -> None:
        """A name and its values near an upright, and a thin line from there to what they measure."""
        row, start = rows
        half = (width_of(f"{name}\u2002", TEXT) + width_of(values, TEXT, bold=True)) / 2
        middle = min(max(x, INSET + half), WIDTH - INSET - half)
        text = label(self.canvas, (middle, row), f"{name}\u2002", size=TEXT, anchor="middle")
        element(text, "tspan", values, font_weight=600)
        if end is not None and abs(end - start) > 3.0:
            line(self.canvas, (x, start), (x, end), stroke=PALE, stroke_width=0.7)

    def _legend(self, row: float) -> float:
        """What the lines mean, and what could not be drawn; returns the lower edge."""
        say, view = self.speech.say, self.view
        low, high = view.relief_held
        samples: list[tuple[str, dict[str, object]]] = [
            (say("picture", "before"), {"stroke_width": 1.5, **self._style(False)}),
            (say("picture", "after"), {"stroke_width": 1.5, **self._style(True)}),
            (say("picture", "held", low=low, high=high),
             {"stroke": INK, "stroke_width": 0.9, "stroke_dasharray": DOTS, "stroke_linecap": "round"}),
        ]  # fmt: skip
        x = INSET
        for text, style in samples:
            needed = 26.0 + width_of(text, SMALL)
            if x > INSET and x + needed > WIDTH - INSET:
                x, row = INSET, row + 15.0
            line(self.canvas, (x, row - 3.5), (x + 21.0, row - 3.5), **style)
            label(self.canvas, (x + 26.0, row), text, size=SMALL, fill=FADED)
            x += needed + 12.0
        for gap in _gaps(view, self.speech):
            for text in wrapped(gap, SMALL, WIDTH - 2 * INSET):
                row += 14.0
                label(self.canvas, (INSET, row), text, size=SMALL, fill=FADED)
        return float(round(row + 8.0))
