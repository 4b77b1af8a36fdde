"""What every part kind provides, and the field types a part entry may use."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, ClassVar, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    WithJsonSchema,
    model_validator,
)

from halfsplit.circuit.elements import Element
from halfsplit.circuit.netlist import Overrides
from halfsplit.quantity import Range, Tolerance, Unit, parse, parse_range, parse_tolerance

# References cited more than once in the kinds. Second-hand copies are named as such.
MODES_338 = "MIL-HDBK-338B (1998), failure mode distributions, read in a second-hand public copy"
RATES_217 = "MIL-HDBK-217F Notice 2, parts count, ground fixed, read in a second-hand public copy"
PRACTICE = "common practice, no published source"
MEMORY = "from memory, unconfirmed"


class Read(float):
    """A number of a part already read, in SI units: taken as it is, where a bare number typed
    without its prefix may be refused."""


@dataclass(frozen=True)
class InUnit:
    """Mark of a field that holds a quantity: the unit its SI number is in."""

    unit: Unit


def _quantity(unit: Unit, example: str) -> Any:
    schema = {"type": ["string", "number"], "description": f"quantity, such as {example}"}

    def read(value: object) -> float:
        return float(value) if isinstance(value, Read) else parse(_text(value), unit)

    return Annotated[float, BeforeValidator(read), WithJsonSchema(schema), InUnit(unit)]


def _text(value: object) -> str:
    """YAML gives bare numbers as numbers; the quantity parser wants what was written."""
    if isinstance(value, bool) or value is None or isinstance(value, (dict, list)):
        raise ValueError("expected a quantity such as 4k7 or 12V")
    return str(value)


def _volt_range(value: object) -> Range:
    if isinstance(value, Range):
        return value
    if value is None or isinstance(value, (bool, list, dict)):
        raise ValueError("expected a range such as 4.75..5.25V")
    return parse_range(str(value), "V")


def _net(value: object) -> str:
    text = str(value).strip() if isinstance(value, (str, int)) else ""
    if isinstance(value, bool) or not text or any(c.isspace() or c in ":,{}[]#" for c in text):
        raise ValueError("a net is one word, such as n12 or vraw")
    return text


Ohms = _quantity("ohm", "4k7")
Farads = _quantity("F", "22u")
Henries = _quantity("H", "10m")
Volts = _quantity("V", "12V")
Amps = _quantity("A", "500mA")
Watts = _quantity("W", "0.25W")
Hertz = _quantity("Hz", "50Hz")
Seconds = _quantity("s", "100n")
Celsius = _quantity("degC", "150")
KelvinPerWatt = _quantity("K/W", "1.5")
Fraction = _quantity("1", "20%")
Spread = Annotated[
    Tolerance,
    BeforeValidator(lambda v: v if isinstance(v, Tolerance) else parse_tolerance(_text(v), "1")),
    WithJsonSchema({"type": ["string", "number"], "description": "tolerance, such as 5%"}),
]
GainRange = Annotated[
    Range,
    BeforeValidator(lambda v: v if isinstance(v, Range) else parse_range(_text(v), "1")),
    WithJsonSchema({"type": "string", "description": "range, such as 20..70"}),
]
VoltRange = Annotated[
    Range,
    BeforeValidator(_volt_range),
    WithJsonSchema({"type": "string", "description": "range, such as 4.75..5.25V"}),
    InUnit("V"),
]
Net = Annotated[
    str,
    BeforeValidator(_net),
    WithJsonSchema({"type": ["string", "integer"], "description": "net name"}),
]


@dataclass(frozen=True)
class Mode:
    """One way a part can be wrong.

    Attributes
    ----------
    name: short, such as "open" or "c-e short".
    share: fraction of this part's failures that take this form (a part's modes sum to 1).
    source: where the share comes from.
    changes: parameter values that make the fault.
    look: what a meter or an eye finds on the part out of circuit.
    """

    name: str
    share: float
    source: str
    changes: Overrides
    look: str = ""


@dataclass(frozen=True)
class Wander:
    """One way a good part differs from its marking, as parameter values at plus one sigma."""

    name: str
    changes: Overrides


Quantity = Literal["volts", "amps", "ripple", "watts", "degC", "amps_squared_seconds"]


@dataclass(frozen=True)
class Rating:
    """A limit the part must not pass: `quantity` volts, amps, watts or degC of `element`.

    ripple is the alternating current of a capacitor, rms.
    """

    quantity: Quantity
    limit: float
    element: str
    source: str


@dataclass(frozen=True)
class DeadLook:
    """What an ohmmeter or diode test shows between two terminals of a good part on the bench.

    `low`, `high` [ohm] or, for `test` "diode", [V] at about 1 mA; infinite high: "OL" is right.
    """

    pos: str
    neg: str
    test: Literal["ohms", "diode"]
    low: float
    high: float
    words: str


@dataclass(frozen=True)
class Rate:
    """Failures per million hours of a new part of this kind, and who says so."""

    per_million_hours: float
    source: str


class Part(BaseModel):
    """One part of the assembly. Subclasses are the kinds; fields are what an entry may say."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)

    # Whether its leads may stand in other holes once somebody fitted another.
    DISPLACED: ClassVar[bool] = False
    KIND: ClassVar[str]
    TERMINALS: ClassVar[tuple[str, ...]]
    RATE: ClassVar[Rate]
    # Minutes to reach a lead of this part with a probe, and to lift or change it.
    # Source: common practice, no published source.
    POLAR: ClassVar[bool] = False

    ref: str = Field(exclude=True, default="", json_schema_extra={"hidden": True})
    kind: str = Field(description="part kind")
    type: str | None = Field(default=None, description="catalogue type, such as 2N3055")
    made: int | None = Field(default=None, ge=1900, le=2100, description="year of the date code")
    touched: str | None = Field(default=None, description="sign of an earlier repair, in words")
    page: str | None = Field(default=None, description="drawing page or zone it was read from")
    confidence: Literal["sure", "likely", "guess"] = Field(
        default="sure", description="how readable the drawing was"
    )
    note: str | None = Field(default=None, description="anything worth keeping")

    def terminals(self) -> dict[str, str]:
        """Terminal name -> net, in the order of the entry's meaning."""
        dump = self.__dict__
        return {t: dump[t if t not in RESERVED else f"{t}_"] for t in self.TERMINALS}

    def elements(self) -> list[Element]:
        """The circuit elements this part becomes; the first is named like the part."""
        raise NotImplementedError(f"{type(self).__name__} must say what elements it is made of")

    def modes(self) -> list[Mode]:
        """The ways it fails, shares summing to 1; empty for what cannot fail (a meter)."""
        return []

    def misfits(self) -> list[Mode]:
        """Wrong parts or wrong fitting somebody may have left here, shares summing to 1; empty for
        what is not mistaken. `name` says how it differs from the drawing."""
        return []

    def lift(self, lead: str) -> Overrides | None:
        """What changes with one lead off the board; None where that is not modelled.

        A part of two leads is simply out of the circuit. Kinds with more say which element goes.
        """
        if len(self.terminals()) != 2:
            return None
        return gone(self.elements())

    def wanders(self) -> list[Wander]:
        """Independent uncertainties of a good part at one sigma."""
        return []

    @model_validator(mode="after")
    def _sink_needs_case(self) -> Part:
        if self.__dict__.get("sink") is not None and self.__dict__.get("theta_jc") is None:
            raise ValueError("a heatsink also needs theta_jc, from junction to case")
        return self

    def to_air(self) -> float | None:
        """Thermal resistance from junction to air [K/W], on its heatsink if it has one.

        None when neither the entry nor the catalogue row tells.
        """
        sink, free = self.__dict__.get("sink"), self.__dict__.get("theta_ja")
        if sink is not None:
            return float(self.__dict__["theta_jc"] + sink)
        return None if free is None else float(free)

    def ratings(self) -> list[Rating]:
        """Limits known from the entry or the catalogue."""
        return []

    def dead(self) -> list[DeadLook]:
        """Bench readings of a good part out of circuit."""
        return []

    def label(self) -> str:
        """A few words for lists: kind and value or type."""
        return f"{self.KIND} {self.type}" if self.type else self.KIND

    def rate(self) -> Rate:
        """Failure rate of this very part; kinds with several technologies override."""
        return self.RATE


