"""Good files and tables that proofs/fuzz.py mutates."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from halfsplit.assembly.file import load

ROOT = Path(__file__).resolve().parents[1]


def _read(*patterns: str) -> list[bytes]:
    found = [p for pattern in patterns for p in sorted(ROOT.glob(pattern))]
    assert found, patterns
    return [p.read_bytes() for p in found]


SMALL = b"""assembly: Bench five
common: com
mains: {volts: 230, hertz: 50}
parts:
  S1: {kind: supply, volts: 12V, ohms: 0.2R, pos: raw, neg: com}
  U1: {type: "7805", in: raw, com: com, out: p5}
  C1: {kind: electrolytic, value: 100u, volts: 16V, pos: p5, neg: com, made: 1974}
  Q1: {kind: npn, type: 2N3055, c: raw, b: b1, e: p6, touched: bright solder}
  R1: {kind: resistor, value: 4k7, tolerance: 5%, power: 0.25W, a: raw, b: b1}
  CR1: {kind: zener, value: 6.2V, power: 400mW, a: com, k: b1}
rails:
  P5: {net: p5, limits: 4.75..5.25V, ripple: 50mV, rated: 1A}
loads:
  half: {p5: 10R, p6: 0.1A}
feeds:
  bench: {nets: {raw: {volts: 12V, limit: 1A}}}
points:
  TP1: {net: p5, at: C1 plus lead}
layout: {Q1: [R1]}
"""
TINY = b"""assembly: Two parts
parts:
  S1: {kind: supply, volts: 12V, ohms: 0.2R, pos: raw, neg: com}
  R1: {kind: resistor, value: 4k7, tolerance: 5%, power: 0.25W, a: raw, b: com}
rails: {RAW: {net: raw, limits: 11..13V}}
"""
BLOCKS = b"""assembly: Tray by blocks
blocks:
  raw5:    {makes: v5, limits: 9..12V}
  minus12: {makes: n12, limits: -11.4..-12.6V, ripple: 75mV, needs: vrn}
  raw12n:  {makes: vrn, limits: -17..-24V}
  plus5:   {makes: p5, limits: 4.75..5.25V, needs: [v5, n12], follows: n12, fails: {dead: 5, noisy: 1}}
"""  # noqa: E501
PATTERNED = b"""assembly: Patterned
unless_noted:
  resistor: {power: 0.25W}
patterns:
  ref: {pattern: zener-reference, in: h12, out: ref, feed: R8 1k, zener: CR3 6.2V}
  own: {pattern: mine, in: h12, out: o, upper: R1, lower: R2}
parts:
  S1: {kind: supply, volts: 12V, ohms: 0.2R, pos: h12, neg: com}
"""
MINE = b"""pattern: mine
is: A divider.
why: common practice, no published source
nets:
  in: what feeds it
  out: its middle
parts:
  upper: {is: the upper arm, kind: resistor, value: 1k, a: in, b: out}
  lower: {is: the lower arm, kind: resistor, value: 1k, a: out, b: common}
"""
CONSOLE = b"""console: SL-2
machine: Q
connectors:
  J3: {at: SL-2, standard: TIA-232, pins: {3: {role: send, mark: -10..-7V, space: 7..10V}, 7: {role: common}}}
  T1: {at: terminal, end: DTE, standard: TIA-232, pins: {2: {circuit: TD}, 3: {circuit: RD}, 7: {circuit: SG}}}
cables:
  as-found: {from: J3, to: T1, wires: ["3-3", "7-7"], ties: {J3: ["3-7"]}}
messages:
  E5: {says: "E5 A={a} W={w} R={r}", means: "wrote {w} read {r}, differs {w^r}", look: U35}
lamps:
  leds: {order: D4 D3 D2 D1, codes: {"0100": boot PROM}}
"""  # noqa: E501
HOUSE = b"""HM-2207: {type: 2N3906, says: service notes, confidence: likely}
"4711-02": {type: 7805, says: a colleague, confidence: sure, note: TO-3}
"""
PINS = b"""pictures:
  board: {file: 0123456789abcdef0123456789abcdef.jpg, width: 4000, height: 3000, title: front}
