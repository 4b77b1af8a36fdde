"""What was followed is kept: the same rows again cost nothing and come to the same."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from tests.simulator import stile

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.follow import follow
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
