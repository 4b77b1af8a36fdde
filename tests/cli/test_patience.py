"""A long computation shows how far it is and how long it may take yet; a short one, nothing."""

from __future__ import annotations

import io
import re

import pytest
from rich.console import Console

from halfsplit.cli import show


@pytest.mark.parametrize(("seconds", "shown"), [(0.5, False), (30.0, True)])
def test_time_left_is_shown_after_a_second(
    monkeypatch: pytest.MonkeyPatch, seconds: float, shown: bool
) -> None:
    clock = [100.0]
    monkeypatch.setattr(show.time, "monotonic", lambda: clock[0])
    screen = io.StringIO()
    monkeypatch.setattr(show, "err", Console(file=screen, force_terminal=True, width=100))
    patience = show.Patience()
    for done in (10, 20, 30):
        clock[0] += seconds / 3.0
        patience(done, 100)
    if patience._bar is not None:
        patience._bar.refresh()
    patience(100, 100)
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", screen.getvalue())
    assert ("30/100" in text) == shown
    if shown:
        left = re.search(r"30/100 +(\d+):(\d\d):(\d\d)", text)
        assert left, text
    assert show.Patience.shown is None
