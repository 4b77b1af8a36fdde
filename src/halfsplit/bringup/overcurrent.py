"""What a rail does as its load goes from full current to a short: knee, foldback, restarting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from halfsplit.assembly.model import Rail
from halfsplit.bringup.solving import SHORTED, Bench, UnsolvedError, loaded
from halfsplit.circuit import elements as el
from halfsplit.circuit.follow import follow
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import uncertainties
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

POINTS = 41  # resistances from lightly loaded to a short; a row behind a mains rectifier takes 1 s
FINE = 9  # more of them about the knee
FOLDS, FREE = 0.9, 2.5  # short over knee below which it folds back; short over full above: no limit
LIVE = 60.0  # V direct above which a rail is treated as dangerous; see discharge.TOUCH
# The knee is where the rail is down to this share of what it gives at full current, as data sheets
# of power modules define where limiting sets in; from memory, unconfirmed.
KNEE = 0.9
SHORT_SECONDS = 1.0  # a short lasts no longer than this; common practice


@dataclass(frozen=True)
class Curve:
    """Volts and amps of one rail against load, and what the parts bear on the way.

    Attributes
    ----------
    most_amps: most current the rail gives, at `most_ohms`.
    knee_amps: current with the rail down to `KNEE` of its volts at full current, at `knee_ohms`;
        `knee_sigma` of that by tolerances.
    leaves_amps: current at which the rail leaves its limits [A].
    short_amps: into 10 mohm [A]. kind: "foldback", "constant current" or "no limiting".
    hottest: part, watts, its rating or None, rail volts and load ohms at its worst point.
    """

    rail: str
    ohms: tuple[float, ...]
    volts: tuple[float, ...]
    amps: tuple[float, ...]
    most_amps: float
    most_ohms: float
    knee_amps: float
    knee_ohms: float
    knee_sigma: float
    leaves_amps: float
    short_amps: float
    short_sigma: float
    kind: str
    hottest: tuple[dict[str, Any], ...]
    full_amps: float
    status: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {**asdict(self), "test": "over-current"}


def curve(
    bench: Bench,
    label: str,
    rail: Rail,
    full: float,
    others: Mapping[str, float] | None = None,
) -> Curve:
    """Sweep a load on the rail; `others` are loads on other nets [ohm], none when not given.

    Raises UnsolvedError when a point that carries a number did not solve.
    """
    nominal = abs(rail.limits.low + rail.limits.high) / 2
    begin = 2.0 * nominal / full
    rest: Overrides = {}
    for net, ohms in (others or {}).items():
        rest |= loaded(net, ohms)
    grid = np.geomspace(begin, 1.0 / SHORTED, POINTS)
    volts_, good = _sweep(bench, rail.net, grid, rest)
    peak = int(np.nanargmax(np.where(good, volts_ / grid, np.nan)))
    fine = np.geomspace(grid[max(peak - 1, 0)], grid[min(peak + 1, POINTS - 1)], FINE)
    more, fine_good = _sweep(bench, rail.net, fine, rest)
    grid, order = np.unique(np.concatenate([grid, fine]), return_index=True)
    volts_ = np.concatenate([volts_, more])[order]
    good = np.concatenate([good, fine_good])[order]
    grid, volts_, good = grid[::-1], volts_[::-1], good[::-1]
    if not good[0] or not good[-1]:
        raise UnsolvedError(f"{label}: full load or short was not solved; no curve is claimed")
    grid, volts_ = grid[good], volts_[good]
    amps = volts_ / grid
    most = int(np.argmax(amps))
    falls = np.minimum.accumulate(volts_)  # ohms fall along the curve, and volts with them
    knee_volts = KNEE * float(np.interp(-nominal / full, -grid, falls))
    knee_ohms = float(np.interp(-knee_volts, -falls, grid))
    low = min(abs(rail.limits.low), abs(rail.limits.high))
    inside = amps[volts_ >= low]
    at = np.array([knee_ohms, grid[-1]])
    ends = [loaded(rail.net, float(r)) | rest for r in at]
    table = bench.solve(ends, uncertainties(bench.machine))
    i = table.column(rail.net)
    sigma = np.sqrt((table.spread[:, :, i] ** 2).sum(axis=1)) / at
    kind = "foldback" if amps[-1] < FOLDS * amps[most] else "constant current"
    kind = "no limiting" if amps[-1] > FREE * full else kind
    return Curve(
        label,
        tuple(map(float, grid)),
        tuple(map(float, volts_)),
        tuple(map(float, amps)),
        float(amps[most]),
        float(grid[most]),
        knee_volts / knee_ohms,
        knee_ohms,
        float(sigma[0]),
        float(inside.max()) if inside.size else float("nan"),
        float(amps[-1]),
        float(sigma[1]),
        kind,
        tuple(_hottest(bench, rail.net, grid, rest, full, nominal)),
        full,
        table.told(1),
    )


def _sweep(bench: Bench, net: str, grid: Any, rest: Overrides) -> tuple[Any, Any]:
    table = bench.solve([loaded(net, float(r)) | rest for r in grid])
    level = np.abs(table.mean[:, table.column(net)])
    return level, np.array([bench.claimed(table, row) for row in range(len(grid))])


def _hottest(
    bench: Bench, net: str, grid: Any, rest: Overrides, full: float, nominal: float
) -> list[dict[str, Any]]:
    """Parts that take most heat along the curve, each with its worst point: those that come near
    their rating by this test, hottest for it first, then the two that take most watts."""
    at = [*grid[:: max(len(grid) // 16, 1)], grid[-1], nominal / full]
    laid = [loaded(net, float(r)) | rest for r in at]
    table = bench.solve(laid)
    heat = bench.watts(laid, table)
    level = np.abs(table.mean[:, table.column(net)])
    found: list[dict[str, Any]] = []
    for ref, watts in heat.items():
        part = bench.machine.assembly.parts[ref]
        if not np.isfinite(watts).any() or part.KIND in ("mains", "transformer", "supply"):
            continue
        row = int(np.nanargmax(watts))
        rated = part.__dict__.get("power")
        found.append(
            {
                "part": ref,
                "watts": watts[row],
                "rated": float(rated) if rated else None,
                "ratio": watts[row] / float(rated) if rated else None,
                "ohms": float(at[row]),
                "volts": float(level[row]),
                "at_full": watts[-1],
            }
        )
    over = [
        f for f in found if f["ratio"] and f["ratio"] > 0.8 and f["watts"] > 1.05 * f["at_full"]
    ]
    over.sort(key=lambda f: -f["ratio"])
    rest_ = sorted((f for f in found if f not in over), key=lambda f: -f["watts"])
    return over[:4] + rest_[: max(2, 3 - len(over))]


@dataclass(frozen=True)
class Restart:
    """What a self-oscillating supply does with too little resistance on its rail."""

    rail: str
    ohms: float
    status: str
    period: float
    duty: float
    peak_amps: float
    choke: str
    feed_amps: float
    volts: float

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {**asdict(self), "test": "restart"}


def restart(bench: Bench, label: str, rail: Rail, full: float) -> list[Restart]:
    """Follow the supply from switch-on at full load, half as much again, and into a short."""
    if bench.machine.alternating(bench.condition):
        raise UnsolvedError(
            f"{label}: it beats by itself, which is solved on direct-current feeds only; name one "
            "with --feed"
        )
    nominal = abs(rail.limits.low + rail.limits.high) / 2
    topology, state = bench.machine.topology, bench.machine.values(bench.bare())
    loads = [nominal / full, nominal / (1.5 * full), 1.0 / SHORTED]
    rows = topology.rows([{**bench.faults, **state, **loaded(rail.net, r)} for r in loads])
    solved, rhythm = follow(topology, rows)
    chokes = [e.name for e in bench.machine.netlist if isinstance(e, el.Inductor)]
    found = []
    for row, ohms in enumerate(loads):
        status = Status(int(solved.status[row]))
        if not status.usable or status is Status.NOT_SETTLED:
            bad = float("nan")
            found.append(Restart(label, ohms, status.sentence, bad, bad, bad, "", bad, bad))
            continue
        peaks = {c: float(rhythm.held_high[row, topology.element_index[c]]) for c in chokes}
        choke = max(peaks, key=lambda c: abs(peaks[c]))
        found.append(
            Restart(
                label,
                ohms,
                status.sentence,
                float(rhythm.period[row]),
                float(rhythm.duty[row]),
                abs(peaks[choke]),
                choke,
                _fed(bench, state, solved.mean[row]),
                abs(float(solved.mean[row, topology.net_index[rail.net]])),
            )
        )
    return found


def _fed(bench: Bench, state: Overrides, mean: Any) -> float:
    """Mean current the condition's feeds give [A]."""
    topology, total = bench.machine.topology, 0.0
    for net in bench.machine.assembly.feeds[bench.condition.feed].nets:
        name = f"feed:{net}"
        level = float(mean[topology.net_index[net]])
        total += abs((state[name, "dc"] - level) * state[name, "g"])
    return total


