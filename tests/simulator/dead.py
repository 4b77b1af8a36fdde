"""An ohmmeter on the dead machine, by ngspice: an independent circuit and an independent meter."""

from __future__ import annotations

from collections.abc import Mapping

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.netlist import Overrides
from halfsplit.faults.dead import DeadCircuit
from halfsplit.faults.ohmmeter import Ohmmeter, OhmsRange
from tests.simulator import deck


def by_ngspice(
    machine: Machine,
    changes: Overrides,
    condition: Condition,
    pair: tuple[str, str],
    meter: Ohmmeter,
    open_lead: tuple[str, str] | Mapping[str, str] | None = None,
    closed: frozenset[str] = frozenset(),
) -> float | None:
    """Ohms (volts in a diode test) the meter shows; infinite for OL, None when ngspice gave up.

    A meter of ours runs out of current smoothly; this one is a current and a resistance, whichever
    gives less. Thyristors fire on ngspice's own gate volts.
    """
    circuit = DeadCircuit(machine)
    values = {**changes, **circuit.state(condition)}
    red, black = pair if meter.red == "positive" else pair[::-1]
    for one in meter.ranges:
        shown = _on_range(machine, values, (red, black), one, meter.test, open_lead, closed)
        if shown is None or shown <= one.top:
            return shown
    return float("inf")


def _on_range(
    machine: Machine,
    values: Overrides,
    pair: tuple[str, str],
    one: OhmsRange,
    test: str,
    open_lead: tuple[str, str] | Mapping[str, str] | None,
    closed: frozenset[str],
) -> float | None:
    thyristors = [p for p in machine.assembly.parts.values() if p.KIND == "scr"]
    fired: frozenset[str] = frozenset()
    for _ in range(2):
        made = deck.write(machine.topology, values, open_lead=open_lead, fired=fired, closed=closed)
        red, black = (made.net(n) for n in pair)
        if one.amps is not None:
            ohms = 0.1 * one.volts / one.amps
            rest = f"({one.volts:.9g}-v({red},{black}))/{ohms:.9g}"
            made.lines.append(f"Bohm {black} {red} I=min({one.amps:.9g},{rest})")
        else:
            made.lines += [f"Vohm ohm {black} dc {one.volts:.9g}"]
            made.lines += [f"Rohm ohm {red} {one.inside:.9g}"]
        gates = {p.ref: p.__dict__["g"] for p in thyristors}
        found = deck.operating_point(made, sorted({*pair, *gates.values()}))
        if found is None:
            return None
        found[machine.assembly.common] = 0.0
        now = frozenset(
            p.ref
            for p in thyristors
            if found[gates[p.ref]] - found[p.terminals()["k"]] >= p.__dict__["trigger_volts"]
        )
        if now == fired:
            break
        fired = now
    volts = found[pair[0]] - found[pair[1]]
    if test == "diode":
        return volts
    if one.amps is not None:
        amps = min(one.amps, (one.volts - volts) / (0.1 * one.volts / one.amps))
    else:
        amps = (one.volts - volts) / (one.inside or 1.0)
    return volts / max(amps, 1e-15)
