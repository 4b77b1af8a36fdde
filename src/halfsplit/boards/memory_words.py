"""What a ranked cause means on the board: positions, and how to make sure of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from halfsplit.boards.march import KINDS, TESTS, Kind, March, shortest
from halfsplit.boards.memory import Cause, Ranking, address_first
from halfsplit.boards.memory_log import Log
from halfsplit.boards.organisation import Memory

HANDLING = (
    "Power off and bled down before a board or a chip moves; wrist strap on, through 1 MΩ. "
    "Never pull a chip or a board under power."
)
# Above this share a cause may be acted upon; below, the next test comes first.
SURE = 0.8


@dataclass(frozen=True)
class Told:
    """A cause in words. `where`: board positions to look at, first first."""

    name: str
    where: tuple[str, ...]
    why: str
    confirm: str


def in_rows(causes: Sequence[Cause]) -> list[tuple[Cause, tuple[str, ...]]]:
    """Causes a row each, with the bits a row stands for.

    Counter bits behind the first cause that explain a print alike are one row: nothing in the
    print tells them apart, and one scope probe at the counter does.
    """
    found: list[tuple[Cause, tuple[str, ...]]] = []
    places: dict[int, int] = {}
    for number, cause in enumerate(causes):
        if cause.key[0] != "counter" or number == 0:
            found.append((cause, cause.key[1:]))
        elif cause.explains in places:
            at = places[cause.explains]
            first, bits = found[at]
            found[at] = replace(first, share=first.share + cause.share), (*bits, cause.key[1])
        else:
            places[cause.explains] = len(found)
            found.append((cause, cause.key[1:]))
    return found[:1] + sorted(found[1:], key=lambda row: -row[0].share)


def told(memory: Memory, cause: Cause, swapped: bool = False, bits: Sequence[str] = ()) -> Told:
    """A cause in the board's own names; `bits` are those its row stands for."""
    kind, *rest = cause.key
    if kind == "chip":
        return _chip(memory, cause, int(rest[0]), int(rest[1]))
    if kind == "data":
        bit = int(rest[0])
        buffer = memory.buffer_of(bit)
        where = tuple(
            w
            for w in (f"data line of {memory.bit_name(bit)}", f"buffer {buffer}" if buffer else "")
            if w
        )
        return Told(
            f"data {memory.bit_name(bit)}",
            where,
            "the same bit fails whichever bank answers, so it is no chip of one bank",
            f"scope the line on both sides of {buffer or 'its buffer'} while the test loops; "
            "power off, ohms to 0 V and to its neighbours",
        )
    if kind == "buffer":
        return Told(
            f"data buffer {rest[0]}",
            (f"buffer {rest[0]}",),
            "just the bits this buffer carries fail together, in every bank",
            f"its enable and direction inputs, then its own supply pin; then change {rest[0]}",
        )
    if kind == "bank":
        select = memory.selects[int(rest[0])] if int(rest[0]) < len(memory.selects) else ""
        return Told(
            f"select of bank {rest[0]}",
            (select or f"row strobe of bank {rest[0]}",),
            "every bit of one bank fails, and the other banks do not",
            f"scope {select or 'its row strobe'} at a chip of that bank against another "
            "bank's; then the rails at that bank's chips; chips last",
        )
    if kind == "common":
        rails = tuple(f"rail {r}" for r in memory.rails)
        return Told(
            "rail, write strobe or column strobe of the whole board",
            (*rails, "write enable", "column strobe"),
            "every bit of every bank fails",
            "measure each rail at a chip, the substrate rail first; then scope the strobes",
        )
    if kind in ("line", "lines"):
        return _line(memory, kind, rest[0])
    if kind == "bank bit":
        return Told(
            f"address bit {rest[0]} (bank select)",
            (f"address bit {rest[0]}", "bank decoder"),
            "addresses that differ only in this bit reach the same word",
            "follow this address bit from the edge to the bank decoder with the scope",
        )
    refresh = memory.refresh
    counter = refresh.counter if refresh and refresh.counter else "the refresh counter"
    point = f" at {refresh.point}" if refresh and refresh.point else ""
    if kind == "counter":
        return Told(
            f"refresh counter, bit {' or '.join(sorted(bits, key=int) or rest)}",
            (counter,),
            "words fade in the rows where this bit of the count has one value",
            f"scope each output of {counter}: each halves the one before",
        )
    if kind == "refresh":
        return Told(
            "refresh, or all chips too warm or slow",
            (counter,),
            "words fade all over the board after a pause",
            f"look for refresh strobes{point}; then repeat the pause test cold and warm",
        )
    return Told(
        "none of these",
        (),
        "no single cause fits what was printed",
        "repeat the test and compare: what differs from run to run is noise or a bad contact",
    )


