"""The command that tells two versions of a file apart."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter
from rich.markup import escape

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.cli.picture import write

if TYPE_CHECKING:
    from halfsplit.assembly.differences import Differences

MOST_TEXT = 4_000_000  # characters of an earlier version taken from standard input


def compare(
    before: Annotated[
        Path,
        Parameter(allow_leading_hyphen=True, help="earlier version; - reads its text from stdin"),
    ],
    after: Annotated[Path, Parameter(help="later version")],
    *,
    block: Annotated[
        tuple[str, ...], Parameter(help="block, rail or use of a pattern to draw; may be repeated")
    ] = (),
    svg: Annotated[Path | None, Parameter(help="write a drawing with the marks here")] = None,
    json: Json = False,
) -> int:
    """What differs between two versions of a file: parts, values, terminals, rails, loads.

    Comments, order, spelling of values and patterns against plain parts do not count.
    """
    from halfsplit.bench.versions import versions

    if str(before) == "-":
        both = versions(after, text=sys.stdin.read(MOST_TEXT))
    else:
        both = versions(after, before=before)
    told = both.told()
    data: dict[str, Any] = {
        "before": str(before),
        "after": str(after),
        "differences": [d.as_dict() for d in told.found],
    }
    if svg is not None:
        write(svg, both.drawn(block, standalone=True))
        data["file"] = str(svg)
    return emit(data, json, lambda: _said(told, data))


def _said(told: Differences, data: dict[str, Any]) -> None:
    if not told.found:
        show.say("Nothing differs but the text.")
    for d in told.found:
        lead = f"{d.part}: " if d.part else ""
        show.out.print(f"  [bold]{d.what:8}[/bold] {escape(lead + d.words)}")
    if "file" in data:
        show.say(f"Drawn into {data['file']}")
