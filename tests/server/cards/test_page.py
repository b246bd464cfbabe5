"""The page: whole in itself, escaped, and built of what a screen reader understands."""

from __future__ import annotations

import base64
import hashlib
import re
from html import unescape
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from shimstock_server.cards.page import page, security_policy, stylesheet

from .samples import ALL, ELECTRIC, HOSTILE, TWELVE, UNREAD, speech

VOID = {"meta", "br", "hr", "img", "input", "link"}


class Outline(HTMLParser):
    """The tags of a page with their attributes, and whether they nest."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def outline(name: str, units: str = "mm") -> Outline:
    """The outline of a sample's page."""
    return Outline(page(ALL[name], speech(units)))


@pytest.mark.parametrize("name", ALL)
def test_a_page_is_whole_in_itself(name: str) -> None:
    found = outline(name)
    assert not found.open
    names = {tag for tag, _ in found.tags}
    assert not names & {"script", "link", "img", "iframe", "object", "form", "base"}
    for _, attributes in found.tags:
        assert not {"src", "href", "style", "action"} & attributes.keys()
        assert not any(attribute.startswith("on") for attribute in attributes)
    assert "url(" not in stylesheet()
    assert "@import" not in stylesheet()


def test_hostile_texts_are_escaped() -> None:
    text = page(TWELVE, speech())
    assert HOSTILE not in text
    assert "<script" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;&#34; onload=&#39;x&#39; &amp; Ünïcödé" in text


def test_the_policy_names_the_stylesheet_of_the_page() -> None:
    style = re.search(r"<style>(.*?)</style>", page(ELECTRIC, speech()), re.DOTALL)
    assert style is not None
    # Content Security Policy Level 3, section 8.4: the hash is of the element's text
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in security_policy()
    assert "default-src 'none'" in security_policy()
    assert "unsafe" not in security_policy()


@pytest.mark.parametrize("name", ALL)
def test_tables_tell_their_heads(name: str) -> None:
    found = outline(name)
    tables = [tag for tag, _ in found.tags if tag == "table"]
    captions = [tag for tag, _ in found.tags if tag == "caption"]
    assert len(tables) == len(captions) >= 1
    assert all(attributes.get("scope") in ("row", "col") for tag, attributes in found.tags if tag == "th")


@pytest.mark.parametrize("name", ALL)
def test_ids_are_there_once_and_labels_find_them(name: str) -> None:
    found = outline(name)
    ids = [attributes["id"] for _, attributes in found.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for _, attributes in found.tags:
        for wanted in (attributes.get("aria-labelledby") or "").split():
            assert wanted in ids


def test_headings_descend_by_one() -> None:
    levels = [int(tag[1]) for tag, _ in outline("electric").tags if re.fullmatch(r"h\d", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))


def test_the_page_says_its_language_and_stays_out_of_indexes() -> None:
    tags = outline("electric").tags
    assert next(attributes for tag, attributes in tags if tag == "html")["lang"] == "en"
    assert {"name": "robots", "content": "noindex, nofollow"} in [attributes for _, attributes in tags]


def test_the_owner_reads_before_and_after_with_verdicts() -> None:
    text = unescape(re.sub(r"<[^>]+>", "", page(ELECTRIC, speech()))).replace("\u00a0", " ")
    for wanted in ("Lindenhof Guitar Bench", "Job 128", "Mara Oswin", "HP-004417", "out of spec", "in spec",
                   "> 99 %", "0.254 to 1.168 mm", "21 °C, 46 % relative humidity",
                   "eye and hand decide"):  # fmt: skip
        assert wanted in text, wanted


def test_a_card_without_final_readings_is_provisional() -> None:
    assert "Provisional" in page(UNREAD, speech())
    assert "Provisional" not in page(ELECTRIC, speech())


def test_more_than_six_strings_are_told_in_two_tables() -> None:
    text = page(TWELVE, speech())
    assert "Intonation, strings 1 to 6" in text
    assert "Intonation, strings 7 to 12" in text
