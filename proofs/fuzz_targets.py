"""What proofs/fuzz.py throws mutated input at. A further target is one function with @target.

A target gets a case: a seeded generator, a folder of its own to write in, and `made`, which gives a
seed mutated. It returns the problems it was told, or raises one of the project's own errors; any
other exception is a finding.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

from proofs.fuzz_mutate import mutate

from halfsplit.assembly import edit
from halfsplit.assembly.condition import parse_change
from halfsplit.assembly.file import load
from halfsplit.assembly.plain import plain_text
from halfsplit.assembly.script import load_faults
from halfsplit.bench.pattern_list import pattern_problems
from halfsplit.bench.pins_file import load_pins
from halfsplit.bench.recall import restore_journal
from halfsplit.boards import consoles
from halfsplit.boards.capture import changes, read_capture
from halfsplit.boards.console import Lines
from halfsplit.boards.file import load_rack
from halfsplit.boards.memory_log import read_log
from halfsplit.boards.which import sort_of
from halfsplit.bringup.stock import parse_stock
from halfsplit.instruments import replay
from halfsplit.parts.house import read_house
from halfsplit.problems import HalfsplitError, Problem
from halfsplit.quantity import QuantityError, parse, parse_range, parse_reading, parse_tolerance

ROOT = Path(__file__).resolve().parents[1]
TOLD = Sequence[Problem]


@dataclass
class Case:
    """One case: its own random numbers, a folder to write in, and mutated input."""

    rng: Random
    folder: Path

    def made(self, seeds: Sequence[bytes], others: Sequence[bytes] = ()) -> bytes:
        """One of `seeds`, mutated with pieces of these and of `others`."""
        return mutate(self.rng.choice(seeds), self.rng, [*seeds, *others])

    def file(self, name: str, data: bytes) -> Path:
        """`data` in the case's folder."""
        path = self.folder / name
        path.write_bytes(data)
        return path


@dataclass(frozen=True)
class Target:
    """A function under fuzz; `weight` says how often it is drawn, `sort` what it belongs to."""

    name: str
    sort: str
    weight: float
    run: Callable[[Case], TOLD | None]


@dataclass
class Registry:
    """Every target by name."""

    all: dict[str, Target] = field(default_factory=dict)

    def pick(self, rng: Random, only: Sequence[str] = ()) -> Target:
        """One target by weight, among those whose name or sort is in `only`."""
        able = [t for t in self.all.values() if not only or {t.name, t.sort} & set(only)]
        return rng.choices(able, [t.weight for t in able])[0]


TARGETS = Registry()


def target(sort: str, weight: float = 1.0) -> Callable[..., Any]:
    """Decorator: make a function a target of "files", "tables" or "bundles"."""

    def add(run: Callable[[Case], TOLD | None]) -> Callable[[Case], TOLD | None]:
        name = run.__name__.replace("_", "-")
        TARGETS.all[name] = Target(name, sort, weight, run)
        return run

    return add


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


# -- files ----------------------------------------------------------------------------------------


@target("files", 3)
def assembly(case: Case) -> TOLD:
    """A machine's file, then written out plain."""
    path = case.file("m.yaml", case.made([TINY, TINY, TINY, SMALL, BLOCKS, PATTERNED], bad()))
    sort_of(path)
    found, problems = load(path)
    if found is not None and case.rng.random() < 0.3:
        plain_text(path)
    return problems


@target("files", 1.5)
def bad_assembly(case: Case) -> TOLD:
    """A file that is wrong already, mutated further."""
    return load(case.file("m.yaml", case.made(bad(), [SMALL])))[1]


@target("files", 0.1)
def demo_assembly(case: Case) -> TOLD:
    """A whole demo machine."""
    return load(case.file("m.yaml", case.made(real(), [SMALL])))[1]


@target("files", 0.7)
def pattern(case: Case) -> TOLD:
    """A pattern of one's own beside a file that uses it."""
    own = case.file("mine.pattern.yaml", case.made([MINE], [PATTERNED]))
    path = case.file("m.yaml", PATTERNED)
    return [*load(path)[1], *pattern_problems(own)]


@target("files", 0.6)
def boards(case: Case) -> TOLD:
    """A file of boards."""
    return load_rack(case.file("boards.yaml", case.made(racks()[1:] * 4 + racks()[:1])))[1]


