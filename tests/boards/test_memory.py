"""From printed words to the chip, line or rail; then a slice of the simulated boards."""

from __future__ import annotations

import numpy as np
import pytest
from proofs.memory_ranking import memory_of

from halfsplit.boards.memory import Ranking, address_first, rank
from halfsplit.boards.memory_log import Log, read_log
from halfsplit.boards.memory_words import advise, told
from halfsplit.boards.model import Rack
from halfsplit.boards.organisation import Memory
from halfsplit.parts import catalogue
from tests.boards.faultmaps import MIXTURE, NARROW, WIDE, Fault, draw, printed


@pytest.fixture(scope="module")
def memory(rack: Rack) -> Memory:
    """Organisation of the demo's memory board."""
    found = rack.boards["ML32"].memory
    assert found is not None
    return found


def _rank(rack: Rack, memory: Memory, text: str) -> tuple[Log, Ranking]:
    log, problems = read_log(text, "hex", rack.codes)
    assert problems == []
    return log, rank(memory, log, 0, 0x7FFF)


# Design notes of the demo (invented), "expected prints for chip logic"; the fourth is derived from
# the organisation alone: written 55, read 51 all over 4000-7FFF is bank 1, bit 2.
@pytest.mark.parametrize(
    ("text", "first", "where"),
    [
        ("E5 A=5A3C W=0020 R=0000", ("chip", "1", "5"), "U35"),
        ("E5 A=1A3C W=0020 R=0000", ("chip", "0", "5"), "U15"),
        ("E6 A=.... X=0408", ("line", "3"), "MA3"),
        (
            "\n".join(f"{a:04X} 0055 0051" for a in range(0x4000, 0x8000, 257)),
            ("chip", "1", "2"),
            "U32",
        ),
        ("E6 A=0010 X=0010\nE6 A=0800 X=0800", ("line", "4"), "MA4"),
        (
            "E5 A=5A3C W=0020 R=0000\nE5 A=1A3C W=0020 R=0000",
            ("data", "5"),
            "data line of bit 5",
        ),
    ],
)
def test_the_prints_of_the_design_notes(
    rack: Rack, memory: Memory, text: str, first: tuple[str, ...], where: str
) -> None:
    _, found = _rank(rack, memory, text)
    assert found.causes[0].key == first
    assert told(memory, found.causes[0]).where[0] == where


def test_every_bit_of_one_bank_is_its_select(rack: Rack, memory: Memory) -> None:
    rng = np.random.default_rng(1)
    lines = [f"{a:04X} 0000 {rng.integers(1, 65536):04X}" for a in range(0x4000, 0x8000, 64)]
    _, found = _rank(rack, memory, "\n".join(lines))
    assert found.causes[0].key == ("bank", "1")
    assert told(memory, found.causes[0]).where == ("RAS1",)


def test_a_line_names_its_driver_and_resistor_element(rack: Rack, memory: Memory) -> None:
    _, found = _rank(rack, memory, "E6 A=.... X=0408")
    assert told(memory, found.causes[0]).where == ("MA3", "driver U5", "resistor RN1 element 3")


def test_a_row_is_all_addresses_with_the_same_low_bits(rack: Rack, memory: Memory) -> None:
    lines = [f"{0x4000 + 0x2C + 128 * k:04X} FFFF FFF7" for k in range(128)]
    _, found = _rank(rack, memory, "\n".join(lines))
    top = found.causes[0]
    assert (top.key, top.form, top.row) == (("chip", "1", "3"), "row", 0x2C)


