"""The command that holds a typed file against itself and names the likeliest typing errors."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter
from cyclopts.validators import Number
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError

if TYPE_CHECKING:
    from halfsplit.bench.proofread import Explanation, Proof

SHOWN = 8  # disagreements and changes told in full


def proofread(
    file: Path,
    *,
    fix: Annotated[
        int | None,
        Parameter(
            help="make the edit of this explanation, counted from 1", validator=Number(gte=1)
        ),
    ] = None,
    json: Json = False,
) -> int:
    """Hold a typed file against its own limits, printed volts and ratings; name likely slips.

    At a terminal a digit makes that edit and any other key leaves the file alone; --fix N does it
    without asking. Only the file is changed, never its journal. Exit code 1 when something
    disagrees, 0 when nothing does or the edit was made.
    """
    from halfsplit.bench.proofread import proofread as held_against_itself
    from halfsplit.bench.proofread import undo_slip
    from halfsplit.boards.which import misplaced
    from halfsplit.problems import ProblemsError

    elsewhere = misplaced(file, "assembly") if file.is_file() else []
    if elsewhere:
        raise ProblemsError(elsewhere)
    show.first_run_note()
    found = held_against_itself(file, show.Patience("solving what may have been typed"))
    data: dict[str, Any] = found.as_dict()
    if fix is None and not json and found.explanations:
        _told(found)
        fix = _asked(found.explanations)
    elif fix is None and not json:
        _told(found)
    if fix is None:
        return emit(data, json, lambda: None) or _code(found)
    chosen = _chosen(found, fix)
    lines = undo_slip(file, chosen)
    data["fixed"] = {
        "place": chosen.place,
        "lines": [dict(zip(("line", "was", "now"), line, strict=True)) for line in lines],
    }
    return emit(data, json, lambda: _changed(file, lines))


def _code(found: Proof) -> int:
    return ExitCode.PROBLEMS if found.disagreements else ExitCode.OK


def _chosen(found: Proof, number: int) -> Explanation:
    if number > len(found.explanations):
        there = len(found.explanations)
        raise NotFoundError(
            f"there is no explanation {number}: "
            + (f"they are counted from 1 to {there}" if there else "nothing needs one")
        )
    chosen = found.explanations[number - 1]
    if not chosen.edits:
        wrong = f"{chosen.words}: only the drawing can tell what to write there"
        raise HalfsplitError(f"{wrong}; halfsplit edit changes one entry")
    return chosen


def _told(found: Proof) -> None:
    if not found.disagreements:
        show.say(f"{found.file}: nothing disagrees with itself, of {found.claims} things it says")
        for text in found.unchecked:
            show.say(f"not checked: {text}")
        return
    table = Table(title="What the file says and the solved circuit does not keep")
    table.title_justify = "left"
    for head in ("line", "it says", "state", "solved"):
        table.add_column(head)
    for said in found.disagreements[:SHOWN]:
        table.add_row(str(said.line or ""), *map(escape, (said.says, said.state, said.gives)))
    show.out.print(table)
    if len(found.disagreements) > SHOWN:
        show.say(f"and {len(found.disagreements) - SHOWN} more")
    if not found.explanations:
        show.say("no single slip of the keyboard explains it")
        return
    show.say("Likeliest slips, to be looked up on the drawing:")
    for i, one in enumerate(found.explanations):
        where = f"line {one.line}: " if one.line else ""
        left = f"; {one.left} would still disagree" if one.left else "; then nothing disagrees"
        show.say(f"  {i + 1}  {one.weight:5.1%}  {where}{one.words}{left}")
        if i == 0:
            for says, state, gives, then, _ in one.changes[:SHOWN]:
                if then and gives != then:
                    show.say(f"       {says}{f' ({state})' if state else ''}: {gives} → {then}")
    show.say(f"     {found.unexplained:5.1%}  something else, or more than one slip")


def _asked(found: Sequence[Explanation]) -> int | None:
    """The explanation chosen by a key; None where nobody is there to press one."""
    able = [i + 1 for i, e in enumerate(found[:9]) if e.edits]
    if not able or not (sys.stdin.isatty() and sys.stdout.isatty()):
        if able:
            show.say("--fix N makes the edit of explanation N.")
        return None
    keys = ", ".join(map(str, able))
    key = _key(f"Press {keys} to make that edit, any other key to leave the file alone.")
    return int(key) if key.isdigit() and int(key) in able else None


def _key(question: str) -> str:
    """One key, without Enter where the terminal allows it."""
    try:
        import termios
        import tty
    except ImportError:  # a system without such terminals: a line then
        show.say(question)
        return input().strip()[:1]
    here = sys.stdin.fileno()
    before = termios.tcgetattr(here)
    try:
        # Empties what was typed while nobody asked, so before the question: a key after it counts.
        tty.setcbreak(here)
        show.say(question)
        return sys.stdin.read(1)
    finally:
        termios.tcsetattr(here, termios.TCSADRAIN, before)


def _changed(file: Path, lines: Sequence[tuple[int, str, str]]) -> None:
    for number, was, now in lines:
        show.say(f"{file}:{number}")
        if was:
            show.say(f"  - {was.strip()}")
        show.say(f"  + {now.strip()}")
    show.say("Run it again: a second slip may show once the first is gone.")
