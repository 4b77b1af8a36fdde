"""A circuit that beats by itself, fed by the mains through reservoirs: solved on two scales.

Its beat runs hundreds of times a mains cycle, and reservoir and soft start take many cycles, so to
step through both at once would take half a minute a row. The reservoirs part them: transformer,
rectifiers and reservoirs see the rest as the conductance it draws on average, the rest sees each
reservoir as a steady source at its mean. Each side is solved as it always is, over a mains cycle
and followed from switch-on, until the mean volts agree. What the mains make a reservoir swing by is
laid over the beat afterwards, as far as the rest lets it through.

Held against ngspice stepping through the whole in `tests/simulator/test_mains_beat.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.netlist import Netlist
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Floats, Rhythm, Solution, Status
from halfsplit.circuit.threads import Progress
from halfsplit.circuit.topology import Topology, compile_netlist
from halfsplit.faults.followed import followed

# S of what holds a reservoir while the beat is followed: as its capacitors' series resistance has
# it, for that is what the beat's own current meets; within these bounds.
SOFTEST, STIFFEST = 1.0, 1e3
AGREE = 3e-3  # share by which two means of a reservoir may differ; a beat's own is told to 0.1 %
LOW = 0.1  # V; a reservoir below has no conductance worth naming
ROUNDS = 6  # most; a supply that keeps its output takes two or three
SHAKE = 0.02  # of a reservoir's volts, to see what comes through
# A reservoir that swings by more of its mean is no source to beat on.
STEEP = 0.5
MOST_DRAWN = 1e3  # S
NEXT_TO_NOTHING = 1e-9  # S
BEATING = (int(Status.OSCILLATING), int(Status.RESTARTING))
STANDING = (int(Status.SOLVED), int(Status.POWERED_UP), int(Status.LATCHED))
T = TypeVar("T", Solution, Rhythm)
_FAILED, _MOVING = int(Status.UNSOLVED), int(Status.NOT_SETTLED)


@dataclass(frozen=True)
class Halves:
    """A machine parted at its reservoirs. R of them, N nets of the whole.

    Attributes
    ----------
    mains: the mains side, with one conductance `draw:NET` at each reservoir.
    given, taken: columns of a row of the whole, and of the mains side, that hold the same value.
    before: elements of the mains side, as the whole numbers them.
    opened: what takes the mains side out of a row of the whole: column, value.
    stores: capacitors across each reservoir: columns of capacitance and series resistance.
    reservoirs: nets the two sides share.
    """

    whole: Topology
    mains: Topology
    given: npt.NDArray[np.int64]
    taken: npt.NDArray[np.int64]
    before: frozenset[int]
    opened: tuple[tuple[int, float], ...]
    stores: tuple[tuple[tuple[int, int], ...], ...]
    reservoirs: tuple[str, ...]

    def on_mains(self, rows: Floats, drawn: Floats) -> Floats:
        """Rows of the mains side with what the rest draws [S] (B, R)."""
        made = np.tile(self.mains.base, (len(rows), 1))
        made[:, self.taken] = rows[:, self.given]
        for k, net in enumerate(self.reservoirs):
            made[:, self.mains.slot[f"draw:{net}", "g"]] = drawn[:, k]
        return made

    def stiff(self, rows: Floats) -> Floats:
        """Conductance of each reservoir's capacitors to the beat [S] (B, R)."""
        found = np.zeros((len(rows), len(self.reservoirs)))
        for k, stores in enumerate(self.stores):
            for c, esr in stores:
                found[:, k] += np.where(rows[:, c] > 0.0, 1.0 / np.maximum(rows[:, esr], 1e-6), 0.0)
        return np.asarray(np.clip(found, SOFTEST, STIFFEST))

    def held(self, rows: Floats, level: Floats, drawn: Floats) -> Floats:
        """Rows of the whole without its mains side, each reservoir held where its mean is `level`
        [V] with `drawn` [S] taken from it (B, R)."""
        made = rows.copy()
        for column, value in self.opened:
            made[:, column] = value
        stiff = self.stiff(rows)
        for k, net in enumerate(self.reservoirs):
            source = level[:, k] * (1.0 + drawn[:, k] / stiff[:, k])
            made[:, self.whole.slot[f"hold:{net}", "dc"]] = source
            made[:, self.whole.slot[f"hold:{net}", "g"]] = stiff[:, k]
        return made

    def taken_from(self, held: Floats, solved: Solution) -> Floats:
        """What a solution of held rows draws from each reservoir, as conductance [S] (B, R)."""
        mean = np.nan_to_num(self.at(solved, self.whole))
        drawn = np.zeros_like(mean)
        for k, net in enumerate(self.reservoirs):
            source = held[:, self.whole.slot[f"hold:{net}", "dc"]]
            amps = held[:, self.whole.slot[f"hold:{net}", "g"]] * (source - mean[:, k])
            far = np.abs(mean[:, k]) > LOW
            drawn[:, k] = np.where(far, amps / np.where(far, mean[:, k], 1.0), 0.0)
        return np.asarray(np.clip(drawn, NEXT_TO_NOTHING, MOST_DRAWN))

    def at(self, solved: Solution, side: Topology) -> Floats:
        """Mean volts of the reservoirs (B, R), of a solution of either side."""
        return solved.mean[:, [side.net_index[n] for n in self.reservoirs]]