def test_the_board_is_built_of_three_supply_16k_chips(rack: Rack, memory: Memory) -> None:
    """The 4116 as its maker has it: 16 384 words of 1 bit in 128 rows and 128 columns, A0-A6 taken
    with the row strobe and A7-A13 with the column strobe, and its pins. Source: TMS4116 data sheet
    as transcribed by a computer museum (museo8bits); 128 refresh rows from memory, unconfirmed.
    """
    pins = {
        "1": "-5 V", "2": "data in", "3": "write", "4": "row strobe", "5": "A0", "6": "A2",
        "7": "A1", "8": "+12 V", "9": "+5 V", "10": "A5", "11": "A4", "12": "A3", "13": "A6",
        "14": "data out", "15": "column strobe", "16": "common",
    }  # fmt: skip
    row = catalogue.load().get("4116")
    assert row is not None
    told_pins = str(row.fields["pinout"]).removeprefix("top view: ").split(", ")
    assert dict(p.split(" ", 1) for p in told_pins) == pins
    assert memory.words == 128 * 128 == 16384
    assert memory.refresh is not None and memory.refresh.rows == 128
    carried = [memory.line_bits(k) for k in range(memory.lines.count)]
    assert [a for a, _ in carried] == list(range(7))
    assert [b for _, b in carried] == list(range(7, 14))
    six = memory.model_copy(update={"lines": memory.lines.model_copy(update={"count": 6})})
    assert six.amiss() == [
        ("6 lines, used twice, reach 4096 words, not 16384",
         "the lines at one chip, or multiplexed: false")
    ]  # fmt: skip
    assert rack.interlocks["substrate"].rail == "P12"  # -5 V first on (from memory, unconfirmed)
    assert rack.interlocks["substrate"].needs == "N5"


def test_address_before_data_is_advised_and_why(rack: Rack, memory: Memory) -> None:
    log, found = _rank(rack, memory, "E5 A=5A3C W=0020 R=0000")
    assert "address line dead" in address_first(log)
    assert advise(memory, log, found).words[0] == address_first(log)
    march = advise(memory, log, found).march
    assert march is not None
    assert march.name == "MATS+"
    log, found = _rank(rack, memory, "M1 OK\nE5 A=5A3C W=0020 R=0000")
    assert address_first(log) == ""


def test_with_a_dead_line_and_a_dead_chip_the_line_comes_first(rack: Rack, memory: Memory) -> None:
    log, found = _rank(rack, memory, "E6 A=.... X=0408\nE5 A=5A3C W=0020 R=0000")
    assert found.causes[0].key == ("line", "3")
    assert "change no chip" in advise(memory, log, found).words[0]


def test_failing_warm_and_not_cold_is_a_chip_that_does_not_hold(rack: Rack, memory: Memory) -> None:
    rng = np.random.default_rng(4)
    lines = [f"{a:04X} FFFF FFDF" for a in sorted(rng.integers(0x4000, 0x8000, 12))]
    text = ["address test: ok", "cold", "data test: ok", "warm", "data test", *lines]
    _, found = _rank(rack, memory, "\n".join(text))
    assert (found.causes[0].key, found.causes[0].form) == (("chip", "1", "5"), "weak")
    assert "cells that do not hold" in told(memory, found.causes[0]).name


def test_a_second_fault_is_ranked_from_what_the_first_leaves(rack: Rack, memory: Memory) -> None:
    lines = ["address test ok"]
    lines += [f"{a:04X} FFFF FFDF" for a in range(0x4000, 0x8000, 16)]
    lines += [f"{a:04X} FFFF FBFF" for a in range(0x0000, 0x4000, 256)]
    _, found = _rank(rack, memory, "\n".join(lines))
    assert found.causes[0].key == ("chip", "1", "5")
    assert found.second[0].key == ("chip", "0", "10")


def test_swapped_banks_swap_the_chip(rack: Rack, memory: Memory) -> None:
    log, _ = read_log("E5 A=5A3C W=0020 R=0000", "hex", rack.codes)
    assert rank(memory, log, 0, 0x7FFF, swapped=True).causes[0].key == ("chip", "0", "5")


