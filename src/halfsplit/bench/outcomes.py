"""What was bad in a machine, as counts for others: kind, age and mode of parts, nothing else.

What is counted is what was seen: parts tested bad, and how they were bad where somebody said so.
What the program itself suspected is not, or its own weights would come back to it as field data.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from halfsplit.assembly.condition import find_part
from halfsplit.bench.noting import Noter
from halfsplit.bench.pool_file import FORMAT
from halfsplit.faults.pooling import UNTOLD, Row, age_class, class_of, mode_of
from halfsplit.problems import HalfsplitError, Problem, ProblemsError

# Parts of a class and age there must be before they are told: one selenium stack of 1962 could be
# recognised by somebody who knows the machine, three resistors could not. Left out by how many
# there were, never by how many were bad, so that rates stay right.
LEAST = 3


@dataclass(frozen=True)
class Outcomes:
    """Counts of one machine.

    Attributes
    ----------
    rows: what is told. held_back: classes with too few parts, with how many.
    bad: parts counted as bad, with how; "" where nobody noted that.
    undecided: parts left out because nobody knows: replaced untested, touched, not as drawn.
    """

    rows: tuple[Row, ...]
    held_back: tuple[tuple[str, int], ...]
    bad: dict[str, str]
    undecided: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "rows": [row_dict(r) for r in self.rows],
            "held_back": [{"of": of, "parts": n} for of, n in self.held_back],
            "bad": self.bad,
            "undecided": list(self.undecided),
        }


def row_dict(row: Row) -> dict[str, Any]:
    """A row as a file has it."""
    told = {"of": row.of, "age": row.age, "exposed": row.exposed, "failed": row.failed}
    return {**told, "modes": dict(sorted(row.modes.items()))}


def say_mode(bench: Noter, text: str) -> None:
    """Store how a part was bad, such as ``C4=short``.

    Raises ProblemsError unless the part was tested bad or replaced, or for a mode it has not.
    """
    name, _, mode = text.partition("=")
    part = find_part(bench.assembly, name.strip())
    modes = list(dict.fromkeys(mode_of(part, m.name) for m in part.modes()))
    wrong, instead = "", ""
    if mode.strip() not in modes:
        wrong, instead = (
            f"{part.ref}, kind {part.KIND}, is not bad in a way called “{mode.strip()}”",
            ", ".join(modes),
        )
    elif part.ref not in {*_tested_bad(bench), *bench.condition.fitted}:
        wrong = f"{part.ref} was neither tested bad nor replaced"
        instead = f"observe FILE --part {part.ref} --bad, first"
    if wrong:
        raise ProblemsError([Problem("", 0, 0, text, wrong, instead)])
    bench.note("outcome", {"part": part.ref, "mode": mode.strip()})


def _tested_bad(bench: Noter) -> set[str]:
    return {ref for ref, good in bench.proofs() if not good} - {
        ref for ref, good in dict(bench.proofs()).items() if good
    }


def count(bench: Noter, year: int, least: int = LEAST) -> Outcomes:
    """What can be counted of a machine that works again, in a year."""
    said = {e.body["part"]: e.body["mode"] for e in bench.entries if e.kind == "outcome"}
    bad = dict.fromkeys(sorted({*_tested_bad(bench), *said} & bench.assembly.parts.keys()), "")
    bad |= {ref: mode for ref, mode in said.items() if ref in bad}
    odd = {*bench.touched, *bench.found_values(), *(bench.condition.fitted - bad.keys())}
    cells: dict[tuple[str, str], list[Any]] = {}
    undecided = []
    for ref, part in bench.assembly.parts.items():
        of = class_of(part)
        if of is None:
            continue
        if ref in odd:
            undecided.append(ref)
            bad.pop(ref, None)
            continue
        cell = cells.setdefault((of, age_class(part.made, year)), [0, 0, {}])
        cell[0] += 1
        if ref in bad:
            cell[1] += 1
            known = {mode_of(part, m.name) for m in part.modes()}
            if bad[ref] in known:
                cell[2][bad[ref]] = cell[2].get(bad[ref], 0) + 1
    bad = {ref: mode for ref, mode in bad.items() if class_of(bench.assembly.parts[ref])}
    rows, held = _wide_enough(cells, least)
    return Outcomes(tuple(rows), tuple(held), bad, tuple(sorted(undecided)))


def _wide_enough(
    cells: dict[tuple[str, str], list[Any]], least: int
) -> tuple[list[Row], list[tuple[str, int]]]:
    """Rows of classes with enough parts: ages too thin are told without their age, classes too
    thin are not told."""
    joined: dict[tuple[str, str], list[Any]] = {}
    for (of, age), (exposed, failed, modes) in sorted(cells.items()):
        cell = joined.setdefault((of, age if exposed >= least else UNTOLD), [0, 0, {}])
        cell[0] += exposed
        cell[1] += failed
        for mode, n in modes.items():
            cell[2][mode] = cell[2].get(mode, 0) + n
    rows = [Row(of, age, *cell) for (of, age), cell in sorted(joined.items()) if cell[0] >= least]
    held = [(of, cell[0]) for (of, _), cell in sorted(joined.items()) if cell[0] < least]
    return rows, held


def export(bench: Noter, found: Outcomes, to: Path) -> dict[str, Any]:
    """Write the counts of a machine to a new file, under its own random number.

    The number is kept in the journal, so that the same machine told again, here or by whoever has
    the journal now, is known for the same and never counted twice; it says nothing else.
    Raises HalfsplitError when the file exists or cannot be written.
    """
    if to.exists():
        raise HalfsplitError(f"{to}: already exists; name another, or move it away")
    before = [e.body for e in bench.entries if e.kind == "outcomes"]
    mine = before[-1]["id"] if before else secrets.token_hex(16)
    turn = max((int(b["turn"]) for b in before), default=0) + 1
    told = {"id": mine, "turn": turn, "rows": [row_dict(r) for r in found.rows]}
    document = {"halfsplit_outcomes": FORMAT, "contributions": [told]}
    bench.note("outcomes", {"id": mine, "turn": turn})
    put_json(to, document)
    return told


def put_json(to: Path, document: dict[str, Any]) -> None:
    """Write a file of counts, whole or not at all. Raises HalfsplitError."""
    from halfsplit.bench.pictures_in import put_whole

    try:
        put_whole(to, (json.dumps(document, indent=1, sort_keys=True) + "\n").encode())
    except OSError as error:
        raise HalfsplitError(f"{to}: cannot be written: {error.strerror or error}") from error


def unsaid(found: Outcomes) -> Sequence[str]:
    """Parts counted as bad of which nobody said how."""
    return [ref for ref, mode in found.bad.items() if not mode]
