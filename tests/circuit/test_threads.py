"""Rows spread over threads: all of them done, told to the end, and nothing lost that was raised."""

from __future__ import annotations

import threading
import time

import pytest

from halfsplit.circuit import threads
from halfsplit.circuit.threads import spread


@pytest.fixture(autouse=True)
def four(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "cores", lambda: 4)


@pytest.mark.parametrize("count", [0, 1, 7, 64, 65])
def test_every_row_is_done_once_and_the_end_is_told(count: int) -> None:
    rows, told = [0] * count, []

    def work(part: slice) -> None:
        for r in range(part.start, part.stop):
            rows[r] += 1

    for _ in range(200):
        spread(work, count, chunk=3, progress=lambda done, all_: told.append((done, all_)))
        assert not count or told[-1] == (count, count)
    assert rows == [200] * count


def test_what_another_thread_raises_is_raised_here() -> None:
    here = threading.get_ident()

    def work(part: slice) -> None:
        time.sleep(0.01)
        if threading.get_ident() != here:
            raise ValueError("in a helper")

    with pytest.raises(ValueError, match="in a helper"):
        spread(work, 12, chunk=1)


def test_stopped_it_begins_nothing_more_and_leaves_nothing_running() -> None:
    """Whoever stops it finds all rows done that were begun."""
    here, begun, ended = threading.get_ident(), [], []

    def work(part: slice) -> None:
        begun.append(part)
        time.sleep(0.02)
        if threading.get_ident() == here:
            raise KeyboardInterrupt
        ended.append(part)

    with pytest.raises(KeyboardInterrupt):
        spread(work, 100, chunk=1)
    assert len(begun) <= 8 and len(ended) == len(begun) - 1
    time.sleep(0.05)
    assert len(ended) == len(begun) - 1