@target("files", 0.8)
def console(case: Case) -> TOLD:
    """A console file, then what it makes of a line printed."""
    data = case.made([CONSOLE], racks())
    found, problems = consoles.load(case.file("console.yaml", data))
    if found is not None:
        lines = Lines(found.messages)
        lines.feed(case.rng.choice(PRINTS) + b"E5 A=" + b"A" * case.rng.choice([1, 80, 3000]))
        lines.close()
    return problems


@target("files", 1.5)
def pins(case: Case) -> TOLD:
    """The file of pins beside a machine."""
    from dataclasses import replace

    case.file("m.pins.yaml", case.made([PINS], [SMALL]))
    return load_pins(replace(bench(), file=case.folder / "m.yaml"))[1]


@target("files", 1)
def house_numbers(case: Case) -> TOLD:
    """In-house markings."""
    return read_house(case.file("house-numbers.yaml", case.made([HOUSE], [SMALL])))[1]


@target("files", 0.7)
def fault_script(case: Case) -> None:
    """A fault script."""
    load_faults(bench(), case.file("as-found.yaml", case.made([SCRIPT], [SMALL])))


@target("files", 0.8)
def edit_value(case: Case) -> None:
    """One entry changed, with the path or the value mutated."""
    path = case.file("m.yaml", SMALL if case.rng.random() < 0.5 else case.made([SMALL, TINY]))
    dotted = case.made([b"parts.R1.value", b"rails.P5.limits", b"parts.C1.made", b"notes"])
    value = case.made(TYPED)
    edit.set_value(path, dotted.decode("utf-8", "replace"), value.decode("utf-8", "replace"))


# -- tables and typed lines -----------------------------------------------------------------------


@target("tables", 4)
def memory_print(case: Case) -> TOLD:
    """What a memory test printed."""
    text = case.made(PRINTS).decode("utf-8", "replace")
    base = case.rng.choice(["hex", "octal", "decimal"])
    return read_log(text, base, codes(), "print")[1]  # type: ignore[arg-type]


@cache
def codes() -> Any:
    """Codes of the demo rack."""
    rack, problems = load_rack(ROOT / "examples/quillon16/boards.yaml")
    assert rack is not None, problems
    return rack.codes


@cache
def messages() -> Any:
    """Messages of the demo console."""
    found, problems = consoles.load(ROOT / "examples/quillon16/console.yaml")
    assert found is not None, problems
    return found.messages


@target("tables", 4)
def console_paste(case: Case) -> None:
    """A log pasted, in pieces."""
    data, lines = case.made(PRINTS), Lines(messages())
    k = case.rng.randint(0, len(data))
    for said in [*lines.feed(data[:k]), *lines.feed(data[k:]), *lines.close()]:
        said.as_dict()


@target("tables", 3)
def capture(case: Case) -> None:
    """A captured line or waveform as CSV."""
    path = case.file("scope.csv", case.made(CAPTURES))
    changes(*read_capture(path, case.rng.choice([1, 1, 1, 2, 7])))


@target("tables", 2)
def recorded_readings(case: Case) -> None:
    """Readings played back from a file."""
    meter = replay.ReplayMeter(str(case.file("r.txt", case.made(READINGS))), speed=0)
    meter.open()
    for _ in range(5):
        meter.read()


@target("tables", 2)
def wires(case: Case) -> TOLD:
    """A wire list within a console file."""
    pairs = case.made([b"3-3 7-7 2=3", b"3-2, 7-7", b"J3.3-T1.2"]).decode("utf-8", "replace")
    listed = json.dumps(pairs.split(case.rng.choice([" ", ","]))[:400])
    text = CONSOLE.decode().replace('["3-3", "7-7"]', listed)
    return consoles.load(case.file("console.yaml", text.encode("utf-8", "replace")))[1]


@target("tables", 1.5)
def stock(case: Case) -> None:
    """Resistors at hand, typed or as a file."""
    if case.rng.random() < 0.5:
        parse_stock(case.made([b"1R/50W*4,10R/25W*6"]).decode("utf-8", "replace"))
    else:
        parse_stock(str(case.file("stock.yaml", case.made([STOCK]))))


