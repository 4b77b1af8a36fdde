"""Bands of a supply that keeps time by itself, against specimens of it drawn and followed."""

from __future__ import annotations

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import DictionaryCache, predict
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.sampling import Sampler, Shaker, draws
from tests.simulator import stile

COUNT = 16
NETS = ("out", "ref", "refn", "h12", "raw", "vp", "th", "trip")


@pytest.mark.long
def test_good_specimens_lie_in_the_band() -> None:
    """Nine in ten should; of 16, fewer than 10 would be rare luck (1 in 2,000 for one net, by the
    binomial distribution). Nor is the band much wider than the specimens' own.
    """
    machine = stile.machine()
    condition = Condition("raw", "half")
    cache = DictionaryCache(machine, single_faults(machine.assembly)[:2])
    bare = predict(machine, condition, [{}], moves=cache.moves)
    table = cache.sloped(condition, bare)
    band = Sampler(machine.topology, cache.moves).linear_band(table.spread[0])

    real = [m for m in cache.moves if m.changes]
    z = draws(COUNT, len(real))
    row = machine.topology.rows([machine.values(condition)])[0]
    solved, _ = follow(machine.topology, Shaker(machine.topology, real, z).rows(row))
    assert (solved.status == Status.OSCILLATING).all()
    strange = []
    for net in NETS:
        i, k = table.column(net), machine.topology.net_index[net]
        moved = solved.mean[:, k] - table.mean[0, i]
        inside = int(((moved >= band[0, i]) & (moved <= band[1, i])).sum())
        if inside < 10:
            strange.append((net, inside))
        own = np.quantile(moved, 0.95) - np.quantile(moved, 0.05)
        assert band[1, i] - band[0, i] < 1.6 * own + 0.004, net
    assert not strange


def test_the_regulated_output_is_known_better_than_a_twentieth() -> None:
    machine = stile.machine()
    condition = Condition("raw", "half")
    cache = DictionaryCache(machine, single_faults(machine.assembly)[:2])
    table = cache.sloped(condition, predict(machine, condition, [{}], moves=cache.moves))
    i = table.column("out")
    sigma = float(np.sqrt((table.spread[0, :, i] ** 2).sum()))
    assert 0.005 < sigma / table.mean[0, i] < 0.04
