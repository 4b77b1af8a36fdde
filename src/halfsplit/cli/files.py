"""Commands about the file and the journal themselves, and the demo."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit, session
from halfsplit.problems import ExitCode, ProblemsError

if TYPE_CHECKING:
    from halfsplit.journal import Journal


def check(file: Path, *, json: Json = False) -> int:
    """Check a file of any sort: every problem with its line, what is wrong, and what to write."""
    from halfsplit.bench.opening import check_file

    show.first_run_note()
    found = check_file(file)
    errors = [p for p in found if p.severity == "error"]
    code = ExitCode.PROBLEMS if errors else ExitCode.OK
    if found and "no such file" in found[0].wrong:
        code = ExitCode.NOT_FOUND
    if json:
        emit({"file": str(file), "problems": [p.as_dict() for p in found]}, True, None)
    else:
        show.checked(file, found)
    return code


def new(file: Path, name: str | None = None, *, common: str = "com", json: Json = False) -> int:
    """Begin the file of a new machine: its name, its common net, room for parts."""
    from halfsplit.assembly.new_file import new_file

    new_file(file, name or file.stem, common)
    words = f"{file} is there; type it in with `halfsplit app`, in an editor, or as a table"
    return emit({"written": str(file)}, json, lambda: show.say(words))


def edit(file: Path, path: str, value: str, *, json: Json = False) -> int:
    """Change one entry of the file, comments kept: edit pt3.yaml parts.R6.value 2k0."""
    from halfsplit.assembly.edit import set_value
    from halfsplit.boards.which import misplaced

    elsewhere = misplaced(file, "assembly")
    if elsewhere:
        raise ProblemsError(elsewhere)
    old = set_value(file, path, value)
    data = {"path": path, "old": old, "new": value}
    return emit(data, json, lambda: show.say(f"{path}: {old or '(nothing)'} → {value}"))


def schema(
    sort: Literal["assembly", "boards", "console"] = "assembly", *, json: Json = False
) -> int:
    """The JSON Schema of a sort of file, for an editor to complete and check while you type."""
    from halfsplit.assembly.schema import assembly_schema
    from halfsplit.boards.schema import boards_schema, console_schema

    del json  # the schema is JSON either way
    made = {"assembly": assembly_schema, "boards": boards_schema, "console": console_schema}
    return emit(made[sort](), True, None)


def export(file: Path, *, json: Json = False) -> int:
    """The whole journal as text, or with --json as a document that can be read back."""
    from halfsplit.bench.opening import journal_of

    beside = journal_of(file)
    if beside is not None:
        with beside as journal:
            return _exported(journal, json)
    with session(file) as bench:
        return _exported(bench.journal, json)


def _exported(journal: Journal, json: bool) -> int:
    text = journal.export_text()
    return emit(journal.export_json(), json, lambda: print(text, end=""))


def restore(file: Path, document: Path, *, json: Json = False) -> int:
    """Rebuild a lost or damaged journal from a document that export --json wrote."""
    from halfsplit.bench.recall import restore_journal

    count = restore_journal(file, document)
    return emit({"restored": count}, json, lambda: show.say(f"{count} entries restored"))


def demo(*, keep: Path | None = None, json: Json = False) -> int:
    """Run the main job on a demo machine: check, expect, read, suspects, next, resume."""
    from halfsplit.cli.app import run
    from halfsplit.cli.demo import run_demo

    return run_demo(run, keep, as_json=json)