@target("tables", 3)
def quantities(case: Case) -> None:
    """A reading, value, range or tolerance as typed."""
    text = case.made(TYPED).decode("utf-8", "replace")
    unit = case.rng.choice(["V", "ohm", "F", "A", "s", "%", "1", "degC", "Hz", "W"])
    way = case.rng.choice([parse_reading, parse, parse_range, parse_tolerance])
    way(text, unit)  # type: ignore[operator]


@target("tables", 2)
def change_typed(case: Case) -> None:
    """What was done to a part, as typed."""
    parse_change(bench(), case.made(LINES).decode("utf-8", "replace"))


@target("tables", 1.5)
def journal_document(case: Case) -> None:
    """An exported journal read back: mutated as text, or in one of its values."""
    data = json.dumps(JOURNAL, indent=1).encode()
    if case.rng.random() < 0.5:
        data = case.made([data])
    else:
        document = json.loads(data)
        holder: Any = document
        while True:
            keys = list(holder) if isinstance(holder, dict) else list(range(len(holder)))
            key = case.rng.choice(keys)
            if not isinstance(holder[key], (dict, list)) or not holder[key]:
                break
            if case.rng.random() < 0.25:
                break
            holder = holder[key]
        holder[key] = case.rng.choice(
            [None, -1, 0, 1e400, "", "x", [], {}, True, 2**70, "\ud800", "../x", [1, 2], {"a": 1}]
        )
        data = json.dumps(document).encode()
    restore_journal(case.folder / "m.yaml", case.file("j.json", data))


# -- pools ----------------------------------------------------------------------------------------

OUTCOMES = {
    "halfsplit_outcomes": 1,
    "contributions": [
        {
            "id": f"{k:032x}",
            "turn": 1,
            "rows": [
                {
                    "of": "tantalum",
                    "age": "45 to 59",
                    "exposed": 9,
                    "failed": 2,
                    "modes": {"short": 1},
                },
                {"of": "resistor film", "age": "not told", "exposed": 30, "failed": k, "modes": {}},
            ],
        }
        for k in range(3)
    ],
}


@target("pools", 1)
def outcomes_file(case: Case) -> None:
    """A file of outcomes, read and pooled."""
    from halfsplit.bench.pool_file import merged, read_outcomes
    from halfsplit.bench.pools import pool_dict

    data = json.dumps(OUTCOMES, indent=1).encode()
    if case.rng.random() < 0.5:
        data = case.made([data])
    else:
        document: Any = json.loads(data)
        holder: Any = document["contributions"][case.rng.randrange(3)]
        while True:
            key = case.rng.choice([*holder] if isinstance(holder, dict) else [*range(len(holder))])
            if not isinstance(holder[key], (dict, list)) or not holder[key]:
                break
            holder = holder[key]
        holder[key] = case.rng.choice([None, -1, 0, 1, 5, 10**6, 1.5, "", "x", [], {}, True, 2**70])
        data = json.dumps(document).encode()
    read = read_outcomes(case.file("o.json", data))
    json.dumps(pool_dict(*merged([("o.json", read)])), allow_nan=False)


# -- bundles --------------------------------------------------------------------------------------

NAMES = [
    "../m.yaml", "/tmp/m.yaml", "..", "a/../../m.yaml", "C:\\m.yaml", "C:m.yaml",
    "\\\\host\\m.yaml", "CON.yaml",
    "aux", "lpt1.pins.yaml", "M.yaml", "m.yaml", "m.yaml ", "m.yaml.", ".m.yaml", "m\0.yaml",
    "m\n.yaml",
    "ｍ.yaml", "m\u0301.yaml", "\u202eyaml.m", "a" * 300 + ".yaml", "a/b/c.yaml",
    "m.pictures/x.jpg", "m.journal",
    "m.journal.json", "patterns/Mine.yaml", "patterns/con.yaml", "m.pictures", "bundle.json",
    "x.exe", "m.yml",
    "M.PICTURES/0123456789abcdef0123456789abcdef.png", "~/m.yaml", "$HOME.yaml", "m:stream.yaml",
    "",
]  # fmt: skip
MODES = [0o120777, 0o060644, 0o020644, 0o010644, 0o140644, 0o040755, 0o100644, 0o104755, 0]


