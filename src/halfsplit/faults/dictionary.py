"""The fault dictionary: what every net reads under every hypothesis in one condition."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move, sensitivities
from halfsplit.circuit.solution import Status
from halfsplit.circuit.threads import Progress
from halfsplit.faults.sampling import STAND_INS, Spread, spread_of
from halfsplit.quantity.volts import volts

Floats = npt.NDArray[np.float64]

# Above this resistance to everything a 10 Mohm meter no longer reads the circuit but its leakage.
ADRIFT = 20e6
STAND_IN = "whatever could not be told"
TWO_STATES = 0.1  # V between two states below which a net is said to read the same in both
# One sigma of any reading, as a share of it, where its slopes could not be had.
UNKNOWN_SPREAD = 0.05
# Slope of a raw rail with load while sensitivities are taken [ohm]; common practice for rectifiers
# of these sizes, no published source. It matters only to spreads, never to readings.
RAW_OHMS = 0.3


@dataclass(frozen=True)
class Predictions:
    """Readings of H rows in one condition; N nets plus common as a last, zero column.

    Attributes
    ----------
    mean: direct voltage against common [V] (H, N+1).
    ripple: peak-to-peak over a mains cycle [V] (H, N+1).
    low: lowest instant of the cycle [V] (H, N+1).
    spread: change at one sigma of each of K uncertainties [V] (H, K, N+1).
    ohms: resistance seen into the net [ohm] (H, N+1).
    status: one solver status a row (H).
    centre: mean over good specimens [V] (H, N+1); it is `mean` where slopes hold.
    loose: spread at one sigma that none of the uncertainties explains [V] (H, N+1).
    band: 5 % and 95 % of good specimens read below this [V] (H, 2, N+1).
    share: part of the specimens in the first of two states; NaN where there is but one (H).
    levels: direct voltage in each of the two states [V] (H, 2, N+1).
    sampled: whether the spread was drawn, slopes being no guide (H).
    """

    nets: tuple[str, ...]
    mean: Floats
    ripple: Floats
    low: Floats
    spread: Floats
    ohms: Floats
    status: npt.NDArray[np.int8]
    centre: Floats
    loose: Floats
    band: Floats
    share: Floats
    levels: Floats
    sampled: npt.NDArray[np.bool_]

    def column(self, net: str) -> int:
        """Column of a net; common is the last."""
        return self.nets.index(net) if net in self.nets else len(self.nets)

    def bistable(self, row: int, net: str) -> str:
        """In words, the two readings tolerances decide between; "" where there is but one."""
        share, (first, second) = float(self.share[row]), self.levels[row, :, self.column(net)]
        if not np.isfinite(share) or abs(first - second) < TWO_STATES:
            return ""
        return (
            f"bistable: {net} reads about {volts(first)} in {100 * share:.0f} % of good specimens, "
            f"{volts(second)} otherwise"
        )


def uncertainties(machine: Machine) -> list[Move]:
    """Everything about a good machine that is not known exactly: part values, mains, raw rails."""
    moves = [Move(w.name, w.changes) for p in machine.assembly.parts.values() for w in p.wanders()]
    held = {(f"hold:{n}", "dc"): 0.03 for n in machine.rectified()}
    if held:
        moves.append(Move("mains level", held, relative=True))
    for net in machine.rectified():
        moves.append(Move(f"{net} rectifier", {(f"hold:{net}", "dc"): 0.015}, relative=True))
    fed = sorted({n for f in machine.assembly.feeds.values() for n in f.nets})
    moves += [Move(f"{n} source", {(f"feed:{n}", "dc"): 0.01}, relative=True) for n in fed]
    # They move nothing by themselves: the last stands in for all others where slopes could not be
    # had, and all carry what draws show that no single move explains.
    return [*moves, *(Move(STAND_IN, {}) for _ in range(STAND_INS))]


def predict(
    machine: Machine,
    condition: Condition,
    faults: Sequence[Overrides],
    *,
    moves: Sequence[Move] | None = None,
    progress: Progress | None = None,
) -> Predictions:
    """Solve every fault in one condition; one the condition undoes (part replaced) is gone."""
    topology = machine.topology
    state = machine.values(condition)
    rows = topology.rows([{**fault, **state} for fault in faults])
    hertz = machine.alternating(condition)
    moves = uncertainties(machine) if moves is None else list(moves)
    if hertz:
        solved = mains_cycle(topology, rows, hertz, progress=progress)
        mean, status, low = solved.mean, solved.status, solved.low
        ripple = solved.high - solved.low
        rows = held_rows(machine, rows, mean)
        start = np.nan_to_num(mean)
        flat = operating_point(topology, rows, start)
        at, latched = flat.mean, flat.latched
        # Where the held solution strays from the cycle mean it is not the same state; its slopes
        # would mislead, so they are dropped and a plain share of the reading stands in for them.
        swinging = machine.alternating_nets()
        steady = [i for i, n in enumerate(topology.nets) if n not in swinging and "#" not in n]
        strays = np.abs(at - start)[:, steady]
        usable = np.isfinite(at).all(axis=1) & (strays.max(axis=1, initial=0.0) < 3.0)
        at[~usable] = np.nan
    else:
        healthy = operating_point(topology, topology.rows([state]))
        start = np.nan_to_num(healthy.mean[0])
        solved = operating_point(topology, rows, start)
        mean, status, latched, at = solved.mean, solved.status, solved.latched, solved.mean
        ripple, low = np.where(np.isfinite(mean), 0.0, np.nan), mean
    slopes, ohms = sensitivities(topology, rows, at, latched, moves)
    lost = np.asarray(np.isnan(ohms).any(axis=1) & np.isfinite(mean).all(axis=1))
    ohms = np.nan_to_num(ohms, nan=1e3)
    swing = np.nan_to_num(np.abs(mean)).max(axis=1, initial=0.0)[:, None, None]
    slopes = np.clip(np.nan_to_num(slopes), -swing, swing)
    if moves and moves[-1].name == STAND_IN:
        slopes[lost, -1] = UNKNOWN_SPREAD * np.abs(mean[lost])
        heed = (ohms < ADRIFT) & np.array(["#" not in n for n in topology.nets])
        drawn = spread_of(topology, rows, at, latched, slopes, moves, heed, progress=progress)
    else:
        drawn = _by_slopes(slopes)
    return _gather(topology.nets, mean, ripple, low, ohms, status, drawn)


def _by_slopes(slopes: Floats) -> Spread:
    """Spread where nobody asked for draws."""
    count, _, n = slopes.shape
    zero, two = np.zeros((count, n)), np.zeros((count, 2, n))
    one = np.full(count, np.nan)
    return Spread(zero, slopes, zero, two, one, two * np.nan, np.zeros(count, dtype=bool))


def _gather(
    nets: Sequence[str],
    mean: Floats,
    ripple: Floats,
    low: Floats,
    ohms: Floats,
    status: npt.NDArray[np.int8],
    drawn: Spread,
) -> Predictions:
    """Nets inside parts left out, common added as a last column of zeros."""
    keep = [i for i, n in enumerate(nets) if "#" not in n]

    def columns(values: Floats) -> Floats:
        return np.pad(values[..., keep], [*([(0, 0)] * (values.ndim - 1)), (0, 1)])

    return Predictions(
        tuple(nets[i] for i in keep),
        columns(mean),
        columns(ripple),
        columns(low),
        columns(drawn.slopes),
        columns(ohms),
        status,
        columns(mean + drawn.centre),
        columns(drawn.loose),
        columns(mean[:, None] + drawn.band),
        drawn.share,
        columns(mean[:, None] + drawn.levels),
        drawn.sampled,
    )


def held_rows(machine: Machine, rows: Floats, mean: Floats) -> Floats:
    """Rows with the mains off and each rectified net held at its cycle mean."""
    topology = machine.topology
    held = rows.copy()
    for part in machine.assembly.parts.values():
        if part.KIND == "mains":
            held[:, topology.slot[part.ref, "ac"]] = 0.0
    for net in machine.rectified():
        level = np.nan_to_num(mean[:, topology.net_index[net]])
        held[:, topology.slot[f"hold:{net}", "dc"]] = level
        held[:, topology.slot[f"hold:{net}", "g"]] = 1.0 / RAW_OHMS
    return held


UNSOLVED = int(Status.UNSOLVED)
# Rows whose readings are no prediction: nothing may be weighed by them.
UNCLAIMED = (UNSOLVED, int(Status.NOT_SETTLED))
