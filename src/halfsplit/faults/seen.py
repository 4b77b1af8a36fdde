"""One solved row seen sample by sample: what each element carries, turns into heat and stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.heat import element_flow
from halfsplit.circuit.solution import Rhythm, Solution

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Mains:
    """Of rows solved on two scales, the mains cycle: `elements` live by it alone, save that a
    reservoir also carries the beat's current. `hum` is what it adds to the volts of all others."""

    solved: Solution
    rows: Floats
    hertz: float
    elements: frozenset[int]
    hum: npt.NDArray[np.float32]


class Seen:
    """One row, each element seen by the rhythm it lives by."""

    def __init__(
        self,
        machine: Machine,
        rows: Floats,
        solved: Solution,
        rhythm: Rhythm | None,
        r: int,
        hertz: float | None,
        mains: Mains | None,
    ) -> None:
        self.run = Run(machine, rows[r], solved, rhythm, r, hertz)
        self.slow: Run | None = None
        self.elements: frozenset[int] = frozenset()
        if mains:
            self.slow = Run(machine, mains.rows[r], mains.solved, None, r, mains.hertz)
            self.elements = mains.elements
            self.run.hum = np.pad(mains.hum[r].T.astype(float), ((0, 0), (0, 1)))
            # A reservoir is as the row has it, though what stands in for it was solved.
            self.beat = Run(machine, mains.rows[r], solved, rhythm, r, None)

    def by(self, e: int) -> Run:
        """The rhythm an element (its number) lives by."""
        return self.slow if self.slow and e in self.elements else self.run

    def ripple(self, e: int) -> float:
        """Alternating current of a capacitor, rms [A], of both rhythms together."""
        slow = self.by(e).ripple(e)
        return float(np.hypot(slow, self.beat.ripple(e))) if e in self.elements else slow


class Run:
    """One solved row seen sample by sample."""

    def __init__(
        self,
        machine: Machine,
        row: Floats,
        solved: Solution,
        rhythm: Rhythm | None,
        r: int,
        hertz: float | None,
    ) -> None:
        self.topology = machine.topology
        self.elements = list(machine.netlist)
        wave = solved.wave[r].astype(float)
        kept = bool(wave.shape[1]) and bool(np.isfinite(wave).all())
        # Seconds the samples span: 0 where all stands still, NaN where what moves was not kept.
        self.period = 1.0 / hertz if hertz else float(rhythm.period[r]) if rhythm else 0.0
        if self.period and not kept:
            self.period = float("nan")
        if not kept:
            wave = solved.mean[r][:, None]
        samples = np.ascontiguousarray(wave.T)
        count = len(samples)
        self.flow, self.into = element_flow(
            self.topology,
            np.repeat(row[None], count, axis=0),
            samples,
            np.repeat(solved.latched[r][None], count, axis=0),
        )
        pad = ((0, 0), (0, 1))
        self.volts = np.pad(samples, pad)
        self.mean = np.append(solved.mean[r], 0.0)
        # How far the exact extremes of each net reach beyond the samples kept of it.
        self.above = np.append(np.maximum(solved.high[r] - samples.max(axis=0), 0.0), 0.0)
        self.below = np.append(np.maximum(samples.min(axis=0) - solved.low[r], 0.0), 0.0)
        self.hum: Floats | None = None  # samples (K, N+1) of a slower swing besides
        self.row = row
        self.held = None
        if rhythm is not None and np.isfinite(rhythm.held_mean[r]).any():
            self.held = (rhythm.held_mean[r], rhythm.held_low[r], rhythm.held_high[r])

    def watts(self, e: int) -> float:
        """Mean power an element turns into heat [W]."""
        element = self.elements[e]
        if isinstance(element, el.Inductor):
            r = self.row[self.topology.slot[element.name, "r"]]
            return float(r * self.amps(e, "rms") ** 2)
        return float(self.flow[:, e].mean())

    def amps(self, e: int, basis: str) -> float:
        """Current of the terminal that carries most [A]."""
        element = self.elements[e]
        if isinstance(element, el.Inductor):
            return self._choke(e, basis)
        # A winding's third terminal is its core, which carries turns, not amperes.
        count = 2 if isinstance(element, el.Winding) else len(element.nets)
        flow = self.into[:, e, :count]
        if basis == "peak":
            return float(np.abs(flow).max())
        if basis == "rms":
            return float(np.sqrt((flow**2).mean(axis=0)).max())
        return float(np.abs(flow.mean(axis=0)).max())

    def ripple(self, e: int) -> float:
        """Alternating current of a capacitor, rms [A], harmonic by harmonic of its volts.

        Sixty-four samples tell up to the 32nd; of a rectifier's pulses that is all but a percent.
        """
        if not self.period:
            return 0.0
        name, (a, b) = self.elements[e].name, self._ends(e)
        c, esr = (float(self.row[self.topology.slot[name, k]]) for k in ("c", "esr"))
        across = self.volts[:, a] - self.volts[:, b]
        tones = np.fft.rfft(across) / len(across)
        omega = 2.0 * np.pi * np.arange(len(tones)) / self.period
        flow = tones * 1j * omega * c / (1.0 + 1j * omega * c * esr)
        return float(np.sqrt(2.0 * (np.abs(flow[1:]) ** 2).sum()))

    def _choke(self, e: int, basis: str) -> float:
        if self.held is not None and np.isfinite(self.held[0][e]):
            mean, low, high = (float(part[e]) for part in self.held)
            if basis == "peak":
                return max(abs(low), abs(high))
            # The ripple of a choke is a triangle: its rms is its height over the root of twelve.
            return float(np.sqrt(mean**2 + (high - low) ** 2 / 12.0)) if basis == "rms" else mean
        a, b = self._ends(e)[:2]
        name = self.elements[e].name
        r = self.row[self.topology.slot[name, "r"]]
        return float(abs(self.mean[a] - self.mean[b]) / max(r, 1e-9))

    def _ends(self, e: int) -> list[int]:
        at = self.topology.net_index
        return [at.get(n, len(self.topology.nets)) for n in self.elements[e].nets]

    def _between(self, a: int, b: int) -> tuple[float, float]:
        """Least and most of the volts from a to b [V], exact extremes of each net allowed for."""
        found = self.volts[:, a] - self.volts[:, b]
        slow = np.zeros(1) if self.hum is None else self.hum[:, a] - self.hum[:, b]
        return (
            float(found.min() - max(self.below[a], self.above[b]) + slow.min()),
            float(found.max() + max(self.above[a], self.below[b]) + slow.max()),
        )

    def across(self, e: int) -> float:
        """Largest volts across an element's main terminals, either way [V]."""
        ends = self._ends(e)[:2] if len(self._ends(e)) < 3 else self._main(e)
        low, high = self._between(*ends)
        return max(abs(low), abs(high))

    def _main(self, e: int) -> list[int]:
        """The two terminals a rating in volts is about."""
        ends, element = self._ends(e), self.elements[e]
        if isinstance(element, (el.Bjt, el.Triode, el.Pentode)):
            return [ends[0], ends[-1]]
        return ends[:2]

    def rated_volts(self, e: int, reverse: bool) -> float:
        """Volts the rating is about: backwards for rectifiers, forwards for what has a plus."""
        low, high = self._between(*self._main(e))
        if reverse or isinstance(self.elements[e], (el.Diode, el.Vacuum)):
            return max(-low, 0.0)
        return max(abs(low), abs(high))