def test_a_pass_of_everything_is_told_as_such(rack: Rack, memory: Memory) -> None:
    log, found = _rank(rack, memory, "LO 0000 HI 7FFF\nM1 OK\nM2 OK\nM4 OK")
    assert found.clear
    march = advise(memory, log, found).march
    assert march is not None
    assert march.name == "March C-"


def test_one_line_for_all_tests_passed_counts_as_all(rack: Rack, memory: Memory) -> None:
    log, found = _rank(rack, memory, "LO 0000 HI 7FFF\nM1 M2 M3 M4 OK")
    assert found.clear and [r.kind for r in log.runs] == ["address", "data", "pause"]
    assert address_first(log) == ""
    # What failed before it stays failed.
    _, found = _rank(rack, memory, "E5 A=5A3C W=0020 R=0000\nM1 M2 M3 M4 OK")
    assert not found.clear


def test_a_test_that_goes_round_is_no_more_failures(rack: Rack, memory: Memory) -> None:
    """Every word of bank 1 three times over: none in bank 0 still clears the data line."""
    once = [f"E5 A={a:04X} W=FFFF R=FFDF" for a in range(0x4000, 0x8000)]
    _, found = _rank(rack, memory, "LO 0000 HI 7FFF\nM1 OK\n" + "\n".join(once * 3))
    assert found.causes[0].key == ("chip", "1", "5")
    assert found.causes[0].share > 0.99


def test_one_bank_needs_no_bank_bit() -> None:
    bare = {"words": "4K", "data": 1, "table": {0: ["U1"]}, "lines": {"count": 6}}
    one = Memory.model_validate({"banks": 1, **bare})
    assert one.bank_from == 12 and one.bank(0o7777) == 0


def test_lines_that_are_no_numbers_are_told_with_their_line() -> None:
    log, problems = read_log("58 0 1\n59 0 1\nhello there", "octal")
    assert [(p.line, p.wrong.partition(":")[0]) for p in problems] == [(1, "“58”"), (2, "“59”")]
    assert log.unused == ("hello there",)


def test_an_address_outside_the_board_is_left_out_and_told(rack: Rack, memory: Memory) -> None:
    _, found = _rank(rack, memory, "9000 0000 0001\n5A3C 0020 0000")
    assert found.outside == (0x9000,)
    assert found.causes[0].of == 1


# -- simulated boards ----------------------------------------------------------------------------


def test_the_simulated_board_without_its_fault_prints_nothing() -> None:
    healthy = Fault("chip row", ("none",), "stuck", {"bank": 0, "bit": 0, "row": 9999, "column": 0,
                                                     "line": 0, "value": 0})  # fmt: skip
    for shape in (WIDE, NARROW):
        assert printed(shape, healthy, np.random.default_rng(3))[0] == ""


def test_generator_and_ranker_share_no_code() -> None:
    import ast
    from pathlib import Path

    from tests.boards import faultmaps

    tree = ast.parse(Path(faultmaps.__file__).read_text(encoding="utf-8"))
    names = [n.module or "" for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)]
    names += [a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names]
    assert not [n for n in names if n.startswith("halfsplit")]


def test_right_cause_first_on_a_slice_of_the_simulated_boards() -> None:
    """All 2,000 in proofs/memory_ranking.py; here 40, the figure told when it falls short."""
    right, wrong = 0, []
    for k in range(40):
        shape = (NARROW, WIDE)[k % 4 == 0]
        rng = np.random.default_rng([2024, k])
        text = ""
        while not text:
            fault = draw(rng, shape)
            text, _ = printed(shape, fault, rng)
        log, problems = read_log(text, "hex")
        assert problems == []
        first = rank(memory_of(shape), log, 0, shape.size - 1).causes[0].key
        right += first == fault.key
        if first != fault.key:
            wrong.append((k, fault.kind, fault.key, first))
    assert right >= 38, f"{right} of 40 right; wrong: {wrong}"
    assert len(MIXTURE) == 16