def procedure(found: Curve) -> list[str]:
    """The over-current test, step by step, with its numbers."""
    low = band(found.knee_amps, found.knee_sigma)[0]
    high = band(found.most_amps, found.knee_sigma)[1]
    under, over = band(found.short_amps, found.short_sigma)
    head = found.hottest[0] if found.hottest else None
    stop = 1.15 * high
    steps = [
        "boards out, crowbar and fuses to the drawing; load resistors on a tile, ammeter in the "
        "lead, eyes shielded"
    ]
    if found.volts[0] > LIVE:
        steps.append(
            f"{volts(found.volts[0])} direct, enough to kill: change loads only with the power off "
            "and the rail measured below 30 V; a second person near"
        )
    if found.kind == "no limiting":
        steps.append(
            f"load it to {show(found.full_amps, 'A', 2)} and no further: into a short it would "
            f"give {show(found.short_amps, 'A', 3)} and nothing limits it here; do not short it, "
            "the fuse is all there is"
        )
        return steps
    steps.append(
        f"step the load down from {show(found.ohms[0], 'ohm', 2)}: expect the most current, "
        f"{show(found.most_amps, 'A', 3)}, at {show(found.most_ohms, 'ohm', 2)}, and the knee, "
        f"where the rail is down a tenth ({volts(found.knee_amps * found.knee_ohms)}), at "
        f"{show(found.knee_ohms, 'ohm', 2)} and {show(found.knee_amps, 'A', 3)} "
        f"({show(low, 'A', 3)} to {show(high, 'A', 3)}); stop above {show(stop, 'A', 3)}"
    )
    steps.append(
        f"short it once through the ammeter for under {SHORT_SECONDS:g} s: expect "
        f"{show(found.short_amps, 'A', 3)} ({show(under, 'A', 3)} to {show(over, 'A', 3)}), "
        f"{found.kind}; off at once above {show(1.15 * over, 'A', 3)}"
    )
    if head is not None:
        rated = f" of its {head['rated']:g} W" if head["rated"] else ""
        steps.append(
            f"hottest on the way: {head['part']}, {show(head['watts'], 'W', 2)}{rated} at "
            f"{volts(head['volts'])} on the rail, {show(head['at_full'], 'W', 2)} at full load; "
            "seconds, not minutes, at any point past the knee"
        )
        worse = [h for h in found.hottest[1:] if h["ratio"] and h["ratio"] > 1.0]
        steps += [
            f"{h['part']} takes {show(h['watts'], 'W', 2)} of its {h['rated']:g} W while it lasts"
            for h in worse
        ]
    return steps


