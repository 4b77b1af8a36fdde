"""Watts of each element, and what a warm junction does to its element's values."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Floats, plain
from halfsplit.circuit.topology import Topology

REFERENCE = 27.0  # degC, the temperature element values are given at (see THERMAL_VOLTAGE)
ZERO = 273.15  # K at 0 degC
# Band gap of silicon [V] and the exponent of its saturation current's temperature law, as in
# G. Massobrio and P. Antognetti, Semiconductor Device Modeling with SPICE, 2nd ed., 1993, ch. 1
# (figures from memory, unconfirmed; they are also the reference simulator's defaults).
GAP, EXPONENT = 1.11, 3.0
LEAST = 1e-9  # A below which a junction's warmth is told at this current instead


def element_watts(
    topology: Topology, rows: Floats, voltages: Floats, latched: npt.NDArray[np.int8]
) -> Floats:
    """Power each element takes in [W] (B, E), below zero for a source that delivers.

    `rows` (B, P), `voltages` (B, N) and `latched` (B, E) are a direct-current solution; a row that
    was not solved gives NaN.
    """
    return element_flow(topology, rows, voltages, latched)[0]


def element_flow(
    topology: Topology, rows: Floats, voltages: Floats, latched: npt.NDArray[np.int8]
) -> tuple[Floats, Floats]:
    """Watts of each element (B, E), and the current into each of its terminals [A] (B, E, T).

    As :func:`element_watts`; terminals an element does not have read the current into common.
    Stored charge counts for nothing: a capacitor carries its leakage, a choke what its volts drive
    through its resistance.
    """
    # These load the compiler: only when needed.
    from halfsplit.circuit.compiled_heat import watts_rows
    from halfsplit.circuit.kernel import make_rest, make_work

    ar = topology.arrays
    rows, latched = plain(rows), plain(latched)
    found = np.zeros((len(rows), ar.code.size))
    amps = np.zeros((*found.shape, ar.nodes.shape[1]))
    one_each, rest, room = np.zeros((2, 1), dtype=np.uint32), make_rest(ar), make_work(ar)
    watts_rows(ar, rows, plain(np.nan_to_num(voltages)), latched, found, amps, one_each, rest, room)
    lost = ~np.isfinite(voltages).all(axis=1)
    found[lost], amps[lost] = np.nan, np.nan
    return found, amps


def saturation_ratio(celsius: float, emission: float = 1.0) -> float:
    """Saturation current at a junction temperature over that at `REFERENCE`, for silicon."""
    ratio = (celsius + ZERO) / (REFERENCE + ZERO)
    thermal = emission * el.THERMAL_VOLTAGE * ratio
    return math.exp((ratio - 1.0) * GAP / thermal + EXPONENT / emission * math.log(ratio))


def warmed(element: el.Element, values: Overrides, celsius: float, amps: float) -> Overrides:
    """Changes that give `element` a junction at `celsius`, while it carries `amps` [A].

    `values` are the element's present values by (element, parameter). Diodes get their saturation
    current and slope voltage; a transistor, whose slope voltage is fixed, the saturation currents
    that give the right base-emitter voltage at this collector current; gains stay as they are.
    Elements without a junction are not changed.
    """
    ratio = (celsius + ZERO) / (REFERENCE + ZERO)
    own = {key: value for (name, key), value in values.items() if name == element.name}
    if isinstance(element, el.Diode):
        if own["is"] <= 0.0:
            return {}
        up = saturation_ratio(celsius, own["nvt"] / el.THERMAL_VOLTAGE)
        return {
            (element.name, "is"): own["is"] * up,
            (element.name, "nvt"): own["nvt"] * ratio,
        }
    if isinstance(element, el.Bjt):
        held = max(own["ist"], own["isf"], own["isr"])
        if held <= 0.0:
            return {}
        at = max(abs(amps), LEAST)
        cold = own["ist"] if own["ist"] > 0.0 else held
        volts = el.THERMAL_VOLTAGE * ratio * math.log1p(at / (cold * saturation_ratio(celsius)))
        change = at / math.expm1(volts / el.THERMAL_VOLTAGE) / cold
        return {(element.name, k): own[k] * change for k in ("ist", "isf", "isr")}
    return {}
