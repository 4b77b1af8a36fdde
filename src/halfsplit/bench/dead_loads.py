"""Loads left on a dead machine: they are no part of it, and often most of what a meter shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.model import Assembly
from halfsplit.bench.dead_advice import Judge, across
from halfsplit.circuit.netlist import Overrides
from halfsplit.faults.dead import Ask
from halfsplit.faults.dead_table import Pair
from halfsplit.quantity import show

# A load is most of a reading that at least doubles without it: more of the current went through
# it than through all the rest.
DOUBLED = 2.0
OFF = 1e-12  # S, a load taken off


def among(assembly: Assembly, condition: Condition) -> Mapping[str, tuple[str, set[str]]]:
    """Each load by its net: in words, and the nets it stands between.

    A load of constant amps is left out: it draws nothing from a dead machine.
    """
    loads = dict(assembly.loads[condition.load]) | dict(condition.extra)
    return {
        net: (f"{show(load.ohms, 'ohm', 3)} load", {net, assembly.common})
        for net, load in loads.items()
        if load.ohms is not None
    }


def gone(net: str) -> Overrides:
    """Changes that take the load off one net."""
    return {(f"load:{net}", "g"): OFF}


def mostly(found: Sequence[dict[str, Any]], readings: Sequence[dict[str, Any]]) -> list[str]:
    """Loads straight across the points that are most of the reading, in words."""
    shows = {r["red"]: r["shows"] for r in readings}
    words = []
    for item in found:
        now, without = shows[item["red"]], item["without"]
        if not item["load"] or not item["across"] or now is None:
            continue
        if without is None or without > DOUBLED * now:
            words.append(f"this reading is mostly the {item['what']} on {item['load']}")
    return words


def take_off(
    judge: Judge, nets: Sequence[str], faults: Overrides
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """What to do about loads in the reading, and what remains to do about parts after that.

    Taking a load off is less work than anything at a part, so all else is judged without it.
    """
    bench, pair, meter = judge.bench, judge.pair, judge.meter
    left = {n: v for n, v in bench.assembly.loads[judge.condition.load].items() if n not in nets}
    left |= {n: v for n, v in judge.condition.extra if n not in nets}
    off = replace(judge.condition, load="none", extra=tuple(sorted(left.items())))
    both: list[Pair] = [pair, (pair[1], pair[0])]
    found = judge.circuit.read([Ask(*p, faults) for p in both], off, meter)
    shows: list[float | None] | None = None  # where it was not solved nothing is claimed
    if found.ok.all():
        shows = [None if o else float(v) for v, o in zip(found.value, found.over, strict=True)]
    it, load = ("it", "load") if len(nets) == 1 else ("them", "loads")
    words = f"take {it} off and measure here again"
    first = {
        "part": f"{load} on {', '.join(nets)}",
        "cannot_tell": [],
        "never": [],
        "ways": [{"do": "unload", "nets": list(nets), "shows": shows, "words": words}],
        "text": words,
    }
    freed = Judge(bench, pair, meter, off)
    then = freed.advice([freed.part(ref) for ref in across(bench, pair, off)])
    for item in then:
        item["text"] = f"with the {load} off, {item['text']}"
    return first, then