def _chip(memory: Memory, cause: Cause, bank: int, bit: int) -> Told:
    chip = memory.chip(bank, bit)
    part = {
        "row": f", row {cause.row}" if cause.row is not None else "",
        "column": f", column {cause.column}" if cause.column is not None else "",
        "cell": ", one cell",
        "weak": ", cells that do not hold",
    }.get(cause.form, "")
    other = next((b for b in range(memory.banks) if b != bank), None)
    swap = (
        f"exchange {chip} once with {memory.chip(other, bit)}, the same bit of bank {other}: "
        "the fault should move to that bank"
        if other is not None
        else f"exchange {chip} once with a neighbour: the fault should move to its bit"
    )
    if cause.form == "weak":
        swap += "; freeze or warm it a little first and see whether the print changes"
    return Told(
        f"chip {chip} (bank {bank}, {memory.bit_name(bit)}{part})",
        (chip,),
        f"only {memory.bit_name(bit)} fails, and only in bank {bank}",
        swap + "; fit a socket",
    )


def _line(memory: Memory, kind: str, number: str) -> Told:
    lines = [int(n) for n in number.split("-")]
    names = " and ".join(memory.line_name(k) for k in lines)
    where = [memory.line_name(k) for k in lines]
    for k in lines:
        where += [w for w in memory.in_line(k) if w not in where]
    bits = [f"A{b}" for k in lines for b in memory.line_bits(k)]
    if kind == "line":
        element = memory.lines.resistor.replace("{k}", str(lines[0])) or "its series resistor"
        return Told(
            f"address line {names}",
            tuple(where),
            f"addresses that differ only in {' or '.join(bits)} reach the same word",
            f"scope {names} on both sides of {element}: alive before it and dead behind it "
            f"is {element}, dead before it is the driver; power off, {element} by ohms",
        )
    return Told(
        f"address lines {names} joined",
        tuple(where),
        f"addresses in {', '.join(bits)} run together as if the two lines were one",
        "power off, ohms between the two lines: a solder bridge or a bent pin",
    )


@dataclass(frozen=True)
class Advice:
    """What to do next. `march`: the test to run, or None when another thing comes first."""

    words: tuple[str, ...]
    march: March | None


def advise(memory: Memory, printed: Log, ranking: Ranking) -> Advice:
    """The next step after a print: which test, or which thing to look at, and why."""
    words: list[str] = []
    first = address_first(printed)
    if first:
        return Advice((first,), shortest(("SAF", "AF")))
    if not printed.runs:
        return Advice(("nothing in this print tells of a test",), shortest(("SAF", "AF")))
    if ranking.clear:
        kinds = {r.kind for r in printed.runs}
        if "data" not in kinds:
            words.append("Addresses are right: the data test may be believed now.")
            return Advice(tuple(words), shortest(("SAF", "TF", "AF")))
        words.append("Run one march test that also finds cells that disturb each other.")
        if "pause" not in kinds and memory.refresh is not None:
            words.append(
                "Then a pause test: write, wait 10 s with refresh on, read; cold and warm."
            )
        return Advice(tuple(words), shortest(KINDS))
    top = ranking.causes[0]
    if top.key[0] in ("line", "lines", "bank bit"):
        words.append(
            "Put the address path right first. Until then data prints lie: change no chip "
            "on their word."
        )
        return Advice(tuple(words), shortest(("SAF", "AF")))
    if top.share < SURE:
        words.append(
            "More than one cause fits. Print more of the failing words, or run the data "
            "test over both banks with 0, all ones and two complementary patterns."
        )
        return Advice(tuple(words), shortest(("SAF", "TF", "AF")))
    if top.form in ("weak", "refresh", "counter"):
        words.append("Repeat the pause test cold and warm before changing anything.")
        return Advice(tuple(words), None)
    words.append("After the repair: address test, data test, then a march test and a pause test.")
    return Advice(tuple(words), shortest(KINDS))


def march_rows() -> list[tuple[March, dict[Kind, tuple[int, int]]]]:
    """Every march test with the faults of each class it finds, of how many."""
    from halfsplit.boards.march import coverage

    return [(t, {k: coverage(t, k) for k in KINDS}) for t in TESTS]


def positions(told_causes: Sequence[Told]) -> list[str]:
    """Board positions of several causes, first first, each once."""
    return list(dict.fromkeys(w for t in told_causes for w in t.where))
