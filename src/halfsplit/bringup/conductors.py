"""Wires, traces and fuses: what they carry, what melts them, and which fuse may stand for which."""

from __future__ import annotations

import math

from halfsplit.faults.melting import HOLDS, OPENS, standard_of
from halfsplit.parts.kinds.fuse import Fuse
from halfsplit.quantity import show

MELTING = 1083.0  # degC, copper
INFERRED = 234.0  # degC below nought at which copper's resistance would vanish, as Onderdonk has it
MILS = 39.3701  # mil in a millimetre
OUNCE = 1.378  # mil of copper an ounce a square foot makes

SLOWNESS = {"FF": 0, "F": 1, "M": 2, "T": 3, "TT": 4}


def awg_millimetres(gauge: float) -> float:
    """Diameter [mm] of an American wire gauge: 0.127 mm times 92^((36 - n)/39), ASTM B258 (from
    memory, unconfirmed)."""
    return float(0.127 * 92.0 ** ((36.0 - gauge) / 39.0))


def circular_mils(millimetres: float) -> float:
    """Section of a round wire in circular mils: its diameter in mil, squared."""
    return (millimetres * MILS) ** 2


def onderdonk(section: float, seconds: float, ambient: float = 25.0) -> float:
    """Current [A] that melts copper of `section` [circular mil] in `seconds`.

    Adiabatic, so for a few seconds only. I. M. Onderdonk's equation as reprinted in pcdandf.com.
    """
    if section <= 0 or seconds <= 0:
        raise ValueError("a section and a time above nought")
    rise = math.log10((MELTING - ambient) / (INFERRED + ambient) + 1.0)
    return float(section * math.sqrt(rise / (33.0 * seconds)))


def preece(millimetres: float) -> float:
    """Current [A] that melts a round copper wire in air in the end: 10244 d^1.5, d in inch.

    W. H. Preece's law as reprinted in pcdandf.com.
    """
    return float(10244.0 * (millimetres / 25.4) ** 1.5)


def trace_amps(section: float, rise: float = 10.0, inner: bool = False) -> float:
    """Current [A] a trace of `section` [square mil] carries at a temperature `rise` [K].

    IPC-2221: k dT^0.44 A^0.725, k 0.048 outside and 0.024 inside a board.
    """
    return float((0.024 if inner else 0.048) * rise**0.44 * section**0.725)


def trace_section(amps: float, rise: float = 10.0, inner: bool = False) -> float:
    """Section [square mil] a trace needs, the same equation turned round."""
    return float((amps / ((0.024 if inner else 0.048) * rise**0.44)) ** (1.0 / 0.725))


def trace_width(amps: float, ounces: float = 1.0, rise: float = 10.0, inner: bool = False) -> float:
    """Width [m] of such a trace in copper of `ounces` a square foot."""
    return trace_section(amps, rise, inner) / (OUNCE * ounces) / MILS / 1000.0


def replacement_wire(amps: float, rise: float = 10.0) -> tuple[int, float]:
    """Thinnest even wire gauge and its diameter [m] to put for a trace that carries `amps`.

    The section of a trace inside a board: a round wire has a quarter of the surface of a flat trace
    of its section, so the rule for outer traces would let it run far hotter than the trace did.
    That choice is ours, of no published source.
    """
    need = trace_section(amps, rise, inner=True)
    for gauge in range(40, -1, -2):
        diameter = awg_millimetres(gauge)
        if math.pi / 4.0 * circular_mils(diameter) >= need:
            return gauge, diameter / 1000.0
    raise ValueError(f"{show(amps, 'A', 2)} is more than one wire of gauge 0 is chosen for")


def conductor_words(amps: float) -> str:
    """Wire and trace that carry a current, and what would melt in place of a fuse, in words."""
    gauge, metres = replacement_wire(amps)
    width = 1e3 * trace_width(amps)
    melts = onderdonk(circular_mils(1e3 * metres), 1.0)
    return (
        f"{show(amps, 'A', 2)} needs wire of AWG {gauge} ({1e3 * metres:.2f} mm) or a trace "
        f"{width:.1f} mm wide (35 µm copper, outside, 10 K warmer); that wire melts at "
        f"{show(preece(1e3 * metres), 'A', 2)} in the end, {show(melts, 'A', 2)} in 1 s"
    )


def trace_words(millimetres: float) -> tuple[float, str]:
    """What a trace of some width carried [A], and the wire for it, in words: 35 um copper outside a
    board, 10 K warmer; narrower copper than that it may be, and then carried less."""
    amps = trace_amps(millimetres * MILS * OUNCE)
    return amps, f"a trace {millimetres:g} mm wide carried up to {conductor_words(amps)}"


def fuse_equivalent(drawn: Fuse, fitted: Fuse) -> list[str]:
    """Why one fuse may not stand for another; empty when nothing speaks against it."""
    found = []
    ours, theirs = standard_of(drawn), standard_of(fitted)
    holds = [s.amps * HOLDS[k] for s, k in ((drawn, ours), (fitted, theirs))]
    opens = [s.amps * OPENS[k] for s, k in ((drawn, ours), (fitted, theirs))]
    if ours != theirs:
        found.append(
            f"{theirs} and {ours} ratings are not the same thing: fitted it holds "
            f"{show(holds[1], 'A', 2)} and opens at {show(opens[1], 'A', 2)}, drawn "
            f"{show(holds[0], 'A', 2)} and {show(opens[0], 'A', 2)}"
        )
    elif fitted.amps > drawn.amps * 1.01:
        found.append(f"{show(fitted.amps, 'A', 2)} fitted, {show(drawn.amps, 'A', 2)} drawn")
    elif fitted.amps < drawn.amps * 0.99:
        found.append(
            f"{show(fitted.amps, 'A', 2)} fitted, {show(drawn.amps, 'A', 2)} drawn: it will open "
            "too soon, which hurts nothing"
        )
    if SLOWNESS[fitted.speed] > SLOWNESS[drawn.speed]:
        found.append(f"speed {fitted.speed} fitted, {drawn.speed} drawn: slower to open")
    elif SLOWNESS[fitted.speed] < SLOWNESS[drawn.speed]:
        found.append(f"speed {fitted.speed} fitted, {drawn.speed} drawn: opens at switch-on")
    if drawn.volts and fitted.volts and fitted.volts < drawn.volts:
        found.append(f"{fitted.volts:g} V fitted, {drawn.volts:g} V drawn: it may arc and go on")
    return found
