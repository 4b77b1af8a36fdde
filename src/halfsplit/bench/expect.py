"""What a healthy machine should read in given conditions, with the band its tolerances allow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.circuit.netlist import Overrides
from halfsplit.faults.dictionary import ADRIFT, Predictions, predict
from halfsplit.faults.loaded import WORTH_ASKING, load

# Share of a rail from which it is told that the meter moves it; common practice.
DISTURBED = 0.005


@dataclass(frozen=True)
class Line:
    """One expected reading: mean and band [V], ripple peak to peak and lowest instant [V]."""

    name: str
    net: str
    condition: Condition
    mean: float
    low: float
    high: float
    ripple: float
    valley: float
    status: str
    adrift: bool
    disturbs: tuple[
        tuple[str, float], ...
    ] = ()  # rails the meter itself moves, and by how much [V]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``; a net adrift or a row not solved has null readings."""
        usable = not self.adrift and bool(np.isfinite(self.mean))
        return {
            "name": self.name,
            "net": self.net,
            "condition": self.condition.as_dict(),
            "mean": self.mean if usable else None,
            "low": self.low if usable else None,
            "high": self.high if usable else None,
            "ripple": self.ripple if usable else None,
            "valley": self.valley if usable else None,
            "disturbs": dict(self.disturbs),
            "status": "adrift: nothing holds this net" if self.adrift else self.status,
        }


def expect(
    session: Session,
    names: Sequence[str],
    conditions: Sequence[Condition],
    faults: Overrides | None = None,
) -> list[Line]:
    """Expected readings, net by net in each condition. Every probe net when no name is given.

    With `faults` (see :mod:`halfsplit.assembly.script`) they are those of that specimen.

    Bands are two sigma of part tolerances, supply and the meter in use.
    """
    nets = [(n, session.net(n)) for n in names]
    nets = nets or [(session.assembly.net_label(n), n) for n in session.probe_nets()]
    found = []
    for condition in conditions:
        table = predict(session.machine, condition, [faults or {}], moves=session.dictionary.moves)
        found += [_line(session, table, condition, name, net, faults or {}) for name, net in nets]
    return found


def _line(
    session: Session,
    table: Predictions,
    condition: Condition,
    name: str,
    net: str,
    faults: Overrides,
) -> Line:
    i = table.column(net)
    source = float(table.ohms[0, i])
    ohms = session.meter.input_ohms(float(np.nan_to_num(table.mean[0, i])))
    bare, moves, each = table, session.dictionary.moves, np.array([ohms])
    table = load(
        session.machine, condition, [faults], moves, bare, net, "", each, least=WORTH_ASKING
    )
    mean = float(table.mean[0, i])
    disturbs = []
    if table.loaded is None:
        mean *= ohms / (ohms + source)
    for label, rail in session.assembly.rails.items():
        k = table.column(rail.net)
        change = float(table.mean[0, k] - bare.mean[0, k])
        if rail.net != net and abs(change) > max(DISTURBED * abs(float(bare.mean[0, k])), 0.01):
            disturbs.append((label, change))
    spread = float(np.sqrt((table.spread[0, :, i] ** 2).sum()))
    error = 2 * float(np.hypot(spread, session.meter.sigma(mean, 0.01)))
    return Line(
        name,
        net,
        condition,
        mean,
        mean - error,
        mean + error,
        float(table.ripple[0, i]),
        float(table.low[0, i]),
        table.told(0),
        source > ADRIFT,
        tuple(disturbs),
    )
