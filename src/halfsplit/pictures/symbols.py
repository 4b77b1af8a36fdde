"""Circuit symbols after IEC 60617, and which kind of part is drawn by which.

A symbol lies along the x axis: its *through* pins at (0, 0) and (length, 0), other pins where their
side says. Turned upright its left pin is on top. Shapes are from memory of the standard's graphical
symbols, unconfirmed; they are what books of the period draw.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from halfsplit.parts.base import Part

Side = Literal["L", "R", "U", "D"]


@dataclass(frozen=True)
class Pin:
    """Where a terminal comes out: place, and the side its wire leaves by."""

    terminal: str
    x: float
    y: float
    side: Side


@dataclass(frozen=True)
class Symbol:
    """A drawing with its pins.

    Attributes
    ----------
    through: the two pins (left, right) a current path takes; empty for what only begins a strip.
    box: left, top, right, bottom of all that is drawn, pins' wires left out.
    lines, solid: path data stroked, and filled.
    marks: short texts in it as (x, y, text), kept upright.
    out: pin on the right at y = 0 that a strip may go on from, for what only begins one.
    """

    pins: tuple[Pin, ...]
    through: tuple[str, str] | None
    box: tuple[float, float, float, float]
    lines: str
    solid: str = ""
    marks: tuple[tuple[float, float, str], ...] = ()
    out: str | None = None

    def pin(self, terminal: str) -> Pin:
        """The pin of a terminal."""
        return next(p for p in self.pins if p.terminal == terminal)


@dataclass(frozen=True)
class Unit:
    """One drawn piece of a part: a relay is a coil and a contact, each where it belongs."""

    part: Part
    name: str
    symbol: Symbol
    nets: Mapping[str, str] = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, str]:
        """What tells it from every other unit."""
        return self.part.ref, self.name

    def other(self, net: str) -> str | None:
        """The net at the other end of its path, None when `net` is at neither end."""
        if self.symbol.through is None:
            return None
        a, b = (self.nets[t] for t in self.symbol.through)
        return b if net == a else a if net == b else None


LONG = 60.0  # of a symbol of two pins, wires included


def _two(
    a: str,
    b: str,
    high: float,
    lines: str,
    solid: str = "",
    marks: tuple[tuple[float, float, str], ...] = (),
) -> Symbol:
    pins = (Pin(a, 0, 0, "L"), Pin(b, LONG, 0, "R"))
    return Symbol(pins, (a, b), (12, -high, 48, high), lines, solid, marks)


def _leads(left: float, right: float) -> str:
    return f"M0 0H{left:g}M{right:g} 0H60"


_BOX = f"{_leads(14, 46)}M14 -7H46V7H14Z"
_DIODE = "M22 -9L38 0L22 9Z"


def _ring(x: float, y: float, r: float) -> str:
    return f"M{x - r:g} {y:g}a{r:g} {r:g} 0 1 0 {2 * r:g} 0a{r:g} {r:g} 0 1 0 {-2 * r:g} 0"


def _transistor(first: str, last: str, inward: bool) -> Symbol:
    """Collector left, emitter right, base below."""
    arrow = "M32 3L43 -1L40 7Z" if inward else "M46 1L35 4L40 11Z"
    lines = f"M0 0H14L25 11M60 0H46L35 11M17 11H43M30 11V36{_ring(30, 5, 19)}"
    pins = (Pin(first, 0, 0, "L"), Pin(last, 60, 0, "R"), Pin("b", 30, 36, "D"))
    return Symbol(pins, (first, last), (11, -14, 49, 24), lines, arrow)


_NPN = _transistor("c", "e", inward=False)
_PNP = _transistor("c", "e", inward=True)
_SCR = Symbol(
    (Pin("a", 0, 0, "L"), Pin("k", 60, 0, "R"), Pin("g", 46, 30, "D")),
    ("a", "k"),
    (20, -11, 47, 16),
    f"{_leads(22, 38)}{_DIODE}M38 -9V9M38 4L46 14V30",
)
_PLATES = f"{_leads(27, 33)}M27 -12V12M33 -12V12"


def _valve(screen: bool) -> Symbol:
    """Anode left, cathode right, grid below, screen above."""
    pins = [Pin("a", 0, 0, "L"), Pin("k", 60, 0, "R"), Pin("g", 34 if screen else 30, 36, "D")]
    lines = f"M0 0H17M17 -10V10M60 0H44V-9M44 0V9{_ring(30, 0, 21)}"
    if screen:
        pins.append(Pin("s", 27, -36, "U"))
        lines += "M34 -11v4m0 3v4m0 3v4m0 3V36M27 11v-4m0 -3v-4m0 -3v-4m0 -3V-36"
        lines += "M21 -9v4m0 3v4m0 3v4"
    else:
        lines += "M30 -11v4m0 3v4m0 3v4m0 3V36"
    return Symbol(tuple(pins), ("a", "k"), (9, -21, 51, 21), lines)


def _amplifier(part: Part) -> Symbol:
    pins = [Pin("minus", 0, -18, "L"), Pin("plus", 0, 18, "L"), Pin("out", 84, 0, "R")]
    lines = "M0 -18H14M0 18H14M14 -34V34L70 0ZM70 0H84"
    if "vpos" in part.terminals():
        pins += [Pin("vpos", 36, -36, "U"), Pin("vneg", 36, 36, "D")]
        lines += "M36 -21V-36M36 21V36"
    marks = ((22, -18, "−"), (22, 18, "+"))
    return Symbol(tuple(pins), None, (14, -34, 70, 34), lines, "", marks, "out")


_BRIDGE = Symbol(
    (
        Pin("ac1", 0, -18, "L"),
        Pin("ac2", 0, 18, "L"),
        Pin("pos", 76, 0, "R"),
        Pin("neg", 38, 44, "D"),
    ),
    None,
    (14, -30, 62, 30),
    "M0 -18H14M0 18H14M62 0H76M38 30V44M14 -30H62V30H14ZM24 6H52M46 6V-6M46 0",
    "M31 -1L46 6L31 13Z",
    ((21, -18, "~"), (21, 18, "~"), (55, 0, "+"), (38, 23, "−")),
    "pos",
)
_REGULATOR = Symbol(
    (Pin("in", 0, 0, "L"), Pin("out", 90, 0, "R"), Pin("com", 45, 34, "D")),
    ("in", "out"),
    (14, -18, 76, 20),
    "M0 0H14M76 0H90M45 20V34M14 -18H76V20H14Z",
    "",
    ((26, 0, "in"), (60, 0, "out"), (45, 13, "com")),
)


def _potentiometer(part: Part) -> Symbol:
    if "b" not in part.terminals():
        arrow = "M20 12L41 -13"
        return _two("a", "wiper", 14, f"{_BOX}{arrow}", "M45 -17L36 -13L42 -8Z")
    pins = (Pin("a", 0, 0, "L"), Pin("b", 60, 0, "R"), Pin("wiper", 30, 32, "D"))
    return Symbol(pins, ("a", "b"), (12, -9, 48, 17), f"{_BOX}M30 12V32", "M30 7L26 16H34Z")


def _rectifier_valve(part: Part) -> Symbol:
    anodes = [t for t in ("a1", "a2") if t in part.terminals()]
    places = (-18.0, 18.0) if len(anodes) == 2 else (0.0,)
    pins = [Pin(t, 0, y, "L") for t, y in zip(anodes, places, strict=True)]
    pins.append(Pin("k", 80, 0, "R"))
    lines = f"{_ring(40, 0, 28)}M80 0H52M52 -14V14"
    lines += "".join(f"M0 {y:g}H30M30 {y - 8:g}V{y + 8:g}" for y in places)
    return Symbol(tuple(pins), None, (12, -28, 68, 28), lines, "", (), "k")


def _transformer(part: Part) -> Symbol:
    """First winding left, the others on the right below each other; dots at the starts."""
    names = list(dict.fromkeys(t.partition(".")[0] for t in part.terminals()))
    pins: list[Pin] = []
    lines, solid = "", ""
    step, half = 70.0, 20.0
    high = step * (len(names) - 1)
    for k, name in enumerate(names):
        left = k == 0
        y = (high - step) / 2 if left else step * (k - 1)
        x, coil, bow = (0.0, 30.0, 1) if left else (90.0, 60.0, 0)
        pins += [
            Pin(f"{name}.start", x, y - half, "L" if left else "R"),
            Pin(f"{name}.end", x, y + half, "L" if left else "R"),
        ]
        lines += f"M{x:g} {y - half:g}H{coil:g}" + f"a5 5 0 0 {bow} 0 10" * 4 + f"H{x:g}"
        solid += _ring(coil + (-6 if left else 6), y - half + 6, 1.8) + "Z"
    lines += f"M42 {-half:g}V{high - step + half:g}M48 {-half:g}V{high - step + half:g}"
    box = (14.0, -half - 4, 76.0, max(high - step, 0.0) + half + 4)
    return Symbol(tuple(pins), None, box, lines, solid)


def _block(part: Part) -> Symbol:
    """A box with the names of its terminals, for kinds without a symbol of their own."""
    names = list(part.terminals())
    left, right = names[: (len(names) + 1) // 2], names[(len(names) + 1) // 2 :]
    wide = (
        40.0 + 7.0 * max((len(n) for n in left), default=0) + 7.0 * max(map(len, right), default=0)
    )
    pins = [Pin(t, 0, 28.0 * k, "L") for k, t in enumerate(left)]
    pins += [Pin(t, wide + 28, 28.0 * k, "R") for k, t in enumerate(right)]
    low = 28.0 * (len(left) - 1) + 16
    lines = f"M14 -16H{wide + 14:g}V{low:g}H14Z"
    lines += "".join(f"M{p.x:g} {p.y:g}h{14 if p.side == 'L' else -14}" for p in pins)
    marks = tuple(
        (
            20 + 3.5 * len(p.terminal) if p.side == "L" else wide + 8 - 3.5 * len(p.terminal),
            p.y,
            p.terminal,
        )
        for p in pins
    )
    return Symbol(tuple(pins), None, (14, -16, wide + 14, low), lines, "", marks)


_HUMPS = "a4 4 0 0 1 8 0" * 4
_SWITCH = f"{_leads(18, 42)}M20 -1L42 -12{_ring(18, 0, 2)}{_ring(42, 0, 2)}"
SYMBOLS: Mapping[str, Symbol | Callable[[Part], Symbol]] = {
    "resistor": _two("a", "b", 9, _BOX),
    "load": _two("a", "b", 14, f"{_BOX}M18 12L42 -12", "M45 -15L36 -11L41 -6Z"),
    "ceramic-capacitor": _two("a", "b", 14, _PLATES),
    "film-capacitor": _two("a", "b", 14, _PLATES),
    "paper-capacitor": _two("a", "b", 14, _PLATES),
    "electrolytic": _two(
        "pos", "neg", 14, f"{_leads(25, 34)}M25 -12H29V12H25ZM34 -12V12M15 -8h6M18 -11v6"
    ),
    "tantalum": _two("pos", "neg", 14, f"{_leads(27, 33)}M27 -12V12M33 -12V12M15 -8h6M18 -11v6"),
    "inductor": _two("a", "b", 9, f"{_leads(14, 46)}M14 0{_HUMPS}"),
    "diode": _two("a", "k", 11, f"{_leads(22, 38)}{_DIODE}M38 -9V9"),
    "rectifier": _two("a", "k", 11, f"{_leads(22, 38)}{_DIODE}M38 -9V9"),
    "zener": _two("a", "k", 11, f"{_leads(22, 38)}{_DIODE}M38 -9V9h-6"),
    "led": _two("a", "k", 20, f"{_leads(22, 38)}{_DIODE}M38 -9V9M28 -11l6 -8M35 -9l6 -8"),
    "varistor": _two("a", "b", 14, f"{_BOX}M16 12h6L42 -12", "", ((44, 12, "U"),)),
    "selenium": _two(
        "a", "k", 11, f"{_leads(16, 44)}M16 -9L28 0L16 9ZM28 -9V9M32 -9L44 0L32 9ZM44 -9V9M28 0H32"
    ),
    "gas-tube": _two(
        "a", "k", 17, f"M0 0H22M38 0H60{_ring(30, 0, 16)}M22 -7V7M38 -9V9", _ring(31, 10, 2)
    ),
    "fuse": _two("a", "b", 9, "M14 -7H46V7H14ZM0 0H60"),
    "lamp": _two(
        "a", "b", 14, f"{_leads(18, 42)}{_ring(30, 0, 12)}M21.5 -8.5L38.5 8.5M21.5 8.5L38.5 -8.5"
    ),
    "fan": _two("a", "b", 16, f"{_leads(15, 45)}{_ring(30, 0, 15)}", "", ((30, 0, "M"),)),
    "switch": _two("a", "b", 14, _SWITCH),
    "wire": _two("a", "b", 5, f"M0 0H60{_ring(14, 0, 2.5)}{_ring(46, 0, 2.5)}"),
    "trace": _two("a", "b", 5, "M0 0H60M14 -3H46V3H14Z"),
    "connector": _two("a", "b", 9, "M0 0H24M20 -7a7 7 0 0 1 0 14M28 0H60", "M24 -2H38V2H24Z"),
    "supply": _two(
        "pos", "neg", 16, f"{_leads(27, 33)}M27 -14V14M15 -9h6M18 -12v6", "M32 -7H35V7H32Z"
    ),
    "mains": _two("live", "neutral", 16, f"{_leads(15, 45)}{_ring(30, 0, 15)}M22 0q4 -8 8 0t8 0"),
    "meter": _two("pos", "neg", 16, f"{_leads(15, 45)}{_ring(30, 0, 15)}", "", ((30, 0, "V"),)),
    "npn": _NPN,
    "pnp": _PNP,
    "scr": _SCR,
    "triode": _valve(False),
    "pentode": lambda part: _valve("s" in part.terminals()),
    "tube-rectifier": _rectifier_valve,
    "potentiometer": _potentiometer,
    "regulator": _REGULATOR,
    "opamp": _amplifier,
    "comparator": _amplifier,
    "bridge": _BRIDGE,
    "transformer": _transformer,
}
_COIL = _two("c1", "c2", 16, f"{_leads(20, 40)}M20 -14H40V14H20ZM20 14L40 -14")
_HEATER = _two("h1", "h2", 16, f"M0 0H20L30 -9L40 0H60{_ring(30, 0, 15)}")


def units(part: Part) -> list[Unit]:
    """What a part is drawn as; a kind without a symbol is a box with its terminals' names."""
    nets = part.terminals()
    found = [("", _own(part))]
    if part.KIND == "relay":
        found = [("coil", _COIL), ("contact", SYMBOLS["switch"])]  # type: ignore[list-item]
    elif "h1" in nets and "h2" in nets:
        found.append(("heater", _HEATER))
    return [
        Unit(part, name, symbol, {p.terminal: nets[p.terminal] for p in symbol.pins})
        for name, symbol in found
    ]


def _own(part: Part) -> Symbol:
    known = SYMBOLS.get(part.KIND)
    if known is None:
        return _block(part)
    symbol = known(part) if callable(known) else known
    # A part whose drawn pins are not all there (an optional lead left out) falls to the box.
    return symbol if all(p.terminal in part.terminals() for p in symbol.pins) else _block(part)
