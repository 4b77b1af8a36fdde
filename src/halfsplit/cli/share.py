"""Commands that hand a machine on, and take one in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from cyclopts import Parameter
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import ProblemsError

Part = Annotated[
    Literal["none", "without-notes", "whole"],
    Parameter(help="how much of each journal goes along; without-notes leaves out all you wrote"),
]
Errors = Annotated[
    bool, Parameter(negative="", help="also with errors that `halfsplit check` lists")
]


def pack(
    *files: Path,
    to: Annotated[Path | None, Parameter(help="archive to write; without it, only told")] = None,
    journal: Part = "none",
    pins: bool = True,
    pictures: bool = True,
    with_errors: Errors = False,
    json: Json = False,
) -> int:
    """What would go into one archive of a machine's files, to hand on; with --to it is written.

    Patterns and in-house markings they use go along, and pins and pictures of them. Pictures lose
    place, date and camera on the way, nothing else. Comments and notes in the files stay in them.
    """
    from halfsplit.bench.packing import gather, number, write

    if to is not None and journal != "none":
        number(files)
    found = gather(files, journal=journal, pins=pins, pictures=pictures)
    data = found.as_dict() | {"written": None}
    errors = [p for p in found.problems if p.severity == "error"]
    if errors and to is not None and not with_errors:
        raise ProblemsError(errors)
    if not json:
        _contents(data)
    if to is not None:
        size = write(found, to)
        data["written"] = {"file": str(to), "bytes": size}
    return emit(data, json, lambda: _packed(data))


def unpack(
    archive: Path,
    *,
    to: Annotated[Path | None, Parameter(help="new folder; the archive's name otherwise")] = None,
    with_errors: Errors = False,
    json: Json = False,
) -> int:
    """Check an archive somebody handed on, and unpack it into a new folder, or say what is wrong.

    Nothing is written elsewhere or over other files, and nothing is left when anything is wrong.
    What its journal says was proved, discharged or overridden was so on another bench: here it
    opens nothing.
    """
    from halfsplit.bench.unpacking import unpack as take_in

    target = Path(archive.name.partition(".")[0] or "machine") if to is None else to
    found = take_in(archive, target, with_errors=with_errors, heard=show.Patience("unpacking"))
    data = found.as_dict()
    return emit(data, json, lambda: _unpacked(data))


def _contents(data: dict[str, Any]) -> None:
    table = Table(title="Goes in", title_justify="left")
    for head in ("file", "what", "bytes", ""):
        table.add_column(head, justify="right" if head == "bytes" else "left")
    for row in data["files"]:
        table.add_row(escape(row["name"]), row["sort"], f"{row['bytes']:,}", escape(row["said"]))
    show.out.print(table)
    for words in data["stays"]:
        show.say(f"Stays here: {words}")
    if any(row["sort"] == "machine" for row in data["files"]):
        show.say("Notes and comments in the files go along as they are: read them over.")
    for problem in data["problems"]:
        show.say(f"{problem['file']}:{problem['line']}: {problem['wrong']}")


def _packed(data: dict[str, Any]) -> None:
    if data["written"]:
        written = data["written"]
        show.say(f"Written: {written['file']}, {written['bytes']:,} bytes")
    else:
        show.say("Nothing is written yet: --to FILE.zip")


def _unpacked(data: dict[str, Any]) -> None:
    show.say(f"Unpacked into {data['folder']}: {', '.join(data['files'])}")
    for words in data["notes"]:
        show.say(words)
    for file, count in data["entries"].items():
        show.say(
            f"The journal of {file} has {count} entries of another bench. Its readings weigh on "
            "the suspects; proofs, discharges, overrides and plans of it count for nothing here: "
            "measure again before you touch or power anything."
        )
    for problem in data["problems"]:
        show.say(f"{problem['file']}:{problem['line']}: {problem['wrong']}")
