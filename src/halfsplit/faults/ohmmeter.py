"""Meters that supply their own current: resistance ranges and the diode test, as data.

The profiles are `catalogue/meters/ohms.yaml`. What a meter shows is volts over amps at its own
terminals (or volts, for a diode test), so a reading through junctions depends on the meter.
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
Test = Literal["ohms", "diode"]

# Leads and contacts [ohm], one sigma; and what is added to a resistance before its logarithm is
# taken, so that nought is a reading like any other. Common practice, no published source.
LEADS, FLOOR = 0.15, 0.5
# Share of its open-circuit volts over which a current range runs out of current. Common practice.
KNEE = 0.1


@dataclass(frozen=True)
class OhmsRange:
    """One range: open-circuit `volts` with a test current `amps`, or with `inside` ohms.

    Exactly one of `amps`, `inside` is set. `top` [ohm, or V in a diode test] is where OL begins.
    """

    volts: float
    top: float
    amps: float | None = None
    inside: float | None = None

    def source(self) -> dict[str, float]:
        """Parameters of the source element that stands for the meter."""
        if self.amps is not None:
            return {"dc": self.volts, "g": self.amps / (KNEE * self.volts), "limit": self.amps}
        return {"dc": self.volts, "g": 1.0 / (self.inside or 1.0), "limit": 1e9}

    def current(self, volts: Floats, more: float = 0.0) -> Floats:
        """Amps driven into `volts` at its terminals; `more` raises the test current by a share."""
        at = self.source()
        dc = at["dc"] * (1.0 if self.amps is not None else 1.0 + more)
        top = at["limit"] * (1.0 + more)
        give = (dc - volts) * at["g"]
        over = np.exp(-np.maximum(give - 0.9 * top, 0.0) / (0.1 * top))
        return np.where(give > 0.9 * top, top - 0.1 * top * over, give)


@dataclass(frozen=True)
class Ohmmeter:
    """A meter profile.

    Attributes
    ----------
    accuracy, counts, digits: fraction of reading, last digits, and counts at full scale (digital).
    arc: error as a fraction of the pointer's arc; 0 for a digital meter.
    red: which pole of the inside source the red lead is.
    spread: how far the real test current may lie from that given, one sigma, as a fraction.
    """

    name: str
    words: str
    test: Test
    ranges: tuple[OhmsRange, ...]
    source: str
    accuracy: float = 0.01
    counts: float = 3.0
    digits: float = 2000.0
    arc: float = 0.0
    red: Literal["positive", "negative"] = "positive"
    spread: float = 0.1

    def limit(self, value: Floats, which: npt.NDArray[np.int64], resolution: float = 0.0) -> Floats:
        """Largest error the meter claims at readings `value` on ranges `which` [ohm or V].

        `resolution` is that of a digit actually read; else it follows from the range.
        """
        top = np.array([r.top for r in self.ranges])[which]
        if self.arc:  # deflection d = inside/(R + inside): an error of d grows as the square
            inside = np.array([r.inside or 1.0 for r in self.ranges])[which]
            return np.asarray(self.arc * (value + inside) ** 2 / inside)
        digit = resolution or top / self.digits
        return np.asarray(self.accuracy * np.abs(value) + self.counts * digit)

    def reach(self, value: Floats, which: npt.NDArray[np.int64]) -> tuple[Floats, Floats]:
        """How far below and above `value` the claimed error lets it show [ohm or V].

        A pointer's goes by its arc, so it is longer above than below, and endless near the top.
        """
        if not self.arc:
            claim = self.limit(value, which)
            return claim, claim
        inside = np.array([r.inside or 1.0 for r in self.ranges])[which]
        arc = inside / (np.maximum(value, 0.0) + inside)
        with np.errstate(divide="ignore"):
            above = np.where(arc > self.arc, inside / np.maximum(arc - self.arc, 0.0), np.inf)
        below = inside / (arc + self.arc)
        return np.asarray(value + inside - below), np.asarray(above - inside - value)

    def scale(self, value: Floats) -> Floats:
        """Natural scale of a reading: logarithm of the ohms over FLOOR, or volts."""
        if self.test == "diode":
            return np.asarray(value, dtype=float)
        return np.asarray(np.log(np.maximum(value, 0.0) + FLOOR))

    def unscale(self, x: float) -> float:
        """Inverse of :meth:`scale`; never below nought ohms."""
        return x if self.test == "diode" else max(math.exp(min(x, 60.0)) - FLOOR, 0.0)

    def as_dict(self) -> dict[str, Any]:
        """For the journal and ``--json``."""
        return {**self.__dict__, "ranges": [r.__dict__ for r in self.ranges]}

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> Ohmmeter:
        """Inverse of :meth:`as_dict`. Raises TypeError or KeyError on what is no meter."""
        return Ohmmeter(**{**data, "ranges": tuple(OhmsRange(**r) for r in data["ranges"])})


@cache
def ohmmeters() -> Mapping[str, Ohmmeter]:
    """Every shipped profile by name. Raises ValueError when one has no source."""
    text = (files("halfsplit.catalogue") / "meters" / "ohms.yaml").read_text(encoding="utf-8")
    return {name: _profile(name, fields) for name, fields in YAML(typ="safe").load(text).items()}


def _profile(name: str, fields: Mapping[str, Any]) -> Ohmmeter:
    if not str(fields.get("source", "")).strip():
        raise ValueError(f"{name}: a meter profile needs a source")
    test: Test = fields["test"]
    ranges = []
    for row in fields["ranges"]:
        one = OhmsRange(
            parse(row["volts"], "V"),
            parse(row["top"], "V" if test == "diode" else "ohm"),
            parse(row["amps"], "A") if "amps" in row else None,
            parse(row["inside"], "ohm") if "inside" in row else None,
        )
        if (one.amps is None) == (one.inside is None):
            raise ValueError(f"{name}: a range has either amps or inside")
        ranges.append(one)
    plain = {k: float(fields[k]) for k in ("counts", "digits") if k in fields}
    parts = {k: parse(str(fields[k]), "%") for k in ("accuracy", "arc", "spread") if k in fields}
    red = fields.get("red", "positive")
    return Ohmmeter(
        name, fields["words"], test, tuple(ranges), fields["source"], red=red, **plain, **parts
    )
