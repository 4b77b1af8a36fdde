"""Machines of any size from a seed: supplies with their boards, as assembly text. All invented.

A supply is a mains transformer, a bridge, reservoirs and up to three rails: +12 V (zener reference,
long-tailed pair, Darlington pass transistors, current limit), -12 V (op-amp, tracking +12 V) and
+5 V (op-amp). Boards are diode-transistor gates fed by earlier gates, amplifier stages, long-tailed
pairs, op-amps, lamp drivers, zener clamps, decoupling and loads, all hung on the rails of one of
the supplies. Signals never run back to an earlier block, so no board can rest in two states.
"""

from __future__ import annotations

import random

SEED = 20261125
PARTS_A_SUPPLY = 350  # a further supply for each so many parts, about what one fed
BOTH_12 = 40  # parts in all from which a machine has -12 V too
WITH_5 = 100  # and +5 V


class Maker:
    """Collects parts, numbering each designator by its letters."""

    def __init__(self, parts: int, seed: int) -> None:
        self.target = parts
        self.draw = random.Random(seed * 10_007 + parts)
        self.lines: list[str] = []
        self.count: dict[str, int] = {}
        self.gates: list[str] = []  # outputs of logic
        self.analog: list[str] = []  # outputs of amplifiers
        self.rails: dict[str, str] = {}  # net -> limits
        self.feeds: dict[str, str] = {}  # net -> volts
        self.loads: dict[str, str] = {}

    def add(self, letters: str, text: str) -> str:
        """One part; returns its designator."""
        self.count[letters] = self.count.get(letters, 0) + 1
        ref = f"{letters}{self.count[letters]}"
        self.lines.append(f"  {ref}: {{{text}}}")
        return ref

    def net(self, stem: str) -> str:
        """A net name nobody has yet."""
        self.count[f"#{stem}"] = self.count.get(f"#{stem}", 0) + 1
        return f"{stem}{self.count[f'#{stem}']}"

    def ohms(self, value: str, a: str, b: str, power: str = "0.25W") -> None:
        """A resistor."""
        self.add("R", f"kind: resistor, value: {value}, power: {power}, a: {a}, b: {b}")

    def farads(self, value: str, pos: str, neg: str, volts: str = "25V") -> None:
        """An electrolytic."""
        self.add("C", f"kind: electrolytic, value: {value}, volts: {volts}, pos: {pos}, neg: {neg}")

    def transistor(self, name: str, c: str, b: str, e: str) -> None:
        """A transistor of the catalogue."""
        self.add("Q", f"type: {name}, c: {c}, b: {b}, e: {e}")

    def diode(self, a: str, k: str, name: str = "1N4148") -> None:
        """A diode of the catalogue."""
        self.add("D", f"type: {name}, a: {a}, k: {k}")

    def opamp(self, plus: str, minus: str, out: str, vpos: str, vneg: str) -> None:
        """An op-amp."""
        self.add(
            "U",
            f"type: UA741, plus: {plus}, minus: {minus}, out: {out}, vpos: {vpos}, vneg: {vneg}",
        )


def _mains(m: Maker, k: int) -> None:
    if k == 1:
        m.add("J", "kind: mains, volts: 230V, hertz: 50Hz, live: live, neutral: neutral")
        m.add("SW", "kind: switch, a: live, b: swl")
    m.add("F", f"kind: fuse, amps: 2A, speed: T, a: swl, b: pri{k}")
    m.count["T"] = k
    m.lines.append(
        f"  T{k}:\n    kind: transformer\n    windings:\n"
        f"      primary: {{start: pri{k}, end: neutral, volts: 230V, ohms: 4ohm}}\n"
        f"      sa: {{start: sa{k}, end: com, volts: 15V, ohms: 0.3ohm}}\n"
        f"      sb: {{start: com, end: sb{k}, volts: 15V, ohms: 0.3ohm}}"
    )
    m.add("BR", f"kind: bridge, volts: 200V, amps: 6A, ac1: sa{k}, ac2: sb{k}, "
          f"pos: rp{k}, neg: rn{k}")  # fmt: skip
    m.farads("10000u", f"rp{k}", "com", "35V")
    m.farads("4700u", "com", f"rn{k}", "35V")
    m.add("F", f"kind: fuse, amps: 5A, speed: T, a: rp{k}, b: vp{k}")
    m.add("F", f"kind: fuse, amps: 2A, speed: T, a: rn{k}, b: vn{k}")
    m.feeds |= {f"rp{k}": "20.5V", f"rn{k}": "-20.5V"}