@cache
def image(kind: str) -> bytes:
    """A small picture, with a place and a comment in it."""
    import io

    from PIL import Image

    out = io.BytesIO()
    picture = Image.radial_gradient("L").resize((24, 18)).convert("RGB")
    notes = Image.Exif()
    notes[0x010E] = "bench of somebody"
    picture.save(out, kind, exif=notes)
    return out.getvalue()


@cache
def contents() -> dict[str, bytes]:
    """Files of a good archive."""
    name = "0123456789abcdef0123456789abcdef"
    return {
        "m.yaml": SMALL,
        "m.pins.yaml": PINS.replace(
            b"0123456789abcdef0123456789abcdef.jpg", f"{name}.jpg".encode()
        ),
        f"m.pictures/{name}.jpg": image("JPEG"),
        f"m.pictures/{name[::-1]}.png": image("PNG"),
        "m.journal.json": json.dumps(JOURNAL).encode(),
        "house-numbers.yaml": HOUSE,
        "mine.pattern.yaml": MINE,
        "console.yaml": CONSOLE,
    }


def _wrong_content(case: Case, files: dict[str, bytes]) -> None:
    name = case.rng.choice(sorted(files))
    files[name] = case.rng.choice(
        [mutate(files[name], case.rng, list(files.values())), b"", b"\0" * 4000, b"MZ\x90\0",
         image("JPEG"),
         image("PNG"), b"GIF89a", b"<svg/>", b"SQLite format 3\0" + b"\0" * 84, b"[" * 5000,
         b"PK\x03\x04"]
    )  # fmt: skip


def _wrong_name(case: Case, files: dict[str, bytes]) -> None:
    name = case.rng.choice(sorted(files))
    new = case.rng.choice(NAMES)
    if case.rng.random() < 0.4:
        new = mutate(name.encode(), case.rng, []).decode("utf-8", "replace")[:400]
    files[new] = files[name] if case.rng.random() < 0.5 else files.pop(name)


def _zipped(case: Case, files: dict[str, bytes]) -> bytes:
    """An archive of these files, its manifest right or not, its entries ordinary or not."""
    import hashlib
    import io
    import warnings
    import zipfile

    rng = case.rng
    rows: list[Any] = [
        {"name": n, "sort": "machine", "bytes": len(d), "sha256": hashlib.sha256(d).hexdigest()}
        for n, d in files.items()
    ]
    head: Any = {"halfsplit_bundle": 1, "journal": "whole", "files": rows}
    way = rng.random()
    if way < 0.05:
        head = rng.choice([None, [], {}, {"halfsplit_bundle": 2}, {**head, "files": {}}, "x"])
    elif way < 0.1 and rows:
        rows[rng.randrange(len(rows))][rng.choice(["name", "sha256"])] = rng.choice(
            ["", None, 5, "../x"]
        )
    elif way < 0.13 and rows:
        rows.pop()
    listed = [("bundle.json", json.dumps(head).encode()), *files.items()]
    if rng.random() < 0.08:
        listed.append(rng.choice(listed))
    if rng.random() < 0.03:
        listed += [(f"x{k}.yaml", b"a: 1\n") for k in range(rng.choice([100, 600]))]
    if rng.random() < 0.05:
        listed.append(("big.yaml", b"\0" * rng.choice([100_000, 3_000_000])))
    out = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(out, "w") as made:
        warnings.simplefilter("ignore")  # of names given twice
        for name, data in listed:
            entry = zipfile.ZipInfo(name or "x")
            entry.filename = name
            entry.external_attr = (rng.choice(MODES) if rng.random() < 0.08 else 0o100644) << 16
            entry.compress_type = (
                rng.choice([0, 8, 8]) if rng.random() < 0.5 or len(data) > 50_000 else 0
            )
            made.writestr(entry, data)
    return out.getvalue()


def _broken_zip(case: Case, data: bytes) -> bytes:
    """Single fields of headers changed, or bytes anywhere, or pieces moved."""
    rng, out = case.rng, bytearray(data)
    for _ in range(rng.randint(1, 3)):
        way = rng.randrange(5)
        marks = [
            k for m in (b"PK\x01\x02", b"PK\x03\x04", b"PK\x05\x06") for k in _places(bytes(out), m)
        ]
        if way < 3 and marks:
            k = rng.choice(marks) + rng.randrange(46)
            for j in range(rng.choice([1, 2, 4])):
                if k + j < len(out):
                    out[k + j] = rng.choice([0, 1, 0xFF, rng.randrange(256)])
        elif way == 3:
            out = bytearray(mutate(bytes(out), rng, [data]))
        elif rng.random() < 0.5:
            out = bytearray(rng.randbytes(rng.randrange(1, 60))) + out
        else:
            out += rng.randbytes(rng.randrange(1, 60))
    return bytes(out)


