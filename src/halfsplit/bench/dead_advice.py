"""Can a dead reading decide about the part it is taken across, and if not, what would.

Everything proposed here was simulated: a lead lifted, another part lifted, another pair of points.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition, refit
from halfsplit.bench.session import Session
from halfsplit.circuit.netlist import Overrides
from halfsplit.faults.dead import Ask
from halfsplit.faults.dead_table import DeadTable, Pair, dead_tables
from halfsplit.faults.ohmmeter import Ohmmeter, ohmmeters
from halfsplit.parts.base import Part

# Values an ohmmeter never shows: a capacitor's farads and series resistance.
BEYOND_OHMS = {"c", "esr"}
OTHER_METERS = ("diode", "low-power", "ohms-1mA")  # tried in turn before any lead is lifted
MOST_NETS, MOST_PAIRS, MOST_LIFTS = 24, 6, 4

Variant = tuple[Overrides, Overrides]


def across(bench: Session, pair: Pair, condition: Condition) -> list[str]:
    """Parts with a terminal on both nets, those taken out or lifted left aside."""
    off = {c.part for c in condition.changes if c.what in ("removed", "lifted")}
    return [
        ref
        for ref, part in bench.assembly.parts.items()
        if set(pair) <= set(part.terminals().values()) and ref not in off and part.modes()
    ]


class Judge:
    """One pair, one meter, one condition: what its reading tells about parts across it."""

    def __init__(self, bench: Session, pair: Pair, meter: Ohmmeter, condition: Condition) -> None:
        self.bench, self.pair, self.meter, self.condition = bench, pair, meter, condition
        self.circuit = bench.dead.circuit

    def part(self, ref: str) -> dict[str, Any]:
        """Each fault mode of a part: what the meter would show, and whether that tells it.

        `told` is None for what no ohmmeter shows, such as a dried-out capacitor.
        """
        modes = self._modes(ref)
        told, tables = self._told([m for _, m in modes])
        listed = []
        for k, (name, changes) in enumerate(modes, 1):
            unseen = {key for _, key in changes} <= BEYOND_OHMS
            listed.append(
                {
                    "mode": name,
                    "shows": [
                        None if t.over[k] else self.meter.unscale(float(t.x[k])) for t in tables
                    ],
                    "told": None if unseen else told[k - 1],
                }
            )
        return {"part": ref, "what": self.bench.assembly.parts[ref].label(), "modes": listed}

    def advice(self, decided: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
        """What to do instead for each part the reading cannot decide about, least work first."""
        found = []
        for item in decided:
            blind = [m["mode"] for m in item["modes"] if m["told"] is False]
            if blind:
                found.append(self._instead(item["part"], blind))
        return found

    def _instead(self, ref: str, blind: Sequence[str]) -> dict[str, Any]:
        changes = [c for name, c in self._modes(ref) if name in blind]
        ways: list[dict[str, Any]] = []
        for name in OTHER_METERS:
            rival = ohmmeters()[name]
            if rival != self.meter and all(self._told(changes, meter=rival)[0]):
                words = f"measure here with {rival.words} ({name})"
                ways.append({"do": "meter", "meter": name, "words": words})
                break
        alone = self._told(changes, self._others_gone(ref))[0]
        never = [name for name, told in zip(blind, alone, strict=True) if not told]
        wanted = [c for c, told in zip(changes, alone, strict=True) if told]
        if wanted:
            elsewhere = self._other_pair(wanted)
            if elsewhere:
                where = self._words(elsewhere)
                ways.append({"do": "measure", "nets": list(elsewhere), "words": f"measure {where}"})
            lead = self._lead(self.bench.assembly.parts[ref])
            out = f"lift end {lead} of {ref}" if lead else f"take {ref} out"
            ways.append({"do": "lift", "part": ref, "lead": lead, "words": f"{out} and measure it"})
            other = self._other_lift(ref, wanted)
            if other:
                words = f"lift end {other[1]} of {other[0]} and measure here again"
                ways.append({"do": "lift", "part": other[0], "lead": other[1], "words": words})
        text = ", or ".join(w["words"] for w in ways) or "no resistance reading tells it"
        return {"part": ref, "cannot_tell": list(blind), "never": never, "ways": ways, "text": text}

    def _modes(self, ref: str) -> list[tuple[str, Overrides]]:
        part = self.bench.assembly.parts[ref]
        for change in self.condition.changes:
            if change.part == ref and change.what == "fitted":
                part = refit(part, change)
        if len(part.terminals()) <= 3:
            return [(m.name, m.changes) for m in part.modes()]
        # Of a bridge or a transformer only what stands between these two points is in question.
        here = {e.name for e in part.elements() if set(self.pair) <= set(e.nets)}
        return [(m.name, m.changes) for m in part.modes() if here & {e for e, _ in m.changes}]

    def _told(
        self,
        modes: Sequence[Overrides],
        laid: Overrides | None = None,
        pair: Pair | None = None,
        meter: Ohmmeter | None = None,
    ) -> tuple[list[bool], list[DeadTable]]:
        """Whether each mode reads apart from a good part, in one polarity or the other."""
        first = pair or self.pair
        over = laid or {}
        variants: list[Variant] = [({}, over), *(({}, {**over, **m}) for m in modes)]
        both = [first, (first[1], first[0])]
        used = meter or self.meter
        made = dead_tables(
            self.circuit, both, self.condition, used, variants, self.bench.dead.moves
        )
        tables = [made[p] for p in both]
        bands, top = [t.bands(used) for t in tables], used.ranges[-1].top
        told = [
            any(t.apart(0, k, b, top) for t, b in zip(tables, bands, strict=True))
            for k in range(1, len(variants))
        ]
        return told, tables

    def _others_gone(self, ref: str) -> Overrides:
        """Everything but one part out: what is measured once its lead is lifted."""
        own = {e.name for e in self.bench.assembly.parts[ref].elements()}
        left = [e for e in self.bench.machine.netlist if e.name not in own]
        return {key: value for e in left for key, value in e.gone().items()}

    def _lead(self, part: Part) -> str:
        """A lead to lift, one that is not on common if there is a choice; "" when none may be."""
        common = self.bench.assembly.common
        leads = [t for t in part.terminals() if len(part.terminals()) == 2]
        return next((t for t in leads if part.terminals()[t] != common), "")

    def _other_pair(self, modes: Sequence[Overrides]) -> Pair | None:
        """Two reachable nets whose reading tells every one of the modes, best first."""
        near = dict.fromkeys(self.pair)
        for part in self.bench.assembly.parts.values():
            nets = list(part.terminals().values())
            if set(nets) & set(self.pair) and len(nets) <= 4:
                near |= dict.fromkeys(nets)
        near |= dict.fromkeys(r.net for r in self.bench.assembly.rails.values())
        near[self.bench.assembly.common] = None
        mains = self.bench.machine.mains_nets()
        nets = [n for n in near if n not in mains][:MOST_NETS]
        pairs = [p for p in combinations(nets, 2) if set(p) != set(self.pair)]
        laid: list[Overrides] = [{}, *modes]
        asks = [Ask(*p, {}, m) for p in pairs for m in laid]
        found = self.circuit.read(asks, self.condition, self.meter)
        if not pairs:
            return None
        x = self.meter.scale(np.nan_to_num(found.value)).reshape(len(pairs), -1)
        x = np.where(found.over.reshape(x.shape), 20.0, x)
        score = np.abs(x[:, 1:] - x[:, :1]).min(axis=1)
        for k in np.argsort(-score)[:MOST_PAIRS]:
            if score[k] > 0.0 and all(self._told(modes, pair=pairs[int(k)])[0]):
                return pairs[int(k)]
        return None

    def _other_lift(self, ref: str, modes: Sequence[Overrides]) -> tuple[str, str] | None:
        """A two-lead part beside this one that, lifted, lets the reading here decide."""
        parts = self.bench.assembly.parts
        off = {c.part for c in self.condition.changes}
        rivals = [r for r, p in parts.items() if r != ref and self._lead(p) and r not in off]
        asks = [Ask(*self.pair), *(Ask(*self.pair, {}, self.circuit.gone(r)) for r in rivals)]
        found = self.circuit.read(asks, self.condition, self.meter)
        x = self.meter.scale(np.nan_to_num(found.value))
        for k in np.argsort(-np.abs(x[1:] - x[0]))[:MOST_LIFTS]:
            part = parts[rivals[int(k)]]
            lead = self._lead(part)
            lifted = part.lift(lead)
            if lifted and all(self._told(modes, lifted)[0]):
                return part.ref, lead
        return None

    def _words(self, pair: Pair) -> str:
        """Where to put the leads: across a part when one sits there, else the nets."""
        for ref, part in self.bench.assembly.parts.items():
            if set(part.terminals().values()) == set(pair):
                return f"across {ref} instead"
        first, second = (self.bench.assembly.net_label(n) for n in pair)
        return f"{first} to {second} instead"
