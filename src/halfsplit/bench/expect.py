"""What a healthy machine should read in given conditions, with the band its tolerances allow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import ADRIFT, Predictions, predict

# From the end of a 90 % interval to that of two sigma, for a Gaussian (2 / 1.645).
TWO_SIGMA = 1.216


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
    note: str = ""

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
            "status": "adrift: nothing holds this net" if self.adrift else self.status,
            "note": self.note,
        }


def expect(
    session: Session,
    names: Sequence[str],
    conditions: Sequence[Condition],
    faults: Overrides | None = None,
) -> list[Line]:
    """Expected readings, net by net in each condition. Every probe net when no name is given.

    With `faults` (see :mod:`halfsplit.assembly.script`) they are those of that specimen.

    Bands hold what nineteen good specimens in twenty read, by tolerances, supply and the meter in
    use; a reading that tolerances decide between two states says so in its note.
    """
    nets = [(n, session.net(n)) for n in names]
    nets = nets or [(session.assembly.net_label(n), n) for n in session.probe_nets()]
    found = []
    for condition in conditions:
        table = predict(session.machine, condition, [faults or {}], moves=session.dictionary.moves)
        found += [_line(session, table, condition, name, net) for name, net in nets]
    return found


def _line(session: Session, table: Predictions, condition: Condition, name: str, net: str) -> Line:
    i = table.column(net)
    source = float(table.ohms[0, i])
    loading = session.meter.ohms / (session.meter.ohms + source)
    mean = float(table.mean[0, i]) * loading
    own = 2 * session.meter.sigma(mean, 0.01)
    # The table's band is of nine specimens in ten; two sigma are meant here.
    below, above = (float(end) * loading - mean for end in table.band[0, :, i])
    return Line(
        name,
        net,
        condition,
        mean,
        _edge(mean, min(below, 0.0), -own),
        _edge(mean, max(above, 0.0), own),
        float(table.ripple[0, i]),
        float(table.low[0, i]),
        Status(int(table.status[0])).sentence,
        source > ADRIFT,
        table.bistable(0, net),
    )


def _edge(mean: float, tolerance: float, own: float) -> float:
    """End of a band: tolerance and meter error add as independent errors do."""
    return mean + float(np.copysign(np.hypot(TWO_SIGMA * tolerance, own), own))
