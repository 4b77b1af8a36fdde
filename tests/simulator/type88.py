"""The valve supply of the third demo machine, solved by us and by ngspice."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.script import load_faults
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Solution
from tests.simulator import deck

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "type88" / "supply.yaml"
AS_FOUND = EXAMPLE.with_name("as-found.yaml")
# What is joined to a winding hangs in the air while the mains are off.
RAILS = ("p250", "n150", "p108", "raw", "nraw")


@cache
def supply() -> Machine:
    """The compiled demo machine."""
    assembly, problems = load(EXAMPLE)
    assert assembly is not None, problems
    return Machine(assembly)


def fault(name: str) -> Overrides:
    """Changes of "R9 value=560k" (another value), "C7 ohms=500k" (a leak), "V3 removed" (a whole
    bottle), a mode such as "R3 open", "as found" (the script), or "" (healthy).
    """
    if name == "as found":
        return load_faults(supply().assembly, AS_FOUND)
    if not name:
        return {}
    ref, _, what = name.partition(" ")
    parts = supply().assembly.parts
    if what == "removed":
        taken = [p for r, p in parts.items() if r == ref or r[:-1] == ref]
        assert taken
        return {key: value for p in taken for e in p.elements() for key, value in e.gone().items()}
    if what.startswith("ohms="):
        from halfsplit.quantity import parse

        return {(ref, "g"): 1.0 / parse(what.removeprefix("ohms="), "ohm")}
    if "=" in what:
        key, _, value = what.partition("=")
        fields = {k: v for k, v in parts[ref].__dict__.items() if v is not None} | {key: value}
        made = type(parts[ref])(**fields).elements()
        pairs = [(e.name, zip(e.PARAMS, e.vector(), strict=True)) for e in made]
        return {(name_, p): v for name_, values in pairs for p, v in values}
    return dict({m.name: m.changes for m in parts[ref].modes()}[what])


def solve(changes: list[Overrides], condition: Condition) -> Solution:
    """Our operating points: each followed up from switch-on, with its tubes lit or dark."""
    topology, state = supply().topology, supply().values(condition)
    return operating_point(topology, topology.rows([{**c, **state} for c in changes]))


def lit(found: Solution, row: int) -> frozenset[str]:
    """Gas tubes lit in a solved row."""
    elements = enumerate(supply().netlist)
    return frozenset(
        e.name for i, e in elements if isinstance(e, el.Gas) and found.latched[row, i] == 1
    )


def volts(found: Solution, row: int) -> dict[str, float]:
    """Voltage of every net of a solved row [V]."""
    return dict(zip(supply().topology.nets, map(float, found.mean[row]), strict=True))


def by_ngspice(
    changes: Overrides,
    condition: Condition,
    glowing: frozenset[str],
    nets: list[str],
    guess: dict[str, float] | None = None,
) -> tuple[dict[str, float], list[str]] | None:
    """ngspice's operating point with these tubes lit, and every tube whose state it denies.

    A dark tube that sees its striking voltage, or a lit one with less than its least current, by
    ngspice's own volts, could not be as it is taken.
    """
    machine = supply()
    state = {**changes, **machine.values(condition)}
    written = deck.write(machine.topology, state, fired=glowing)
    tubes = [e for e in machine.netlist if isinstance(e, el.Gas)]
    watched = sorted({*nets, *(n for e in tubes for n in e.nets if n != "com")})
    found = deck.operating_point(written, watched, guess)
    if found is None:
        return None
    denied = []
    for e in tubes:
        p = dict(zip(e.PARAMS, e.vector(), strict=True))
        p |= {key: v for (name, key), v in state.items() if name == e.name}
        across = found.get(e.nets[0], 0.0) - found.get(e.nets[1], 0.0)
        low = (across - p["volts"]) / p["r"] < 0.98 * p["out"] - 0.05 / p["r"]
        strikes = p["able"] > 0.5 and across >= 1.005 * p["strike"]
        if low if e.name in glowing else strikes:
            denied.append(e.name)
    return {n: found[n] for n in nets}, denied


def solid(found: Solution, ohms: np.ndarray, row: int, most: float) -> list[str]:
    """Nets off the windings that something holds better than `most` [ohm]."""
    machine = supply()
    skip = machine.alternating_nets() | machine.mains_nets()
    # A table leaves out the nets inside parts, the solver's own slopes do not.
    names = machine.topology.nets
    if ohms.shape[1] < len(names):
        names = tuple(n for n in names if "#" not in n)
    return [
        n for i, n in enumerate(names) if n not in skip and "#" not in n and ohms[row, i] < most
    ]
