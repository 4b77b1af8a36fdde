"""The fault dictionary: what every net reads under every hypothesis in one condition."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move, sensitivities
from halfsplit.circuit.threads import Progress
from halfsplit.faults.beats import (
    BEATING,
    UNKNOWN_SPREAD,
    Leaning,
    followed_slopes,
    slopes_kept,
    with_slopes,
)
from halfsplit.faults.followed import followed
from halfsplit.faults.hypotheses import SIZES, Hypothesis
from halfsplit.faults.kept_under import table_folder
from halfsplit.faults.mains_beat import keeps_time, solve_beating
from halfsplit.faults.noise import noise
from halfsplit.faults.predictions import KEPT, STANDING, Predictions, joined
from halfsplit.faults.sampling import STAND_INS
from halfsplit.faults.store import load_arrays, store_arrays

Floats = npt.NDArray[np.float64]

BANDS = "moving each uncertain value in turn, for the bands"  # while progress of that is told
STAND_IN = "whatever could not be told"
SIZE_AT = -STAND_INS - SIZES  # first column of the sizes of a row's own faults
# Rows solved between two files, so that a run stopped halfway is not begun again: under a second's
# worth, or where a row takes seconds a minute's.
CHUNK, FEW = 24, 6
# Slope of a raw rail with load where the mains cycle is not solved anew, for sensitivities and for
# what changes as a machine warms [ohm]; common practice for rectifiers of these sizes, no published
# source. What a row reads as it is does not hang on it.
RAW_OHMS = 0.3
STIFF = 1e3  # S, what holds a net whatever is drawn from it


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
    # These move nothing by themselves: they are where the sizes of a row's own faults are kept.
    moves += [Move(f"size of fault {k + 1}", {}) for k in range(SIZES)]
    # Nor do these: the last stands in for all others where slopes could not be had, and all carry
    # what draws show that no single move explains.
    return [*moves, *(Move(STAND_IN, {}) for _ in range(STAND_INS))]


def predict(
    machine: Machine,
    condition: Condition,
    faults: Sequence[Overrides],
    *,
    fresh: Sequence[Overrides] | None = None,
    sizes: Sequence[Sequence[Overrides]] | None = None,
    moves: Sequence[Move] | None = None,
    progress: Progress | None = None,
) -> Predictions:
    """Solve every fault in one condition; one the condition undoes (part replaced) is gone.

    `fresh` holds, fault by fault, what is wrong with the parts the condition replaced; `sizes` what
    each row's faults change at another size, which is one more uncertainty of that row.
    """
    topology = machine.topology
    state = machine.values(condition)
    laid = fresh or [{}] * len(faults)
    rows = topology.rows([{**f, **state, **new} for f, new in zip(faults, laid, strict=True)])
    hertz = machine.alternating(condition)
    moves = uncertainties(machine) if moves is None else list(moves)
    period = np.zeros(len(rows))
    hum = None
    by_itself = keeps_time(machine, condition)
    if by_itself:
        if hertz:
            both = solve_beating(machine, condition, rows, hertz, progress)
            solved, rhythm, rows, hum = both.solved, both.rhythm, both.held, both.hum
        else:
            solved, rhythm = followed(topology, rows, progress)
        mean, status, low, latched = solved.mean, solved.status, solved.low, solved.latched
        ripple, period = solved.high - solved.low, rhythm.period
        # Slopes are known only of what stands still; for the rest a plain share stands in.
        at = np.where(np.isin(status, STANDING)[:, None], mean, np.nan)
    elif hertz:
        solved = mains_cycle(topology, rows, hertz, progress=progress)
        mean, status, low = solved.mean, solved.status, solved.low
        period[:] = 1.0 / hertz
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
    ripple = ripple + noise(machine, rows)
    spread, ohms = sensitivities(topology, rows, at, latched, moves)
    swing = np.nan_to_num(np.abs(mean)).max(axis=1, initial=0.0)[:, None, None]
    lost = np.asarray(np.isnan(ohms).any(axis=1) & np.isfinite(mean).all(axis=1))
    spread = np.clip(np.nan_to_num(spread), -swing, swing)
    if moves and moves[-1].name == STAND_IN:
        if sizes is not None:
            _sized(machine, state, sizes, rows, at, spread, swing)
        spread[lost, -1] = UNKNOWN_SPREAD * np.abs(mean[lost])
    ohms = np.nan_to_num(ohms, nan=1e3)
    keep = [i for i, n in enumerate(topology.nets) if "#" not in n]
    pad = [(0, 0), (0, 1)]
    made = Predictions(
        tuple(topology.nets[i] for i in keep),
        np.pad(mean[:, keep], pad),
        np.pad(ripple[:, keep], pad),
        np.pad(low[:, keep], pad),
        np.pad(spread[:, :, keep], [(0, 0), (0, 0), (0, 1)]),
        np.pad(ohms[:, keep], pad),
        status,
        period,
        np.pad(_swing(solved.wave[:, keep]), [*pad, (0, 0)]),
    )
    if hum is None or not hertz:
        return made
    slow = np.pad(_swing(hum[:, keep]), [*pad, (0, 0)])
    return replace(made, hum=slow, cycle=np.full(len(rows), 1.0 / hertz))


def _swing(wave: npt.NDArray[np.float32]) -> npt.NDArray[np.float16]:
    """Samples (B, N, K) less their mean; half precision is 0.05 % of each, to 65 kV."""
    swing = wave - wave.mean(axis=2, keepdims=True) if wave.shape[2] else wave
    return swing.astype(np.float16)


def _sized(
    machine: Machine,
    state: Overrides,
    sizes: Sequence[Sequence[Overrides]],
    rows: Floats,
    at: Floats,
    spread: Floats,
    swing: Floats,
) -> None:
    """Fill the columns of fault sizes: what the nets do when the fault is of another size."""
    topology = machine.topology
    for k in range(SIZES):
        due = [
            i
            for i, listed in enumerate(sizes)
            if len(listed) > k and np.isfinite(at[i]).all() and not listed[k].keys() <= state.keys()
        ]
        if not due:
            continue
        moved = rows[due]
        for j, i in enumerate(due):
            for key, value in sizes[i][k].items():
                if key not in state:
                    moved[j, topology.slot[key]] = value
        solved = operating_point(topology, moved, at[due])
        change = solved.mean - at[due]
        change[~np.isin(solved.status, STANDING)] = 0.0
        most = swing.reshape(len(rows), 1)[due]
        spread[due, SIZE_AT + k] = np.clip(np.nan_to_num(change), -most, most)


def held_rows(machine: Machine, rows: Floats, mean: Floats, *, sags: bool = True) -> Floats:
    """Rows with the mains off and each rectified net held where its cycle mean is (B, N) [V].

    What holds a net has the ohms of a raw supply and so much more volts as these take at the
    current it gives: the row as it is reads its mean there, and one that draws more pulls it down.
    Unless it `sags`: then it is held there whatever is drawn.
    """
    topology, held_nets = machine.topology, list(machine.rectified())
    held = rows.copy()
    for part in machine.assembly.parts.values():
        if part.KIND == "mains":
            held[:, topology.slot[part.ref, "ac"]] = 0.0
    levels = [np.nan_to_num(mean[:, topology.net_index[net]]) for net in held_nets]
    for net, level in zip(held_nets, levels, strict=True):
        held[:, topology.slot[f"hold:{net}", "dc"]] = level
        held[:, topology.slot[f"hold:{net}", "g"]] = STIFF
    if not sags:
        return held
    found = operating_point(topology, held, np.nan_to_num(mean)).mean
    for net, level in zip(held_nets, levels, strict=True):
        amps = np.nan_to_num(STIFF * (level - found[:, topology.net_index[net]]))
        held[:, topology.slot[f"hold:{net}", "dc"]] = level + RAW_OHMS * amps
        held[:, topology.slot[f"hold:{net}", "g"]] = 1.0 / RAW_OHMS
    return held


class DictionaryCache:
    """Predictions kept in memory, and on disk by content so that tomorrow's start is warm.

    Each chunk of rows is a file of its own, written as soon as it is solved. Rows do not depend on
    each other, so a dictionary is the same whether it was computed in one go or resumed.
    """

    def __init__(self, machine: Machine, hypotheses: Sequence[Hypothesis]) -> None:
        self.machine = machine
        self.faults = [h.changes for h in hypotheses]
        self.sizes = [h.sizes for h in hypotheses]
        self.moves = uncertainties(machine)
        self._known: dict[Condition, Predictions] = {}
        self._slopes: dict[Condition, Leaning | None] = {}

    def ready(self, condition: Condition) -> bool:
        """Whether a condition's table is at hand without solving anything."""
        return condition in self._known

    def kept(self, condition: Condition) -> bool:
        """Whether a condition's table is a moment away: in memory, whole on disk, or of a circuit
        that stands still, whose rows take microseconds each."""
        if condition in self._known or not self._slow(condition):
            return True
        step = self._step(condition)
        last = (len(self.faults) - 1) // step * step  # they are written in order
        return (self.folder(condition) / f"{last:06d}.npz").exists()

    def _slow(self, condition: Condition) -> bool:
        return self.machine.self_oscillating or bool(self.machine.alternating(condition))

    def _step(self, condition: Condition) -> int:
        """Rows of one file."""
        if not self._slow(condition):
            return len(self.faults)  # over before anybody could stop it
        return FEW if self.machine.self_oscillating else CHUNK

    def get(self, condition: Condition, progress: Progress | None = None) -> Predictions:
        """Predictions of every hypothesis in a condition, computed at most once.

        KeyboardInterrupt passes through; chunks finished by then are on disk.
        """
        if condition not in self._known:
            folder, count = self.folder(condition), len(self.faults)
            step = self._step(condition)
            chunks = []
            for begin in range(0, count, step):
                path = folder / f"{begin:06d}.npz"
                faults = self.faults[begin : begin + step]
                found = _restored(load_arrays(path), len(faults))
                if found is None:
                    found = predict(
                        self.machine,
                        condition,
                        faults,
                        sizes=self.sizes[begin : begin + step],
                        moves=self.moves,
                        progress=_after(begin, count, progress),
                    )
                    store_arrays(path, _kept(found))
                chunks.append(found)
            if progress:
                progress(count, count)
            self._known[condition] = self.sloped(condition, _joined(chunks), progress).by_net()
        return self._known[condition]

    def sloped(
        self, condition: Condition, table: Predictions, progress: Progress | None = None
    ) -> Predictions:
        """A table of some rows of a condition, with spreads where the circuit beats by itself.

        They are those of the good machine so fed and loaded with every part in its place: to follow
        it anew for each lead lifted would take minutes each, or half an hour.
        """
        if not self._leans(condition, table):
            return table
        whole = replace(condition, changes=())
        if whole not in self._slopes:
            told, folder = about(progress, BANDS), self._beside(whole)
            self._slopes[whole] = followed_slopes(self.machine, whole, self.moves, folder, told)
        good = self._slopes[whole]
        return with_slopes(table, good) if good else table

    def slopes_ahead(self, condition: Condition, table: Predictions) -> bool:
        """Whether :meth:`sloped` has yet to follow the good machine once a part value for this
        table, which takes minutes."""
        whole = replace(condition, changes=())
        return (
            self._leans(condition, table)
            and whole not in self._slopes
            and not slopes_kept(self._beside(whole))
        )

    def _leans(self, condition: Condition, table: Predictions) -> bool:
        """Whether any row beats by itself, for which alone slopes are followed."""
        return bool((table.status == BEATING).any()) and keeps_time(self.machine, condition)

    def _beside(self, whole: Condition) -> Path:
        """Where slopes of the good machine are kept."""
        return table_folder(self.machine, whole, [], repr(self._moves))

    def folder(self, condition: Condition) -> Path:
        """Where a condition's chunks are kept."""
        more = [[sorted(s.items()) for s in one] for one in self.sizes]
        return table_folder(self.machine, condition, self.faults, repr((more, self._moves)))

    @cached_property
    def _moves(self) -> list[tuple[str, list[tuple[tuple[str, str], float]]]]:
        return [(m.name, sorted(m.changes.items())) for m in self.moves]


