"""What a chart shows, as plain data: good for SVG, for a page's own charts, and for ``--json``."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from halfsplit.quantity import show

Floats = npt.NDArray[np.float64]
Style = Literal["line", "dashed", "points", "steps", "bars"]
DRAWN = 1200  # points of a captured trace that are kept, lowest and highest of each stretch
CYCLES = 2  # of the period shown
# Share of the expected mean below which a capture's mean says its input blocked direct volts.
BLOCKED = 0.05
OFF_SCALE = 1.0  # times the spread of a chart beyond which an old reading is told, not drawn
SHIFTS = 128  # places tried when a capture is laid over the expected wave


@dataclass(frozen=True)
class Line:
    """One series; x and y in SI units."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    style: Style = "line"


@dataclass(frozen=True)
class Mark:
    """A level across the chart, such as a limit."""

    y: float
    words: str


@dataclass(frozen=True)
class Chart:
    """Axes with their units, series, levels, and what has to be said beside them."""

    title: str
    x_name: str  # units are SI, or "%" or "min" that no prefix goes with
    x_unit: str
    y_name: str
    y_unit: str
    lines: tuple[Line, ...]
    marks: tuple[Mark, ...] = ()
    notes: tuple[str, ...] = ()
    log: bool = False
    reach: tuple[float, float] | None = None  # of the y axis, where not all has to be seen

    def as_dict(self) -> dict[str, Any]:
        """Plain data; a value that is no number is null."""
        return {
            **asdict(self),
            "lines": [
                {"name": k.name, "style": k.style, "x": _plain(k.x), "y": _plain(k.y)}
                for k in self.lines
            ],
        }


def _plain(values: Sequence[float]) -> list[float | None]:
    return [float(v) if math.isfinite(v) else None for v in values]


# -- waveforms ------------------------------------------------------------------------------------


