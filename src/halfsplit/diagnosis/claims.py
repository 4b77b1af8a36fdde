"""How well solved circuits keep what their file claims of itself: the same odds as of readings.

A printed voltage is a reading by a meter as good as the drawing says it is to be taken; limits,
ratings and the way a part is made to work are signs, each with a chance where it is not kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from halfsplit.circuit import elements as el
from halfsplit.circuit.solution import Floats, Status
from halfsplit.diagnosis.evidence import Evidence
from halfsplit.diagnosis.expected import SLIP
from halfsplit.diagnosis.meters import Meter
from halfsplit.diagnosis.posterior import Belief, span_of
from halfsplit.faults.predictions import Predictions
from halfsplit.faults.view import Row, Solved, View
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# Chance that a right file breaks such a claim all the same. Common practice, no published source.
RAIL, UNSOLVED, FIRED, SWITCH, SWUNG = 0.003, 0.02, 0.01, 0.005, 0.02
SWING = 0.4  # of its volts a reservoir never ripples by at full load; common practice
FLAT = 0.3  # of such a claim under something that is in no list
RAIL_SIGMA, RAIL_VOLTS = 0.004, 0.01  # how well a level is known, as a share and [V]
_WILD = -5.0  # logarithm of the odds of a wild number against one just as printed, about
ENDLESS = 1e15  # ohm: the drawing's meter is taken as one that loads nothing


@dataclass(frozen=True)
class Claim:
    """One thing the file says: `path` of its entry, and in words what it says and where."""

    path: str
    says: str
    row: str
    flat: float  # logarithm of its chance under something that is in no list


@dataclass(frozen=True)
class Held:
    """Claims of one row, held against variants.

    Attributes
    ----------
    claims: C claims.
    odds: logarithm of the chance of each under each variant (V, C).
    shown: what each variant gives there, in words, by claim; see :func:`words`.
    level: the number behind it [V, W] (V, C), NaN where there is none.
    kept: whether each is kept (V, C).
    """

    claims: tuple[Claim, ...]
    odds: Floats
    level: Floats
    kept: Any


def hold(view: View, row: int, solved: Solved, at: int, rails: Mapping[str, Any]) -> Held:
    """Hold the claims of row `row` of a view, solved as column `at`, against every variant."""
    said: Row = view.rows[row]
    nets = [*view.nets(), view.netlist.common]
    index = {net: i for i, net in enumerate(nets)}
    x = solved.volts[:, at]
    good = np.isfinite(x).all(axis=1)
    claims: list[Claim] = []
    columns: list[tuple[Floats, Floats, Any]] = []

    def add(claim: Claim, odds: Floats, level: Floats, kept: Any) -> None:
        claims.append(claim)
        columns.append((odds, level, kept))

    add(
        Claim("", "the circuit can be solved", said.says, np.log(FLAT)),
        np.log(np.where(good, 1.0, UNSOLVED)),
        np.full(len(x), np.nan),
        good,
    )
    table = _table(nets[:-1], x, good)
    for name, entry in said.printed:
        for net, reading in entry.volts.items():
            if net not in index:
                continue  # of the mains side alone the rest is not seen
            item = _evidence(net, reading, entry.within, said)
            add(
                Claim(
                    f"printed.{name}.volts.{net}",
                    f"{net} {reading.text}",
                    said.says,
                    _WILD,
                ),
                *_read(table, item, index[net], x, good, entry.within),
            )
        for net, swing in entry.ripple.items():
            if net in index and view.kind == "mains":
                found = np.where(good, solved.ripple[:, at, index[net]], np.nan)
                odds, level, kept = _share(found / swing, entry.within)
                text = f"{net} ripples by {volts(swing)} from peak to peak"
                path = f"printed.{name}.ripple.{net}"
                add(Claim(path, text, said.says, _WILD), odds, level * swing, kept)
    for name in said.rails:
        rail = rails[name]
        level = x[:, index[rail.net]]
        add(
            Claim(f"rails.{name}.limits", f"{name} {_range(rail.limits)}", said.says, np.log(FLAT)),
            *_limits(level, rail.limits.low, rail.limits.high),
        )
    if said.ohms is not None:
        path, net, printed_ohms, within = said.ohms
        shown = x[:, index[net]] / said.overrides[f"pin:{net}", "dc"]
        ratio = np.where(good & (shown < 1.0), shown / np.maximum(1.0 - shown, 1e-12), np.nan)
        odds, level, kept = _share(ratio, within)
        text = f"{net} {show(printed_ohms, 'ohm')} to common"
        add(Claim(path, text, said.says, _WILD), odds, level * printed_ohms, kept)
    for net, (wanted, within) in said.expected.items():
        if within:
            low, high = sorted((wanted * (1 - within), wanted * (1 + within)))
            text = f"about {volts(wanted)} at {net} on the mains, as its bench feed says"
            add(
                Claim("feeds", text, said.says, np.log(FLAT)), *_limits(x[:, index[net]], low, high)
            )
    for ref, net, share in _swings(view, said, solved.ripple[:, at], x, index):
        text = f"{ref} is large enough: less than {100 * SWING:.0f} % of ripple on {net}"
        kept = good & (np.nan_to_num(share, nan=9.9) <= SWING)
        add(
            Claim(f"parts.{ref}.value", text, said.says, np.log(FLAT)),
            np.log(np.where(kept, 1.0, SWUNG)),
            share * np.abs(x[:, index[net]]),
            kept,
        )
    for choke, on in said.switch.items():
        level = x[:, index[view.netlist.elements[f"choke:{choke}"].nets[0]]]
        sign = -np.sign(said.overrides[f"choke:{choke}", "dc"])
        kept = np.where(good, (sign * level > said.held[choke]) == (on > 0), False)
        text = f"the switch before {choke} is {'closed' if on > 0 else 'open'}"
        add(
            Claim(f"parts.{choke}", text, said.says, np.log(FLAT)),
            np.log(np.where(kept, 1.0, SWITCH)),
            level,
            kept,
        )
    if said.fired is not None:
        scrs = [
            i for i, n in enumerate(solved.names) if isinstance(view.netlist.elements[n], el.Scr)
        ]
        lit = (solved.latched[:, at][:, scrs] != 0).any(axis=1) & good
        kept = lit == said.fired
        text = "the crowbar has fired" if said.fired else "the crowbar has not fired"
        add(
            Claim("rails", text, said.says, np.log(FLAT)),
            np.log(np.where(kept, 1.0, FIRED)),
            np.full(len(x), np.nan),
            kept,
        )
    odds, level, kept = (np.stack([c[k] for c in columns], axis=1) for k in range(3))
    return Held(tuple(claims), odds, level, kept)


def _swings(
    view: View, said: Row, ripple: Floats, x: Floats, index: Mapping[str, int]
) -> list[tuple[str, str, Floats]]:
    """Reservoirs of a loaded mains side: reference, net, and ripple as a share of its volts (V)."""
    found = []
    for net, (_, within) in said.expected.items():
        common = view.netlist.common
        on = [e for e in view.netlist if isinstance(e, el.Capacitor) and {*e.nets} == {net, common}]
        if within and len(on) == 1:
            share = ripple[:, index[net]] / np.maximum(np.abs(x[:, index[net]]), 1e-3)
            found.append((on[0].name, net, share))
    return found


def _range(limits: Any) -> str:
    return f"{limits.low:g}..{limits.high:g} V"


def _limits(level: Floats, low: float, high: float) -> tuple[Floats, Floats, Any]:
    """Chance of a level within limits, its own doubt counted; logarithm, level, kept."""
    sigma = np.nan_to_num(RAIL_SIGMA * np.abs(level)) + RAIL_VOLTS
    over = np.minimum((high - level) / sigma, (level - low) / sigma)
    inside = 1.0 / (1.0 + np.exp(-1.702 * np.clip(np.nan_to_num(over, nan=-40.0), -40.0, 40.0)))
    kept = np.nan_to_num(over, nan=-1.0) >= 0.0
    return np.log(RAIL + (1.0 - RAIL) * inside), level, kept


def _share(ratio: Floats, within: float) -> tuple[Floats, Floats, Any]:
    """Odds of a resistance that is `ratio` times the printed, as of a reading on its logarithm."""
    off = np.abs(np.log(np.maximum(np.nan_to_num(ratio, nan=1e9), 1e-9)))
    likely = (1.0 - SLIP) * np.exp(-0.5 * np.minimum((2.0 * off / within) ** 2, 1400.0))
    return np.log(likely + SLIP * within), ratio, off <= np.log1p(1.5 * within)


def _evidence(net: str, reading: Any, within: float, said: Row) -> Evidence:
    meter = Meter("the drawing", ENDLESS, within, 2.0)
    return Evidence(
        net,
        "",
        "volts",
        reading.value,
        reading.resolution,
        said.condition,
        meter,
        text=reading.text,
    )


def _read(
    table: Predictions, item: Evidence, column: int, x: Floats, good: Any, within: float
) -> tuple[Floats, Floats, Any]:
    # One row more, for the belief keeps its last for something unmodelled. The odds are those of
    # a reading against one that is just as printed, so they never pass nought.
    belief = Belief([1.0] * (len(x) + 1), 0, 0, len(x))
    span = span_of(table)
    expected = belief.expect(table, item)
    likely = belief.likelihood(expected, item.value, span)
    odds = np.log(likely) - expected.best(span)
    level = x[:, column]
    off = np.abs(level - item.value)
    limit = within * abs(item.value) + 3.0 * max(item.resolution, 0.01)
    return np.minimum(odds[:-1], 0.0), level, np.where(good, off <= limit, False)


def _table(nets: Sequence[str], x: Floats, good: Any) -> Predictions:
    """Solved rows as a table of predictions with no tolerance: a drawing is of the middle part."""
    x, good = np.append(x, x[:1], axis=0), np.append(good, good[:1])
    count, n = len(x), len(nets) + 1
    zero = np.zeros((count, n))
    status = np.where(good, int(Status.SOLVED), int(Status.UNSOLVED)).astype(np.int8)
    mean = np.where(good[:, None], x, np.nan)
    # A slip makes kilovolts; what a wild number may be is bounded by what the file speaks of.
    top = float(np.nanmedian(np.abs(mean).max(axis=1))) if good.any() else 10.0
    return Predictions(
        tuple(nets),
        mean,
        zero,
        mean,
        np.zeros((count, 0, n)),
        zero,
        status,
        np.zeros(count),
        np.zeros((count, n, 0), dtype=np.float16),
        top=top,
    )
