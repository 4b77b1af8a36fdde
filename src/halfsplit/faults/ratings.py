"""What each part may not pass in a condition, and how a solved waveform is held against it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.parts.base import MEMORY, Part, Quantity

Kind = Quantity | Literal["reverse"]
Basis = Literal["mean", "rms", "peak"]

# Volts backwards a polarised capacitor stands for a while: an aluminium one 1.5 V, a solid tantalum
# a tenth of its working voltage and never above 1 V. Makers' application notes, from memory,
# unconfirmed.
REVERSE_ALUMINIUM, REVERSE_TANTALUM, REVERSE_SHARE = 1.5, 1.0, 0.1
# A part rated for more than this with its case held cool is made for a heatsink; where the file
# says nothing of one, its junction is not known, and free air would be a slander. Common practice.
MADE_FOR_SINK = 5.0  # W
CASE = 25.0  # degC of the case a power rating of a part with a heatsink is given at


@dataclass(frozen=True)
class Limit:
    """One limit of one part as it stands in a condition.

    Attributes
    ----------
    quantity: watts, amps, ripple (of a capacitor), volts, degC (of a junction), or reverse (volts
        the wrong way round).
    limit: the rating, in SI units (degC for a junction).
    element: the circuit element it belongs to.
    basis: how the waveform is reduced before it is compared.
    label: the part in a few words.
    """

    part: str
    quantity: Kind
    limit: float
    element: str
    basis: Basis
    label: str
    source: str


def limits_of(machine: Machine, condition: Condition) -> list[Limit]:
    """Every known limit of every part that is in the machine, parts fitted anew by their own."""
    removed = {c.part for c in condition.changes if c.what == "removed"}
    found: list[Limit] = []
    for ref, drawn in machine.assembly.parts.items():
        if ref in removed:
            continue
        part = machine.fitted(drawn, condition)
        label = part.label()
        for rating in part.ratings():
            element = machine.netlist.elements[rating.element]
            if rating.quantity == "amps_squared_seconds":
                continue  # inrush is no steady figure
            basis = basis_of(element, rating.quantity)
            found.append(
                Limit(
                    ref,
                    rating.quantity,
                    abs(rating.limit),
                    rating.element,
                    basis,
                    label,
                    rating.source,
                )
            )
        back = reverse_limit(part)
        if back is not None:
            found.append(Limit(ref, "reverse", back, ref, "peak", label, MEMORY))
        hot = junction_limit(part)
        if hot is not None and thermal_path(part) is not None:
            first = part.elements()[0].name
            found.append(Limit(ref, "degC", hot[0], first, "mean", label, hot[1]))
    return found


def reverse_limit(part: Part) -> float | None:
    """Volts backwards a polarised capacitor stands [V]; None for what has no wrong way round."""
    if not part.POLAR:
        return None
    if part.KIND != "tantalum":
        return REVERSE_ALUMINIUM
    volts = part.__dict__.get("volts")
    return min(REVERSE_TANTALUM, REVERSE_SHARE * volts) if volts else REVERSE_TANTALUM


def thermal_path(part: Part) -> float | None:
    """Thermal resistance from junction to air [K/W], None also where a heatsink must be there but
    the file tells nothing of it."""
    power = part.__dict__.get("power") or 0.0
    if (
        part.__dict__.get("sink") is None
        and part.__dict__.get("theta_jc")
        and power > MADE_FOR_SINK
    ):
        return None
    return part.to_air()


def junction_limit(part: Part) -> tuple[float, str] | None:
    """Hottest junction allowed [degC] and who says so.

    As entered, else worked out from the power allowed with the case at 25 degC: there the junction
    is exactly at its limit.
    """
    said = part.__dict__.get("junction_max")
    if said is not None:
        return float(said), "the part's entry or catalogue row"
    power, case = part.__dict__.get("power"), part.__dict__.get("theta_jc")
    if power and case and part.__dict__.get("sink") is not None:
        return CASE + power * case, "its power rating at 25 °C case times its thermal resistance"
    return None


def basis_of(element: el.Element, quantity: Quantity) -> Basis:
    """How ratings of this kind are given: diodes by mean current, fuses and windings by rms, what
    switches by its peak; volts by their peak, heat by its mean."""
    if quantity in ("volts", "ripple"):
        return "peak" if quantity == "volts" else "rms"
    if quantity != "amps":
        return "mean"
    if isinstance(element, el.Bjt):
        return "peak"
    if isinstance(element, (el.Resistor, el.Winding, el.Inductor, el.Scr, el.Contact)):
        return "rms"
    return "mean"
