"""The lightest energising that still teaches something: one raw rail, a current limit, a lamp."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Status
from halfsplit.faults.cascades import chance_of
from halfsplit.faults.dictionary import predict
from halfsplit.faults.hypotheses import Hypothesis, single_faults
from halfsplit.faults.predictions import Predictions
from halfsplit.faults.stress import Stress, stresses
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

BENCH_OHMS = 0.05  # leads of a bench supply; common practice
MARGIN = 1.5  # limit over what the healthy circuit draws; common practice
# Steps a knob on a bench supply is set in [A], and lamps sold [W].
LIMITS = tuple(m * 10.0**e for e in (-2, -1, 0, 1) for m in (1.0, 2.0, 5.0))
LAMPS = (15.0, 25.0, 40.0, 60.0, 100.0, 150.0, 200.0)
# A suspect shows when a rail or point it moves differs from healthy by this share, and at least by
# this many volts: well beyond part tolerances. Common practice, no published source.
SHARE, LEAST_VOLTS = 0.05, 0.1
MOST_SLOW = 8  # suspects followed from switch-on, which takes a second or so each
# Mean chance, over the suspects, of hurting anything, above which a proposal is none: an ordinary
# first power-up on the mains runs at several times this. Common practice, no published source.
RISK = 0.01
MOST_LAMP = 40  # suspects tried behind a lamp, where each takes a whole mains cycle
USEFUL = 0.8  # of its usual volts, below which a rail behind a lamp proves nothing
SHOWN = 3


@dataclass(frozen=True)
class Proposal:
    """One way of energising a little.

    Attributes
    ----------
    teaches: share of the suspects' weight that would show on a rail or a test point.
    worst: largest ratio of any part to a rating over every suspect looked at, 0 when none rated.
    risk: chance, over those suspects by weight, that something would fail of it.
    out: fuses that may stay out, because nothing flows through them so.
    """

    words: str
    net: str
    volts: float
    amps: float
    lamp: float
    teaches: float
    worst: float
    risk: float
    out: tuple[str, ...]


def _percent(share: float) -> str:
    """A share as whole percents, and below one as just that."""
    return "under 1 %" if 0.0 < share < 0.01 else f"{100 * share:.0f} %"


def proposals(
    machine: Machine, condition: Condition, suspects: Sequence[tuple[Hypothesis, float]]
) -> list[Proposal]:
    """Bench supply on one raw rail at a time, and the smallest lamp, best lesson first.

    No proposal carries a mean chance of damage above `RISK` over the suspects looked at; with no
    suspects yet, every single fault counts.
    """
    cases = list(suspects) or [(h, h.prior) for h in single_faults(machine.assembly) if h.faults]
    if machine.self_oscillating:
        cases = sorted(cases, key=lambda c: -c[1])[:MOST_SLOW]
    found = []
    for net, level in _raws(machine):
        made = _one_rail(machine, condition, cases, net, level)
        if made is not None:
            found.append(made)
    found.sort(key=lambda p: (-round(p.teaches, 2), p.volts * p.amps))
    lamp = _lamp(machine, condition, cases)
    return [*found[:SHOWN], *([lamp] if lamp else [])]


def _raws(machine: Machine) -> list[tuple[str, float]]:
    """Raw nets with the volts they have: those feeds lie on, else those behind rectifiers."""
    levels: dict[str, float] = {}
    for feed in machine.assembly.feeds.values():
        for net, source in feed.nets.items():
            levels.setdefault(net, source.volts)
    missing = [n for n in machine.rectified() if n not in levels]
    if missing and not levels:
        wall = next((n for n, f in machine.assembly.feeds.items() if f.mains), None)
        if wall is not None:
            table = predict(machine, Condition(wall), [{}], moves=[])
            levels = {n: float(table.mean[0, table.column(n)]) for n in missing}
    return [(n, v) for n, v in levels.items() if abs(v) > 1.0 and np.isfinite(v)]


def supply_on(machine: Machine, net: str, level: float, limit: float) -> Overrides:
    """A current-limited bench supply on one net, as parameter changes."""
    name = next((n for n in (f"hold:{net}", f"feed:{net}") if n in machine.netlist.elements), None)
    if name is None:
        raise ValueError(f"{net} is no net a supply of the bench can be laid on")
    return {(name, "dc"): level, (name, "g"): 1.0 / BENCH_OHMS, (name, "limit"): limit}


def _one_rail(
    machine: Machine,
    condition: Condition,
    cases: Sequence[tuple[Hypothesis, float]],
    net: str,
    level: float,
) -> Proposal | None:
    off = replace(condition, feed="off", load="none", extra=(), mains=None, lamp=None)
    free = supply_on(machine, net, level, 1e9)
    drawn = _draw(machine, off, free, net, level)
    if drawn is None:
        return None
    limit = next((a for a in LIMITS if a >= MARGIN * drawn), LIMITS[-1])
    laid = supply_on(machine, net, level, limit)
    rows = [laid, *({**h.changes, **laid} for h, _ in cases)]
    table = predict(machine, off, rows, moves=[])
    if table.status[0] == Status.UNSOLVED:
        return None
    told = _told(machine, table)
    weights = np.array([w for _, w in cases])
    teaches = float((weights * told).sum() / max(weights.sum(), 1e-12))
    stress = stresses(machine, off, rows)
    worst, risk = _worst(machine, stress, cases)
    if risk > RISK:
        return None
    out = tuple(
        ref
        for k, (ref, part) in enumerate(machine.assembly.parts.items())
        if part.KIND == "fuse" and stress.amps[0, k] < 1e-3
    )
    words = (
        f"{volts(level)} from a bench supply on {machine.assembly.net_label(net)}, limit "
        f"{show(limit, 'A', 2)}, no load, mains unplugged"
    )
    if out:
        words += f", {' and '.join(out)} out"
    words += f": {100 * teaches:.0f} % of the suspicion would show"
    return Proposal(words, net, level, limit, 0.0, teaches, worst, risk, out)


def _draw(
    machine: Machine, off: Condition, laid: Overrides, net: str, level: float
) -> float | None:
    """Current the healthy circuit draws from a supply on one net [A]."""
    table = predict(machine, off, [laid], moves=[])
    if table.status[0] == Status.UNSOLVED:
        return None
    # Read off the supply's own resistance.
    return abs(level - float(table.mean[0, table.column(net)])) / BENCH_OHMS


def _told(machine: Machine, table: Predictions) -> npt.NDArray[np.bool_]:
    """Which rows but the first differ from it at a rail or point (H-1)."""
    assembly = machine.assembly
    nets = dict.fromkeys(
        [*(r.net for r in assembly.rails.values()), *(p.net for p in assembly.points.values())]
    )
    at = [table.column(n) for n in nets]
    moved = np.abs(table.mean[1:, at] - table.mean[0, at])
    base = np.maximum(SHARE * np.abs(table.mean[0, at]), LEAST_VOLTS)
    return np.asarray((moved > base).any(axis=1))


def _worst(
    machine: Machine, stress: Stress, cases: Sequence[tuple[Hypothesis, float]]
) -> tuple[float, float]:
    """Largest ratio over all rows and mean chance of damage, the accused parts of a row left out of
    it; solved rows only."""
    ratios = np.nan_to_num(stress.ratios)
    kinds = [machine.assembly.parts[x.part].KIND for x in stress.limits]
    own = [frozenset[str](), *(frozenset(h.parts) for h, _ in cases)]
    worst, risk = 0.0, 0.0
    whole = max(sum(w for _, w in cases), 1e-12)
    for row, parts in enumerate(own):
        chance = 0.0
        for k, limit in enumerate(stress.limits):
            if limit.part in parts:
                continue
            ratio = float(ratios[row, k])
            worst = max(worst, ratio)
            if kinds[k] != "fuse":  # a fuse blowing is what it is there for
                chance = max(chance, chance_of(limit.quantity, ratio, kinds[k]))
        if row == 0 and chance > RISK:
            return worst, 1.0
        risk += chance * cases[row - 1][1] / whole if row else 0.0
    return worst, risk


def _lamp(
    machine: Machine, condition: Condition, cases: Sequence[tuple[Hypothesis, float]]
) -> Proposal | None:
    """Smallest lamp in the mains lead that still lets the unloaded raw rails nearly up."""
    feed = next((n for n, f in machine.assembly.feeds.items() if f.mains), None)
    raws = machine.rectified()
    if feed is None or not raws:
        return None
    base = replace(condition, feed=feed, load="none", extra=(), mains=None, lamp=0.0)
    usual = predict(machine, base, [{}], moves=[])
    if usual.status[0] == Status.UNSOLVED:
        return None
    level = np.abs([usual.mean[0, usual.column(n)] for n in raws])
    up = level > 1.0
    for lamp in LAMPS:
        at = replace(base, lamp=lamp)
        table = predict(machine, at, [{}], moves=[])
        now = np.abs([table.mean[0, table.column(n)] for n in raws])
        if table.status[0] == Status.UNSOLVED or not (now[up] >= USEFUL * level[up]).all():
            continue
        cases = sorted(cases, key=lambda c: -c[1])[:MOST_LAMP]
        stress = stresses(machine, at, [{}, *(h.changes for h, _ in cases)])
        worst, risk = _worst(machine, stress, cases)
        words = (
            f"mains through a {lamp:g} W lamp, no load: raw rails reach "
            f"{100 * float((now[up] / level[up]).min()):.0f} % or more of their volts; at worst "
            f"a part comes to {worst:.2g} times a rating, {_percent(risk)} chance of damage"
        )
        return Proposal(words, "", 0.0, 0.0, lamp, 0.0, worst, risk, ())
    return None
