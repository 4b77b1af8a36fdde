"""Using a pool of outcomes on a machine: named in its journal, with its numbers of that day."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from halfsplit.bench.bundle import hash_of
from halfsplit.bench.handed import own
from halfsplit.bench.pool_file import Contribution, merged, read_outcomes
from halfsplit.faults.pooling import (
    Pool,
    age_class,
    class_of,
    mode_of,
    shipped_shares,
    shipped_weights,
)
from halfsplit.journal import Entry
from halfsplit.parts.base import Part
from halfsplit.quantity import show


class Laid:
    """A pool as a journal has it: factors on weights and shares of this machine's parts.

    said: which pool, in words.
    """

    def __init__(self, entry: Entry) -> None:
        self.body = entry.body
        self.said = (
            f"weights are pooled with {entry.body['file']} ({entry.body['machines']} machines, "
            f"sha256 {entry.body['sha256'][:12]}…, entry #{entry.seq})"
        )

    def weigh(self, part: Part) -> tuple[float, str] | None:
        """Factor on a part's weight, and the words for it."""
        row = self.row(part)
        if row is None:
            return None
        age = f", {row['age']} years" if row["age"] else ""
        words = f"{row['failed']} bad of {row['exposed']} {row['of']}{age} in {self.body['file']}"
        return float(row["factor"]), f"× {row['factor']:.3g} by the field: {words}"

    def row(self, part: Part) -> dict[str, Any] | None:
        """What the pool has of a part's class, at its age if it has that."""
        name, year = class_of(part), int(self.body["year"])
        kinds = self.body["kinds"]
        found: dict[str, Any] | None = kinds.get(f"{name}, {age_class(part.made, year)}")
        return found or kinds.get(str(name))

    def share(self, part: Part, mode: str) -> float:
        """Factor on the share of a mode."""
        rows = self.body["modes"].get(str(class_of(part)), {})
        row = rows.get(mode_of(part, mode))
        return float(row["share"] / row["shipped"]) if row and row["shipped"] > 0 else 1.0


def laid_of(entries: Sequence[Entry]) -> Laid | None:
    """The pool in use by a journal; one that came with the machine is not."""
    for entry in reversed(own(entries)):
        if entry.kind == "pool":
            return Laid(entry) if entry.body["kinds"] else None
    return None


def take(bench: Any, path: Path, year: int) -> Entry:
    """Put the pool of a file in force on a machine: what it says of its kinds goes into the
    journal, so that the file may change or go and nothing here does.

    Raises NotFoundError or ProblemsError.
    """
    listed, _ = merged([(str(path), read_outcomes(path))])
    parts = list(bench.assembly.parts.values())
    pool = pool_of(listed, parts)
    mine = {class_of(p) for p in parts}
    kinds = {n: r.as_dict() for n, r in pool.classes.items() if n in mine}
    kinds |= {f"{of}, {age}": r.as_dict() for (of, age), r in pool.aged.items() if of in mine}
    modes: dict[str, dict[str, Any]] = {}
    for (of, mode), share in pool.shares.items():
        modes.setdefault(of, {})[mode] = share.as_dict()
    body = {"file": path.name, "sha256": hash_of(path.read_bytes()), "machines": len(listed)}
    entry: Entry = bench.note("pool", body | {"year": year, "kinds": kinds, "modes": modes})
    return entry


def drop(bench: Any) -> Entry:
    """Go back to the shipped weights."""
    none = {"file": "", "sha256": "", "machines": 0, "year": 0, "kinds": {}, "modes": {}}
    entry: Entry = bench.note("pool", none)
    return entry


def pool_of(listed: Sequence[Contribution], parts: Sequence[Part] = ()) -> Pool:
    """Counts of contributions over the shipped weights, with shares of the modes of `parts`."""
    return Pool([c.rows for c in listed], shipped_weights(), shipped_shares(parts))


def pool_dict(listed: Sequence[Contribution], again: Sequence[str]) -> dict[str, Any]:
    """What a pool says of every class it counted."""
    pool = pool_of(listed)
    shipped = shipped_weights()
    most: dict[str, int] = {}
    for c in listed:
        for r in c.rows:
            most[r.of] = max(most.get(r.of, 0), r.exposed)
    rows = []
    for row in [*pool.classes.values(), *(pool.aged[k] for k in sorted(pool.aged))]:
        weight = shipped[row.of]
        told = {"shipped_weight": weight, "pooled_weight": weight * row.factor}
        heavy = most[row.of] > 0.5 * row.exposed and len(listed) > 1 and not row.age
        rows.append(row.as_dict() | told | {"mostly_one_machine": heavy})
    rows.sort(key=lambda r: (r["of"], r["age"]))
    return {
        "machines": len(listed),
        "again": list(again),
        "spread": pool.spread,
        "classes": rows,
        "said": _spread_words(pool),
    }


def _spread_words(pool: Pool) -> str:
    if pool.spread < 0.01:
        return "machines differ by no more than chance"
    beyond = show(100.0 * pool.spread**0.5, "1", 2)
    return f"machines differ by some {beyond} % beyond chance, and counts weigh the less for it"