def halves(machine: Machine) -> Halves | None:
    """Part a machine at its reservoirs; None where a part reaches across, or one is missing."""
    common, swinging = machine.assembly.common, machine.alternating_nets()
    reservoirs = [n for n in machine.rectified() if n != common]
    border = {*reservoirs, common}
    side, stores = Netlist(common), {n: list[str]() for n in reservoirs}
    for e in machine.netlist:
        if set(e.nets) & swinging:
            if not set(e.nets) <= swinging | border:
                return None
            side.add(e)
        elif isinstance(e, el.Capacitor) and set(e.nets) <= border:
            side.add(e)
            for net in set(e.nets) - {common}:
                stores[net].append(e.name)
    if not reservoirs or not all(stores.values()):
        return None
    names = list(side.elements)
    side.add(*(el.Resistor(f"draw:{n}", (n, common), {"g": NEXT_TO_NOTHING}) for n in reservoirs))
    whole, mains = machine.topology, compile_netlist(side)
    keys = [(name, key) for name in names for key in machine.netlist.elements[name].PARAMS]
    gone = {k: v for name in names for k, v in machine.netlist.elements[name].gone().items()}
    return Halves(
        whole,
        mains,
        np.array([whole.slot[k] for k in keys], dtype=np.int64),
        np.array([mains.slot[k] for k in keys], dtype=np.int64),
        frozenset(whole.element_index[name] for name in names),
        tuple((whole.slot[k], v) for k, v in gone.items()),
        tuple(
            tuple((whole.slot[name, "c"], whole.slot[name, "esr"]) for name in stores[n])
            for n in reservoirs
        ),
        tuple(reservoirs),
    )


@dataclass(frozen=True)
class TwoScales:
    """Rows solved on two scales.

    Attributes
    ----------
    solved: as of any solver; `low` and `high` are of both scales together, `wave` of a beat.
    hum: what each net swings by over a mains cycle besides, its mean taken off [V] (B, N, K).
    level, drawn: mean volts of the reservoirs, and what is drawn there [S] (B, R).
    held: rows of the whole with its reservoirs held there (B, P).
    """

    solved: Solution
    rhythm: Rhythm
    hum: npt.NDArray[np.float32]
    level: Floats
    drawn: Floats
    held: Floats

    def by_beat(self) -> Solution:
        """The beat alone, on steady reservoirs."""
        low, high = self.hum.min(axis=2), self.hum.max(axis=2)
        return replace(self.solved, low=self.solved.low - low, high=self.solved.high - high)

    def by_mains(self) -> Solution:
        """The mains cycle alone: of nets before the reservoirs, and of them, all there is."""
        mean = self.solved.mean[:, :, None]
        wave = (mean + self.hum).astype(np.float32)
        low, high = (self.solved.mean + end for end in (self.hum.min(axis=2), self.hum.max(axis=2)))
        return replace(self.solved, low=low, high=high, wave=wave)


def on_two_scales(
    parts: Halves,
    rows: Floats,
    hertz: float,
    *,
    begin: tuple[Floats, Floats] | None = None,
    through: Floats | None = None,
    progress: Progress | None = None,
) -> TwoScales:
    """Solve rows (B, P) of the whole; one whose sides do not come to agree is NOT_SETTLED.

    Parameters
    ----------
    begin: volts and conductance drawn (R each) the reservoirs are first tried at; those they have
        with nothing drawn if None.
    through: part of a reservoir's swing each net (N) of the good machine shows while it beats.
    """
    count, shared = len(rows), len(parts.reservoirs)
    drawn = np.full((count, shared), NEXT_TO_NOTHING)
    fed = mains_cycle(parts.mains, parts.on_mains(rows, drawn), hertz)
    level = parts.at(fed, parts.mains)
    if begin is not None:
        level, drawn = (np.tile(b, (count, 1)) for b in begin)
    due = np.flatnonzero(fed.status != _FAILED)
    agreed = np.zeros(count, dtype=bool)
    beat: tuple[Solution, Rhythm] | None = None
    for turn in range(ROUNDS):
        told = _after(turn, len(due), count, progress)
        held = parts.held(rows[due], level[due], drawn[due])
        new = followed(parts.whole, held, told)
        beat = _laid(beat, new, due, count)
        drawn[due] = parts.taken_from(held, new[0])
        load = mains_cycle(parts.mains, parts.on_mains(rows[due], drawn[due]), hertz)
        fed = _over(fed, load, due)
        now = parts.at(load, parts.mains)
        was = np.nan_to_num(parts.at(new[0], parts.whole))
        off = np.abs(now - was) / np.maximum(np.abs(now), 1.0)
        agreed[due] = (off < AGREE).all(axis=1)
        level[due] = np.where(np.isfinite(now), now, 0.0)
        lost = (new[0].status == _FAILED) | (load.status == _FAILED)
        due = due[~agreed[due] & ~lost]
        if not due.size:
            break
    if progress:
        progress(count, count)
    if beat is None:
        raise ValueError("no row to solve")
    return _both(parts, parts.held(rows, level, drawn), fed, beat, level, drawn, agreed, through)


