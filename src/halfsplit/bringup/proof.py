"""When a rail counts as proved: right at a load, with everything it leans on right at that load."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.model import Assembly
from halfsplit.bringup.leans import LeansMap
from halfsplit.diagnosis.evidence import Evidence
from halfsplit.quantity.volts import volts

# How far a raw rail and a reference may be from what the healthy circuit gives, where the file
# states no limits. Common practice, no published source.
NEAR = {"raw": 0.15, "reference": 0.08}
Expected = Callable[[Condition, str], float]
Load = tuple[Any, ...]


@dataclass(frozen=True)
class Proof:
    """Where one node stands.

    Attributes
    ----------
    proved: whether some load proves it. at: that load in words, else the load nearest to it.
    missing: what is not yet proved at that load, in words; empty when proved.
    readings: journal entries it rests on.
    """

    label: str
    kind: str
    proved: bool
    at: str
    missing: tuple[str, ...]
    readings: tuple[int, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return asdict(self)


def proofs(
    assembly: Assembly,
    leans: LeansMap,
    evidence: Sequence[Evidence],
    now: Condition,
    expected: Expected,
) -> dict[str, Proof]:
    """Every rail and reference of the map, proved or with what is missing.

    Only readings of the machine as it stands count: the same parts out, lifted, bypassed and fitted
    as now, and nothing temporary. `expected` gives the healthy volts of a net in a condition, for
    what has no limits in the file.
    """
    if any(c.temporary for c in now.changes):
        usable: list[Evidence] = []
    else:
        usable = [
            e
            for e in evidence
            if e.quantity == "volts"
            and e.neg in ("", assembly.common)
            and e.condition.energised()
            and e.condition.changes == now.changes
        ]
    found = {}
    book = _Book(assembly, leans, usable, expected)
    loads = list(dict.fromkeys(load_of(e.condition) for e in usable))
    for label, kind in leans.kinds.items():
        if kind == "signal":
            continue
        found[label] = book.best(label, kind, loads)
    return found


def load_of(condition: Condition) -> Load:
    """What makes two readings readings at the same load: feed, load, and mains level."""
    return (condition.feed, condition.load, condition.extra, condition.mains, condition.lamp)


class _Book:
    """The readings by node and load."""

    def __init__(
        self,
        assembly: Assembly,
        leans: LeansMap,
        usable: Sequence[Evidence],
        expected: Expected,
    ) -> None:
        self.assembly, self.leans, self.expected = assembly, leans, expected
        self.last: dict[tuple[str, Load], Evidence] = {}
        for e in usable:  # in order: the latest stands
            self.last[e.pos, load_of(e.condition)] = e

    def best(self, label: str, kind: str, loads: Sequence[Load]) -> Proof:
        """Proved at some load, else the load at which least is missing."""
        nearest: Proof | None = None
        for load in loads:
            seen: dict[str, int] = {}
            missing = self._missing(label, load, seen)
            if kind == "rail" and not self._loaded(label, load):
                missing = [*missing, f"{label} carries no load at {_words(load)}"]
            at = _words(load)
            numbers = tuple(sorted(n for n in seen.values() if n))
            proof = Proof(label, kind, not missing, at, tuple(dict.fromkeys(missing)), numbers)
            if proof.proved:
                return proof
            if nearest is None or len(proof.missing) < len(nearest.missing):
                nearest = proof
        if nearest is None:
            under = self.leans.all_under(label)
            more = f", and of all it leans on: {', '.join(under)}" if under else ""
            word = f"needs a reading in limits at a load{more}"
            nearest = Proof(label, kind, False, "", (word,), ())
        return nearest

    def _missing(self, label: str, load: Load, seen: dict[str, int]) -> list[str]:
        """What keeps a node from being proved at a load; loops are entered once."""
        if label in seen:
            return []
        seen[label] = 0
        found = []
        item = self.last.get((self.leans.nets[label], load))
        if item is None:
            found.append(f"{label} has no reading at {_words(load)}")
        else:
            low, high = self._limits(label, item.condition)
            if not low <= item.value <= high:
                found.append(
                    f"{label} reads {volts(item.value)} at {_words(load)}, limits {volts(low)} to "
                    f"{volts(high)}"
                )
            else:
                seen[label] = item.number
        for on in self.leans.on(label):
            found += self._missing(on, load, seen)
        return found

    def _limits(self, label: str, condition: Condition) -> tuple[float, float]:
        net = self.leans.nets[label]
        for rail in self.assembly.rails.values():
            if rail.net == net:
                return rail.limits.low, rail.limits.high
        usual = self.expected(condition, net)
        off = abs(usual) * NEAR.get(self.leans.kinds[label], NEAR["raw"])
        return usual - off, usual + off

    def _loaded(self, label: str, load: Load) -> bool:
        """Whether a rail carries a load of its own; where no load of the file lies on it, the
        circuit behind it is its load."""
        net = self.leans.nets[label]
        everywhere = {n for nets in self.assembly.loads.values() for n in nets}
        _, name, extra, *_ = load
        return net not in everywhere or net in {*self.assembly.loads[name], *(n for n, _ in extra)}


def _words(load: Load) -> str:
    feed, name, extra, mains, _ = load
    laid = ", ".join(f"{net} {value}" for net, value in extra)
    level = f", mains {100 * mains:g} %" if mains is not None else ""
    return f"load {laid or name} fed by {feed}{level}"