def _plus_12(m: Maker, k: int) -> None:
    raw, out, ref = f"vp{k}", f"p12_{k}", f"ref{k}"
    m.ohms("1k5", raw, ref, "0.5W")
    m.add("D", f"type: 1N4735A, a: com, k: {ref}")
    m.transistor("2N2222A", raw, ref, f"tail{k}")
    m.transistor("2N2222A", f"drive{k}", f"tap{k}", f"tail{k}")
    m.ohms("2k2", f"tail{k}", "com")
    m.ohms("2k7", raw, f"drive{k}", "0.5W")
    m.transistor("2N3053", raw, f"drive{k}", f"mid{k}")
    m.transistor("2N3055", raw, f"mid{k}", f"top{k}")
    m.ohms("220R", f"mid{k}", f"top{k}")
    m.ohms("R22", f"top{k}", out, "5W")
    m.transistor("2N2222A", f"drive{k}", f"top{k}", out)
    m.ohms("1k8", out, f"tap{k}")
    m.ohms("2k", f"tap{k}", "com")
    m.farads("47u", out, "com")
    m.diode("com", out, "1N4002")
    m.rails[out] = "11.2..12.6V"
    m.loads[out] = "20R"


def _minus_12(m: Maker, k: int) -> None:
    raw, out, total = f"vn{k}", f"n12_{k}", f"sum{k}"
    m.ohms("10k", f"p12_{k}", total)
    m.ohms("10k", total, out)
    m.opamp("com", total, f"ndrive{k}", f"p12_{k}", raw)
    m.ohms("470R", f"ndrive{k}", f"nb{k}")
    m.transistor("2N2905A", raw, f"nb{k}", f"nm{k}")
    m.transistor("MJ2955", raw, f"nm{k}", f"nt{k}")
    m.ohms("220R", f"nm{k}", f"nt{k}")
    m.ohms("R47", f"nt{k}", out, "3W")
    m.transistor("2N2907A", f"nb{k}", f"nt{k}", out)
    m.farads("47u", "com", out)
    m.rails[out] = "-11.2..-12.6V"
    m.loads[out] = "40R"


def _plus_5(m: Maker, k: int) -> None:
    out = f"p5_{k}"
    m.ohms("1k4", f"p12_{k}", f"r5{k}")
    m.ohms("1k", f"r5{k}", "com")
    m.opamp(f"r5{k}", f"s5{k}", f"d5{k}", f"p12_{k}", "com")
    m.ohms("100R", f"d5{k}", f"b5{k}")
    m.transistor("2N3053", f"vp{k}", f"b5{k}", f"m5{k}")
    m.transistor("2N3055", f"vp{k}", f"m5{k}", f"t5{k}")
    m.ohms("100R", f"m5{k}", f"t5{k}")
    m.ohms("R15", f"t5{k}", out, "5W")
    m.transistor("2N2222A", f"b5{k}", f"t5{k}", out)
    m.ohms("100R", out, f"s5{k}")
    m.farads("100u", out, "com")
    m.rails[out] = "4.7..5.3V"
    m.loads[out] = "5R"


def _signal(m: Maker, known: list[str], rail: str) -> str:
    """An earlier block's output, or now and then an input tied up or down."""
    if known and m.draw.random() < 0.8:
        return m.draw.choice(known[-12:])
    net = m.net("in")
    m.ohms("4k7", net, m.draw.choice([rail, "com"]))
    return net


def _gate(m: Maker, rail: str) -> None:
    node, base, out = m.net("and"), m.net("gb"), m.net("g")
    for _ in range(m.draw.choice([2, 2, 3])):
        m.diode(node, _signal(m, m.gates, rail))
    m.ohms("3k9", rail, node)
    shift = m.net("gs")
    m.diode(node, shift)
    m.diode(shift, base)
    m.ohms("5k6", base, "com")
    m.transistor("2N3904", out, base, "com")
    m.ohms(m.draw.choice(["1k", "1k5", "2k2"]), rail, out)
    m.gates.append(out)


