"""Good specimens of faults that change a machine's beat, each followed, against their spreads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.faults.beats import BEATING
from halfsplit.faults.followed import followed
from halfsplit.faults.predictions import Floats
from halfsplit.faults.sampling import Shaker, draws

OTHERWISE = 0.1  # change of the logarithm of the period from which a beat is another
LEAST = 0.03  # V, below which no reading matters


@dataclass(frozen=True)
class Specimens:
    """Of one fault: its name, period against the good machine's, and how many sigmas of what the
    table tells each specimen lies off, at nets a probe reaches (S, N); those that ended."""

    name: str
    ratio: float
    off: Floats
    nets: tuple[str, ...]


def beat_specimens(
    session: Session, at: Condition, count: int, names: Sequence[str] = ()
) -> list[Specimens]:
    """`count` specimens of the faults named, or of every one that beats otherwise."""
    table, machine = session.dictionary.get(at), session.machine
    moves, topology, state = session.book.moves, machine.topology, machine.values(at)
    shaker = Shaker(topology, moves, draws(count, len(moves)))
    with np.errstate(divide="ignore"):
        changed = np.abs(np.log(table.period / table.period[0]))
    chosen = [
        i
        for i, h in enumerate(session.standard)
        if int(table.status[i]) == BEATING
        and (h.name in names if names else changed[i] > OTHERWISE)
    ]
    faults = [{**session.standard[i].changes, **state} for i in chosen]
    rows = np.vstack([shaker.rows(one) for one in topology.rows(faults)])
    solved, _ = followed(topology, rows)
    nets = [n for n in session.probe_nets() if n in topology.net_index]
    read = solved.mean[:, [topology.net_index[n] for n in nets]].reshape(len(chosen), count, -1)
    ended = (solved.status == BEATING).reshape(len(chosen), count)
    columns = [table.column(n) for n in nets]
    found = []
    for k, i in enumerate(chosen):
        mean = table.mean[i, columns]
        spread = np.sqrt((table.spread[i][:, columns] ** 2).sum(axis=0))
        off = np.abs(read[k][ended[k]] - mean) / np.hypot(spread, LEAST)
        ratio = float(table.period[i] / table.period[0])
        found.append(Specimens(session.standard[i].name, ratio, off, tuple(nets)))
    return found
