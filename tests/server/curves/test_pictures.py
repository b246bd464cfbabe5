"""The pictures: well-formed, the same for the same readings, told in words, legible in grey."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from xml.etree import ElementTree as ET

import pytest

from shimstock_server.curves.drawing import DARKEST, INK
from tests.server.demo_shop import DemoShop, at_targets

BOTH = pytest.mark.parametrize("what", ["clearance", "intonation"])
SPACE = "{http://www.w3.org/2000/svg}"


@BOTH
@pytest.mark.parametrize("model", ["Kessim", "Bargel", "Lantrel", "Dozenfold", "Slantwise 7"])
def test_a_picture_stands_by_itself(demo_shop: DemoShop, what: str, model: str) -> None:
    picture = demo_shop.picture(demo_shop.set_up(model, intonation=True), what)
    root = ET.fromstring(picture)
    assert root.tag == f"{SPACE}svg"
    assert root.get("role") == "img"
    title, description = (root.findtext(f"{SPACE}{tag}") or "" for tag in ("title", "desc"))
    assert model in title
    assert "As read until 2026-03-02 (bass and treble side): relief" in description
    # nothing from elsewhere, and nothing that runs
    addresses = re.findall(r'(?:href|src)="([^"]*)"', picture)
    assert all(address.startswith("#") for address in addresses)
    assert "<script" not in picture
    assert len(picture) < 500_000


@BOTH
def test_the_same_readings_draw_the_same_picture(demo_shop: DemoShop, what: str) -> None:
    instrument_id = demo_shop.set_up("Kessim", intonation=True)
    assert demo_shop.picture(instrument_id, what) == demo_shop.picture(instrument_id, what)


@BOTH
def test_units_of_the_reader(demo_shop: DemoShop, what: str) -> None:
    instrument_id = demo_shop.set_up("Kessim", intonation=True)
    inches = (
        ET.fromstring(demo_shop.picture(instrument_id, what, "?units=inch")).findtext(f"{SPACE}desc") or ""
    )
    assert "thou" in inches
    assert "/64 in" in inches
    assert " mm" not in inches


def test_the_map_is_grey_and_its_ink_is_seen(demo_shop: DemoShop) -> None:
    # WCAG 2.1, success criterion 1.4.3: contrast of at least 4.5
    picture = demo_shop.picture(demo_shop.set_up("Kessim"), "clearance")
    colours = {colour.lower() for colour in re.findall(r"#[0-9a-fA-F]{6}", picture)}
    assert all(colour[1:3] == colour[3:5] == colour[5:7] for colour in colours)


def test_the_darkest_shade_leaves_contrast_for_the_ink() -> None:
    def luminance(grey: float) -> float:
        return grey / 12.92 if grey <= 0.03928 else float(((grey + 0.055) / 1.055) ** 2.4)

    ink = luminance(int(INK[1:3], 16) / 255)
    assert (luminance(DARKEST) + 0.05) / (ink + 0.05) >= 4.5


def test_now_and_suggested_differ_without_colour(demo_shop: DemoShop) -> None:
    picture = demo_shop.picture(demo_shop.set_up("Kessim", intonation=True), "intonation")
    # the suggestion is dashed, the present is not
    assert picture.count("stroke-dasharray") >= 6


@BOTH
def test_a_name_cannot_break_out_of_the_picture(demo_shop: DemoShop, what: str) -> None:
    instrument_id = demo_shop.instrument("Kessim", serial=f"<script>\"&' $x_$ {what}")
    demo_shop.read(demo_shop.job(instrument_id), at_targets("electric"))
    picture = demo_shop.picture(instrument_id, what)
    title = ET.fromstring(picture).findtext(f"{SPACE}title") or ""
    assert "<script>\"&'" in title
    assert "<script" not in picture


def test_the_band_is_that_of_the_spec(demo_shop: DemoShop) -> None:
    for model, told in (("Kessim", "-3 to +3 cents"), ("Lantrel", "-5 to +5 cents")):
        picture = demo_shop.picture(demo_shop.set_up(model, intonation=True), "intonation")
        assert told in (ET.fromstring(picture).findtext(f"{SPACE}desc") or "")


def test_pictures_asked_for_at_once_are_those_asked_for_one_by_one(demo_shop: DemoShop) -> None:
    instruments = [demo_shop.set_up(model, intonation=True) for model in ("Kessim", "Bargel", "Lantrel")]
    asked = [(instrument, what) for instrument in instruments for what in ("clearance", "intonation")]
    alone = [demo_shop.picture(*each) for each in asked]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda each: demo_shop.picture(*each), asked))
    assert together == alone