def _stage(m: Maker, rail: str) -> None:
    b, e, c = m.net("sb"), m.net("se"), m.net("sc")
    m.farads("10u", b, _signal(m, m.analog, rail))
    m.ohms(m.draw.choice(["47k", "68k"]), rail, b)
    m.ohms("10k", b, "com")
    m.ohms(m.draw.choice(["3k3", "4k7"]), rail, c)
    m.ohms("1k", e, "com")
    m.farads("47u", e, "com")
    m.transistor("2N3904", c, b, e)
    m.analog.append(c)


def _pair(m: Maker, plus: str, minus: str) -> None:
    e, a, b, c, d = (m.net(s) for s in ("le", "la", "lb", "lc", "ld"))
    m.ohms("22k", _signal(m, m.analog, plus), a)
    m.ohms("10k", a, "com")
    m.ohms("10k", b, "com")
    m.transistor("2N2222A", c, a, e)
    m.transistor("2N2222A", d, b, e)
    m.ohms("4k7", plus, c)
    m.ohms("4k7", plus, d)
    m.ohms("5k6", e, minus)
    m.analog += [c, d]


def _opamp(m: Maker, plus: str, minus: str) -> None:
    a, out = m.net("oi"), m.net("oo")
    m.ohms("10k", _signal(m, m.analog, plus), a)
    m.ohms(m.draw.choice(["4k7", "10k", "22k"]), a, out)
    m.opamp("com", a, out, plus, minus)
    m.analog.append(out)


def _lamp(m: Maker, rail: str) -> None:
    b, c = m.net("db"), m.net("dc")
    m.ohms("2k2", _signal(m, m.gates, rail), b)
    m.transistor("2N2222A", c, b, "com")
    m.add("DS", f"kind: lamp, volts: 12V, amps: 40mA, a: {rail}, b: {c}")


def _clamp(m: Maker, rail: str) -> None:
    z = m.net("z")
    m.ohms("1k", rail, z)
    m.add("D", f"type: {m.draw.choice(['1N4733A', '1N4735A'])}, a: com, k: {z}")
    m.ohms("10k", z, "com")


def _hung(m: Maker, rail: str) -> None:
    if m.draw.random() < 0.5:
        m.add("C", f"kind: ceramic-capacitor, value: 100n, a: {rail}, b: com")
    else:
        ohms = m.draw.choice([680, 1000, 2200])
        m.add("L", f"kind: load, ohms: {ohms}ohm, a: {rail}, b: com")


def text(parts: int, seed: int = SEED) -> str:
    """Assembly text of a machine of exactly so many parts (at least 50)."""
    m = Maker(parts, seed)
    supplies = max(1, round(parts / PARTS_A_SUPPLY))
    rails: list[tuple[str, str, str]] = []  # plus, minus, logic of each supply
    for k in range(1, supplies + 1):
        _mains(m, k)
        _plus_12(m, k)
        plus = minus = logic = f"p12_{k}"
        if parts >= BOTH_12:
            _minus_12(m, k)
            minus = f"n12_{k}"
        if parts >= WITH_5:
            _plus_5(m, k)
            logic = f"p5_{k}"
        rails.append((plus, minus, logic))
    while len(m.lines) < parts - 12:  # no block has more than twelve parts
        plus, minus, logic = m.draw.choice(rails)
        block = m.draw.choices(range(7), weights=[30, 15, 12, 12, 10, 6, 15])[0]
        if block == 0:
            _gate(m, logic)
        elif block == 1:
            _stage(m, plus)
        elif block == 2:
            _pair(m, plus, minus)
        elif block == 3:
            _opamp(m, plus, minus)
        elif block == 4:
            _lamp(m, plus)
        elif block == 5:
            _clamp(m, plus)
        else:
            _hung(m, m.draw.choice([plus, logic]))
    while len(m.lines) < parts:
        _hung(m, m.draw.choice(rails)[0])
    lines = [f"assembly: Made of {parts} parts", "mains: {volts: 230V, hertz: 50Hz}", "parts:"]
    lines += m.lines
    lines += ["rails:", *(f"  {n.upper()}: {{net: {n}, limits: {v}}}" for n, v in m.rails.items())]
    fed = ", ".join(f"{n}: {{volts: {v}, ohms: 0.5ohm}}" for n, v in m.feeds.items())
    lines += ["feeds:", "  mains: {mains: true}", f"  raws: {{nets: {{{fed}}}}}"]
    hung = ", ".join(f"{n}: {v}" for n, v in m.loads.items())
    lines += ["loads:", f"  half: {{{hung}}}", ""]
    return "\n".join(lines)
