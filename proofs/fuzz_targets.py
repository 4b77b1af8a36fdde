"""What proofs/fuzz.py throws mutated input at. A further target is one function with @target.

A target gets a case: a seeded generator, a folder of its own to write in, and `made`, which gives a
seed mutated. It returns the problems it was told, or raises one of the project's own errors; any
other exception is a finding.
"""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from proofs.fuzz_registry import TOLD, Case, target
from proofs.fuzz_seeds import (
    BLOCKS,
    CAPTURES,
    CONSOLE,
    HOUSE,
    JOURNAL,
    LINES,
    MINE,
    PATTERNED,
    PINS,
    PRINTS,
    READINGS,
    ROOT,
    SCRIPT,
    SMALL,
    STOCK,
    TINY,
    TYPED,
    bad,
    bench,
    racks,
    real,
)

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
from halfsplit.quantity import parse, parse_range, parse_reading, parse_tolerance

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
