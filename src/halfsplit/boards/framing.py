"""Characters on an asynchronous line: bits of a frame, and how far two rates may differ.

A frame is a start bit (space), data bits from the lowest, a parity bit if any, and stop bits
(mark). Levels here are logical: 1 is mark, 0 is space.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from halfsplit.problems import HalfsplitError

# Rates machines of the time were built for [Bd]: common practice, no published source.
RATES = (45.45, 50, 75, 110, 134.5, 150, 200, 300, 600, 1200, 1800, 2400, 3600, 4800, 7200, 9600,
         19200, 38400)  # fmt: skip
_FORMAT = re.compile(
    r"\s*(?:(?P<rate>\d+(?:\.\d+)?)[\s,:-]+)?(?P<data>[5-9])[\s,]*(?P<parity>[NEOneo])[\s,]*"
    r"(?P<stop>1(?:\.5)?|2)\s*"
)


class FormatError(HalfsplitError):
    """Text that is no line format."""


@dataclass(frozen=True)
class Format:
    """Data bits, parity letter (N, E, O), stop bits and, where known, rate [Bd]."""

    data: int
    parity: str = "N"
    stop: float = 1
    rate: float = 0.0

    def __str__(self) -> str:
        text = f"{self.data}{self.parity}{self.stop:g}"
        return f"{self.rate:g} {text}" if self.rate else text

    @property
    def bits(self) -> float:
        """Length of a frame [bit]: start, data, parity, stop."""
        return 1 + self.data + (self.parity != "N") + self.stop

    @property
    def judged(self) -> int:
        """Data and parity bits, which is what the timing tolerance counts."""
        return self.data + (self.parity != "N")

    @property
    def per_second(self) -> float:
        """Characters a second."""
        return self.rate / self.bits

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "text": str(self),
            "rate": self.rate or None,
            "data": self.data,
            "parity": self.parity,
            "stop": self.stop,
        }


def parse_format(text: str) -> Format:
    """Read ``9600 8N1``, ``9600-8N1`` or ``8N1``. Raises FormatError."""
    found = _FORMAT.fullmatch(text)
    if not found:
        raise FormatError(f"“{text}” is no line format: write rate and format, such as 9600-8N1")
    rate = float(found["rate"] or 0)
    return Format(int(found["data"]), found["parity"].upper(), float(found["stop"]), rate)


def parity_bit(value: int, parity: str) -> int:
    """The parity bit of a data word."""
    odd = value.bit_count() & 1
    return odd if parity == "E" else 1 - odd


def frame(value: int, form: Format) -> list[int]:
    """Bits of one frame without its stop bits; the value is cut to the data bits."""
    value &= (1 << form.data) - 1
    bits = [0, *((value >> k) & 1 for k in range(form.data))]
    return bits + ([parity_bit(value, form.parity)] if form.parity != "N" else [])


Edges = list[tuple[float, int]]


def edges_of(values: Iterable[int], form: Format, gap: float = 0.0, start: float = 10.0) -> Edges:
    """Changes of an idle line that sends `values`, as (time in bits, level from then on).

    `gap` is idle time after each stop bit [bit]; `start` the idle time before the first.
    """
    found: Edges = []
    t, level = start, 1
    for value in values:
        for bit in frame(value, form):
            if bit != level:
                found.append((t, bit))
                level = bit
            t += 1
        if level == 0:
            found.append((t, 1))
            level = 1
        t += form.stop + gap
    return found


@dataclass(frozen=True)
class Heard:
    """One frame as a receiver took it: when it began [bit of the sender], word, what was wrong."""

    at: float
    value: int
    framing: bool = False  # stop bit was space
    parity: bool = False  # parity bit did not match


def receive(
    edges: Sequence[tuple[float, int]], form: Format, bit: float = 1.0, idle: int = 1
) -> list[Heard]:
    """What a receiver set to `form`, with bits `bit` long, makes of a line.

    It waits for mark to space, samples each bit in its middle, and after a stop bit of space waits
    for the next mark to space, as common receiver chips do.
    """
    found: list[Heard] = []
    k, level, at = 0, idle, -1e9
    n = form.judged
    while k < len(edges):
        t, new = edges[k]
        if not (level == 1 and new == 0 and t >= at):
            level = new
            k += 1
            continue
        word, j, now = 0, k + 1, 0
        for b in range(n + 2):
            when = t + (b + 0.5) * bit
            while j < len(edges) and edges[j][0] <= when:
                now = edges[j][1]
                j += 1
            if b == 0 and now == 1:
                break  # a glitch, no start bit
            if 0 < b <= n:
                word |= now << (b - 1)
        else:
            value = word & ((1 << form.data) - 1)
            wrong = form.parity != "N" and parity_bit(value, form.parity) != word >> form.data
            found.append(Heard(t, value, framing=now == 0, parity=wrong))
            at = t + (n + 1.5) * bit
        level, k = now, j
    return found


@dataclass(frozen=True)
class Tolerance:
    """Sent rate over received rate that is still read right: slowest and fastest."""

    slowest: float
    fastest: float


def tolerance(judged: int, sampling: int = 16) -> Tolerance:
    """Limits of a receiver that takes `sampling` samples a bit and votes on the middle three.

    `judged` is data and parity bits. Source: the USART chapter of an 8-bit microcontroller data
    sheet, asynchronous operational range (see tests/reference/console.yaml).
    """
    s, half = sampling, sampling // 2
    slow = s * (judged + 1) / (s - 1 + judged * s + half)
    fast = s * (judged + 2) / (s * (judged + 1) + half + 1)
    return Tolerance(slow, fast)


def half_bit_rule(bits: float) -> float:
    """The simple rule: half a bit over the frame, as a fraction of the rate."""
    return 0.5 / bits


@dataclass(frozen=True)
class Budget:
    """Two ends' rates against each other: error, what may be, what is left.

    `rule` is what the simple half-bit rule would allow, for an end whose receiver is not known.
    """

    sent: float
    taken: float
    error: float
    allowed: float
    jitter: float
    rule: float

    @property
    def spare(self) -> float:
        """What is left of the allowed error; negative is not met."""
        return self.allowed - abs(self.error) - self.jitter

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "sent": self.sent,
            "taken": self.taken,
            "error": self.error,
            "allowed": self.allowed,
            "jitter": self.jitter,
            "half_bit_rule": self.rule,
            "spare": self.spare,
        }


def budget(
    sent: float, taken: float, form: Format, sampling: int = 16, jitter: float = 0.0
) -> Budget:
    """Error budget of a line: rates of both ends [Bd], and edges early or late by `jitter` [bit].

    Jitter of an edge, in bits, eats the same share as a rate error that has added up to it at the
    last bit looked at.
    """
    error = sent / taken - 1
    limits = tolerance(form.judged, sampling)
    allowed = limits.fastest - 1 if error > 0 else 1 - limits.slowest
    return Budget(
        sent, taken, error, allowed, jitter / (form.judged + 1.5), half_bit_rule(form.bits)
    )


def nearest_rate(rate: float) -> float:
    """The usual rate nearest to a measured one, by ratio."""
    return min(RATES, key=lambda r: abs(r / rate - 1) if rate > 0 else r)
