"""What a position demands of the part that sits in it, worked out from the circuit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.bringup import crowbar
from halfsplit.bringup.conductors import conductor_words
from halfsplit.bringup.reform import WARM
from halfsplit.bringup.solving import Bench
from halfsplit.bringup.trial import (
    FASTEST,
    SLOWEST,
    faults_of,
    outcomes,
    rated_conditions,
    strains,
)
from halfsplit.circuit.netlist import Overrides
from halfsplit.faults.ratings import reverse_limit
from halfsplit.faults.sampling import Floats
from halfsplit.faults.stress import Stress, stresses
from halfsplit.parts.base import Part
from halfsplit.parts.capacitance import Capacitance
from halfsplit.parts.kinds.fuse import Fuse
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# Ratings a part in this position should have over what it sees: half as much again in volts and
# amperes, twice in watts. Common practice, no published source.
MARGIN, MARGIN_WATTS = 1.5, 2.0
BURNS = 0.5  # A; below this nobody asks which wire. Common practice, no published source.
PASSING = ("fuse", "wire", "switch", "connector", "trace")  # nobody rates these in watts
# Leaks [A] tried across a capacitor, and what may go into its can as heat [W].
LEAKS = (1e-6, 3e-6, 10e-6, 30e-6, 100e-6, 300e-6, 1e-3, 3e-3, 10e-3, 30e-3, 100e-3)
HOLDING = ("zener", "gas-tube")  # their volts are what they make, not what they stand
LEAST_ACROSS = 1.0  # V direct across a capacitor below which its leak is nobody's concern
RIPPLES = 0.01  # A; below this no capacitor minds. Common practice, no published source.
# Multiples of the drawn value tried to find what the position bears.
STEPS = (0.1, 0.2, 0.33, 0.5, 0.67, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0)
GAIN_STEPS = (0.2, 0.33, 0.5, 0.67, 1.0, 1.5, 2.0, 3.0, 5.0)


@dataclass(frozen=True)
class Demand:
    """One thing a position asks for. `low`, `high` bound it in SI units, NaN where open."""

    name: str
    low: float
    high: float
    words: str


@dataclass(frozen=True)
class Card:
    """What a position demands, and where its worst was found.

    `seen` is what the part drawn goes through: watts, amps (peak), volts (peak), at the worst of
    `conditions`.
    """

    part: str
    label: str
    demands: tuple[Demand, ...]
    seen: dict[str, float]
    conditions: tuple[str, ...]
    unsolved: tuple[str, ...]

    def demand(self, name: str) -> Demand | None:
        """One demand by name."""
        return next((d for d in self.demands if d.name == name), None)

    def as_dict(self) -> dict[str, Any]:
        """Plain data for ``--json``; open bounds as null."""
        found = asdict(self)
        for d in found["demands"]:
            for bound in ("low", "high"):
                d[bound] = None if np.isnan(d[bound]) else d[bound]
        return found


def card(machine: Machine, ref: str, conditions: Sequence[Condition] | None = None) -> Card:
    """The card of one position, over the file's loads up to what the rails are rated for."""
    part = machine.assembly.parts[ref]
    chosen = rated_conditions(machine, part) if conditions is None else list(conditions)
    worst: dict[str, tuple[float, str]] = {}
    unsolved = []
    most = np.zeros(len(machine.assembly.parts))  # A, peak, of every part
    k = list(machine.assembly.parts).index(ref)
    for condition in chosen:
        found = stresses(machine, condition, [{}])
        if not np.isfinite(found.watts[0]).all():
            unsolved.append(condition.words())
            continue
        most = np.maximum(most, np.nan_to_num(found.amps[0]))
        _worse(worst, _seen(found, k, ref), condition.words())
        if isinstance(part, Fuse):  # blown, it stands whatever is then across it
            gone = stresses(machine, condition, [{}], fresh=[{(ref, "g"): 1e-12}])
            _worse(worst, {"volts": float(np.nan_to_num(gone.volts[0, k]))}, "blown")
    strained = strains(machine, chosen[-1]) if chosen else None
    if strained is not None:
        for row in strained.rows:
            _worse(worst, _seen(strained.stress, k, ref, row), strained.words[row])
    demands = _ratings(part, worst) + _fixed(part)
    demands += _lead(machine, part, most)
    demands += _fired(machine, ref, chosen[-1]) if chosen else []
    near = machine.assembly.beside(ref)
    if near:
        nan, listed = float("nan"), ", ".join(near)
        words = f"{listed}: look at these when it ran hot or was worked on"
        demands.append(Demand("beside it", nan, nan, words))
    demands += _window(machine, part, chosen)
    if isinstance(part, Capacitance) and not machine.self_oscillating:
        demands += _leak(machine, part)
    return Card(
        ref,
        part.label(),
        tuple(demands),
        {name: value for name, (value, _) in worst.items()},
        tuple(c.words() for c in chosen),
        tuple(unsolved),
    )


