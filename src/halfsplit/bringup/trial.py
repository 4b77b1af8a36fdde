"""Trying a part in its position: does the machine still do what it does as drawn?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Feed
from halfsplit.bringup.solving import SHORTED, loaded
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Status, told
from halfsplit.faults.dictionary import predict
from halfsplit.faults.kept_under import table_folder
from halfsplit.faults.melting import fuse_amps
from halfsplit.faults.store import load_arrays, store_arrays
from halfsplit.faults.stress import Stress, stresses
from halfsplit.parts.base import Part
from halfsplit.parts.capacitance import Capacitance
from halfsplit.parts.kinds.fuse import Fuse
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# How far the rhythm of a switching supply may leave its own: below, the choke whines, carries
# larger peaks and nears its over-current; above, switch and choke run hot. Common practice, no
# published source.
SLOWEST, FASTEST = 0.6, 2.2
FOLLOWED = 2  # conditions tried where each is followed from switch-on
STRAINED = 9  # loads tried between what a rail is rated for and a short
RATED = 1.05  # of a rail's rated current still counts as within it


@dataclass(frozen=True)
class Outcome:
    """One trial in one condition: rails with limits by name [V], ripple [V], status, rate [Hz]."""

    condition: Condition
    rails: dict[str, float]
    ripple: dict[str, float]
    limits: dict[str, tuple[float, float, float]]
    status: Status
    hertz: float
    words: str


def rated_conditions(machine: Machine, part: Part | None = None) -> list[Condition]:
    """The strongest feed with every load the rails are rated for, heaviest last; the mains for a
    `part` that only works on alternating current, or stores what comes of it."""
    assembly = machine.assembly
    feeds = [n for n, f in assembly.feeds.items() if f.nets and not _limited(f)]
    swings = machine.alternating_nets()
    if isinstance(part, Capacitance) and not machine.self_oscillating:
        swings |= set(machine.rectified())  # what ripples on a reservoir only the mains shows
    if part is not None and set(part.terminals().values()) & swings:
        feeds = [n for n, f in assembly.feeds.items() if f.mains] or feeds
    feed = feeds[0] if feeds else assembly.default_feed()
    found = []
    for name, nets in assembly.loads.items():
        share = 0.0
        for rail in assembly.rails.values():
            value = nets.get(rail.net)
            if value is None or rail.rated is None:
                continue
            middle = abs(rail.limits.low + rail.limits.high) / 2.0
            amps = value.amps if value.amps is not None else middle / (value.ohms or 1e12)
            share = max(share, amps / rail.rated)
        if share <= RATED:
            found.append((share, name))
    chosen = [n for _, n in sorted(found)]
    if machine.self_oscillating:
        chosen = chosen[-FOLLOWED:]
    return [Condition(feed, n) for n in chosen]


def _limited(feed: Feed) -> bool:
    return any(source.limit is not None for source in feed.nets.values())


@dataclass(frozen=True)
class Strains:
    """Rails loaded past what they are rated for, one after another, down to a short: what the test
    of a current limit does to a machine. One row of `stress` for each of `words`; rows in which a
    fuse passes its rating are left out, for they do not last."""

    stress: Stress
    rows: tuple[int, ...]
    words: tuple[str, ...]


def strains(machine: Machine, condition: Condition) -> Strains | None:
    """The strains of a condition, all other rails loaded as it has them.

    None where a row takes long: behind the mains, and where each is followed from switch-on.
    """
    feed = machine.assembly.feeds[condition.feed]
    if machine.self_oscillating or feed.mains or not condition.energised():
        return None
    laid: list[Overrides] = []
    words: list[str] = []
    for label, rail in machine.assembly.rails.items():
        if rail.rated:
            middle = abs(rail.limits.low + rail.limits.high) / 2.0
            for ohms in np.geomspace(middle / rail.rated, 1.0 / SHORTED, STRAINED)[1:]:
                laid.append(loaded(rail.net, float(ohms)))
                short = ohms < 2.0 / SHORTED
                words.append(f"{label} shorted" if short else f"{label} into {ohms:.2g} Ω")
    if not laid:
        return None
    found = stresses(machine, condition, [{}] * len(laid), fresh=laid)
    amps = {x.part: x.limit for x in found.limits if x.quantity == "amps"}
    lasts = [
        r
        for r in range(len(laid))
        if found.status[r] != Status.UNSOLVED
        and all(
            carried <= amps.get(ref, np.inf)
            for ref, carried in fuse_amps(found, r).items()
            if isinstance(machine.assembly.parts[ref], Fuse)
        )
    ]
    return Strains(found, tuple(lasts), tuple(words))


def outcomes(machine: Machine, condition: Condition, rows: Sequence[Overrides]) -> list[Outcome]:
    """Solve some changes in a condition and read off what the rails do. Kept on disk."""
    nets = [r.net for r in machine.assembly.rails.values()]
    path = table_folder(machine, condition, rows, f"trial {nets}") / "trial.npz"
    kept = load_arrays(path)
    if kept is None or not {"mean", "ripple", "status", "period"} <= set(kept):
        table = predict(machine, condition, rows, moves=[])
        columns = [table.column(n) for n in nets]
        kept = {
            "mean": table.mean[:, columns],
            "ripple": table.ripple[:, columns],
            "status": table.status,
            "period": table.period,
        }
        store_arrays(path, kept)
    found = []
    for r in range(len(rows)):
        status, period = Status(int(kept["status"][r])), float(kept["period"][r])
        rails, ripple, limits = {}, {}, {}
        for at, (name, rail) in enumerate(machine.assembly.rails.items()):
            rails[name] = float(kept["mean"][r, at])
            ripple[name] = float(kept["ripple"][r, at])
            limits[name] = (rail.limits.low, rail.limits.high, rail.ripple or float("inf"))
        oscillating = status is Status.OSCILLATING and period > 0.0
        hertz = 1.0 / period if oscillating else 0.0
        found.append(Outcome(condition, rails, ripple, limits, status, hertz, told(status, period)))
    return found


def faults_of(usual: Outcome, trial: Outcome) -> list[str]:
    """What a trial does worse than the machine as drawn, in words; empty when nothing."""
    at = trial.condition.load
    if trial.status is Status.UNSOLVED:
        return [f"could not be solved at load {at}, so nothing is claimed for it"]
    found = []
    if trial.status is not usual.status and trial.status in (
        Status.RESTARTING,
        Status.OSCILLATING,
        Status.LATCHED,
        Status.NOT_SETTLED,
    ):
        found.append(f"{trial.words} at load {at}")
    for name, level in trial.rails.items():
        low, high, most = trial.limits[name]
        was = usual.rails[name]
        if not low <= level <= high and low <= was <= high:
            found.append(
                f"{name} at {volts(level)} with load {at}, limits {volts(low)} to {volts(high)}"
            )
        elif trial.ripple[name] > most >= usual.ripple[name]:
            found.append(
                f"{name} ripples {volts(trial.ripple[name])} with load {at}, {volts(most)} allowed"
            )
    if usual.hertz and trial.hertz and np.isfinite(trial.hertz):
        ratio = trial.hertz / usual.hertz
        if not SLOWEST <= ratio <= FASTEST:
            found.append(
                f"switches at {show(trial.hertz, 'Hz', 2)} with load {at}, as drawn at "
                f"{show(usual.hertz, 'Hz', 2)}"
            )
    return found
