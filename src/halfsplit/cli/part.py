"""The command that looks a part type up."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import show as quantity

Of = Annotated[
    Path | None,
    Parameter(name="--of", help="machine's file: in-house markings beside it count"),
]
Kind = Annotated[str | None, Parameter(help="list the types of one kind, such as npn or chip")]


def part(*types: str, of: Of = None, kind: Kind = None, json: Json = False) -> int:
    """Ratings, pins, model values and sources of a type; ``4116*16 74LS138*2`` adds up supplies.

    In-house markings are found by the house-numbers.yaml beside --of (or here), and the one in
    your configuration folder. Without a type: how many the catalogue has of each kind.
    """
    from halfsplit.parts.house import house_numbers

    house, problems = house_numbers(of.parent if of else Path())
    if of is not None and not of.exists():
        raise NotFoundError(f"there is no file {of}")
    if not types:
        data = _kind(kind) if kind else _counts()
        return emit(data, json, lambda: _told_counts(data, kind))
    asked = [_counted(text) for text in types]
    rows = [_look_up(name, house) for name, _ in asked]
    data = {"types": rows, "problems": [p.as_dict() for p in problems]}
    chips = [
        (row["type"], count or 1)
        for row, (_, count) in zip(rows, asked, strict=True)
        if row["kind"] == "chip"
    ]
    supplies = _supplies(chips)
    if supplies and (len(chips) > 1 or any(count for _, count in asked)):
        data["supplies"] = supplies
    return emit(data, json, lambda: _told(data, problems))


def _counted(text: str) -> tuple[str, int | None]:
    """Name and count of ``4116*16``."""
    name, star, count = text.rpartition("*")
    if not star:
        return text, None
    if not (name and count.isdecimal() and 0 < int(count) <= 5000):
        raise ProblemsError([Problem("", 0, 0, text, "is no type and count", "4116*16")])
    return name, int(count)


def _look_up(name: str, house: Any) -> dict[str, Any]:
    """One type as a dictionary. Raises NotFoundError when nobody knows the name."""
    from halfsplit.parts import catalogue

    known = catalogue.load()
    marking = None
    row = known.get(name)
    if row is None and (marking := house.get(catalogue.same(name))):
        row = known.get(marking.type)
    if row is None:
        close = known.nearest(name[:40])
        tail = f"; near: {', '.join(close)}" if close else ""
        raise NotFoundError(f"{name} is not in the catalogue{tail}")
    found: dict[str, Any] = {
        "asked": name,
        "type": row.type,
        "kind": row.kind,
        "also": list(row.also),
        "circuit": row.modelled,
        "fields": dict(row.fields),
        "sources": {
            key: {"status": s.status, "title": s.title, "edition": s.edition, "where": s.where}
            for key, s in ((k, known.sources[v]) for k, v in row.sources.items())
        },
    }
    if marking:
        found["marking"] = {
            "type": marking.type,
            "says": marking.says,
            "confidence": marking.confidence,
            "note": marking.note,
            "at": f"{marking.file}:{marking.line}",
        }
    return found


def _supplies(chips: list[tuple[str, int]]) -> list[dict[str, Any]]:
    from halfsplit.boards.chips import total

    counts: dict[str, int] = {}
    for name, count in chips:
        counts[name] = counts.get(name, 0) + count
    return [
        {"volts": volts, "standby": t.standby, "typical": t.typical, "most": t.most}
        for volts, t in sorted(total(counts).items(), reverse=True)
    ]


def _counts() -> dict[str, Any]:
    from halfsplit.parts import catalogue

    known = catalogue.load()
    kinds: dict[str, int] = {}
    status: dict[str, int] = dict.fromkeys(catalogue.STATUSES, 0)
    for row in known.rows.values():
        kinds[row.kind] = kinds.get(row.kind, 0) + 1
        for source in row.sources.values():
            status[known.sources[source].status] += 1
    return {
        "types": len(known.rows),
        "other_names": sum(len(row.also) for row in known.rows.values()),
        "kinds": dict(sorted(kinds.items())),
        "numbers": status,
    }


def _kind(kind: str) -> dict[str, Any]:
    from halfsplit.parts import catalogue

    found = [row.type for row in catalogue.load().rows.values() if row.kind == kind]
    if not found:
        known = ", ".join(catalogue.load().kinds())
        raise NotFoundError(f"no type is a {kind}; kinds: {known}")
    return {"kind": kind, "types": sorted(found)}


def _told_counts(data: dict[str, Any], kind: str | None) -> None:
    if kind:
        show.out.print(escape("  ".join(data["types"])))
        return
    table = Table(title=f"{data['types']} types, {data['other_names']} other names of them",
                  title_justify="left")  # fmt: skip
    for head in ("kind", "types"):
        table.add_column(head, justify="right" if head == "types" else "left")
    for name, count in data["kinds"].items():
        table.add_row(name, str(count))
    show.out.print(table)
    said = ", ".join(f"{count} {status}" for status, count in data["numbers"].items())
    show.say(f"Numbers by how they were looked up: {said}")


def _told(data: dict[str, Any], problems: list[Problem]) -> None:
    for row in data["types"]:
        if marking := row.get("marking"):
            show.say(
                f"{row['asked']} is a {row['type']}, says {marking['says']} "
                f"({marking['confidence']}; {marking['at']})"
            )
        also = f", also {', '.join(row['also'])}" if row["also"] else ""
        tail = "" if row["circuit"] else "; known by ratings and pins alone, no circuit of it"
        table = Table(
            title=escape(f"{row['type']}: {row['kind']}{also}{tail}"), title_justify="left"
        )
        for head in ("what", "value", "how known", "source"):
            table.add_column(head)
        for key, value in row["fields"].items():
            source = row["sources"][key]
            where = "" if source["status"] in ("memory", "practice") else f", {source['edition']}"
            table.add_row(
                key.replace("_", " "),
                escape(_shown(value)),
                source["status"],
                escape(source["title"] + where),
            )
        show.out.print(table)
    for supply in data.get("supplies", []):
        show.say(
            f"{quantity(supply['volts'], 'V')}: typical {quantity(supply['typical'], 'A')}, "
            f"most {quantity(supply['most'], 'A')}, "
            f"standing by {quantity(supply['standby'], 'A')}"
        )
    show.problems(problems)


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return "; ".join(f"{key} {_shown(inner)}" for key, inner in value.items())
    return str(value)