def thin(t: Floats, v: Floats, most: int = DRAWN) -> tuple[Floats, Floats]:
    """A long trace by the lowest and highest sample of each stretch, so no spike is lost."""
    if len(t) <= most:
        return t, v
    edges = np.linspace(0, len(t), most // 2 + 1).astype(int)
    keep: list[int] = []
    for a, b in pairwise(edges):
        keep += sorted({a + int(np.argmin(v[a:b])), a + int(np.argmax(v[a:b]))})
    return t[keep], v[keep]


def laid_over(period: float, wave: Floats, t: Floats, v: Floats) -> float:
    """Time [s] to take off a capture so that it lies best on one period of the expected wave.

    The start of a capture is the scope's trigger, which nobody knows here. A flat wave or capture
    gives 0.
    """
    phase = np.arange(len(wave)) / len(wave)
    if np.ptp(wave) == 0 or np.ptp(v) == 0:
        return 0.0
    even = np.linspace(t[0], t[-1], 1024)
    seen = np.interp(even, t, v)
    seen = seen - seen.mean()
    best, found = -math.inf, 0.0
    for shift in np.arange(SHIFTS) / SHIFTS:
        at = ((even - t[0]) / period + shift) % 1.0
        like = float(np.dot(np.interp(at, phase, wave, period=1.0), seen))
        if like > best + 1e-12:
            best, found = like, float(shift)
    return float(t[0] - found * period)


def wave_chart(
    where: str,
    at: str,
    period: float,
    rows: Sequence[tuple[str, float, Floats]],
    captured: tuple[Floats, Floats] | None = None,
) -> Chart:
    """Expected waveforms of one net, by name with mean [V] and swing about it [V] (K), over two
    periods [s], and what a scope captured (times [s], volts), laid on the first of them."""
    lines: list[Line] = []
    notes: list[str] = []
    first = rows[0]
    for name, mean, swing in rows:
        one = mean + swing if len(swing) else np.full(2, mean)
        y = np.concatenate([np.tile(one, CYCLES), one[:1]])
        x = np.linspace(0.0, CYCLES * period, len(y))
        lines.append(
            Line(name, tuple(x.tolist()), tuple(y.tolist()), "line" if not lines else "dashed")
        )
        height = show(float(np.ptp(one)), "V", 3)
        notes.append(f"{name}: mean {show(mean, 'V', 4)}, peak to peak {height}")
    if captured is not None:
        t, v = captured
        mean = float(np.trapezoid(v, t) / (t[-1] - t[0])) if t[-1] > t[0] else float(np.mean(v))
        said = f"captured: mean {show(mean, 'V', 4)}, peak to peak {show(float(np.ptp(v)), 'V', 3)}"
        if abs(mean) < BLOCKED * abs(first[1]) and abs(first[1]) > 0.5:
            v = v - mean + first[1]
            said += "; its input blocked direct volts, so it is laid on the expected mean"
        if t[-1] - t[0] < 0.9 * period:
            said += f"; shorter than one period of {show(period, 's', 3)}, so its place is a guess"
        notes.append(said)
        t = t - laid_over(period, first[2], t, v) if len(first[2]) else t - t[0]
        shown = t <= CYCLES * period
        x, y = thin(t[shown], v[shown])
        lines.append(Line("captured", tuple(x.tolist()), tuple(y.tolist())))
    return Chart(
        f"{where}: waveform, {at}", "time", "s", where, "V", tuple(lines), (), tuple(notes)
    )


# -- loads, reforming, suspicion, drill -----------------------------------------------------------


def load_chart(
    rail: str,
    feed: str,
    expected: Sequence[tuple[str, float, float]],
    readings: Sequence[tuple[int, float, float]],
    limits: tuple[float, float] | None,
    before: Sequence[tuple[int, float, float]] = (),
) -> Chart:
    """Volts of a rail against what it delivers: expected by load (name, A, V) and read (entry, A,
    V), with the rail's limits. `before` are readings from before the last repair; those far off
    are told in the notes and not drawn."""
    line = sorted(expected, key=lambda e: e[1])
    read = sorted(readings, key=lambda e: (e[1], e[0]))
    lines = [Line("expected, healthy", tuple(e[1] for e in line), tuple(e[2] for e in line))]
    if read:
        lines.append(Line("read", tuple(e[1] for e in read), tuple(e[2] for e in read), "points"))
    levels = [v for _, _, v in [*line, *read]] + list(limits or ())
    room = max(levels) - min(levels)
    reach = (min(levels) - OFF_SCALE * room, max(levels) + OFF_SCALE * room) if room else None
    near = [e for e in before if reach is None or reach[0] <= e[2] <= reach[1]]
    if near:
        x, y = tuple(e[1] for e in near), tuple(e[2] for e in near)
        lines.append(Line("read before the last repair", x, y, "points"))
    far = [e for e in before if e not in near]
    marks = () if limits is None else (Mark(limits[0], "limit"), Mark(limits[1], "limit"))
    notes = [f"{name}: {show(a, 'A', 3)}, {show(v, 'V', 4)}" for name, a, v in line]
    notes += [f"off the scale before the last repair: #{n} {show(v, 'V', 3)}" for n, _, v in far]
    return Chart(
        f"{rail} against its load, fed by {feed}",
        "load",
        "A",
        rail,
        "V",
        tuple(lines),
        marks,
        tuple(notes),
        reach=reach,
    )


def limit_chart(curve: Mapping[str, Any]) -> Chart:
    """Volts against amps of a current limit, from `protect` of one rail as plain data."""
    line = Line("expected, healthy", tuple(curve["amps"]), tuple(curve["volts"]))
    notes = (
        f"{curve['kind']}: at most {show(curve['knee_amps'], 'A', 3)}, "
        f"{show(curve['short_amps'], 'A', 3)} into a short",
    )
    return Chart(
        f"{curve['rail']}: current limit", "load", "A", curve["rail"], "V", (line,), (), notes
    )


def forming_chart(part: str, state: Mapping[str, Any], leakage: float, most: float) -> Chart:
    """Leakage of a capacitor being formed against time, with its limits; `state` as
    `forming_state` gives it."""
    log = state["readings"]
    x = tuple(float(r["seconds"]) / 60.0 for r in log)
    lines = [Line("into it", x, tuple(float(r["amps"]) for r in log), "points")]
    notes = [f"{state['state'].replace('-', ' ')}: {state['why']}"]
    if state.get("predicted_seconds"):
        notes.append(
            f"at this rate within the limit after {show(state['predicted_seconds'], 's', 2)}"
        )
    marks = (Mark(leakage, "done at or below"), Mark(most, "never above"))
    title = f"{part}: reforming"
    return Chart(title, "time", "min", "current", "A", tuple(lines), marks, tuple(notes), log=True)


def suspicion_chart(steps: Sequence[tuple[int, str, Mapping[str, float]]], most: int = 6) -> Chart:
    """Weight of the leading suspects after each entry: (number, words, name -> weight)."""
    peak: dict[str, float] = {}
    for _, _, weights in steps:
        for name, weight in weights.items():
            peak[name] = max(peak.get(name, 0.0), weight)
    last = steps[-1][2] if steps else {}
    names = sorted(peak, key=lambda n: (-last.get(n, 0.0), -peak[n], n))[:most]
    x = tuple(float(number) for number, _, _ in steps)
    lines = [
        Line(name, x, tuple(100.0 * w.get(name, 0.0) for _, _, w in steps), "steps")
        for name in names
    ]
    notes = [f"#{number} {words}" for number, words, _ in steps]
    return Chart(
        "Suspects, entry by entry",
        "journal entry",
        "",
        "weight",
        "%",
        tuple(lines),
        (),
        tuple(notes),
    )


def claims_chart(table: Mapping[str, Any]) -> Chart:
    """Claimed weight against how often it was right, from the table of a drill."""
    rows = table["calibration"]
    x = tuple(100.0 * r["claimed"] for r in rows)
    lines = (
        Line("as claimed", (0.0, 100.0), (0.0, 100.0), "dashed"),
        Line("right", x, tuple(100.0 * r["right"] for r in rows), "points"),
    )
    notes = tuple(f"claimed {100 * r['claimed']:.1f} %: {r['cases']} machines" for r in rows)
    return Chart("Drill: claimed and right", "claimed", "%", "right", "%", lines, (), notes)


def checks_chart(cases: Sequence[Mapping[str, Any]]) -> Chart:
    """How many machines of a drill took how many checks."""
    count: dict[int, int] = {}
    for case in cases:
        count[int(case["checks"])] = count.get(int(case["checks"]), 0) + 1
    x = tuple(float(k) for k in sorted(count))
    line = Line("machines", x, tuple(float(count[int(k)]) for k in x), "bars")
    return Chart("Drill: checks until done", "checks", "", "machines", "", (line,))