pins:
- {picture: board, x: 0.412, y: 0.233, net: p5}
- {picture: board, x: 0.4, y: 0.2, part: C1, terminal: pos, note: bent lead}
"""
STOCK = (
    b"stock:\n- {value: 1R, watts: 50W, count: 4}\n- {value: 10R, watts: 25W, make: wirewound}\n"
)
SCRIPT = b"faults:\n  C1: {mode: short, why: age}\n  R1: {fitted: {value: 6k8}, why: earlier}\n"
LINES = [
    b"Q1 removed", b"R1 lift a", b"C1 fitted value=33u", b"CR1 bypassed", b"R1 fitted",
    b"Q1 fitted type=2N3772", b"C1 put-back",
]  # fmt: skip
TYPED = [
    b"4.98", b"-12.04 V", b"4k7", b"150mohm", "±5 %".encode(), b"4.75..5.25V", b"OL", b"100Hz",
    b"22u",
    b"0.5..1.5", b"82degC", b"-20/+80%", b"unstable", b"2R2", "4,7µF".encode(), b"1e3", b"5V+-10%",
]  # fmt: skip
PRINTS = [
    b"data test\n0000 FFFF FFFE\n0001 FFFF FFFE\n",
    b"address test: ok\ndata test\n7FFF 0020 0000\nstopped\n",
    b"QM 2.1\r\nE4 SIZE 0\r\nE5 A=5A3C W=0020 R=0000\r\nE6 A=0008 X=0408\r\nM1 M2 M3 M4 OK\r\n",
    b"pause test\n 0x10, 0x5555, 0x5554\nwarm\n",
    b"M1 OK\nLO 0000 HI 7FFF\nE5 A=.... W=.... R=....\n",
]  # fmt: skip
CAPTURES = [
    b"Time (ms),CH1 (V)\n" + b"".join(b"%d,%d\n" % (k, 5 * (k // 3 % 2)) for k in range(60)),
    b"s;a;b\n0,0;1,5;2\n0,1;1,6;2\n0,2;-4;2\n",
    b"0\t-9.1\n0.0001\t9.2\n0.0002\t-9.0\n0.0003\t9.1\n",
]  # fmt: skip
READINGS = [b"# meter\n0.5\t4.98\n1.0\t4.99\n", b"4.98 V DC\nOL\n-0.02E+1\n", b"+4.98E+00,VDC\n"]
JOURNAL = {
    "halfsplit_journal": 1,
    "entries": [
        {"seq": 1, "at": "2026-11-01T10:00:00+00:00", "kind": "condition", "key": None,
         "body": {"condition": {"feed": "supply", "load": "half", "changes": [], "extra": {}}}},
        {"seq": 2, "at": "2026-11-01T10:01:00+00:00", "kind": "read", "key": "a",
         "body": {"net": "p5", "against": "", "quantity": "volts", "value": 1.1, "resolution": 0.01,
                  "state": "number", "text": "1.10",
                  "condition": {"feed": "supply", "load": "half"},
                  "meter": {"name": "digital"}}},
        {"seq": 3, "at": "2026-11-01T10:02:00+00:00", "kind": "observe", "key": None,
         "body": {"text": "hot", "part": "Q1", "touched": False, "sign": "hot", "found": {},
                  "condition": {"feed": "supply", "load": "half"}}},
        {"seq": 4, "at": "2026-11-01T10:03:00+00:00", "kind": "prove", "key": None,
         "body": {"part": "C1", "good": False, "text": "shorted"}},
        {"seq": 5, "at": "2026-11-01T10:04:00+00:00", "kind": "undo", "key": None,
         "body": {"undoes": 3, "why": ""}},
    ],
}  # fmt: skip


@cache
def bad() -> list[bytes]:
    """Files the tests hold to be wrong, one mistake each: a start nearer the edge."""
    return _read("tests/files/bad/*.yaml")


@cache
def real() -> list[bytes]:
    """Whole demo machines."""
    return _read("examples/*/[!abc]*.yaml", "tests/files/by-pattern/*.yaml")


@cache
def racks() -> list[bytes]:
    """Files of boards."""
    return _read("examples/quillon16/boards.yaml", "tests/files/boards/*.yaml")


@cache
def bench() -> Any:
    """The small assembly, good."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "small.yaml"
        path.write_bytes(SMALL)
        found, problems = load(path)
        assert found is not None, problems
        return found
