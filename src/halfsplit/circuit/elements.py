"""Circuit elements: plain records of what sits between which nets, in SI units.

Every element has a `code` for the compiled solver, its nets in a fixed order, and an ordered list
of parameters. A fault, a tolerance or a bench condition changes parameters only, never nets, so one
compiled topology serves every row. Resistances are given in ohms; the solver stores conductances.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

# kT/q at 27 degC, the temperature of the reference simulator's default.
THERMAL_VOLTAGE = 0.025865

# Stands for the common net in elements a part makes by itself (core loss, earthed neutral).
COMMON = "#common"

# A conductance that stands for "no connection": 100 Gohm. Through one of a gigohm 24 V would drive
# 0.2 V into a bench meter of 10 Mohm, which a blown fuse does not.
OPEN = 1e-11
# A conductance that stands for "shorted": 10 milliohm, about a solder bridge.
SHORT = 100.0

RESISTOR, CAPACITOR, INDUCTOR, SOURCE, SINK, LAMP, DIODE, BJT, SCR = range(9)
WINDING, AMPLIFIER, REGULATOR, CONTACT = range(9, 13)
TRIODE, PENTODE, VACUUM, GAS = range(13, 17)


@dataclass(frozen=True)
class Element:
    """Base record: a name unique in the netlist and the nets it joins, in `TERMINALS` order."""

    name: str
    nets: tuple[str, ...]
    values: Mapping[str, float] = field(default_factory=dict)

    CODE: ClassVar[int]
    TERMINALS: ClassVar[tuple[str, ...]]
    PARAMS: ClassVar[Mapping[str, float]]  # name -> default
    GONE: ClassVar[Mapping[str, float]]  # parameter values that leave nothing connected

    def __post_init__(self) -> None:
        if len(self.nets) != len(self.TERMINALS):
            raise ValueError(f"{self.name}: give one net for each of {', '.join(self.TERMINALS)}")
        unknown = set(self.values) - set(self.PARAMS)
        if unknown:
            raise ValueError(
                f"{self.name}: no parameter {sorted(unknown)}; has {list(self.PARAMS)}"
            )

    def gone(self) -> dict[tuple[str, str], float]:
        """Overrides that take this element out of the circuit."""
        return {(self.name, key): value for key, value in self.GONE.items()}

    def vector(self) -> list[float]:
        """Parameter values in storage order."""
        return [float(self.values.get(k, d)) for k, d in self.PARAMS.items()]


class Resistor(Element):
    """Linear conductance `g` [S] between a and b."""

    CODE, TERMINALS, PARAMS = RESISTOR, ("a", "b"), {"g": OPEN}
    GONE: ClassVar[Mapping[str, float]] = {"g": 1e-12}


class Capacitor(Element):
    """Capacitance `c` [F] with series resistance `esr` [ohm] and leakage `g` [S] across it.

    In a direct-current solve it is its leakage alone, unless `hold_g` [S] ties it to `hold` [V]:
    that is how a reservoir keeps its mean voltage while sensitivities are taken.
    """

    CODE, TERMINALS = CAPACITOR, ("a", "b")
    PARAMS = {"c": 0.0, "esr": 1e-3, "g": 0.0, "hold_g": 0.0, "hold": 0.0}
    GONE: ClassVar[Mapping[str, float]] = {"c": 0.0, "g": 0.0, "hold_g": 0.0}


class Inductor(Element):
    """Inductance `l` [H] in series with `r` [ohm]; `g` [S] shunts both (shorted turns, short)."""

    CODE, TERMINALS, PARAMS = INDUCTOR, ("a", "b"), {"l": 0.0, "r": 1e-3, "g": 0.0}
    GONE: ClassVar[Mapping[str, float]] = {"r": 1e12, "l": 0.0, "g": 0.0}


class Source(Element):
    """Voltage source through its own conductance `g` [S]: direct `dc` [V] plus a sine.

    `ac` [V peak], `hz` [Hz], `phase` [rad]; `limit` [A] is the most it delivers (bench supply).
    """

    CODE, TERMINALS = SOURCE, ("pos", "neg")
    PARAMS = {"g": 1e3, "dc": 0.0, "ac": 0.0, "hz": 50.0, "phase": 0.0, "limit": 1e9}
    GONE: ClassVar[Mapping[str, float]] = {"g": 1e-12}


class Sink(Element):
    """Constant-current load: draws `amps` [A] once the voltage passes about `knee` [V]."""

    CODE, TERMINALS, PARAMS = SINK, ("a", "b"), {"amps": 0.0, "knee": 0.3, "g": 0.0}
    GONE: ClassVar[Mapping[str, float]] = {"amps": 0.0, "g": 0.0}


class Lamp(Element):
    """Filament: `amps` [A] at `volts` [V]; cold it has `cold` times its hot resistance.

    Between, resistance rises as the square root of voltage, which fits tungsten near rating.
    Source: common practice, no published source (current about as V^0.5).
    """

    CODE, TERMINALS = LAMP, ("a", "b")
    PARAMS = {"volts": 1.0, "amps": 0.0, "cold": 0.1, "g": 0.0}
    GONE: ClassVar[Mapping[str, float]] = {"amps": 0.0, "g": 0.0}


class Diode(Element):
    """Junction i = is (exp(v/nvt) - 1) plus reverse breakdown at `bv` [V], both from a to k.

    `is` [A], `nvt` [V]; breakdown current `ibv` [A] flows at exactly -bv and grows e-fold per
    `nbv` [V]; `g` [S] in parallel (leakage, short); `tt` [s] times the forward current is the
    charge it holds, which must be carried out before it blocks. An open junction: is = ibv = 0.
    """

    CODE, TERMINALS = DIODE, ("a", "k")
    PARAMS = {
        "is": 1e-14,
        "nvt": THERMAL_VOLTAGE,
        "g": 0.0,
        "bv": 1e6,
        "ibv": 0.0,
        "nbv": THERMAL_VOLTAGE,
        "tt": 0.0,
    }
    GONE: ClassVar[Mapping[str, float]] = {"is": 0.0, "ibv": 0.0, "g": 0.0}


class Bjt(Element):
    """Bipolar transistor, Ebers-Moll transport form. Source: J. J. Ebers and J. L. Moll, Proc. IRE
    42(12), 1954, in the transport form every circuit text uses since.

    `pol` +1 NPN, -1 PNP; transport saturation `ist` [A]; base-emitter and base-collector diodes
    `isf`, `isr` [A] (ist over forward and reverse gain); `ivaf` [1/V] inverse Early voltage;
    `gce`, `gbe`, `gcb` [S] parallel paths for shorts and leakage; `iknee` [1/A] inverse of the
    current where gain has begun to fall (H. K. Gummel, H. C. Poon, BSTJ 49, 1970); `tf`, `tr` [s]
    times the forward and reverse transport currents are the charges held in its base. With `afloat`
    1 nothing is joined to the base, which finds its own voltage. A transistor with another lead
    open keeps the junction that remains: see the transistor part kinds.
    """

    CODE, TERMINALS = BJT, ("c", "b", "e")
    PARAMS = {
        "pol": 1.0,
        "ist": 1e-14,
        "isf": 1e-16,
        "isr": 1e-14,
        "ivaf": 0.0,
        "gce": 0.0,
        "gbe": 0.0,
        "gcb": 0.0,
        "iknee": 0.0,
        "tf": 0.0,
        "tr": 0.0,
        "afloat": 0.0,
    }
    GONE: ClassVar[Mapping[str, float]] = {
        "ist": 0.0,
        "isf": 0.0,
        "isr": 0.0,
        "gce": 0.0,
        "gbe": 0.0,
        "gcb": 0.0,
    }


class Scr(Element):
    """Thyristor with an explicit latched state, not a transistor pair.

    Gate junction `isg` [A], `nvt` [V]; fires when gate current passes `igt` [A] with the anode
    positive, lets go when anode current falls below `ih` [A]. On: `von` [V] plus `ron` [ohm].
    `gak`, `ggk` [S] are parallel paths. `able` 0 means it never fires.
    """

    CODE, TERMINALS = SCR, ("a", "k", "g")
    PARAMS = {
        "isg": 1e-12,
        "nvt": 0.04,
        "igt": 10e-3,
        "ih": 10e-3,
        "von": 0.9,
        "ron": 0.02,
        "gak": 0.0,
        "ggk": 0.0,
        "able": 1.0,
    }
    GONE: ClassVar[Mapping[str, float]] = {"isg": 0.0, "gak": 0.0, "ggk": 0.0, "able": 0.0}


class Winding(Element):
    """One winding of a transformer: `turns` relative to the core net, in series with 1/`g` [ohm].

    The core is a net of its own whose voltage is volts per turn, so an ideal transformer of any
    number of windings needs nothing but nodal equations. Core loss and magnetising inductance are
    an ordinary resistor and inductor from the core net to common.
    """

    CODE, TERMINALS, PARAMS = WINDING, ("p", "m", "core"), {"g": 1.0, "turns": 1.0}
    GONE: ClassVar[Mapping[str, float]] = {"g": 1e-12}


class Amplifier(Element):
    """Op-amp or comparator between its own supply nets.

    `gain` [V/V], output conductance `gout` [S], `high`/`low` [V] lost to each supply, `limit` [A]
    output current limit, `offset` [V], `bias` [A] into each input, `gin` [S] between inputs,
    `gq` [S] standing in for supply current. `collector` 1: sinks only (open collector). `able` 0:
    output disconnected; `stuck` +1 or -1 holds it high or low.
    """

    CODE, TERMINALS = AMPLIFIER, ("plus", "minus", "out", "vpos", "vneg")
    PARAMS = {
        "gain": 1e5,
        "gout": 0.02,
        "high": 1.5,
        "low": 1.5,
        "limit": 0.025,
        "offset": 0.0,
        "bias": 0.0,
        "gin": 1e-7,
        "gq": 1e-4,
        "collector": 0.0,
        "able": 1.0,
        "stuck": 0.0,
    }
    GONE: ClassVar[Mapping[str, float]] = {"able": 0.0, "bias": 0.0, "gin": 0.0, "gq": 0.0}


class Regulator(Element):
    """Three-terminal regulator holding |out - com| at `volts` [V].

    `pol` +1 or -1; `gout` [S] load regulation; `drop` [V] least input-output difference; `limit`
    [A]; `iq` [A] standing current from input to com (into com for a positive type); `g` [S] from
    input to output (shorted pass device). It cannot take current back in.
    """

    CODE, TERMINALS = REGULATOR, ("in", "com", "out")
    PARAMS = {
        "pol": 1.0,
        "volts": 5.0,
        "gout": 100.0,
        "drop": 2.0,
        "limit": 2.2,
        "iq": 4e-3,
        "g": 0.0,
        "able": 1.0,
    }
    GONE: ClassVar[Mapping[str, float]] = {"able": 0.0, "iq": 0.0, "g": 0.0}


class Contact(Element):
    """Relay contact a-b driven by the voltage across c-d.

    Closes when |v(c,d)| passes `pull` [V], lets go below `drop` [V]; `closed`, `open` [S];
    `normally` 1 for a contact that is closed at rest; `force` +1/-1 welds it closed or open.
    """

    CODE, TERMINALS = CONTACT, ("a", "b", "c", "d")
    PARAMS = {
        "closed": 20.0,
        "open": 1e-12,
        "pull": 18.0,
        "drop": 6.0,
        "normally": 0.0,
        "force": 0.0,
    }
    GONE: ClassVar[Mapping[str, float]] = {"closed": 1e-12, "open": 1e-12}


class Triode(Element):
    """Vacuum triode. Source: N. Koren, "Improved vacuum tube models for SPICE simulations", Glass
    Audio 8(5), 1996: drive E = v/kp ln(1 + exp(kp (1/mu + vg/sqrt(kvb + v^2)))), anode current
    2 E^ex / kg1.

    `mu`, `ex`, `kg1`, `kp` as published, `kvb` [V^2]; above about 0 V the grid draws `kgrid`
    [A/V^1.5] times vg^1.5. `heat` (0 cold to 1 hot) and `emission` (1 new, 0 a dead heater) both
    scale every current; `gak`, `ggk`, `gag` [S] are leaks and shorts between electrodes.
    """

    CODE, TERMINALS = TRIODE, ("a", "g", "k")
    PARAMS = {
        "mu": 100.0,
        "ex": 1.4,
        "kg1": 1060.0,
        "kp": 600.0,
        "kvb": 300.0,
        "kgrid": 3e-4,
        "heat": 1.0,
        "emission": 1.0,
        "gak": 0.0,
        "ggk": 0.0,
        "gag": 0.0,
    }
    GONE: ClassVar[Mapping[str, float]] = {"emission": 0.0, "gak": 0.0, "ggk": 0.0, "gag": 0.0}


class Pentode(Element):
    """Vacuum pentode or beam tetrode, suppressor at the cathode. Source: Koren 1996, as the triode:
    the drive E follows the screen, E = vs/kp ln(1 + exp(kp (1/mu + vg/sqrt(1 + vs^2)))); anode
    current 2 E^ex / kg1 atan(v/kvb), screen current E^ex / kg2, `kvb` here [V].

    The published form has vg/vs where this has vg/sqrt(1 + vs^2), which no working screen tells
    apart, and the bare drive in the screen current. Other parameters as :class:`Triode`, with
    `gsk`, `gas` [S] from the screen.
    """

    CODE, TERMINALS = PENTODE, ("a", "g", "s", "k")
    PARAMS = {
        "mu": 11.0,
        "ex": 1.35,
        "kg1": 650.0,
        "kp": 60.0,
        "kvb": 24.0,
        "kg2": 4200.0,
        "kgrid": 1e-3,
        "heat": 1.0,
        "emission": 1.0,
        "gak": 0.0,
        "ggk": 0.0,
        "gag": 0.0,
        "gsk": 0.0,
        "gas": 0.0,
    }
    GONE: ClassVar[Mapping[str, float]] = {
        "emission": 0.0,
        "gak": 0.0,
        "ggk": 0.0,
        "gag": 0.0,
        "gsk": 0.0,
        "gas": 0.0,
    }


class Vacuum(Element):
    """Vacuum diode, i = k v^1.5 from a to k, nothing the other way. Source: the three-halves power
    law, C. D. Child, Phys. Rev. 32, 1911.

    Perveance `k` [A/V^1.5]; `heat`, `emission` as :class:`Triode`; `g` [S] in parallel.
    """

    CODE, TERMINALS = VACUUM, ("a", "k")
    PARAMS = {"k": 1e-3, "heat": 1.0, "emission": 1.0, "g": 0.0}
    GONE: ClassVar[Mapping[str, float]] = {"emission": 0.0, "g": 0.0}


class Gas(Element):
    """Cold-cathode gas tube with a latched state: dark until it strikes, then it holds its volts.

    Dark it is a leak `g` [S]. It strikes when a stands `strike` [V] above k; lit it holds `volts`
    [V] plus `r` [ohm] times its current; below `out` [A] it goes dark again. `able` 0 means it
    never strikes. Backwards it only leaks.
    """

    CODE, TERMINALS = GAS, ("a", "k")
    PARAMS = {
        "volts": 150.0,
        "r": 150.0,
        "strike": 165.0,
        "out": 1e-3,
        "g": 1e-8,
        "able": 1.0,
    }
    GONE: ClassVar[Mapping[str, float]] = {"able": 0.0, "g": 0.0}
