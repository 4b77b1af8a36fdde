"""What NPN and PNP transistors share."""

from __future__ import annotations

import math
from typing import ClassVar

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    RATES_217,
    Amps,
    Celsius,
    DeadLook,
    GainRange,
    Hertz,
    KelvinPerWatt,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Rating,
    Seconds,
    Volts,
    Wander,
    Watts,
    limits,
    shares,
)
from halfsplit.parts.junction import saturation

LOW_GAIN = "a type number of a quarter the gain"


class Transistor(Part):
    """Collector c, base b, emitter e. Gain and base-emitter voltage set the model."""

    TERMINALS: ClassVar[tuple[str, ...]] = ("c", "b", "e")
    DISPLACED: ClassVar[bool] = True
    RATE: ClassVar[Rate] = Rate(0.042, f"{RATES_217}, power bipolar row")
    POLARITY: ClassVar[float]

    volts: Volts | None = Field(default=None, gt=0, description="collector-emitter rating")
    collector_base: Volts | None = Field(default=None, gt=0)
    emitter_base: Volts | None = Field(default=None, gt=0)
    amps: Amps | None = Field(default=None, gt=0)
    power: Watts | None = Field(default=None, gt=0)
    gain: GainRange | None = Field(default=None, description="current gain range of the type")
    gain_at: Amps | None = None
    gain_typical: float | None = Field(default=None, gt=0)
    reverse_gain: float = Field(default=0.5, gt=0, description="collector used as emitter")
    base_emitter: Volts = Field(default=0.65, gt=0, description="at base_emitter_at")
    base_emitter_at: Amps = Field(default=1e-3, gt=0)
    saturation: Volts | None = None
    saturation_at: Amps | None = None
    gain_knee: Amps | None = Field(
        default=None, gt=0, description="collector current where gain has fallen to about half"
    )
    emitter_ohms: Ohms | None = Field(
        default=None, gt=0, description="bulk resistance, seen as drop at high current"
    )
    early: Volts | None = Field(default=None, gt=0)
    transition: Hertz | None = Field(default=None, gt=0, description="where gain has fallen to 1")
    storage: Seconds | None = Field(
        default=None,
        gt=0,
        description="storage time, base driven by a tenth of storage_at each way",
    )
    storage_at: Amps | None = Field(default=None, gt=0, description="collector current of storage")
    theta_ja: KelvinPerWatt | None = None
    theta_jc: KelvinPerWatt | None = None
    sink: KelvinPerWatt | None = Field(default=None, ge=0, description="heatsink to air")
    junction_max: Celsius | None = None
    package: str | None = None
    pinout: str | None = None
    made_of: str | None = None
    c: Net
    b: Net
    e: Net

    def beta(self) -> float:
        """Typical gain: as entered, else the geometric middle of the range, else 100."""
        if self.gain_typical:
            return self.gain_typical
        if self.gain:
            return math.sqrt(self.gain.low * self.gain.high)
        return 100.0

    def _values(self, beta: float, extra_volts: float = 0.0) -> dict[str, float]:
        ist = saturation(self.base_emitter + extra_volts, self.base_emitter_at, el.THERMAL_VOLTAGE)
        return {
            "pol": self.POLARITY,
            "ist": ist,
            "isf": ist / beta,
            "isr": ist / self.reverse_gain,
            "ivaf": 1.0 / self.early if self.early else 0.0,
            "iknee": 1.0 / self.gain_knee if self.gain_knee else 0.0,
            **self.transit(beta),
        }

    def transit(self, beta: float) -> dict[str, float]:
        """Charge per ampere [s] of the forward and the reverse current; empty when not known.

        Forward: 1/(2 pi fT). Reverse, from the storage time t with base currents of Ic/10 in and
        out: the excess charge dies with the time constant T of t = T ln(2/(10/beta + 1)), and the
        equations of the model give T (1/br + (1 + 1/br)/beta) = tr (1 + 1/beta) + tf (1 + 1/br),
        br the reverse gain. Source: J. L. Moll, "Large-signal transient response of junction
        transistors", Proc. IRE 42(12), 1954; the form here is worked out from our own model.
        """
        found = {}
        tf = 1.0 / (2.0 * math.pi * self.transition) if self.transition else 0.0
        if tf:
            found["tf"] = tf
        drive = 2.0 / (10.0 / beta + 1.0)
        if self.storage and drive > 1.0:
            back = 1.0 / self.reverse_gain
            time = self.storage / math.log(drive)
            whole = time * (back + (1.0 + back) / beta)
            found["tr"] = max((whole - tf * (1.0 + back)) / (1.0 + 1.0 / beta), 0.0)
        return found

    def elements(self) -> list[el.Element]:
        values = self._values(self.beta())
        if self.emitter_ohms is None:
            return [el.Bjt(self.ref, (self.c, self.b, self.e), values), *self._displaced()]
        inside = f"{self.ref}#e"
        bulk = el.Resistor(f"{self.ref}:bulk", (inside, self.e), {"g": 1.0 / self.emitter_ohms})
        return [el.Bjt(self.ref, (self.c, self.b, inside), values), bulk, *self._displaced()]

    def _displaced(self) -> list[el.Element]:
        """Where somebody was before: the same with its base in another hole, each of them dead
        until a misfit gives it its values. Parts nobody touched are spared them."""
        if self.touched is None:
            return []
        asleep = {"pol": self.POLARITY, "ist": 0.0, "isf": 0.0, "isr": 0.0}
        return [
            el.Bjt(f"{self.ref}:bc", (self.b, self.c, self.e), dict(asleep)),
            el.Bjt(f"{self.ref}:be", (self.c, self.e, self.b), dict(asleep)),
        ]

    def modes(self) -> list[Mode]:
        v = self._values(self.beta())
        p = {key: (self.ref, key) for key in ("ist", "isf", "isr", "gce", "gbe", "gcb")}
        br = self.reverse_gain
        # With one lead open the remaining junction keeps the whole emitter (collector) current
        # through the base; the factors follow from the model with that lead's current at zero.
        c_open = {
            p["ist"]: 0.0,
            p["isr"]: 0.0,
            p["isf"]: v["ist"] * (1 / self.beta() + 1 / (1 + br)),
        }
        e_open = {
            p["ist"]: 0.0,
            p["isf"]: 0.0,
            p["isr"]: v["ist"] * (1 / br + 1 / (1 + self.beta())),
        }
        # Silicon then passes next to nothing; germanium its leakage times its gain.
        b_open = {(self.ref, "afloat"): 1.0}
        short = 10.0  # S: a fused chip keeps about 0.1 ohm; common practice, no published source
        both = "shorted in diode test, both ways"
        return shares(
            MODES_338,
            {
                # .73 short and .27 open; the split by leads and the weak-gain share are ours:
                # collector-emitter first, as the trade finds; no published source.
                "c-e short": (0.40, {p["gce"]: short}, f"c-e {both}"),
                "c-b short": (0.15, {p["gcb"]: short}, f"c-b {both}"),
                "b-e short": (0.13, {p["gbe"]: short}, f"b-e {both}"),
                "open base": (0.10, b_open, "OL from the base lead both ways"),
                "open emitter": (0.10, e_open, "OL base to emitter"),
                "open collector": (0.05, c_open, "OL base to collector"),
                "low gain": (0.07, {p["isf"]: 10 * v["isf"]}, "junctions read right; gain a tenth"),
            },
        )

    def misfits(self) -> list[Mode]:
        v = {**el.Bjt.PARAMS, **self._values(self.beta())}
        # Collector and emitter exchanged: the gains change places.
        exchanged = {"isf": v["isr"], "isr": v["isf"], "ivaf": 0.0, "iknee": 0.0}
        exchanged |= {"tf": v["tr"], "tr": v["tf"]}
        turned = {(self.ref, key): value for key, value in exchanged.items()}
        other = {(self.ref, "pol"): -self.POLARITY}
        weak = {(self.ref, "isf"): 4.0 * v["isf"]}
        leads = "collector and emitter exchanged against the drawing"
        kind = "PNP where the drawing has NPN" if self.POLARITY > 0 else "NPN for a PNP"
        if self.touched is None:
            return [
                Mode("fitted turned round", 0.4, PRACTICE, turned, leads),
                Mode("wrong polarity type", 0.2, PRACTICE, other, kind),
                Mode("type of low gain", 0.4, PRACTICE, weak, LOW_GAIN),
            ]

        def stands(way: str, there: dict[str, float]) -> Overrides:
            awake = {(f"{self.ref}:{way}", key): value for key, value in there.items()}
            return {(self.ref, key): 0.0 for key in ("ist", "isf", "isr")} | awake

        # A type whose leads come in another order is fitted into the holes of the old one: base and
        # collector changing places is the commonest, as small types are E-B-C or E-C-B.
        return [
            Mode("fitted turned round", 0.25, PRACTICE, turned, leads),
            Mode(
                "fitted with base and collector exchanged",
                0.2,
                PRACTICE,
                stands("bc", v),
                "base lead in the collector's hole, collector lead in the base's",
            ),
            Mode(
                "fitted with base and emitter exchanged",
                0.1,
                PRACTICE,
                stands("be", v),
                "base lead in the emitter's hole, emitter lead in the base's",
            ),
            Mode(
                "fitted with its base in the collector's hole",
                0.05,
                PRACTICE,
                stands("bc", v | exchanged),
                "leads one hole on: collector in the emitter's, emitter in the base's",
            ),
            Mode(
                "fitted with its base in the emitter's hole",
                0.05,
                PRACTICE,
                stands("be", v | exchanged),
                "leads one hole back: collector in the base's, emitter in the collector's",
            ),
            Mode("wrong polarity type", 0.15, PRACTICE, other, kind),
            Mode("type of low gain", 0.2, PRACTICE, weak, LOW_GAIN),
        ]

    def wanders(self) -> list[Wander]:
        beta = self.beta()
        # Gain of one specimen against the typical: a factor 1.5 at one sigma unless the sheet's
        # range says otherwise; base-emitter voltage 10 mV. Common practice, no published source.
        ratio = 1.5
        if self.gain and self.gain.high > self.gain.low > 0:
            ratio = max(1.2, (self.gain.high / self.gain.low) ** (1 / (2 * 3**0.5)))
        up = self._values(beta, 0.010)
        drift = {(self.ref, k): up[k] for k in ("ist", "isf", "isr")}
        return [
            Wander(f"{self.ref} gain", {(self.ref, "isf"): self._values(beta * ratio)["isf"]}),
            Wander(f"{self.ref} base-emitter", drift),
        ]

    def ratings(self) -> list[Rating]:
        return limits(self.ref, {"volts": self.volts, "amps": self.amps, "watts": self.power})

    def lift(self, lead: str) -> Overrides | None:
        opened = {m.name: m.changes for m in self.modes()}
        return opened[{"c": "open collector", "b": "open base", "e": "open emitter"}[lead]]

    def dead(self) -> list[DeadLook]:
        drop = self.base_emitter + el.THERMAL_VOLTAGE * math.log(1e-3 / self.base_emitter_at)
        plus, minus = ("b", ("e", "c")), ("OL", float("inf"))
        found = []
        for other in plus[1]:
            pair = ("b", other) if self.POLARITY > 0 else (other, "b")
            found.append(DeadLook(*pair, "diode", 0.7 * drop, 1.3 * drop, f"one drop; {PRACTICE}"))
            found.append(DeadLook(*pair[::-1], "diode", 2.0, minus[1], f"{minus[0]}; {PRACTICE}"))
        both = f"OL both ways; {PRACTICE}"
        return [*found, DeadLook("c", "e", "diode", 2.0, minus[1], both)]
