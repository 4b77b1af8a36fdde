"""How long stored charge stays: through the circuit's own bleeders, and through a resistor.

Everything that conducts only while it is alive (semiconductors, valves, gas tubes, contacts) is
taken as open; what is left is linear and solved exactly.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.bringup.solving import Bench
from halfsplit.circuit import elements as el
from halfsplit.parts.base import Part
from halfsplit.quantity import show
from halfsplit.quantity.eseries import next_above
from halfsplit.quantity.volts import volts

Floats = npt.NDArray[np.float64]

# Direct volts that count as no longer hazardous to touch: IEC 61010-1, the edition with the lower
# figure (30 V rms, 42.4 V peak, 60 V dc), read in a second-hand public copy.
TOUCH = 60.0
HANDS = 1.0  # V below which a part is handled here; common practice
WORTH = 1e-3  # J below which a capacitor is left out of the list
SHOCK = 60.0  # V direct that may be touched, IEC 61010-1
STARTLES, LETHAL = 0.25, 10.0  # J; common practice, no published source
OHMS_A_VOLT = (10.0, 100.0)  # of a discharging resistor; common practice
REBOUND = 0.10  # of its volts a dielectric may give back within minutes; from memory, unconfirmed
STRAY, FLOATING = 1e-10, 1e-12  # F of wiring, S that nothing hangs more freely than
JOINED = 1.0  # S from which two nets are one
LONGEST = 3600.0  # s beyond which a bleeder counts as none
AIM = 5.0  # s a discharging resistor should take, if its ohms a volt allow; common practice
MATTERS = 1.5  # times longer without it makes a resistor this capacitor's bleeder


def seconds(ohms: float, farads: float, begin: float, end: float) -> float:
    """Time a capacitor takes from `begin` to `end` volts through a resistor; 0 when it is there."""
    return ohms * farads * math.log(begin / end) if begin > end else 0.0


def joules(farads: float, level: float) -> float:
    """Energy of a capacitor at `level` volts [J]."""
    return 0.5 * farads * level**2


@dataclass(frozen=True)
class Stored:
    """One capacitor and its charge.

    Attributes
    ----------
    level: its volts with the machine on, the highest of no load and every load of the file, or its
        rating where that was not solved (`from_rating`). energy: at that level [J].
    own: seconds to `limit` through the circuit alone, None for an hour or more.
    bleeders: resistors without which it takes half as long again, or for ever.
    resistor: proposed [ohm], with seconds to `limit`, first watts and the joules it takes.
    """

    part: str
    farads: float
    level: float
    from_rating: bool
    rated: float | None
    energy: float
    limit: float
    own: float | None
    bleeders: tuple[str, ...]
    resistor: float
    resistor_seconds: float
    first_watts: float
    first_amps: float
    words: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {**asdict(self), "rebound_volts": REBOUND * self.level}


def capacitors(bench: Bench) -> dict[str, Part]:
    """Every capacitor as it is fitted now; removed ones are left out."""
    gone = {c.part for c in bench.condition.changes if c.what == "removed"}
    return {
        ref: bench.machine.fitted(part, bench.condition)
        for ref, part in bench.machine.assembly.parts.items()
        if ref not in gone
        and (part.KIND in ("electrolytic", "tantalum") or "capacitor" in part.KIND)
    }


class Remains:
    """The linear rest of a machine switched off: resistance, chokes as copper, capacitors.

    Nets joined by less than an ohm are one node; nodes without a capacitor are eliminated, so rates
    span few enough decades for the slowest to come out right.
    """

    def __init__(self, bench: Bench, without: str = "") -> None:
        machine = bench.machine
        values = {**bench.faults, **machine.values(bench.bare())}
        self.common = machine.assembly.common
        out = set[str]()
        if without:
            out = {e.name for e in machine.assembly.parts[without].elements()}
        parts = []
        for e in machine.netlist:
            laid = e.name.startswith(("load:", "hold:", "feed:", "drain:"))
            if len(e.nets) >= 2 and not laid and e.name not in out:
                parts.append((e.nets[0], e.nets[1], *self._linear(e, values)))
        self.node = {n: n for n in (*machine.topology.nets, self.common)}
        for first, second, g, _ in parts:
            if g >= JOINED:
                a, b = self.group(first), self.group(second)
                self.node[b if a == self.common else a] = a if a == self.common else b
        holds = {self.group(n) for *ends, _, c in parts if c > 0.0 for n in ends} - {self.common}
        groups = {self.group(n) for n in self.node} - {self.common}
        self.nodes = [*sorted(holds), *sorted(groups - holds)]
        index = {n: i for i, n in enumerate(self.nodes)}
        size, kept = len(index), len(holds)
        g_, c_ = np.eye(size) * FLOATING, np.eye(size) * STRAY
        for first, second, g, c in parts:
            a_, b_ = index.get(self.group(first)), index.get(self.group(second))
            for matrix, value in ((g_, g), (c_, c)):
                for i, j in ((a_, b_), (b_, a_)):
                    if i is not None and i != j and value:
                        matrix[i, i] += value
                        if j is not None:
                            matrix[i, j] -= value
        inner = g_[kept:, kept:]
        reduced = g_[:kept, :kept]
        if size > kept:
            reduced = reduced - g_[:kept, kept:] @ np.linalg.solve(inner, g_[kept:, :kept])
        self.nodes = self.nodes[:kept]
        self.lower = np.linalg.cholesky(c_[:kept, :kept])
        self.inverse = np.linalg.inv(self.lower)
        rates, self.modes = np.linalg.eigh(self.inverse @ reduced @ self.inverse.T)
        self.rates = np.maximum(rates, 0.0)

    def group(self, net: str) -> str:
        """Node a net belongs to."""
        while self.node[net] != net:
            net = self.node[net]
        return net

    @staticmethod
    def _linear(e: el.Element, values: Any) -> tuple[float, float]:
        """Conductance [S] and capacitance [F] of an element with everything active dead."""
        own = {k: values.get((e.name, k), v) for k, v in zip(e.PARAMS, e.vector(), strict=True)}
        if isinstance(e, el.Resistor):
            return float(own["g"]), 0.0
        if isinstance(e, el.Capacitor):
            return float(own.get("g", 0.0)), float(own["c"])
        if isinstance(e, el.Inductor):
            return 1.0 / max(float(own["r"]), 1e-6), 0.0
        return 0.0, 0.0

    def until(self, start: Mapping[str, float], pos: str, neg: str, limit: float) -> float | None:
        """Seconds until |v(pos) - v(neg)| is below `limit` for good, from net volts `start`; None
        for longer than `LONGEST`."""
        first, second = self.group(pos), self.group(neg)
        if first == second:
            return 0.0
        begin, pick = np.zeros(len(self.nodes)), np.zeros(len(self.nodes))
        for net, value in start.items():
            if self.group(net) == net and net in self.nodes:
                begin[self.nodes.index(net)] = value
        for node, sign in ((first, 1.0), (second, -1.0)):
            if node != self.common:
                pick[self.nodes.index(node)] += sign
        weights = self.modes.T @ (self.lower.T @ begin)
        shape = (pick @ self.inverse.T) @ self.modes * weights

        def level(t: Floats) -> Floats:
            return np.asarray(np.abs(np.exp(-np.outer(t, self.rates)) @ shape))

        grid = np.concatenate([[0.0], np.geomspace(1e-6, LONGEST, 400)])
        above = np.flatnonzero(level(grid) > limit)
        if not above.size:
            return 0.0
        if above[-1] == len(grid) - 1:
            return None
        low, high = grid[above[-1]], grid[above[-1] + 1]
        for _ in range(50):
            middle = 0.5 * (low + high)
            if level(np.array([middle]))[0] > limit:
                low = middle
            else:
                high = middle
        return float(high)


def _levels(bench: Bench) -> tuple[list[str], list[Floats]]:
    """Net volts with the machine on, unloaded and with every load of the file; what solved."""
    loads = bench.machine.assembly.loads
    laid: list[Any] = [{}]
    for load in loads.values():
        laid.append(
            {(f"load:{n}", "g"): 1.0 / v.ohms for n, v in load.items() if v.ohms is not None}
            | {(f"drain:{n}", "amps"): v.amps for n, v in load.items() if v.amps}
        )
    table = bench.solve(laid)
    peak = table.mean + 0.5 * np.sign(table.mean) * table.ripple
    good = [row for row in range(len(laid)) if bench.claimed(table, row)]
    return [*table.nets], [np.nan_to_num(peak[row, :-1]) for row in good]


def stored(bench: Bench, limit: float = TOUCH, through: float | None = None) -> list[Stored]:
    """Every capacitor worth a millijoule, most energy first, down to `limit` volts.

    `through` is the discharging resistor [ohm]; None proposes one a capacitor.
    """
    common = bench.machine.assembly.common
    names, states = _levels(bench) if bench.condition.energised() else ([], [])
    remains = Remains(bench)
    kinds = ("resistor", "potentiometer", "relay", "lamp")
    without = {
        ref: Remains(bench, ref)
        for ref, part in bench.machine.assembly.parts.items()
        if part.KIND in kinds
    }
    at = {n: i for i, n in enumerate(names)}
    found = []
    for ref, part in capacitors(bench).items():
        pos, neg = list(part.terminals().values())
        farads, rated = float(part.__dict__["value"]), part.__dict__.get("volts")
        over = [
            abs((s[at[pos]] if pos in at else 0.0) - (s[at[neg]] if neg in at else 0.0))
            for s in states
        ]
        worst = int(np.argmax(over)) if over else -1
        level = float(over[worst]) if over else float(rated or 0.0)
        if joules(farads, level) < WORTH:
            continue
        start = {n: float(states[worst][i]) for n, i in at.items()} if states else {pos: level}
        if not states and pos == common:
            start = {neg: -level}
        own = remains.until(start, pos, neg, limit)
        bleeders = []
        if own and level > limit:
            for name, less in without.items():
                longer = less.until(start, pos, neg, limit)
                if longer is None or longer > MATTERS * own:
                    bleeders.append(name)
        ohms = through or _proposed(farads, level, limit)
        found.append(
            Stored(
                ref,
                farads,
                level,
                not over,
                float(rated) if rated else None,
                joules(farads, level),
                limit,
                own,
                tuple(bleeders),
                float(ohms),
                seconds(ohms, farads, level, limit),
                level**2 / ohms,
                level / ohms,
                "",
            )
        )
    found.sort(key=lambda s: -s.energy)
    return [_told(s) for s in found]


def _proposed(farads: float, level: float, limit: float) -> float:
    """A resistor [ohm] that takes `AIM` seconds, within the usual ohms a volt."""
    least, most = (k * max(level, 1.0) for k in OHMS_A_VOLT)
    wanted = AIM / (farads * math.log(level / limit)) if level > limit else most
    return next_above("E12", 0.999 * min(max(wanted, least), most))


def _told(s: Stored) -> Stored:
    """The same with its sentence for people."""
    said = f"{s.part} may hold {show(s.energy, 'J', 2)} at {volts(s.level)}"
    if s.from_rating:
        said += " (its rating; what it stands at was not solved)"
    else:
        said += ", the most it reaches as the machine stands now"
        if s.rated:
            most = show(joules(s.farads, s.rated), "J", 2)
            said += f" ({most} at its rating, {s.rated:g} V)"
    if s.energy >= STARTLES and s.level < SHOCK:
        said += ", no shock at these volts, but across a ring or a tool it burns and welds"
    elif s.energy >= LETHAL:
        said += ", which can kill"
    elif s.energy >= STARTLES:
        said += ", a heavy shock"
    if s.level <= s.limit:
        said += f"; it never passes {volts(s.limit)}"
    elif s.own is None:
        said += f"; nothing in the circuit takes it below {volts(s.limit)} within an hour"
    else:
        by = f" by {', '.join(s.bleeders)}" if s.bleeders else ""
        said += f"; {show(s.own, 's', 2)} to {volts(s.limit)}{by}, if that is whole"
    if s.level > s.limit:
        said += (
            f"; through {show(s.resistor, 'ohm', 2)} {show(s.resistor_seconds, 's', 2)}, "
            f"{show(s.first_watts, 'W', 2)} at first, {show(s.energy, 'J', 2)} in all"
        )
    return Stored(**{**s.__dict__, "words": said})


def verdict(item: Stored, measured: float) -> dict[str, Any]:
    """What volts measured across it after discharging say."""
    reasons = []
    if abs(measured) > item.limit:
        reasons.append(f"{volts(abs(measured))} is above {volts(item.limit)}: discharge again")
    elif abs(measured) > HANDS:
        reasons.append(f"{volts(abs(measured))}: below {volts(item.limit)}, not yet below 1 V")
    return {
        "part": item.part,
        "passed": not reasons,
        "volts": measured,
        "reasons": reasons,
        "again": f"measure again in 5 min: up to {volts(REBOUND * item.level)} may come back",
    }