def restart_steps(found: Restart, full: float) -> list[str]:
    """One step of the restart test with its numbers."""
    load = show(found.ohms, "ohm", 2)
    if not np.isfinite(found.volts):
        return [f"{load}: {found.status}"]
    peak = show(found.peak_amps, "A", 3)
    read = f"{volts(found.volts)} mean, {found.choke} peaks at {peak}"
    fed = show(found.feed_amps, "A", 2)
    stop = f"off if it draws over {show(max(2.0 * found.feed_amps, 0.1), 'A', 2)}"
    if found.status == Status.RESTARTING.sentence:
        beat = f"ticks every {show(found.period, 's', 3)}"
        return [f"{load} for {SHORT_SECONDS:g} s: expect {beat}, {read}, {fed} drawn; {stop}"]
    return [
        f"{load}, {show(found.volts / found.ohms, 'A', 2)}: {found.status}, {read}, {fed} drawn"
    ]


def band(value: float, sigma: float) -> tuple[float, float]:
    """Two sigma to each side, and at least 5 % for what models leave out."""
    wide = max(2.0 * sigma, 0.05 * abs(value))
    return max(value - wide, 0.0), value + wide


def verdict(found: Curve, knee: float | None, short: float | None) -> dict[str, Any]:
    """What a knee and a short-circuit current that were read [A] say."""
    reasons = []
    # Whoever steps a load down reads somewhere between the knee and the most current.
    for name, value, expected, most, sigma in (
        ("knee", knee, found.knee_amps, found.most_amps, found.knee_sigma),
        ("short", short, found.short_amps, found.short_amps, found.short_sigma),
    ):
        if value is None:
            reasons.append(f"no {name} current entered")
            continue
        low, high = band(min(expected, most), sigma)[0], band(most, sigma)[1]
        if not low <= value <= high:
            side = "below" if value < low else "above"
            reasons.append(
                f"{name} {show(value, 'A', 3)} is {side} the {show(low, 'A', 3)} to "
                f"{show(high, 'A', 3)} this circuit should give"
            )
    if knee is not None and knee < found.full_amps:
        reasons.append(f"it limits below full current, {show(found.full_amps, 'A', 2)}")
    if knee is not None and short is not None and found.kind == "foldback" and short > knee:
        reasons.append("a foldback supply gives less into a short than at its knee")
    return {"passed": not reasons, "knee": knee, "short": short, "reasons": reasons}
