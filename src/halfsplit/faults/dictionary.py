"""The fault dictionary: what every net reads under every hypothesis in one condition."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit import __version__
from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import SOLVER_DIGEST
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.follow import follow
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move, sensitivities
from halfsplit.circuit.solution import Status, told
from halfsplit.circuit.threads import Progress
from halfsplit.faults.store import cache_folder, load_arrays, store_arrays

Floats = npt.NDArray[np.float64]

# Above this resistance to everything a 10 Mohm meter no longer reads the circuit but its leakage.
ADRIFT = 20e6
STAND_IN = "whatever could not be told"
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
    period: seconds a beat of what oscillates or restarts by itself, else 0 (H).
    loaded: rows solved with the meter in place (H), for one reading's table; None for none.
    top: largest voltage of the circuit [V], kept by a table of a few nets; None when all are here.
    """

    nets: tuple[str, ...]
    mean: Floats
    ripple: Floats
    low: Floats
    spread: Floats
    ohms: Floats
    status: npt.NDArray[np.int8]
    period: Floats
    loaded: npt.NDArray[np.bool_] | None = None
    top: float | None = None

    def told(self, row: int) -> str:
        """How a row ended, for people."""
        return told(Status(int(self.status[row])), float(self.period[row]))

    def highest(self) -> float:
        """Largest voltage anywhere under any hypothesis [V]; 10 V when nothing was solved."""
        if self.top is not None:
            return self.top
        return float(np.nanmax(np.abs(self.mean))) if np.isfinite(self.mean).any() else 10.0

    def only(self, nets: Sequence[str]) -> Predictions:
        """The table of a few nets, a small part of the whole."""
        kept = [n for n in dict.fromkeys(nets) if n in self.nets]
        at = [*(self.nets.index(n) for n in kept), len(self.nets)]
        return Predictions(
            tuple(kept),
            self.mean[:, at],
            self.ripple[:, at],
            self.low[:, at],
            self.spread[..., at],
            self.ohms[:, at],
            self.status,
            self.period,
            self.loaded,
            self.highest(),
        )

    def column(self, net: str) -> int:
        """Column of a net; common is the last."""
        return self.nets.index(net) if net in self.nets else len(self.nets)


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
    # Moves nothing by itself; where slopes could not be had it stands in for all the others.
    return [*moves, Move(STAND_IN, {})]


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
    period = np.zeros(len(rows))
    if hertz:
        solved = mains_cycle(topology, rows, hertz, progress=progress)
        mean, status, low = solved.mean, solved.status, solved.low
        ripple = solved.high - solved.low
        rows = _held(machine, rows, mean)
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
    elif machine.self_oscillating:
        solved, rhythm = follow(topology, rows, progress=progress)
        mean, status, low, latched = solved.mean, solved.status, solved.low, solved.latched
        ripple, period = solved.high - solved.low, rhythm.period
        # Slopes are known only of what stands still; for the rest a plain share stands in.
        at = np.where(np.isin(status, STANDING)[:, None], mean, np.nan)
    else:
        healthy = operating_point(topology, topology.rows([state]))
        start = np.nan_to_num(healthy.mean[0])
        solved = operating_point(topology, rows, start)
        mean, status, latched, at = solved.mean, solved.status, solved.latched, solved.mean
        ripple, low = np.where(np.isfinite(mean), 0.0, np.nan), mean
    spread, ohms = sensitivities(topology, rows, at, latched, moves)
    swing = np.nanmax(np.abs(mean)) if np.isfinite(mean).any() else 1.0
    lost = np.asarray(np.isnan(ohms).any(axis=1) & np.isfinite(mean).all(axis=1))
    spread = np.clip(np.nan_to_num(spread), -swing, swing)
    if moves and moves[-1].name == STAND_IN:
        spread[lost, -1] = UNKNOWN_SPREAD * np.abs(mean[lost])
    ohms = np.nan_to_num(ohms, nan=1e3)
    keep = [i for i, n in enumerate(topology.nets) if "#" not in n]
    pad = [(0, 0), (0, 1)]
    return Predictions(
        tuple(topology.nets[i] for i in keep),
        np.pad(mean[:, keep], pad),
        np.pad(ripple[:, keep], pad),
        np.pad(low[:, keep], pad),
        np.pad(spread[:, :, keep], [(0, 0), (0, 0), (0, 1)]),
        np.pad(ohms[:, keep], pad),
        status,
        period,
    )


def _held(machine: Machine, rows: Floats, mean: Floats) -> Floats:
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


class DictionaryCache:
    """Predictions kept in memory, and on disk by content so that tomorrow's start is warm."""

    def __init__(self, machine: Machine, faults: Sequence[Overrides]) -> None:
        self.machine = machine
        self.faults = list(faults)
        self.moves = uncertainties(machine)
        self._known: dict[Condition, Predictions] = {}

    def get(self, condition: Condition, progress: Progress | None = None) -> Predictions:
        """Predictions of every hypothesis in a condition, computed at most once."""
        if condition not in self._known:
            path = self._path(condition)
            stored = _restored(load_arrays(path))
            if stored is None:
                stored = predict(
                    self.machine, condition, self.faults, moves=self.moves, progress=progress
                )
                store_arrays(path, _kept(stored))
            self._known[condition] = stored
        return self._known[condition]

    def _path(self, condition: Condition) -> Path:
        topology = self.machine.topology
        digest = hashlib.sha256()
        digest.update(f"{__version__} {SOLVER_DIGEST}".encode())
        digest.update(topology.base.tobytes())
        digest.update(repr(topology.nets).encode())
        digest.update(
            repr([(e.name, type(e).__name__, e.nets) for e in self.machine.netlist]).encode()
        )
        state = self.machine.values(condition)
        digest.update(repr(sorted(state.items())).encode())
        digest.update(repr(self.machine.alternating(condition)).encode())
        digest.update(repr([sorted(f.items()) for f in self.faults]).encode())
        digest.update(repr([(m.name, sorted(m.changes.items())) for m in self.moves]).encode())
        return cache_folder() / "dictionary" / f"{digest.hexdigest()[:32]}.npz"


# What is kept on disk of a table of predictions.
KEPT = ("mean", "ripple", "low", "spread", "ohms", "status", "period")


def _restored(found: dict[str, npt.NDArray[Any]] | None) -> Predictions | None:
    """A table from what was kept; None when that was nothing or not all."""
    if found is None or not {"nets", *KEPT} <= set(found):
        return None
    nets = tuple(json.loads(str(found["nets"])))
    named: dict[str, Any] = {name: found[name] for name in KEPT}
    return Predictions(nets, **named)


def _kept(table: Predictions) -> dict[str, npt.ArrayLike]:
    """What to keep; spreads need no more than single precision."""
    arrays: dict[str, npt.ArrayLike] = {name: getattr(table, name) for name in KEPT}
    return arrays | {"nets": json.dumps(table.nets), "spread": table.spread.astype(np.float32)}


STANDING = (int(Status.SOLVED), int(Status.POWERED_UP), int(Status.LATCHED))
UNSOLVED = int(Status.UNSOLVED)
# Rows whose readings are no prediction: nothing may be weighed by them.
UNCLAIMED = (UNSOLVED, int(Status.NOT_SETTLED))
