"""What every command shares: options, printing as text or JSON, and opening a machine."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter

from halfsplit.cli import show
from halfsplit.problems import ExitCode, ProblemsError

Json = Annotated[bool, Parameter(name="--json", negative="", help="print JSON instead of text")]
Feed = Annotated[str | None, Parameter(help="feed the machine is powered by, as named in the file")]
Load = Annotated[str | None, Parameter(help="load named in the file, or p5=2R,p12=24R")]

Warm = Annotated[
    str | None, Parameter(help="time since switch-on: 10s, cold, or hot (as when not given)")
]

Mains = Annotated[str | None, Parameter(help="mains as a share of nominal, by a variac: 90%")]
Lamp = Annotated[str | None, Parameter(help="lamp in series with the mains: 60W, or none")]
Ambient = Annotated[str | None, Parameter(help="air temperature, such as 35degC")]


@Parameter(name="*")
@dataclass(frozen=True)
class Limiters:
    """What stands between the wall and the machine, and the air around it."""

    mains: Mains = None
    lamp: Lamp = None
    ambient: Ambient = None


NONE = Limiters()


def emit(data: Any, as_json: bool, text: Any) -> int:
    """Print `data` as JSON or call `text` to print it for people."""
    if as_json:
        print(json.dumps(data, indent=2, ensure_ascii=False, default=str))
    else:
        text()
    return ExitCode.OK


def session(file: Path, of_parts: str = "") -> Any:
    """Open a machine with its journal; a long computation shows its progress.

    `of_parts` says what only parts can tell: a file of blocks is refused then.
    """
    from halfsplit.bench.blocks import only_of_parts
    from halfsplit.bench.session import Session

    show.first_run_note()
    bench = Session(file, progress=show.Patience())
    if of_parts:
        try:
            only_of_parts(bench.assembly, of_parts)
        except ProblemsError:
            bench.journal.close()
            raise
    return bench
