"""The window of series resistance of the switching demo's output capacitor, as its card finds it.

    python proofs/position_card.py

Eleven resistances at two loads, each followed from switch-on: some minutes. The design notes of the
supply (an invented machine) have 20 to 60 mohm; exit code 1 if the card differs by over 5 %.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import stile

from halfsplit.bringup.card import card

NOTES = (20e-3, 60e-3)


def main() -> int:
    """Print the card's window and compare it."""
    made = card(stile.machine(), "C5")
    found = made.demand("ESR")
    if found is None or made.unsolved:
        print(f"no window; not solved: {made.unsolved}")
        return 1
    print(found.words)
    right = all(
        math.isclose(a, b, rel_tol=0.05)
        for a, b in zip((found.low, found.high), NOTES, strict=True)
    )
    print("as the notes have it" if right else f"the notes have {NOTES[0]:g} to {NOTES[1]:g} ohm")
    return 0 if right else 1


if __name__ == "__main__":
    sys.exit(main())
