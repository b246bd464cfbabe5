"""The page that explains the formulas."""

from __future__ import annotations

from html.parser import HTMLParser

from shimstock_calc import intonation, strings
from shimstock_server.calculations.page import checks, explain, sections
from shimstock_server.calculations.registry import CALCULATIONS
from tests.server.clients import Client


class Words(HTMLParser):
    """Gathers the text of a page, its ids and the addresses that it links to."""

    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        assert tag not in ("script", "img", "link", "iframe"), "the page needs nothing from elsewhere"
        if found.get("id"):
            self.ids.append(str(found["id"]))
        if found.get("href"):
            self.links.append(str(found["href"]))

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def read(text: str) -> tuple[str, Words]:
    """Return the words of a page on one line, and what else it holds."""
    words = Words()
    words.feed(text)
    return " ".join(" ".join(words.text).split()), words


def test_the_page_is_for_everybody_and_explains_every_calculation(calculator: Client) -> None:
    response = Client(calculator.app, None).get("/docs/calculations")
    assert response.status_code == 200
    assert response.mimetype == "text/html"
    text, words = read(response.get_data(as_text=True))
    for calculation in CALCULATIONS:
        assert calculation.name in words.ids
        for told in (calculation.title, calculation.about, calculation.validity, *calculation.source):
            assert " ".join(told.split()) in text, told
        for check in checks()[calculation.name]:
            assert check["test"] in text
            assert check["against"] in text
        for formula in calculation.formulas:
            assert explain(formula)["summary"] in text


def test_its_links_lead_somewhere(calculator: Client) -> None:
    visitor = Client(calculator.app, None)
    _, words = read(visitor.get("/docs/calculations").get_data(as_text=True))
    _, docs = read(visitor.get("/docs").get_data(as_text=True))
    assert "/docs/calculations" in docs.links
    for link in words.links:
        page, _, place = link.partition("#")
        assert page in ("", "/docs")
        assert not place or place in (words.ids if page == "" else docs.ids), link


def test_it_is_sent_once(calculator: Client) -> None:
    visitor = Client(calculator.app, None)
    etag = visitor.get("/docs/calculations").headers["ETag"]
    assert visitor.get("/docs/calculations", headers={"If-None-Match": etag}).status_code == 304


def test_a_formula_is_explained_by_what_stands_beside_it() -> None:
    told = explain(intonation.saddle_move)
    assert told["name"] == "intonation.saddle_move"
    assert told["summary"].startswith("How far a saddle goes")
    assert "(r - 1)/(g - r)" in told["notes"]
    assert ">>>" not in told["notes"]
    assert "3.787352" in told["doctest"]
    assert [each["name"] for each in told["parameters"]] == ["intonation", "scale_length", "fret"]
    assert "[mm]" in told["returns"][0]["about"]


def test_every_formula_gives_units_and_what_it_returns() -> None:
    for calculation in CALCULATIONS:
        assert calculation.formulas, calculation.name
        for formula in calculation.formulas:
            told = explain(formula)
            assert told["summary"], formula
            assert told["returns"], formula
            assert told["parameters"], formula


def test_sections_of_a_docstring() -> None:
    found = sections("First line.\n\nNotes\n-----\nOne.\n\nTwo.\n")
    assert found == {"": "First line.", "Notes": "One.\n\nTwo."}
    assert "7850" not in sections(strings.tension.__doc__ or "")[""]