def _places(data: bytes, mark: bytes) -> list[int]:
    found, at = [], data.find(mark)
    while at >= 0:
        found.append(at)
        at = data.find(mark, at + 1)
    return found


def _into(case: Case, data: bytes) -> TOLD:
    """Unpack within the case's folder, and hold what is there afterwards against what may be."""
    from halfsplit.bench.unpacking import unpack

    path = case.file("in.zip", data)
    other = case.file("other.txt", b"not to be touched")
    target = case.folder / "out"
    good = False
    try:
        found = unpack(path, target, with_errors=case.rng.random() < 0.3)
        good = True
    finally:
        left = {p.name for p in case.folder.iterdir()}
        assert left == {"in.zip", "other.txt"} | ({"out"} if good else set()), (
            f"left behind: {left}"
        )
        assert other.read_bytes() == b"not to be touched" and path.read_bytes() == data
        made = list(target.rglob("*")) if good else []
        assert not any(p.is_symlink() or not (p.is_file() or p.is_dir()) for p in made)
        assert all(len(p.relative_to(target).parts) <= 2 for p in made)
    return list(found.problems)


@target("bundles", 5)
def bundle_entries(case: Case) -> TOLD:
    """An archive with wrong contents, wrong names, or odd entries."""
    files = dict(contents())
    for name in case.rng.sample(sorted(files), case.rng.randint(0, 5)):
        files.pop(name)
    for _ in range(case.rng.choice([0, 1, 1, 1, 2])):
        if files:
            case.rng.choice([_wrong_content, _wrong_content, _wrong_name])(case, files)
    return _into(case, _zipped(case, files))


@target("bundles", 4)
def bundle_bytes(case: Case) -> TOLD:
    """A good archive with its bytes broken."""
    names = case.rng.sample(sorted(contents()), case.rng.randint(1, 4))
    files = {n: contents()[n] for n in {"m.yaml", *names}}
    return _into(case, _broken_zip(case, _zipped(case, files)))


@target("bundles", 1.5)
def bundle_journal(case: Case) -> TOLD:
    """A good machine with a journal of which one value is of another sort."""
    document = json.loads(json.dumps(JOURNAL))
    holder: Any = case.rng.choice(document["entries"])["body"]
    while True:
        key = case.rng.choice(
            list(holder) if isinstance(holder, dict) else list(range(len(holder)))
        )
        if not isinstance(holder[key], (dict, list)) or not holder[key] or case.rng.random() < 0.2:
            break
        holder = holder[key]
    holder[key] = case.rng.choice(
        [None, -1, 0, 1e308, "", "x", "p5", [], {}, True, 2**70, "../x", [1, 2], {"a": 1}, "R1"]
    )
    files = {"m.yaml": SMALL, "m.journal.json": json.dumps(document).encode()}
    return _into(case, _zipped(case, files))


@target("bundles", 0.5)
def packed_again(case: Case) -> TOLD:
    """Packing a folder in which anything may be wrong: nothing of it may come out but words."""
    from halfsplit.bench.packing import archive, gather

    folder = case.folder
    for name, data in contents().items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data if case.rng.random() < 0.6 else case.made([data]))
    found = gather([folder / "m.yaml", folder / "console.yaml"], journal="none")
    assert archive(found) == archive(found)
    return found.problems


def checked(told: TOLD | None) -> None:
    """Every problem can be shown as text and as JSON."""
    for problem in told or ():
        json.dumps(problem.as_dict()).encode()
        assert str(problem) and problem.line >= 0 and problem.column >= 0


def attempt(one: Target, case: Case) -> str:
    """Run a case: "taken", "told" (problems) or "refused" (one of our errors); else it raises."""
    try:
        told = one.run(case)
    except (HalfsplitError, QuantityError) as error:
        checked(getattr(error, "problems", None))
        assert str(error)
        return "refused"
    checked(told)
    return "told" if told else "taken"
