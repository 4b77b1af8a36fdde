"""Ripple that blocks put on what they make: known by its height alone, from no waveform."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.lower import Machine
from halfsplit.parts.block import makers

Floats = npt.NDArray[np.float64]


def noise(machine: Machine, rows: Floats) -> Floats:
    """Peak to peak [V] (B, N) of noisy blocks, passed on in proportion by those that follow."""
    topology = machine.topology
    found = np.zeros((len(rows), len(topology.nets)))
    blocks = makers(machine.assembly.parts.values())
    done: set[str] = set()

    def reach(net: str) -> None:
        block = blocks.get(net)
        if block is None or net in done:
            return
        done.add(net)
        at = topology.net_index[net]
        found[:, at] = 2.0 * rows[:, topology.slot[f"{block.ref}:noise", "ac"]]
        if block.follows:
            reach(block.follows)
            share = abs(block.volts / block.needs[block.follows])
            passed = share * found[:, topology.net_index[block.follows]]
            found[:, at] = np.maximum(found[:, at], passed)

    for net in blocks:
        reach(net)
    return found
