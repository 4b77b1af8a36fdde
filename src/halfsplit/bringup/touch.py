"""What a charged capacitor may hold and still be touched, by standard."""

from __future__ import annotations

from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# IEC 60335-1, clause 8.1.4, protective impedance, read in a second-hand public copy: to 42.4 V peak
# no limit is put on the capacitance, to 450 V it is 0.1 uF, to 15 kV the charge is 45 uC, above the
# energy is 350 mJ.
LOW, MIDDLE, HIGH = 42.4, 450.0, 15e3  # V
MOST_FARADS, MOST_COULOMBS, MOST_JOULES = 0.1e-6, 45e-6, 0.35


def untouchable(level: float, farads: float) -> str:
    """Which limit a capacitor at `level` [V] of `farads` passes, in words; "" for none."""
    size = abs(level)
    if size <= LOW:
        return ""
    if size <= MIDDLE:
        if farads <= MOST_FARADS:
            return ""
        return f"above {volts(LOW)} no more than {show(MOST_FARADS, 'F', 2)} may be touched"
    if size <= HIGH:
        held = farads * size
        return "" if held <= MOST_COULOMBS else f"{1e6 * held:.0f} µC, of which 45 may be touched"
    joules = 0.5 * farads * size**2
    if joules <= MOST_JOULES:
        return ""
    return f"{show(joules, 'J', 2)}, of which {show(MOST_JOULES, 'J', 2)} may be touched"
