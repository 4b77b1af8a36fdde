"""A part's temperature read in degrees: what it should be under a hypothesis, and its chance."""

from __future__ import annotations

import numpy as np

from halfsplit.diagnosis.expected import SLIP
from halfsplit.diagnosis.posterior import Floats
from halfsplit.faults.ratings import thermal_path
from halfsplit.parts.base import Part

# One sigma of a case temperature: a share of its rise above the air (watts, the path to the air and
# where the probe sits), and degrees of the air near it and of the thermometer. Common practice, no
# published source.
RISE_SHARE, DEGREES = 0.25, 4.0
SPAN = 200.0  # degC in which a slip may lie


def case_to_air(part: Part) -> float | None:
    """Thermal resistance from a part's case to the air [K/W]: its heatsink's, or what is left of
    the path to free air beyond the case. None where the file does not tell both."""
    fields = part.__dict__
    if fields.get("sink") is not None:
        return float(fields["sink"])
    whole, inside = thermal_path(part), fields.get("theta_jc")
    return None if whole is None or inside is None or inside >= whole else float(whole - inside)


def chance(degrees: float, watts: Floats, resistance: float, ambient: float) -> Floats:
    """Chance of the reading [degC] under each hypothesis (H), as a share of the best it could be.

    `watts` (H) with NaN where they are not known, which says nothing.
    """
    rise = resistance * np.nan_to_num(watts)
    sigma = np.hypot(RISE_SHARE * rise, DEGREES)
    z = (degrees - ambient - rise) / sigma
    bell = np.exp(-0.5 * np.minimum(z * z, 1400.0)) * DEGREES / sigma
    wild = DEGREES * np.sqrt(2.0 * np.pi) / SPAN
    found = (1.0 - SLIP) * bell + SLIP * wild
    return np.asarray(np.where(np.isfinite(watts), found, wild))