def _after(turn: int, due: int, count: int, progress: Progress | None) -> Progress | None:
    """Progress of one round as that of the whole: later rounds hold ever fewer rows."""
    if progress is None:
        return None
    told = progress
    done = count - due
    return lambda k, _: told(min(done + (k if turn else 0), count - 1), count)


def _laid(
    before: tuple[Solution, Rhythm] | None,
    new: tuple[Solution, Rhythm],
    at: npt.NDArray[np.int64],
    count: int,
) -> tuple[Solution, Rhythm]:
    """Rows solved again in the place of what they were."""
    if before is None and len(at) == count:
        return new
    if before is None:
        before = (_blank(new[0], count), _blank(new[1], count))
    return _over(before[0], new[0], at), _over(before[1], new[1], at)


def _blank(like: T, count: int) -> T:
    """Room for `count` rows, none solved."""
    made: dict[str, Any] = {}
    value: npt.NDArray[Any]
    for name, value in vars(like).items():
        fill = _FAILED if name == "status" else np.nan if value.dtype.kind == "f" else 0
        made[name] = np.full((count, *value.shape[1:]), fill, dtype=value.dtype)
    return replace(like, **made)


def _over(all_rows: T, new: T, at: npt.NDArray[np.int64]) -> T:
    """A copy of all rows with some exchanged."""
    made: dict[str, Any] = {}
    value: npt.NDArray[Any]
    for name, value in vars(all_rows).items():
        made[name] = value.copy()
        made[name][at] = getattr(new, name)
    return replace(all_rows, **made)


def _both(
    parts: Halves,
    held: Floats,
    fed: Solution,
    beat: tuple[Solution, Rhythm],
    level: Floats,
    drawn: Floats,
    agreed: npt.NDArray[np.bool_],
    through: Floats | None,
) -> TwoScales:
    """One solution of the whole from those of both sides."""
    whole, side = parts.whole, parts.mains
    end, rhythm = beat
    at = [side.net_index[n] for n in parts.reservoirs]
    share = fed.wave[:, at] / np.where(np.abs(level) > LOW, level, 1.0)[:, :, None]
    widest = np.argmax(np.ptp(share, axis=2), axis=1)  # the reservoir that swings most
    swing = share[np.arange(len(level)), widest]
    swing = np.nan_to_num(swing - swing.mean(axis=1, keepdims=True))
    relative = np.ptp(swing, axis=1)
    hum = _passed(parts, held, end, through)[:, :, None] * swing[:, None, :]
    mean, wave = end.mean.copy(), end.wave.copy()
    for i, net in enumerate(side.nets):
        k = whole.net_index[net]
        mean[:, k] = fed.mean[:, i]
        hum[:, k] = fed.wave[:, i] - fed.wave[:, i].mean(axis=1, keepdims=True)
        if net not in parts.reservoirs:
            wave[:, k] = fed.mean[:, i, None]
    low = mean + (end.low - end.mean) + hum.min(axis=2)
    high = mean + (end.high - end.mean) + hum.max(axis=2)
    status = end.status.copy()
    status[~agreed | (relative > STEEP) | (fed.status == _MOVING)] = _MOVING
    failed = (end.status == _FAILED) | (fed.status == _FAILED)
    status[failed] = _FAILED
    for values in (mean, low, high, wave, hum):
        values[failed] = np.nan
    latched = end.latched.copy()
    for name, i in side.element_index.items():
        if not name.startswith("draw:"):
            latched[:, whole.element_index[name]] = fed.latched[:, i]
    residual = np.maximum(end.residual, fed.residual)
    solved = Solution(mean, low, high, status, residual, latched, fed.cycles, wave)
    return TwoScales(solved, rhythm, hum.astype(np.float32), level, drawn, held)


def _passed(parts: Halves, held: Floats, end: Solution, through: Floats | None) -> Floats:
    """What each net (B, N) would move by, did the reservoirs move by their whole volts [V].

    Of a row that stands still, by solving it again a little lower; of one that beats, as the good
    machine does.
    """
    passed = np.zeros_like(end.mean)
    still = np.flatnonzero(np.isin(end.status, STANDING))
    if still.size:
        lower = held[still]
        for net in parts.reservoirs:
            lower[:, parts.whole.slot[f"hold:{net}", "dc"]] *= 1.0 - SHAKE
        moved = operating_point(parts.whole, lower, np.nan_to_num(end.mean[still])).mean
        passed[still] = np.nan_to_num(end.mean[still] - moved) / SHAKE
    beats = np.flatnonzero(np.isin(end.status, BEATING))
    if through is not None:
        passed[beats] = through
    return passed
