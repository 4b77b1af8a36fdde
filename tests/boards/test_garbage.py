"""Garbage: each cause, simulated, is named first from what it made of a text."""

from __future__ import annotations

import numpy as np
import pytest

from halfsplit.boards.framing import Format
from halfsplit.boards.garbage import (
    Cause,
    Ranked,
    causes,
    printable,
    rank,
    through,
    unescaped,
)
from halfsplit.problems import HalfsplitError

LINE = Format(8, rate=9600)
TEXT = "READY TO LOAD 12"
SURE = [c for c in causes(LINE) if not c.random]


def place(found: list[Ranked], cause: Cause) -> int:
    """Rank of a cause, from 1; those that show the same share a rank."""
    return next(k for k, r in enumerate(found, 1) if cause == r.cause or cause in r.same)


@pytest.mark.parametrize("cause", SURE, ids=[c.what for c in SURE])
def test_every_cause_is_first_when_it_is_at_work(cause: Cause) -> None:
    out = through(cause, TEXT.encode()).decode("latin-1")
    assert place(rank(TEXT, out, LINE), cause) == 1


# Of these nothing typed is known, and what comes out is too short or too odd to tell.
LOST = ("3 times slower", "4 times slower", "8 times slower", "16 times slower")


@pytest.mark.parametrize("cause", SURE, ids=[c.what for c in SURE])
def test_most_causes_are_first_from_what_appeared_alone(cause: Cause) -> None:
    out = through(cause, TEXT.encode()).decode("latin-1")
    first = place(rank(None, out, LINE), cause) == 1
    assert first or any(words in cause.what for words in LOST)


def test_demo_garbage_that_changes_is_a_floating_input() -> None:
    """The same key eight times, each time something else (drawn from a seeded random line)."""
    rng = np.random.default_rng(16)
    for _ in range(100):
        out = "".join(chr(b) for b in rng.integers(0, 256, 8))
        found = rank("AAAAAAAA", out, LINE)
        assert found[0].cause.kind == "floating" and found[0].share > 0.9


def test_a_weak_level_is_told_from_a_floating_input() -> None:
    rng = np.random.default_rng(17)
    right = 0
    for _ in range(200):
        flips = (rng.random((8, 8)) < 0.1) @ (1 << np.arange(8))
        out = "".join(chr(0x41 ^ int(f)) for f in flips)
        right += rank("AAAAAAAA", out, LINE)[0].cause.kind == "noise"
    print(f"noise named in {right} of 200")
    assert right >= 190


def test_wrong_side_and_inverted_show_the_same_and_the_cable_decides() -> None:
    out = "".join(chr(b) for b in through(next(c for c in SURE if c.inverted), b"HELLO"))
    found = rank("HELLO", out, LINE)
    kinds = {found[0].cause.kind, *(c.kind for c in found[0].same)}
    assert {"wrong-side", "inverted"} <= kinds
    told = rank("HELLO", out, LINE, weigh={"inverted": 10.0})
    assert told[0].cause.kind == "inverted"


def test_one_lost_and_one_wrong_character_do_not_hide_the_cause() -> None:
    cause = next(c for c in SURE if "2 times slower" in c.what and "1.5" not in c.what)
    out = bytearray(through(cause, TEXT.encode()))
    del out[3]
    out[7] ^= 0x10
    assert place(rank(TEXT, out.decode("latin-1"), LINE), cause) == 1


def test_even_parity_into_eight_bits_by_hand() -> None:
    """7E1 read as 8N1: a letter with an odd number of ones gets the top bit; C has three."""
    cause = next(c for c in SURE if c.what == "sender 7E1, receiver 8N1")
    assert through(cause, b"ABC") == bytes([0x41, 0x42, 0xC3])


def test_inverted_by_hand() -> None:
    """U alone, upside down: the line idles at space, its first fall is taken for a start bit."""
    sent = [0, 1, 0, 1, 0, 1, 0, 1, 0, 1]  # start, U from the lowest bit, stop
    line = [1 - b for b in sent] + [0] * 8
    fall = next(k for k in range(1, len(line)) if line[k - 1] == 1 and line[k] == 0)
    word = sum(b << k for k, b in enumerate(line[fall + 1 : fall + 9]))
    cause = next(c for c in SURE if c.kind == "inverted")
    assert through(cause, b"U")[0] == word == 0x55


def test_odd_characters_are_read_and_written() -> None:
    assert unescaped(r"A\x8d\r\n\\\q") == "A\x8d\r\n\\\\q"
    assert unescaped(printable(bytes(range(256)))).encode("latin-1") == bytes(range(256))


def test_nothing_appeared_is_not_garbage() -> None:
    with pytest.raises(HalfsplitError, match="handshake"):
        rank("HELLO", "", LINE)
    with pytest.raises(HalfsplitError, match="no byte of a serial line"):
        rank("HELLO", "→", LINE)


@pytest.mark.parametrize(
    ("typed", "appeared", "ones", "zeros"),
    [
        ("AAAA", "qqqq", 0x30, 0),  # 41 to 71 hexadecimal, each time: bits 4 and 5 at 1
        ("HELLO", "HAHHK", 0, 0x04),  # 45 to 41, 4C to 48, 4F to 4B: bit 2 at 0
        ("ABCDABCD", "CCCGCCCG", 0x02 | 0x01, 0),
    ],
)
def test_the_same_wrong_character_each_time_is_no_floating_input(
    typed: str, appeared: str, ones: int, zeros: int
) -> None:
    """What a line does changes from key to key; a bit that stands still does not. By hand."""
    first = rank(typed, appeared)[0]
    assert first.cause.kind == "stuck" and first.share > 0.9
    assert (first.cause.ones, first.cause.zeros) == (ones, zeros)
