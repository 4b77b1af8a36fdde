"""How much of its rating a resistor may turn into heat in warm air, and how hot its body gets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

Make = Literal["wirewound", "film"]
MAKES: tuple[Make, ...] = ("wirewound", "film")

# Share of the derated rating used, NASA's stress ratio for fixed resistors, read in a second-hand
# public copy beside the military rule of thumb below.
STRESS = 0.8
RULE = "military derating rule of thumb, read in a second-hand public copy"


@dataclass(frozen=True)
class Derating:
    """Share of rated power allowed against air temperature.

    Attributes
    ----------
    points: (degC, share of rated power), rising; straight between, full below, nothing above.
    """

    make: Make
    points: tuple[tuple[float, float], ...]
    source: str

    def share(self, celsius: float) -> float:
        """Share of rated power allowed in air at `celsius` [degC]."""
        at, part = zip(*self.points, strict=True)
        last = part[-1] if celsius <= at[-1] else 0.0
        return float(np.interp(celsius, at, part, right=last))

    def kelvin(self) -> float:
        """Rise of the body at full rated power [K]: the slope of the derating line.

        A line that falls to nothing at the temperature the body stands says how far the body is
        above the air when it carries all of it; so it is an estimate, not a maker's figure.
        """
        (cool, full), (hot, rest) = self.points[0], self.points[-1]
        return (hot - cool) / (full - rest)


CURVES = (
    Derating(
        "wirewound",
        ((40.0, 1.0), (275.0, 0.0)),
        "data sheet of the HIA series of aluminium-housed wirewound resistors",
    ),
    Derating(
        "wirewound",
        ((70.0, 1.0), (110.0, 0.8), (150.0, 0.6), (190.0, 0.4), (240.0, 0.2), (260.0, 0.1)),
        RULE,
    ),
    Derating(
        "film",
        ((70.0, 1.0), (85.0, 0.8), (100.0, 0.6), (120.0, 0.4), (140.0, 0.2), (145.0, 0.1)),
        RULE,
    ),
)


def allowed(make: Make, celsius: float) -> tuple[float, str]:
    """Share of rated power in air at `celsius` [degC], and its source: the lowest of the curves."""
    found = [(c.share(celsius), c.source) for c in CURVES if c.make == make]
    return min(found)


def body(make: Make, celsius: float, share: float) -> float:
    """Estimated body temperature [degC] at `share` of rated power: the highest of the curves."""
    return max(celsius + share * c.kelvin() for c in CURVES if c.make == make)


def needed_watts(
    watts: float, celsius: float, stress: float = STRESS, make: Make = "wirewound"
) -> float:
    """Rated power [W] a part needs to take `watts` in air at `celsius`; infinite if none can."""
    share = stress * allowed(make, celsius)[0]
    return watts / share if share > 0.0 else float("inf")
