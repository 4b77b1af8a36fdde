"""What was followed is kept: the same rows again cost nothing and come to the same."""

from __future__ import annotations

import threading
import time
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from tests.simulator import stile

from halfsplit.assembly.condition import Condition
from halfsplit.circuit import threads
from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Floats, Rhythm, Solution
from halfsplit.circuit.topology import Topology
from halfsplit.faults import followed as kept


def test_a_row_is_followed_once_and_comes_to_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path))
    machine, asked = stile.machine(), []
    state = machine.values(Condition("raw", "half"))
    good, off = (
        {},
        {k: v for e in machine.assembly.parts["Q1"].elements() for k, v in e.gone().items()},
    )
    rows = machine.topology.rows([{**state, **good}, {**state, **off}])

    def counted(topology, rows, **more):  # type: ignore[no-untyped-def]
        asked.extend(rows)
        return follow(topology, rows, **more)

    monkeypatch.setattr(kept, "follow", counted)
    first = kept.followed(machine.topology, rows[[0, 1, 0]])
    assert len(asked) == 2
    again = kept.followed(machine.topology, rows[[1, 0]])
    assert len(asked) == 2
    for a, b in zip(first, again, strict=True):
        for f in fields(a):
            old, new = getattr(a, f.name), getattr(b, f.name)
            assert old.dtype == new.dtype and np.array_equal(old[[1, 2]], new, equal_nan=True)
    whole = follow(machine.topology, rows)
    assert np.array_equal(whole[0].mean, again[0].mean[[1, 0]], equal_nan=True)


def test_a_damaged_file_is_followed_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path))
    machine = stile.machine()
    off = {k: v for e in machine.assembly.parts["Q1"].elements() for k, v in e.gone().items()}
    rows = machine.topology.rows([{**machine.values(Condition("raw", "half")), **off}])
    before, _ = kept.followed(machine.topology, rows)
    (file,) = (tmp_path / "followed").rglob("*.npz")
    file.write_bytes(file.read_bytes()[:100])
    after, _ = kept.followed(machine.topology, rows)
    assert np.array_equal(before.mean, after.mean, equal_nan=True)


class Told(KeyboardInterrupt):
    """Whoever waits wants it to stop."""


def rows_of(count: int) -> tuple[Topology, Floats]:
    """A topology, and rows of it that differ."""
    machine = stile.machine()
    rows = np.tile(machine.topology.base, (count, 1))
    rows[:, 0] += np.arange(count)
    return machine.topology, rows


def beside(rows: Floats) -> tuple[Solution, Rhythm]:
    """What following would make of rows, in shape only."""
    made = [
        kind(**{f.name: np.array(rows[:, 0]) for f in fields(kind)}) for kind in (Solution, Rhythm)
    ]
    return made[0], made[1]


def on_disk(folder: Path) -> int:
    return len(list((folder / "followed").rglob("*.npz")))


@pytest.mark.parametrize("cores", [1, 2])
def test_each_row_is_on_disk_as_soon_as_it_is_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cores: int
) -> None:
    """Ctrl-C in the middle costs the rows under way, at most one a core; the rest is not redone."""
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path))
    monkeypatch.setattr(threads, "cores", lambda: cores)
    topology, rows = rows_of(9)
    begun: list[float] = []
    here = threading.get_ident()

    def halted(_: Topology, some: Floats) -> tuple[Solution, Rhythm]:
        begun.extend(some[:, 0])
        time.sleep(0.02)
        if len(begun) > 4 and threading.get_ident() == here:
            raise KeyboardInterrupt
        return beside(some)

    monkeypatch.setattr(kept, "follow", halted)
    with pytest.raises(KeyboardInterrupt):
        kept.followed(topology, rows)
    assert 4 <= on_disk(tmp_path) == len(begun) - 1
    assert len(begun) <= 4 + 2 * cores
    finished = on_disk(tmp_path)
    again: list[float] = []

    def plain(_: Topology, some: Floats) -> tuple[Solution, Rhythm]:
        again.extend(some[:, 0])
        return beside(some)

    monkeypatch.setattr(kept, "follow", plain)
    solved, _ = kept.followed(topology, rows)
    assert len(again) == 9 - finished
    assert np.array_equal(solved.mean, rows[:, 0])


def test_asked_to_stop_after_a_row_that_row_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The solver asks too once its row is done, which is before the row is on disk."""
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path))
    monkeypatch.setattr(threads, "cores", lambda: 1)
    topology, rows = rows_of(3)
    followed = []

    def asks(_: Topology, some: Floats) -> tuple[Solution, Rhythm]:
        threads.spread(lambda part: followed.append(part), len(some), chunk=1)
        return beside(some)

    def go_on() -> None:
        if followed:
            raise Told

    monkeypatch.setattr(kept, "follow", asks)
    with threads.asking(go_on), pytest.raises(Told):
        kept.followed(topology, rows)
    assert len(followed) == on_disk(tmp_path) == 1


def test_progress_counts_what_was_kept_before_and_ends_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path))
    monkeypatch.setattr(threads, "cores", lambda: 1)
    topology, rows = rows_of(9)
    monkeypatch.setattr(kept, "follow", lambda _, some: beside(some))
    kept.followed(topology, rows[:4])
    told: list[tuple[int, int]] = []
    kept.followed(topology, rows, lambda done, count: told.append((done, count)))
    assert told == [(5, 9), (6, 9), (7, 9), (8, 9), (8, 9), (9, 9)]
