"""Meters and scopes that read volts: how far off they may be, what they load, what AC they show.

The profiles are `catalogue/meters/volts.yaml`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from ruamel.yaml import YAML

from halfsplit.quantity import parse

Floats = npt.NDArray[np.float64]

# A sine's rms over its rectified mean, the factor average-responding meters are scaled by.
FORM = math.pi / (2.0 * math.sqrt(2.0))
# A scope's vertical error as a share of full scale, and the volts of eight divisions in the usual
# 1-2-5 steps. Source: plus or minus 3 % of full scale, as in maker's manuals; read second-hand.
SCOPE_ERROR, DIVISIONS = 0.03, 8.0


@dataclass(frozen=True)
class Meter:
    """A bench meter: input resistance [ohm], accuracy in fraction of reading plus counts.

    `full_scale` adds a fraction of the range for pointer meters and scopes, with `range_volts` [V]
    when one range is used throughout, else the lowest of `ranges` that holds the reading.
    `ac` says what an alternating range responds to, `ac_fraction` its error where that is not
    `fraction`, `blocks` whether a capacitor keeps direct voltage off it.
    `sensitivity` [ohm/V] makes the input resistance that many ohms for each volt of the range.
    The default is a common hand-held 3 1/2 digit meter: 10 Mohm, 0.5 % + 2 counts (accuracy formula
    as in maker's manuals of 6000-count meters, direct-voltage table; read second-hand).
    """

    name: str = "digital"
    ohms: float = 10e6
    fraction: float = 0.005
    counts: float = 2.0
    full_scale: float = 0.0
    range_volts: float = 0.0
    sensitivity: float = 0.0
    ranges: tuple[float, ...] = ()
    ac: Literal["", "average", "true-rms"] = ""
    bandwidth: float = 0.0
    ac_fraction: float = 0.0
    blocks: bool = True

    def __post_init__(self) -> None:
        object.__setattr__(self, "ranges", tuple(self.ranges))  # a journal gives a list

    def range_for(self, value: float) -> float:
        """Full scale [V] of the range used for a reading; 0 when the meter has none."""
        if self.range_volts or not self.ranges:
            return self.range_volts
        return next((r for r in self.ranges if abs(value) <= r), self.ranges[-1])

    def off_scale(self, value: float) -> str:
        """In words, that its scale ends below a reading [V]; "" where it does not, or has none."""
        end = self.range_for(value)
        if not end or not abs(value) > end:
            return ""
        higher = any(r >= abs(value) for r in self.ranges) or not self.ranges
        told = "set a higher one" if higher else "it has none that holds this"
        return f"off its {end:g} V scale: {told}"

    def input_ohms(self, value: float) -> float:
        """Input resistance [ohm] while it shows `value` [V]."""
        return self.sensitivity * self.range_for(value) if self.sensitivity else self.ohms

    def sigma(self, value: float, resolution: float) -> float:
        """Standard deviation [V]: half the stated limit, as limits are met by nearly all."""
        return max(self.limit(value, resolution) / 2.0, 1e-4)

    def sigmas(self, values: Floats, resolution: float) -> Floats:
        """The same for many readings [V] (H)."""
        claim = self.fraction * np.abs(values) + self.counts * resolution
        if self.full_scale:
            claim = claim + self.full_scale * np.array([self.range_for(v) for v in values])
        return np.maximum(claim / 2.0, 1e-4)

    def loads(self, values: Floats) -> Floats:
        """Input resistance [ohm] while it shows each of many readings [V] (H)."""
        if not self.sensitivity:
            return np.full(len(values), self.ohms)
        return np.array([self.input_ohms(v) for v in values])

    def limit(self, value: float, resolution: float) -> float:
        """Largest error [V] the meter claims at a reading."""
        claim = self.fraction * abs(value) + self.counts * resolution
        return claim + self.full_scale * self.range_for(value)

    def alternating_sigma(self, value: float, resolution: float) -> float:
        """The same on its alternating range."""
        claim = max(self.ac_fraction, self.fraction) * abs(value) + self.counts * resolution
        return max((claim + self.full_scale * self.range_for(value)) / 2.0, 1e-4)

    def alternating(self, wave: Floats, step: float | Floats) -> Floats:
        """What its AC range shows [V] for one period of `wave` [V] (..., K), samples `step` [s]
        apart (a number or (...)).

        Direct voltage is blocked, or where the meter does not `block` it is rectified with the rest
        (a full bridge; one that rectifies one half shows nothing or twice that). Harmonics beyond
        the bandwidth are rolled off as by one pole.
        Raises ValueError when the meter has no AC range.
        """
        if not self.ac:
            raise ValueError(f"{self.name} has no alternating range")
        count = wave.shape[-1]
        spectrum = np.fft.rfft(wave)
        if self.blocks:
            spectrum[..., 0] = 0.0
        if self.bandwidth:
            hertz = np.fft.rfftfreq(count) / np.asarray(step)[..., None]
            spectrum = spectrum / (1.0 + 1j * hertz / self.bandwidth)
        seen = np.fft.irfft(spectrum, count)
        if self.ac == "average":
            return np.asarray(FORM * np.abs(seen).mean(axis=-1))
        return np.asarray(np.sqrt((seen**2).mean(axis=-1)))


def scope_error(peak_to_peak: float) -> float:
    """Largest error [V] of a peak-to-peak trace read on the most sensitive 1-2-5 step it fits."""
    if peak_to_peak <= 0.0:
        return SCOPE_ERROR * DIVISIONS * 1e-3
    a_division = peak_to_peak / DIVISIONS
    decade = 10.0 ** math.floor(math.log10(a_division))
    step = next(s for s in (1.0, 2.0, 5.0, 10.0) if a_division <= s * decade * (1 + 1e-9)) * decade
    return SCOPE_ERROR * DIVISIONS * max(step, 1e-3)


@cache
def meters() -> Mapping[str, Meter]:
    """Every shipped profile by name. Raises ValueError when one has no source."""
    text = (files("halfsplit.catalogue") / "meters" / "volts.yaml").read_text(encoding="utf-8")
    return {name: _profile(name, fields) for name, fields in YAML(typ="safe").load(text).items()}


def _profile(name: str, fields: Mapping[str, Any]) -> Meter:
    if not str(fields.get("source", "")).strip():
        raise ValueError(f"{name}: a meter profile needs a source")
    made: dict[str, Any] = {"name": name, "fraction": 0.0, "counts": 0.0}
    for key, own in (("ohms", "ohms"), ("sensitivity", "sensitivity")):
        if key in fields:
            made[own] = parse(str(fields[key]), "ohm")
    for key, own in (
        ("accuracy", "fraction"),
        ("of_range", "full_scale"),
        ("ac_accuracy", "ac_fraction"),
    ):
        if key in fields:
            made[own] = parse(str(fields[key]), "%")
    if "bandwidth" in fields:
        made["bandwidth"] = parse(str(fields["bandwidth"]), "Hz")
    made["counts"] = float(fields.get("counts", 0.0))
    made["ranges"] = tuple(parse(str(r), "V") for r in fields.get("ranges", ()))
    made["ac"] = fields.get("ac", "")
    made["blocks"] = bool(fields.get("blocks", True))
    return Meter(**made)
