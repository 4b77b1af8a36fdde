"""A captured line: from the file an oscilloscope or logic analyser writes to changes of level."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from halfsplit.problems import NotFoundError, Problem, ProblemsError

Floats = NDArray[np.float64]
# A capture beyond this is refused early, so that a wrong file does not eat memory.
LARGEST = 50_000_000  # bytes
_SCALE = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "ns": 1e-9}
_UNIT = re.compile(r"[\[(/,\s](s|ms|us|µs|ns)[\])\s]*$", re.IGNORECASE)
# Share of the swing about its middle that a level must cross before it counts as changed, so that
# noise on a slope makes one change and not several.
_BAND = 0.25
# With less swing over noise than this, neighbouring samples are averaged first.
_CLEAR = 8.0


@dataclass(frozen=True)
class Capture:
    """Changes of level: times [s] and levels from then on (1 high), and what was seen.

    low, high: the two levels [V], or 0 and 1 of a logic trace. noise: root mean square about them.
    start, end: span of the capture [s].
    """

    times: Floats
    levels: NDArray[np.int8]
    first: int
    start: float
    end: float
    low: float
    high: float
    noise: float

    @property
    def snr(self) -> float:
        """Half the swing over the noise [dB]; infinity without noise."""
        if self.noise <= 0:
            return float("inf")
        return float(20 * np.log10((self.high - self.low) / 2 / self.noise))


def read_capture(path: Path, channel: int = 1) -> tuple[Floats, Floats]:
    """Times [s] and levels of one channel of a CSV file (comma, semicolon, tab or spaces).

    Lines that are no numbers are taken for headings; a heading such as ``Time (ms)`` sets the unit
    of time, seconds otherwise. Raises NotFoundError, or ProblemsError.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise _problem(path, 1, "the file is far too large for a capture", "a shorter capture")
        lines = path.read_bytes().decode("utf-8-sig", "replace").splitlines()
    except FileNotFoundError:
        raise NotFoundError(f"{path}: there is no such file") from None
    except (OSError, ValueError) as error:
        raise _problem(path, 0, f"the file cannot be read: {error}", "") from None
    rows: list[tuple[float, float]] = []
    at: list[int] = []
    scale, wrong = 1.0, []
    for number, line in enumerate(lines, 1):
        cells = _cells(line)
        try:
            rows.append((float(cells[0]), float(cells[channel])))
            at.append(number)
        except (ValueError, IndexError):
            unit = _UNIT.search(" " + cells[0].strip()) if cells else None
            if unit and not rows:
                scale = _SCALE[unit[1].lower()]
            elif rows and line.strip():
                wrong.append(_one(path, number, f"“{line[:40]}” is no pair of time and level"))
    if wrong:
        raise ProblemsError(wrong[:20])
    if len(rows) < 2:
        most = max((len(_cells(line)) for line in lines), default=0)
        if 1 < most <= channel:
            wide = (
                f"there is no column {channel + 1}: {most} are here, time and {most - 1} after it"
            )
            raise _problem(
                path, 1, wide, f"--channel 1 to {most - 1}" if most > 2 else "--channel 1"
            )
        raise _problem(path, 1, "there are not two lines of time and level here", "time,level")
    table = np.array(rows)
    bad = np.flatnonzero(~np.isfinite(table).all(axis=1))
    if bad.size:
        raise _problem(path, at[bad[0]], "a time or level is not a finite number", "numbers only")
    steps = np.diff(table[:, 0])
    if np.any(steps < 0):
        where = at[int(np.argmax(steps < 0)) + 1]
        raise _problem(path, where, "time runs backwards", "samples in order of time")
    return table[:, 0] * scale, table[:, 1]


def _cells(line: str) -> list[str]:
    for mark in (";", "\t", ","):
        if mark in line:
            cells = line.split(mark)
            return [c.strip().replace(",", ".") if mark != "," else c.strip() for c in cells]
    return line.split()


def changes(t: Floats, v: Floats) -> Capture:
    """Levels and changes of a waveform or logic trace. Raises ProblemsError when it is flat."""
    low, high = _levels(v)
    if high - low <= 0 or not np.isfinite(high - low):
        raise _problem(Path(), 0, "the level never changes: nothing was sent while capturing", "")
    closer = np.where(np.abs(v - low) < np.abs(v - high), low, high)
    # Half the samples lie nearer to their level than this; a slope's few samples do not count.
    noise = float(np.median(np.abs(v - closer)) * 1.4826)
    smooth = v
    if noise > 0 and (high - low) / noise < _CLEAR:
        wide = min(64, int(np.ceil((_CLEAR * noise / (high - low)) ** 2)) * 2 + 1)
        smooth = np.convolve(v, np.ones(wide) / wide, mode="same")
    middle, band = (low + high) / 2, _BAND * (high - low)
    state = np.where(smooth > middle + band, 1, np.where(smooth < middle - band, 0, -1))
    known = np.flatnonzero(state >= 0)
    held = state[known]
    at = np.flatnonzero(np.diff(held) != 0)
    times = np.array([_crossing(t, smooth, known[k], known[k + 1], middle) for k in at])
    levels = held[at + 1].astype(np.int8)
    first = int(held[0]) if len(held) else 0
    if not len(times):
        raise _problem(Path(), 0, "the level never changes: nothing was sent while capturing", "")
    return Capture(times, levels, first, float(t[0]), float(t[-1]), low, high, noise)


def _levels(v: Floats) -> tuple[float, float]:
    """The two levels: two means, started at the ends, so a mostly idle line still splits."""
    low, high = float(np.min(v)), float(np.max(v))
    for _ in range(20):
        middle = (low + high) / 2
        below, above = v[v <= middle], v[v > middle]
        if not len(below) or not len(above):
            break
        new = (float(np.median(below)), float(np.median(above)))
        if new == (low, high):
            break
        low, high = new
    return low, high


def _crossing(t: Floats, v: Floats, a: int, b: int, middle: float) -> float:
    """When the level passed the middle between samples `a` and `b`.

    A logic trace may hold changes only: its new level begins at the later sample.
    """
    if set(np.unique(v[a : b + 1])) <= {0.0, 1.0}:
        return float(t[b])
    inside = np.flatnonzero((v[a:b] <= middle) != (v[a + 1 : b + 1] <= middle))
    k = a + int(inside[0]) if len(inside) else a
    rise = v[k + 1] - v[k]
    return float(t[k] + (t[k + 1] - t[k]) * ((middle - v[k]) / rise if rise else 0.5))


def _one(path: Path, line: int, wrong: str, instead: str = "") -> Problem:
    return Problem(str(path) if path.name else "", line, 1 if line else 0, "", wrong, instead)


def _problem(path: Path, line: int, wrong: str, instead: str) -> ProblemsError:
    return ProblemsError([_one(path, line, wrong, instead)])
