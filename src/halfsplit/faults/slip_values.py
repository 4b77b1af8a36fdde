"""What a typed value may have been on the drawing, and how likely each is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from halfsplit.quantity import Tolerance, Unit, show, show_code
from halfsplit.quantity.eseries import is_preferred, nearest, values

# Of mistyped values: a decade or a letter (k for R), a digit, the value of another part near by,
# and any other preferred value. Common practice, no published source.
DECADE, DIGIT, BESIDE, OTHER = 0.42, 0.28, 0.20, 0.10
# Digits read for one another on a worn print; common practice, no published source.
LOOK_ALIKE = frozenset(
    frozenset(p) for p in ("17", "38", "56", "08", "68", "49", "27", "35", "69", "33")
)
# How much rarer a value outside the series is on a drawing; common practice.
UNUSUAL = 0.02
# Values that are no part of E24 and were made all the same: 1-2-5 steps, old electrolytics.
OLD = frozenset({1.0, 2.0, 2.5, 4.0, 5.0, 8.0, 1.6, 3.2, 6.4, 1.4, 2.8, 4.4, 1.25})


@dataclass(frozen=True)
class Field:
    """A value of a kind that may be mistyped.

    Attributes
    ----------
    series: preferred values it keeps to; "" for none.
    share: how likely it is mistyped, against the kind's first field.
    """

    key: str
    unit: Unit
    series: str = "E24"
    share: float = 1.0


FIELDS: dict[str, tuple[Field, ...]] = {
    "resistor": (Field("value", "ohm"), Field("power", "W", "watts", 0.15)),
    "potentiometer": (Field("value", "ohm"),),
    "zener": (Field("value", "V"), Field("power", "W", "", 0.05)),
    "npn": (Field("power", "W", "", 0.05),),
    "pnp": (Field("power", "W", "", 0.05),),
    "gas-tube": (Field("value", "V", ""),),
    "inductor": (Field("value", "H"),),
    "relay": (Field("coil", "ohm"),),
    **{
        kind: (Field("value", "F"), Field("volts", "V", "", 0.15))
        for kind in (
            "electrolytic",
            "tantalum",
            "ceramic-capacitor",
            "film-capacitor",
            "paper-capacitor",
        )
    },
}


def value_field(kind: str) -> Field | None:
    """The field of a kind that is printed beside its symbol; None where that is its type."""
    return next((f for f in FIELDS.get(kind, ()) if f.key in ("value", "coil")), None)


# Ratings of resistors [W] as sold; common practice.
_SOLD = "0.1 0.125 0.25 0.33 0.5 0.6 0.75 1 2 3 4 5 7 9 10 11 15 17 20 25 30 50 100"
WATTS = tuple(map(float, _SOLD.split()))


def usual(value: float, about: Field, tolerance: Any = None) -> bool:
    """Whether such a value is made: preferred for its tolerance, or an old standard one."""
    if about.series == "watts":
        return any(math.isclose(value, w, rel_tol=1e-6) for w in WATTS)
    if not about.series or value <= 0:
        return True
    head = value / 10.0 ** math.floor(math.log10(value) + 1e-9)
    if any(math.isclose(head, o, rel_tol=1e-6) for o in OLD) and about.unit != "ohm":
        return True
    if any(math.isclose(head, o, rel_tol=1e-6) for o in (1.0, 2.0, 2.5, 5.0)):
        return True
    tight = isinstance(tolerance, Tolerance) and tolerance.minus <= 0.021
    if about.unit == "F" and not tight:
        return is_preferred(value, "E12")  # finer steps of capacitors were made to order
    return is_preferred(value, "E24") or (tight and is_preferred(value, "E96"))


def alternatives(
    value: float, about: Field, beside: Sequence[float], tolerance: Any
) -> list[tuple[float, float, str]]:
    """Values the drawing may have had, weights that sum to 1, and how each slip comes about."""
    weights: dict[float, float] = {}
    how: dict[float, str] = {}

    def add(other: float, weight: float, said: str) -> None:
        other = float(f"{other:.6g}")
        if other <= 0 or math.isclose(other, value, rel_tol=1e-6):
            return
        if weight > weights.get(other, 0.0):
            how[other] = said
        weights[other] = weights.get(other, 0.0) + weight

    for power, share in ((1, 0.4), (-1, 0.4), (2, 0.03), (-2, 0.03), (3, 0.07), (-3, 0.07)):
        said = "a decade" if abs(power) == 1 else "a letter" if abs(power) == 3 else "two decades"
        add(value * 10.0**power, DECADE * share, said)
    _digits(value, about, tolerance, add)
    near = list(dict.fromkeys(v for v in beside if not math.isclose(v, value, rel_tol=1e-6)))
    for i, other in enumerate(near):
        add(other, BESIDE * 0.5 ** (i + 1), "the value of another part")
    if about.series == "E24":
        series = values("E12" if about.unit == "F" else "E24")
        start = 10.0 ** math.floor(math.log10(value))
        listed = [s / 10.0 * start * 10.0**d for d in (-2, -1, 0, 1, 2) for s in series]
        for other in listed:
            add(other, OTHER / len(listed), "another value")
    for other in weights:
        if not usual(other, about, tolerance):
            weights[other] *= UNUSUAL
    total = sum(weights.values()) or 1.0
    return [(o, w / total, how[o]) for o, w in weights.items()]


def _digits(value: float, about: Field, tolerance: Any, add: Any) -> None:
    """One digit read as another, or two exchanged."""
    text = f"{value:.5e}"
    head, _, power = text.partition("e")
    digits = head.replace(".", "").rstrip("0") or "0"
    if len(digits) == 1:
        digits += "0"
    scale = 10.0 ** (int(power) - len(digits) + 1)
    found: list[tuple[str, float]] = []
    for i, old in enumerate(digits):
        for new in "0123456789":
            if new != old and int(digits[:i] + new + digits[i + 1 :]):
                alike = frozenset((old, new)) in LOOK_ALIKE
                found.append((digits[:i] + new + digits[i + 1 :], 3.0 if alike else 1.0))
    for i in range(len(digits) - 1):
        turned = digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]
        if turned[0] != "0":
            found.append((turned, 2.0))
    made = [(int(d) * scale, w) for d, w in found]
    made = [(v, w * (1.0 if usual(v, about, tolerance) else UNUSUAL)) for v, w in made]
    total = sum(w for _, w in made) or 1.0
    for other, weight in made:
        add(other, DIGIT * weight / total, "a digit")


def worded(value: float, about: Field) -> str:
    """A value as one would type it."""
    if about.unit in ("ohm", "F"):
        code = show_code(value, about.unit)
        return code.removesuffix("0") if code[-2:] in ("k0", "M0", "R0", "n0", "p0") else code
    return show(value, about.unit, 4).replace(" ", "").replace("Ω", "ohm")


def tidy(value: float) -> float:
    """The nearest value of the E24 series."""
    return nearest("E24", value)