def _worse(worst: dict[str, tuple[float, str]], seen: dict[str, float], at: str) -> None:
    """Keep what is larger than before, with where it was seen; a hair more is no news."""
    for name, value in seen.items():
        if value > 1.001 * worst.get(name, (-1.0, ""))[0]:
            worst[name] = (value, at)


def _seen(found: Stress, k: int, ref: str, row: int = 0) -> dict[str, float]:
    """Watts, amps and volts of a part in a row; amps by its rating's own basis if known."""
    seen = {"watts": found.watts[row, k], "amps": found.amps[row, k], "volts": found.volts[row, k]}
    if np.isfinite(found.ripple[row, k]):
        seen["ripple"] = found.ripple[row, k]
    for i, limit in enumerate(found.limits):
        if limit.part == ref and limit.quantity in ("amps", "volts", "reverse"):
            seen[limit.quantity] = found.values[row, i]
    return {n: float(v) for n, v in seen.items()}


def _ratings(part: Part, worst: dict[str, tuple[float, str]]) -> list[Demand]:
    nan = float("nan")
    found = []
    if part.KIND in HOLDING:
        holds = float(part.__dict__["value"])
        words = f"{volts(holds)} as drawn, no more and no less: the circuit counts on it"
        found.append(Demand("volts", holds, holds, words))
    elif "volts" in worst:
        value, at = worst["volts"]
        words = f"sees {volts(value)} ({at}): rated {show(MARGIN * value, 'V', 2)} or more"
        found.append(Demand("volts", value, nan, words))
    if "amps" in worst and part.KIND not in ("electrolytic", "tantalum"):
        value, at = worst["amps"]
        if value > 1e-6:
            words = f"carries {show(value, 'A', 3)} ({at}): rated {show(MARGIN * value, 'A', 2)}"
            found.append(Demand("amps", value, nan, words + " or more"))
    if worst.get("ripple", (0.0, ""))[0] >= RIPPLES:
        value, at = worst["ripple"]
        words = f"carries {show(value, 'A', 3)} rms ({at}): rated as much or more"
        found.append(Demand("ripple current", value, nan, words))
    if "watts" in worst and worst["watts"][0] > 1e-3 and part.KIND not in PASSING:
        value, at = worst["watts"]
        words = f"takes {show(value, 'W', 3)} ({at}): rated {show(MARGIN_WATTS * value, 'W', 2)}"
        found.append(Demand("watts", value, nan, words + " or more where it sits"))
    back = reverse_limit(part)
    if back is not None:
        least = worst.get("reverse", (0.0, ""))[0]
        found.append(Demand("polarity", nan, nan, f"plus to the plus side; {volts(least)} back"))
    return found


def _fixed(part: Part) -> list[Demand]:
    """What the drawing itself says: polarity, pins, how it must fail."""
    nan = float("nan")
    found = []
    if part.KIND in ("npn", "pnp"):
        found.append(Demand("polarity", nan, nan, part.KIND.upper()))
    for name in ("pinout", "package", "leakage", "speed"):
        said = part.__dict__.get(name)
        if said is not None and not (name == "speed" and part.KIND != "fuse"):
            text = show(said, "A", 2) if name == "leakage" else str(said)
            label = {"pinout": "pin-out"}.get(name, name)
            found.append(Demand(label, nan, nan, f"as drawn: {text}"))
    if part.KIND == "fuse" or part.__dict__.get("tech") == "fusible":
        found.append(Demand("fails open", nan, nan, "must open, never weld or char to a short"))
    return found


def _fired(machine: Machine, ref: str, at: Condition) -> list[Demand]:
    """What a crowbar thyristor carries once it has fired."""
    found = []
    for scr, label in crowbar.find(machine):
        if scr == ref:
            bench, rail = Bench(machine, at, {}), machine.assembly.rails[label]
            bar = crowbar.predict_trip(bench, ref, label, rail, ends=True)
            nan = float("nan")
            found += [Demand("once fired", nan, nan, words) for words in bar.after]
    return found


def _lead(machine: Machine, part: Part, most: Floats) -> list[Demand]:
    """Wire for a burnt lead or trace of this part, and what carried the same current beside it."""
    parts = machine.assembly.parts
    amps = float(most[list(parts).index(part.ref)])
    if amps < BURNS:
        return []
    ends = set(part.terminals().values()) - {machine.assembly.common}
    along = [
        ref
        for (ref, other), own in zip(parts.items(), most, strict=True)
        if ref != part.ref and own >= 0.5 * amps and ends & {*other.terminals().values()}
    ]
    words = f"a burnt lead or trace that carried {conductor_words(amps)}"
    if along:
        words += f"; the same current ran in {', '.join(along)}: look at these too"
    return [Demand("wire", amps, float("nan"), words)]


