"""Drawings: how much room a text is given."""

from __future__ import annotations

import pytest
from fontTools.ttLib import TTFont

from shimstock_server.web.svg import width_of, wrapped
from tests.browser.fonts import shipped

LATIN = [chr(code) for code in (*range(0x20, 0x7F), *range(0xA0, 0x180)) if code != 0xAD]


@pytest.mark.parametrize(("file", "bold"), [("DejaVuSans.ttf", False), ("DejaVuSans-Bold.ttf", True)])
def test_a_text_has_room_in_the_widest_of_the_usual_faces(file: str, bold: bool) -> None:
    # the widths that DejaVu Sans 2.37 itself states
    font = TTFont(shipped() / file)
    names, advances, em = font.getBestCmap(), font["hmtx"], font["head"].unitsPerEm
    tight = [
        letter
        for letter in [*LATIN, *"–—…→−×½\u2002"]
        if width_of(letter, 1.0, bold=bold) < advances[names[ord(letter)]][0] / em
    ]
    assert tight == []


def test_a_bold_text_is_broken_earlier() -> None:
    text = "Second bench, below the window to the yard"
    width = width_of(text, 12.5)
    assert wrapped(text, 12.5, width) == [text]
    assert wrapped(text, 12.5, width, bold=True) == ["Second bench, below the window to", "the yard"]
