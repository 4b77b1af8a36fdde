"""Stop on a page: the page says so and offers it again, and the server goes on."""

from __future__ import annotations

import pytest
from nicegui import ui
from nicegui.testing import User

from halfsplit.bench import gating, proving
from halfsplit.bench.lanes import StoppedError
from halfsplit.bench.session import Session
from tests.web.conftest import BENCH, App, until


def stopped(session: Session, *_: object, **__: object) -> None:
    """As the bench does when somebody pressed Stop."""
    raise StoppedError


def says(user: User, words: str) -> bool:
    return any(words in str(getattr(e, "text", "")) for e in user.find(ui.element).elements)


async def test_a_stopped_page_says_so_and_offers_it_again(
    cold: App, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(proving, "protect", stopped)
    await cold.user.open("/protect/pt3.yaml")
    cold.user.find(marker="work").click()
    await until(lambda: says(cold.user, "Stopped. What was entered is kept"))
    assert cold.user.find(marker="work").elements


async def test_what_a_button_asked_for_is_stopped_without_a_word_lost(
    cold: App, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A trimmer asks whether the references are proved; stopped, nothing is stored and the server
    still answers."""
    monkeypatch.setattr(gating, "trimmer", stopped)
    await cold.user.open(BENCH)
    (place,) = cold.house._places.values()
    ref = next(p["ref"] for p in place.desk.facts["parts"] if p["kind"] == "potentiometer")
    (field,) = cold.user.find(marker="did-words").elements
    field.value = f"{ref} set 40%"  # type: ignore[attr-defined]
    cold.user.find(marker="did-store").click()
    await until(lambda: says(cold.user, "Stopped. What was entered is kept"))
    assert place.desk.ledger["entries"] == []
    await cold.user.open("/")
    await cold.user.should_see("Power tray PT-3")
