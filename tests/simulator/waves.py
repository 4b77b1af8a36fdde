"""ngspice in the time domain: waveforms of a deck, and the numbers a bench reads off them."""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.simulator.deck import NGSPICE, Deck

Wave = NDArray[np.float64]
FINE = "reltol=1e-4 abstol=1e-9 vntol=1e-6 itl4=200"
# Strays of 30 pF are not worth steps of a nanosecond in a run of a tenth of a second.
COARSE = "reltol=1e-3 abstol=1e-8 vntol=1e-6 chgtol=1e-12 itl4=10"


@dataclass(frozen=True)
class Waves:
    """Samples at ngspice's own, uneven time points.

    Attributes
    ----------
    time: (T,) seconds.
    volts: net -> (T,) V. amps: element -> (T,) A.
    device: quantity of a device as ngspice names it, such as "@q3[p]" -> (T,).
    """

    time: Wave
    volts: dict[str, Wave]
    amps: dict[str, Wave]
    device: dict[str, Wave] = field(default_factory=dict)

    def since(self, start: float, stop: float = float("inf")) -> Waves:
        """The part between two times [s]."""
        keep = (self.time >= start) & (self.time <= stop)
        return Waves(
            self.time[keep],
            {k: v[keep] for k, v in self.volts.items()},
            {k: v[keep] for k, v in self.amps.items()},
            {k: v[keep] for k, v in self.device.items()},
        )

    def mean(self, wave: Wave) -> float:
        """Time average: the points are uneven, so by trapezoids."""
        return float(np.trapezoid(wave, self.time) / (self.time[-1] - self.time[0]))

    def rises(self, wave: Wave, level: float, back: float) -> Wave:
        """Times [s] at which a wave passes `level` upward, having been below `back` before."""
        found, low = [], bool(wave[0] < back)
        marks = np.flatnonzero((wave >= level) | (wave < back))
        for i in marks:
            if wave[i] < back:
                low = True
            elif low:
                low = False
                part = (level - wave[i - 1]) / (wave[i] - wave[i - 1])
                found.append(self.time[i - 1] + part * (self.time[i] - self.time[i - 1]))
        return np.array(found)

    def hertz(self, wave: Wave, level: float, back: float) -> float | None:
        """Mean repetition rate over whole periods; None without two rises."""
        at = self.rises(wave, level, back)
        return float((at.size - 1) / (at[-1] - at[0])) if at.size >= 2 else None

    def duty(self, wave: Wave, level: float, back: float) -> float | None:
        """Share of time above `level` over whole periods; None without two rises."""
        at = self.rises(wave, level, back)
        if at.size < 2:
            return None
        whole = self.since(at[0], at[-1])
        high = np.interp(whole.time, self.time, (wave > level).astype(float))
        return whole.mean(high)


def transient(
    deck: Deck,
    nets: Iterable[str],
    stop: float,
    step: float,
    *,
    amps: Iterable[str] = (),
    device: Iterable[str] = (),
    keep: float = 0.0,
    timeout: float = 600.0,
    options: str = FINE,
) -> Waves | None:
    """Waveforms of `nets`, the currents of elements `amps` and quantities of `device`s by ngspice's
    own names, from `keep` to `stop` [s].

    `step` [s] is the longest time step; ngspice takes shorter ones as it needs. Gear's method: the
    trapezoidal rule rings on the steps of a switch. `options` are its error bounds. None when
    ngspice gave up.
    """
    assert NGSPICE, "ngspice is needed: apt-get install ngspice"
    nets, amps, device = list(nets), list(amps), list(device)
    nodes = {deck.net(n) for n in nets} | {n for a in amps for n in deck.through[a][:2]}
    asked = sorted(nodes - {"0"})
    text = ["transient", *deck.lines]
    text += [f".options gmin=1e-12 {options} method=gear maxord=2"]
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "waves.raw"
        text += [".save " + " ".join([*(f"v({n})" for n in asked), *device])]
        text += [".control", f"tran {step:g} {stop:g} {keep:g} {step:g} uic"]
        text += [f"write {out}", "quit", ".endc", ".end", ""]
        path = Path(folder) / "deck.cir"
        path.write_text("\n".join(text))
        done = subprocess.run(
            [NGSPICE, "-b", str(path)], capture_output=True, text=True, timeout=timeout, check=False
        )
        said = done.stdout + done.stderr
        if not out.exists() or "aborted" in said or "too small" in said:
            return None
        table = _raw(out)
    if table["time"][-1] < 0.999 * stop:
        return None
    table["0"] = np.zeros_like(table["time"])
    at = {"0": "0"} | {n: f"v({n})" for n in asked}
    volts = {n: table[at[deck.net(n)]] for n in nets}
    flow = {a: (table[at[p]] - table[at[q]]) * g for a, (p, q, g) in _ends(deck, amps).items()}
    named = {d: d if d in table else f"i({d})" for d in device}  # currents stand as i(…)
    return Waves(table["time"], volts, flow, {d: table[n] for d, n in named.items()})


def _ends(deck: Deck, amps: list[str]) -> dict[str, tuple[str, str, float]]:
    return {a: deck.through[a] for a in amps}


def _raw(path: Path) -> dict[str, Wave]:
    """Vectors of a binary rawfile (header lines, then one row of doubles per time point)."""
    data = path.read_bytes()
    mark = data.index(b"Binary:\n")
    head = data[:mark].decode().splitlines()
    count = int(next(line for line in head if line.startswith("No. Variables")).split(":")[1])
    first = next(i for i, line in enumerate(head) if line.startswith("Variables:")) + 1
    names = [line.split()[1].lower() for line in head[first : first + count]]
    rows = np.frombuffer(data[mark + len(b"Binary:\n") :], dtype=np.float64)
    rows = rows[: rows.size // count * count].reshape(-1, count)
    return {name: rows[:, i].copy() for i, name in enumerate(names)}
