"""Captures made up for the decoder: our own text sent over a noisy, jittery, mistuned line.

Written apart from the receiver: levels are laid down sample by sample from the bits themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.boards.capture import changes
from halfsplit.boards.estimate import estimate
from halfsplit.boards.framing import Format

RATES = (110, 150, 300, 600, 1200, 2400, 4800, 9600, 19200)
# Every format of 5 to 8 bits that two makers' chips of the time could be set to.
FORMATS = [(data, parity, stop) for data in (5, 6, 7, 8) for parity in "NEO" for stop in (1, 2)]
TEXTS = (
    "QM 2.1\r\nLO 0000 HI 7FFF\r\nM1 M2 M3 M4 OK\r\n",
    "E5 A=5A3C W=0020 R=0000\r\nE4 SIZE 0\r\nHALT 003412\r\n",
    "the quick brown fox jumps over the lazy dog 0123456789\r\n",
    "READY\r\n*DIR\r\nBOOT.SYS 12 LOADER 3 TEST 44\r\n",
)


@dataclass(frozen=True)
class Made:
    """A capture and the truth about it. jitter is root mean square [bit]."""

    t: NDArray[np.float64]
    v: NDArray[np.float64]
    form: Format
    nominal: float
    true_rate: float
    mark: str
    values: list[int]
    jitter: float


def synth(rng: np.random.Generator, snr: float) -> Made:
    """A capture: rate off by up to 3 %, jitter up to 4 % of a bit, 10 to 25 samples a bit, noise.

    `snr` is half the swing over the root mean square noise [dB]. Words of 5 or 6 bits are drawn
    at random, longer ones are texts a machine prints. Lines come in bursts with pauses between.
    """
    data, parity, stop = FORMATS[rng.integers(len(FORMATS))]
    nominal = float(rng.choice(RATES))
    rate = nominal * (1 + rng.uniform(-0.03, 0.03))
    form = Format(data, parity, stop, nominal)
    if data >= 7:
        values = [ord(c) for c in TEXTS[rng.integers(len(TEXTS))]]
    else:
        values = [int(x) for x in rng.integers(0, 1 << data, 40)]
    bits: list[tuple[float, int]] = [(float(rng.uniform(5, 30)), 1)]
    for value in values:
        ones = 0
        bits.append((1, 0))
        for k in range(data):
            bit = value >> k & 1
            ones += bit
            bits.append((1, bit))
        if parity != "N":
            bits.append((1, ones % 2 if parity == "E" else 1 - ones % 2))
        bits.append((stop, 1))
        if rng.random() < 0.15:
            bits.append((float(rng.uniform(0.5, 40)), 1))
    bits.append((float(rng.uniform(5, 30)), 1))
    ends = np.cumsum([b[0] for b in bits]) / rate
    level = np.array([b[1] for b in bits])
    jitter = float(rng.uniform(0, 0.04))
    moved = ends + np.clip(rng.normal(0, jitter, len(ends)), -0.12, 0.12) / rate
    per_bit = rng.uniform(10, 25)
    t = np.arange(0, ends[-1], 1 / rate / per_bit)
    logical = level[
        np.minimum(np.searchsorted(np.maximum.accumulate(moved), t, "right"), len(level) - 1)
    ]
    high, low = rng.uniform(5, 12), -rng.uniform(5, 12)
    mark = str(rng.choice(["low", "high"]))
    up = logical if mark == "high" else 1 - logical
    v = np.where(up == 1, high, low).astype(float)
    # A slope of about a tenth of a bit, as a real driver into a cable has.
    wide = max(1, int(per_bit / 10))
    v = np.convolve(np.pad(v, wide, mode="edge"), np.ones(wide) / wide, mode="same")[wide:-wide]
    v += rng.normal(0, (high - low) / 2 / 10 ** (snr / 20), len(v))
    return Made(t, v, form, nominal, rate, mark, values, jitter)


def score(snr: float, number: int, seed: int) -> tuple[int, int, list[str]]:
    """Captures with rate, polarity and format right, those with all text right too, and misses."""
    right = text = 0
    missed = []
    for k in range(number):
        made = synth(np.random.default_rng([seed, k]), snr)
        found = estimate(changes(made.t, made.v))
        want = (made.nominal, made.mark, made.form.data, made.form.parity, made.form.stop)
        got = None
        if found is not None:
            form = found.form
            got = (found.nominal, found.mark, form.data, form.parity, form.stop)
        if got == want:
            right += 1
            text += found is not None and list(found.data) == made.values
        else:
            missed.append(f"capture {k} at {snr:g} dB: {got} for {want}")
    return right, text, missed