def _window(machine: Machine, part: Part, chosen: Sequence[Condition]) -> list[Demand]:
    """Ranges found by trial: series resistance, recovery, gain; where the circuit cares at all."""
    tried: list[tuple[str, str, tuple[float, ...]]] = []
    fields = part.__dict__
    if fields.get("esr") and machine.self_oscillating:
        tried.append(("ESR", "esr", STEPS))
    if fields.get("recovery") and machine.self_oscillating:
        tried.append(("speed", "recovery", (1.0, 3.0, 10.0, 30.0)))
    if part.KIND in ("npn", "pnp") and not machine.self_oscillating:
        tried.append(("gain", "gain_typical", GAIN_STEPS))
    found = []
    for label, name, steps in tried:
        base = part.beta() if name == "gain_typical" else float(fields[name])  # type: ignore[attr-defined]
        rows = [refitted(part, {name: base * s}) for s in steps]
        good = np.ones(len(steps), dtype=bool)
        for condition in chosen:
            table = outcomes(machine, condition, [{}, *rows])
            good &= [not faults_of(table[0], t) for t in table[1:]]
        found.append(_range(label, base, steps, good))
    return found


def _leak(machine: Machine, part: Capacitance) -> list[Demand]:
    """The largest leak a capacitor may have before the rails suffer, or its can warms itself."""
    steady = rated_conditions(machine)
    if not steady or machine.assembly.feeds[steady[-1].feed].mains:
        return []
    k = list(machine.assembly.parts).index(part.ref)
    level = float(np.nan_to_num(stresses(machine, steady[-1], [{}]).volts[0, k]))
    if level < LEAST_ACROSS:
        return []
    leaks = [amps for amps in LEAKS if amps * level <= WARM]
    good = np.ones(len(leaks), dtype=bool)
    for condition in steady:
        rows: list[Overrides] = [{}, *({(part.ref, "g"): amps / level} for amps in leaks)]
        usual, *tried = outcomes(machine, condition, rows)
        good &= [not faults_of(usual, t) for t in tried]
    borne = int(np.argmin(good)) if not good.all() else len(leaks)
    if borne == 0:
        words = f"under {show(leaks[0], 'A', 1)} at {volts(level)}, or a rail leaves its limits"
        return [Demand("leakage", float("nan"), leaks[0], words)]
    amps = leaks[borne - 1]
    reason = "a rail leaves its limits" if borne < len(leaks) else "its can warms itself"
    words = (
        f"{show(amps, 'A', 1)} at {volts(level)} or less ({show(level / amps, 'ohm', 2)}): with "
        f"three times that {reason}"
    )
    return [Demand("leakage", float("nan"), amps, words)]


def refitted(part: Part, values: dict[str, float]) -> Overrides:
    """Parameter values of the part with other field values, all else as drawn."""
    fields = {k: v for k, v in part.__dict__.items() if v is not None and k != "in_"}
    twin = type(part).model_construct(**{**fields, **values})
    return {
        (e.name, p): v for e in twin.elements() for p, v in zip(e.PARAMS, e.vector(), strict=True)
    }


def _range(label: str, base: float, steps: Sequence[float], good: Any) -> Demand:
    """The run of good steps around the drawn value, in words."""
    unit = {"ESR": "ohm", "speed": "s", "gain": "1"}[label]
    at = list(steps).index(1.0)
    low = high = at
    while low > 0 and good[low - 1]:
        low -= 1
    while high + 1 < len(steps) and good[high + 1]:
        high += 1
    nan = float("nan")

    def text(value: float) -> str:
        return f"{value:.0f}" if label == "gain" else show(value, unit, 2)  # type: ignore[arg-type]

    if not good[at]:
        return Demand(label, nan, nan, f"as drawn, {text(base)}; no range found")
    below = nan if low == 0 else base * steps[low]
    above = nan if high == len(steps) - 1 else base * steps[high]
    if np.isnan(below) and np.isnan(above):
        words = f"anything from {text(base * steps[0])} to {text(base * steps[-1])} works the same"
    elif np.isnan(below):
        words = f"{text(above)} or less (drawn {text(base)})"
    elif np.isnan(above):
        words = f"{text(below)} or more (drawn {text(base)})"
    else:
        words = f"{text(below)} to {text(above)} (drawn {text(base)})"
    if label == "ESR":
        words += f"; outside it the rhythm leaves {SLOWEST:g} to {FASTEST:g} times its own"
    return Demand(label, below, above, words)