def about(progress: Progress | None, what: str) -> Progress | None:
    """Progress told as that of other work, where whoever is told shows words with it."""
    other = getattr(progress, "about", None)
    return other(what) if other else progress


def _after(begin: int, count: int, progress: Progress | None) -> Progress | None:
    """Progress of a chunk as progress of the whole; the last of the whole is told by the caller."""
    if progress is None:
        return None
    whole = progress
    return lambda done, _: whole(min(begin + done, count - 1), count)


def _joined(chunks: Sequence[Predictions]) -> Predictions:
    if not chunks:
        raise ValueError("a dictionary of no hypotheses")
    return joined(chunks)


def _restored(found: dict[str, npt.NDArray[Any]] | None, rows: int) -> Predictions | None:
    """A table from what was kept; None when that was nothing or not all."""
    if found is None or not {"nets", *KEPT} <= set(found) or len(found["status"]) != rows:
        return None
    nets = tuple(json.loads(str(found["nets"])))
    named: dict[str, Any] = {name: found[name] for name in KEPT}
    return Predictions(nets, **named)


def _kept(table: Predictions) -> dict[str, npt.ArrayLike]:
    """What to keep; spreads need no more than single precision."""
    arrays: dict[str, npt.ArrayLike] = {name: getattr(table, name) for name in KEPT}
    return arrays | {"nets": json.dumps(table.nets), "spread": table.spread.astype(np.float32)}