RESERVED = frozenset({"in", "from", "is"})  # words Python keeps; the field gets a trailing _


def gone(elements: Iterable[Element]) -> Overrides:
    """Changes that take every one of these elements out of the circuit."""
    return {key: value for e in elements for key, value in e.gone().items()}


def limits(element: str, given: Mapping[Quantity, float | None]) -> list[Rating]:
    """Ratings of one element from what the entry or its catalogue row gives; None is left out."""
    said = "the part's entry or catalogue row"
    return [Rating(q, value, element, said) for q, value in given.items() if value]


def shares(source: str, modes: Mapping[str, tuple[float, Overrides, str]]) -> list[Mode]:
    """Modes from name -> (share, changes, look) under one source; shares must sum to 1."""
    total = sum(share for share, _, _ in modes.values())
    if abs(total - 1.0) > 0.011:
        raise ValueError(f"shares sum to {total:.3f}, not 1: {list(modes)}")
    return [Mode(n, s, source, changes, look) for n, (s, changes, look) in modes.items()]


def sigma(tolerance: Tolerance, value: float) -> float:
    """One standard deviation of a part with this tolerance, as a value.

    A tolerance band is taken as evenly filled, so sigma is its half-width over the root of three:
    bins sorted for tighter grades leave no peak in the middle. Common practice, no published
    source.
    """
    low, high = tolerance.bounds(value)
    return float((high - low) / 2.0 / 3.0**0.5)


@dataclass
class KindRegistry:
    """Every kind by name."""

    kinds: dict[str, type[Part]] = field(default_factory=dict)

    def add(self, kind: type[Part]) -> type[Part]:
        """Class decorator: make a kind known under its KIND."""
        if kind.KIND in self.kinds:
            raise ValueError(f"two kinds are called {kind.KIND}")
        self.kinds[kind.KIND] = kind
        return kind


REGISTRY = KindRegistry()
