"""March tests: coverage by simulation against a table, and the traps in it.

The table: every single fault on four cells, from all initial states, as enumerated separately for
this project before this code was written; its pattern agrees up to March C- with A. J. van de Goor,
"Using march tests to test SRAMs", IEEE Design & Test of Computers 10(1), 1993 (from memory,
unconfirmed).
"""

from __future__ import annotations

import pytest

from halfsplit.boards.march import KINDS, TESTS, Kind, March, coverage, full, seconds, shortest

BY_NAME = {t.name: t for t in TESTS}
ALL = {"SAF": 8, "TF": 8, "AF": 72, "CFin": 24, "CFid": 48, "CFst": 48}
# Either-way elements run upward.
TABLE = {
    "zero-one scan": (8, 4, 24, 6, 6, 30),
    "MATS": (8, 4, 66, 12, 12, 36),
    "MATS+": (8, 4, 72, 18, 18, 36),
    "MATS++": (8, 8, 72, 18, 18, 36),
    "March X": (8, 8, 72, 24, 24, 36),
    "March Y": (8, 8, 72, 24, 24, 36),
    "March C-": (8, 8, 72, 24, 48, 48),
}


@pytest.mark.parametrize("name", TABLE)
def test_coverage_agrees_with_the_table(name: str) -> None:
    found = tuple(coverage(BY_NAME[name], k, "up") for k in KINDS)
    assert found == tuple((n, ALL[k]) for n, k in zip(TABLE[name], KINDS, strict=True))


# Lengths as named with the tests: van de Goor 1993 (from memory, unconfirmed).
@pytest.mark.parametrize(
    ("name", "length"),
    [("MATS+", 5), ("MATS++", 6), ("March X", 6), ("March Y", 8), ("March C-", 10),
     ("March A", 15), ("March B", 17)],
)  # fmt: skip
def test_lengths(name: str, length: int) -> None:
    assert BY_NAME[name].length == length


def test_an_element_that_may_go_either_way_promises_less() -> None:
    # First trap: with the direction left open, six address faults more escape MATS.
    assert coverage(BY_NAME["MATS"], "AF", "up") == (66, 72)
    assert coverage(BY_NAME["MATS"], "AF", "any") == (60, 72)
    assert coverage(BY_NAME["March C-"], "CFid", "any") == (48, 48)


def test_the_last_read_of_march_y_is_part_of_it() -> None:
    # Second trap: written without its last element it is 7N, not 8N.
    short = March("short", "*(w0) ^(r0,w1,r1) v(r1,w0,r0)")
    assert short.length == 7
    assert coverage(short, "CFin", "up")[0] < coverage(BY_NAME["March Y"], "CFin", "up")[0]


def test_finding_a_stuck_cell_is_not_finding_one_that_will_not_fall() -> None:
    # Third trap: MATS+ never reads after its last write.
    assert coverage(BY_NAME["MATS+"], "SAF") == (8, 8)
    assert coverage(BY_NAME["MATS+"], "TF") == (4, 8)


@pytest.mark.parametrize(
    ("wanted", "name"),
    [(("SAF", "AF"), "MATS+"), (("SAF", "TF", "AF"), "MATS++"), (("CFin",), "March X"),
     (KINDS, "March C-")],
)  # fmt: skip
def test_the_shortest_test_for_what_is_wanted(wanted: tuple[Kind, ...], name: str) -> None:
    assert shortest(wanted).name == name
    assert set(wanted) <= full(BY_NAME[name])


def test_running_time() -> None:
    assert seconds(BY_NAME["March C-"], 32768, 10e-6) == pytest.approx(3.2768)
