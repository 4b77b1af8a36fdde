"""What the meter itself does to the circuit: a resistor at the net, solved, feedback and all.

A divider worked out afterwards is right only where the circuit is linear around the net. At a
feedback point the loop fights the meter and other nets move; so wherever the first-order effect is
larger than the models' own error, the rows are solved again with the meter in place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.sensitivity import Move
from halfsplit.faults.dictionary import predict
from halfsplit.faults.predictions import ADRIFT, UNCLAIMED, Predictions
from halfsplit.parts.kinds.meter import MeterPart

Floats = npt.NDArray[np.float64]

PROBE = "meter#probe"
# First-order change of a reading, as a share of it and in volts, above which rows are solved again.
SHARE, VOLTS = 0.003, 0.003
# Current into the meter [A] from which they are, however stiff the net looks: a loop that holds it
# may run out of reach. And that from which its effect on other nets is worth asking for.
# Common practice, no published source.
MUCH, WORTH_ASKING = 1e-4, 2e-6


def with_probe(machine: Machine, pos: str, neg: str, ohms: float) -> Machine:
    """The machine with a meter of `ohms` left on between two nets."""
    probe = MeterPart(ref=PROBE, kind="meter", ohms=str(ohms), pos=pos, neg=neg)
    parts = {**machine.assembly.parts, PROBE: probe}
    return Machine(replace(machine.assembly, parts=parts))


def load(
    machine: Machine,
    condition: Condition,
    faults: Sequence[Overrides],
    moves: Sequence[Move],
    table: Predictions,
    pos: str,
    neg: str,
    ohms: Floats,
    least: float = MUCH,
    sizes: Sequence[Sequence[Overrides]] | None = None,
) -> Predictions:
    """`table` with every row the meter moves noticeably solved again with the meter on.

    `ohms` is the meter's input resistance in each row (H). Rows solved so are marked `loaded`:
    their readings have the meter in them and need no divider. Rows whose meter takes `least` [A]
    or more are always solved.
    """
    a, b = table.column(pos), table.column(neg)
    source = table.ohms[:, a] + table.ohms[:, b]
    mean = np.nan_to_num(table.mean[:, a] - table.mean[:, b])
    shift = np.abs(mean) * source / (source + ohms)
    sound = ~np.isin(table.status, UNCLAIMED) & (source < ADRIFT)
    felt = (shift > np.maximum(SHARE * np.abs(mean), VOLTS)) | (np.abs(mean) > least * ohms)
    heavy = np.flatnonzero(sound & felt)
    if not heavy.size:
        return table
    kinds = ("mean", "ripple", "low", "spread", "ohms", "wave", "hum")
    fields = {k: getattr(table, k).copy() for k in kinds}
    status, period = table.status.copy(), table.period.copy()
    loaded = np.zeros(len(mean), dtype=bool)
    for value in np.unique(ohms[heavy]):
        rows = heavy[ohms[heavy] == value]
        probed = with_probe(machine, pos, neg or machine.assembly.common, float(value))
        chosen = [faults[int(i)] for i in rows]
        sized = [sizes[int(i)] for i in rows] if sizes else None
        found = predict(probed, condition, chosen, sizes=sized, moves=moves)
        order = [found.column(n) for n in (*table.nets, machine.assembly.common)]
        good = ~np.isin(found.status, UNCLAIMED)
        for key, array in fields.items():
            new = getattr(found, key)[good]
            array[rows[good]] = new[:, order] if key in ("wave", "hum") else new[..., order]
        status[rows[good]], period[rows[good]] = found.status[good], found.period[good]
        loaded[rows[good]] = True
    return replace(table, status=status, period=period, loaded=loaded, **fields)
