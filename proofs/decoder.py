"""The line decoder on captures made up at three noise levels: rate, polarity and format all right.

    python proofs/decoder.py

Each capture has a rate off by up to 3 %, jitter up to 4 % of a bit, 10 to 25 samples a bit, either
polarity, 5 to 8 bits, any parity, one or two stops (tests/boards/synthesis.py). Takes two minutes.
Prints every miss; exit code 1 when fewer than 99 of 100 are right at 14 dB.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.boards.synthesis import score


def main() -> int:
    """Score each level and print it."""
    short = False
    for snr, number in ((14.0, 2000), (10.0, 500), (8.0, 500), (6.0, 500)):
        right, text, missed = score(snr, number, seed=1)
        for line in missed:
            print(line)
        print(f"{snr:g} dB: rate and format right in {right} of {number}, text too in {text}")
        short |= snr == 14.0 and right < 0.99 * number
    return int(short)


if __name__ == "__main__":
    sys.exit(main())
