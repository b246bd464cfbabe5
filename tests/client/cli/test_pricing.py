"""What the plans reckon with, at the command line."""

from __future__ import annotations

import json

import pytest

from shimstock_client import WorkMinutes
from shimstock_client.cli._pricing import _source
from tests.client.conftest import Command, Shop


@pytest.fixture
def manager(shop: Shop, command: Command, monkeypatch: pytest.MonkeyPatch) -> Command:
    """Commands under the manager's key."""
    monkeypatch.setenv("SHIMSTOCK_KEY", shop.staff.tokens["manager"])
    return command


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_prices_are_shown_changed_and_taken_back(shop: Shop, manager: Command) -> None:
    shown = manager("prices")
    assert "wrong                160 min" in shown.out
    assert "The final check reads what moved since it was read." in shown.out
    changed = manager("prices", "wrong", "240", "relief", "1,5", "retune-floating", "5", "--everything")
    assert "relief               1.5 min  set by the shop; usual 1" in changed.out
    assert "action               0.5 min  usual" in changed.out
    settings = shop.client("manager").shop.get()
    assert (settings.prices["wrong"], settings.prices["reading"]["relief"]) == (240.0, 1.5)
    assert settings.prices["retune_floating"] == 5.0
    assert settings.everything_at_the_end is True
    assert manager("prices", "relief", "usual", "--what-moved", "--json").code == 0
    told = json.loads(manager("prices", "--json").out)
    assert (told["prices"]["wrong"], told["prices"]["reading"]["relief"]) == (240.0, 1.0)
    assert told["everything_at_the_end"] is False
    assert {each["source"] for each in told["minutes"]} == {"usual"}


@pytest.mark.parametrize(
    "source, count, told",
    [
        ("learned", 31, "learned, median of 31 in closed jobs; usual 1"),
        ("usual", 7, "usual; 1.4 is the median of 7 in closed jobs, too few yet"),
        ("own", 31, "set by the shop; usual 1; 1.4 is the median of 31 in closed jobs"),
    ],
)
def test_it_is_said_where_minutes_come_from(source: str, count: int, told: str) -> None:
    each = WorkMinutes(name="relief", usual=1.0, learned=1.4, source=source, count=count)
    assert _source(each) == told


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_price_that_nothing_has_is_named(manager: Command) -> None:
    refused = manager("prices", "rent", "5")
    assert (refused.code, "rent: nothing is reckoned with under this name" in refused.err) == (2, True)
    assert "minutes such as 1.5" in manager("prices", "relief", "long").err
    assert manager("prices", "relief").code == 2
    beyond = manager("prices", "relief", "0")
    assert (beyond.code != 0, "must be from 0.05 to 1000" in beyond.err) == (True, True)


def test_the_client_changes_one_price(shop: Shop) -> None:
    settings = shop.client("manager").shop
    changed = settings.update(settings.get(), prices={"reading": {"action": 2}})
    assert changed.prices["reading"]["action"] == 2.0
    assert changed.prices["wrong"] == 160.0
