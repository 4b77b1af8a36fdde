"""Rate, polarity and format of a captured line, and what it says.

Every polarity, word length, parity and stop length is tried; each is charged in nats for what it
leaves unexplained: edges off its bit grid, stop bits that are not mark, wrong parity, pauses that
are no whole stop, and the words it needs. The cheapest wins, and how far ahead it is gives the
share it is believed with (minimum description length; Rissanen 1978). Two formats that put the same
on the wire are told as such.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log
from typing import Any

import numpy as np

from halfsplit.boards.capture import Capture, Floats
from halfsplit.boards.framing import Edges, Format, Heard, nearest_rate, parity_bit, receive

# Prices [nat]. A wrong stop or parity bit in a sound capture is rare, one in a few thousand.
_FRAMING = 12.0
_PARITY = 8.0
_PAUSE = log(50.0)  # a pause may have any of some fifty lengths
_SHORT = 10.0
_FRAME = 1.0
_IDLE = 3.0  # a capture that begins or ends at space
_GRID = 0.08  # bit: how far edges scatter about the grid
_EDGE = 8.0  # the most one edge costs
_LATE = 0.3  # bit: how far a stop may be from its length
# Slight preferences between formats equal on the wire: the commoner one.
_PRIOR = {"E": 0.7, "O": 0.9, 5: 1.5, 6: 1.5, 1.5: 1.0, 2: 0.5}


@dataclass(frozen=True)
class Estimate:
    """What a capture says.

    rate: measured [Bd]; nominal: the usual rate next to it; mark: level of idle, "high" or "low";
    share: how sure of the format (0 to 1); others: rivals with their shares; jitter: edges about
    the grid, root mean square [bit]; heard: the frames; cut: the capture ended within one more.
    """

    rate: float
    nominal: float
    mark: str
    form: Format
    share: float
    others: tuple[tuple[str, float], ...]
    jitter: float
    heard: tuple[Heard, ...]
    stop_seen: bool
    cut: bool

    @property
    def data(self) -> bytes:
        """The words sent, as bytes."""
        return bytes(h.value & 0xFF for h in self.heard)

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "rate": self.rate,
            "nominal": self.nominal,
            "error": self.rate / self.nominal - 1,
            "mark": self.mark,
            "format": self.form.as_dict(),
            "share": self.share,
            "others": [{"format": f, "share": s} for f, s in self.others],
            "jitter": self.jitter,
            "stop_seen": self.stop_seen,
            "cut": self.cut,
            "text": self.data.decode("latin-1"),
            "frames": len(self.heard),
            "framing_errors": sum(h.framing for h in self.heard),
            "parity_errors": sum(h.parity for h in self.heard),
        }


def bit_times(capture: Capture) -> list[float]:
    """Candidates for one bit [s]: from the shortest runs, then parts of it; empty when too few."""
    runs = np.diff(capture.times)
    if len(runs) < 4:
        return []
    base = float(np.percentile(runs, 10))
    near = runs[(runs > 0.6 * base) & (runs < 1.5 * base)]
    bit = float(np.median(near)) if len(near) else base
    bit = _refined(runs, bit)
    return [bit, bit / 2, bit / 3]


def _refined(runs: Floats, bit: float) -> float:
    """Fit of one bit to all runs of up to ten bits that lie near a whole number of them."""
    for reach in (3.5, 6.5, 10.5):
        count = np.round(runs / bit)
        fit = (runs < reach * bit) & (count > 0) & (np.abs(runs / bit - count) < 0.3)
        if fit.any():
            bit = float(np.sum(runs[fit] * count[fit]) / np.sum(count[fit] ** 2))
    return bit


@dataclass(frozen=True)
class _Try:
    cost: float
    bit: float
    mark: int
    form: Format
    words: tuple[Heard, ...]
    jitter: float


def estimate(capture: Capture) -> Estimate | None:
    """Rate, polarity, format and text, or None when there is too little to tell."""
    tries: list[_Try] = []
    for bit in bit_times(capture):
        for mark in (0, 1):
            levels = capture.levels if mark else 1 - capture.levels
            edges: Edges = list(zip(capture.times.tolist(), levels.tolist(), strict=True))
            idle = capture.first if mark else 1 - capture.first
            last = edges[-1][1]
            base = _IDLE * ((idle == 0) + (last == 0))
            for judged in range(5, 10):
                tries += _formats(edges, idle, bit, mark, judged, base)
    if not tries:
        return None
    tries.sort(key=lambda t: t.cost)
    best = tries[0]
    shares = [exp(-min(700.0, t.cost - best.cost)) for t in tries]
    total = sum(shares)
    others = tuple(
        (f"{t.form}, mark {'high' if t.mark else 'low'}", s / total)
        for t, s in list(zip(tries, shares, strict=True))[1:4]
    )
    rate = 1.0 / best.bit
    heard = tuple(
        Heard(
            h.at,
            h.value & ((1 << best.form.data) - 1),
            h.framing,
            _mismatch(h.value, best.form),
        )
        for h in best.words
        if not _cut(h, best, capture)
    )
    gaps = np.diff([h.at for h in best.words]) / best.bit
    seen = bool(np.any(gaps < best.form.bits + 1)) if len(gaps) else False
    return Estimate(
        rate, nearest_rate(rate), "high" if best.mark else "low", best.form, shares[0] / total,
        others, best.jitter, heard, seen, len(heard) < len(best.words),
    )  # fmt: skip


def _cut(one: Heard, best: _Try, capture: Capture) -> bool:
    """Whether the capture ended before this frame did.

    A logic trace may hold changes only: it ends with the last of them, and mark is taken to go on.
    """
    changes_only = capture.end <= capture.times[-1] and capture.levels[-1] == best.mark
    return not changes_only and one.at + (best.form.judged + 1.5) * best.bit > capture.end


def _mismatch(word: int, form: Format) -> bool:
    if form.parity == "N":
        return False
    value = word & ((1 << form.data) - 1)
    return parity_bit(value, form.parity) != word >> form.data


def _formats(
    edges: Edges, idle: int, bit: float, mark: int, judged: int, base: float
) -> list[_Try]:
    """Every format with `judged` data and parity bits, priced."""
    heard = receive(edges, Format(judged), bit, idle)
    if not heard:
        return []
    bit, price, jitter = _grid(np.array([t for t, _ in edges]), heard, bit, judged)
    cost = base + price + _FRAME * len(heard) + _FRAMING * sum(h.framing for h in heard)
    gaps = np.diff([h.at for h in heard]) / bit - 1 - judged
    sound = {h.value for h in heard if not h.framing}
    found = []
    for parity in "NEO":
        data = judged - (parity != "N")
        if not 5 <= data <= 8:
            continue
        form = Format(data, parity)
        wrong = sum(_mismatch(h.value, form) for h in heard if not h.framing)
        words = len({w & ((1 << data) - 1) for w in sound})
        words_cost = words * data * log(2) + wrong * _PARITY
        prior = _PRIOR.get(parity, 0.0) + _PRIOR.get(data, 0.0)
        for stop in (1, 1.5, 2) if data == 5 else (1, 2):
            total = cost + words_cost + prior + _PRIOR.get(stop, 0.0) + _pauses(gaps, stop)
            found.append(_Try(total, bit, mark, Format(data, parity, stop), tuple(heard), jitter))
    return found


def _grid(times: Floats, heard: list[Heard], bit: float, judged: int) -> tuple[float, float, float]:
    """Bit time fitted to the edges inside frames, their price, and their scatter [bit]."""
    starts = np.array([h.at for h in heard])
    which = np.searchsorted(starts, times + bit * 1e-6) - 1
    since = times - starts[np.maximum(which, 0)]
    inside = (which >= 0) & (since > 0.4 * bit) & (since < (judged + 1.4) * bit)
    outside = int(np.sum(~inside & ~np.isin(times, starts)))
    span = since[inside]
    if not len(span):
        return bit, 3.0 * outside, 0.0
    for _ in range(2):
        count = np.maximum(1, np.round(span / bit))
        bit = float(np.sum(span * count) / np.sum(count**2))
    off = span / bit - np.maximum(1, np.round(span / bit))
    price = float(np.sum(np.minimum(off**2 / (2 * _GRID**2), _EDGE)))
    return bit, price + 3.0 * outside, float(np.sqrt(np.mean(off**2)))


def _pauses(gaps: Floats, stop: float) -> float:
    """Price of what lies between words beyond the stop.

    A sender slower than its line leaves the same pause every time: each length is paid for once,
    with how evenly the lengths are mixed, where that is cheaper than every pause for itself.
    """
    short = gaps <= stop - _LATE
    beyond = gaps[~short]
    paused = np.abs(beyond - stop) >= _LATE
    alone = _PAUSE * float(np.sum(paused))
    lengths = np.where(paused, np.round(beyond), stop)
    steady = paused & (np.abs(beyond - lengths) >= _LATE)  # no whole number of bits: its own
    kinds, counts = np.unique(lengths[~steady], return_counts=True)
    mixed = float(-np.sum(counts * np.log(counts / counts.sum()))) if len(counts) else 0.0
    shared = _PAUSE * (float(np.sum(kinds != stop)) + float(np.sum(steady))) + mixed
    return _SHORT * float(np.sum(short)) + min(alone, shared)
