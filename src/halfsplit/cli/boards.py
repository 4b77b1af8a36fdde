"""Commands about boards: their order, their settings, and what a memory test printed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from halfsplit.cli import boards_show as told
from halfsplit.cli.common import Json, emit
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError, Problem, ProblemsError

# A print of a memory test beyond this is refused before it is read into memory.
LARGEST_PRINT = 100_000_000  # bytes


def boards(
    file: Path,
    *readings: str,
    fit: Annotated[str | None, Parameter(help="note that this board goes in now")] = None,
    out: Annotated[str | None, Parameter(help="note that this board came out")] = None,
    apply: Annotated[str | None, Parameter(help="note that this rail is applied now")] = None,
    withhold: Annotated[str | None, Parameter(help="note that this rail is off")] = None,
    anyway: Annotated[str | None, Parameter(help="go on unproved, and why; it is kept")] = None,
    undo: Annotated[bool, Parameter(negative="", help="undo the last entry of this rack")] = False,
    schema: Annotated[
        bool, Parameter(negative="", help="print the JSON Schema of files of boards")
    ] = False,
    json: Json = False,
) -> int:
    """Boards one at a time: order, dead ohms before, current and rails after, when to stop.

    Readings are BOARD.RAIL=VALUE with a unit: ML32.P5=20R dead at its edge, ML32.P5=5.02V at its
    slot, ML32.P5=0.86A added by it. A board or rail is refused until what it needs is proved.
    With nothing but FILE the whole sheet is printed; else what it says now, and what comes next.
    """
    if schema:
        from halfsplit.boards.schema import boards_schema

        return emit(boards_schema(), True, None)
    from halfsplit.bench.rack_sheets import order_sheet
    from halfsplit.bench.racks import RackBench

    with RackBench(file) as bench:
        undone = bench.undo() if undo else None
        read = bench.record_readings(list(readings))
        if withhold:
            bench.withhold(withhold)
        if out:
            bench.take_out(out)
        try:
            skipped = bench.fit(fit, anyway) if fit else []
            skipped += bench.apply(apply, anyway) if apply else []
        except HalfsplitError:  # what was read is stored, and what it says must be heard first
            if not json:
                told.judged(read)
            raise
        data = order_sheet(bench) | {"read": read, "skipped": skipped}
        if undone is not None:
            data["undone"] = undone.body["undoes"]
        short = bool(readings or fit or out or apply or withhold or undo)
        return emit(data, json, lambda: told.order(data, short=short))


def left_off(file: Path, json: bool) -> int:
    """Where the work on a rack stopped: boards in, what is owed, straps to move, last print."""
    from halfsplit.bench.rack_sheets import resume_sheet
    from halfsplit.bench.racks import RackBench

    with RackBench(file) as bench:
        data = resume_sheet(bench)
    return emit(data, json, lambda: told.resumed(data))


def settings(
    file: Path,
    *,
    found: Annotated[
        list[str] | None, Parameter(negative="", help="a strap as found: ML32.W1=out; repeatable")
    ] = None,
    moved: Annotated[
        list[str] | None, Parameter(negative="", help="a strap as put now: ML32.W1=in; repeatable")
    ] = None,
    want: Annotated[
        list[str] | None,
        Parameter(negative="", help="wanted: CP1.map=15-bit, memory=0000..7FFF; repeatable"),
    ] = None,
    code: Annotated[
        str | None, Parameter(help="which settings can be behind a message or lamps: E4")
    ] = None,
    svg: Annotated[Path | None, Parameter(help="folder to draw each board's straps into")] = None,
    json: Json = False,
) -> int:
    """Straps and switches: as found, as wanted, what to move, and what disagrees between boards."""
    from halfsplit.bench.rack_sheets import code_sheet, settings_sheet, settings_svg
    from halfsplit.bench.racks import RackBench

    with RackBench(file) as bench:
        if found:
            bench.record_straps(found, moved=False)
        if moved:
            bench.record_straps(moved, moved=True)
        if code is not None:
            answer = code_sheet(bench, code)
            return emit(answer, json, lambda: told.code(answer))
        data = settings_sheet(bench, want or [])
        if svg is not None:
            data["drawings"] = _draw(svg, settings_svg(bench, want or []))
        return emit(data, json, lambda: told.settings(data))


def _draw(folder: Path, drawings: dict[str, str]) -> list[str]:
    """Write one drawing a board. Raises ProblemsError when the folder cannot be written."""
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, drawing in drawings.items():
            path = folder / f"{name}.svg"
            path.write_text(drawing, encoding="utf-8")
            written.append(str(path))
    except (OSError, ValueError) as error:
        wrong = f"cannot be written: {getattr(error, 'strerror', None) or error}"
        raise ProblemsError([Problem(str(folder), 0, 0, "", wrong, "another folder")]) from None
    return written


def memory(
    file: Path,
    printed: Annotated[Path | None, Parameter(help="file with what the test printed")] = None,
    *,
    paste: Annotated[
        bool, Parameter(negative="", help="read what is pasted, to its end (Ctrl-D)")
    ] = False,
    line: Annotated[
        list[str] | None,
        Parameter(negative="", help='one printed line: "E5 A=5A3C W=0020 R=0000"; repeatable'),
    ] = None,
    board: Annotated[str | None, Parameter(help="memory board, when there are several")] = None,
    cut: Annotated[
        bool, Parameter(negative="", help="the test stopped, or printing did, before its end")
    ] = False,
    march: Annotated[
        bool, Parameter(negative="", help="list the march tests and what each finds")
    ] = False,
    json: Json = False,
) -> int:
    """From what a memory test printed to the chip, line or rail, and which test to run next.

    Lines are the machine's own messages, or address, written, read in three columns under a heading
    such as "address test" or "data test: ok".
    """
    from halfsplit.bench.rack_sheets import march_sheet, memory_sheet
    from halfsplit.bench.racks import RackBench

    if march:
        sheet = march_sheet()
        return emit(sheet, json, lambda: told.march(sheet))
    if printed is None and not line and not paste:
        raise HalfsplitError(
            'give a file with the print, --paste, or --line "…"; --march lists the tests'
        )
    text = "\n".join(line or [])
    if printed is not None:
        text = _print(printed) + ("\n" + text if text else "")
    if paste:
        text += ("\n" if text else "") + sys.stdin.read()
    where = "what was pasted" if printed is None else str(printed)
    with RackBench(file) as bench:
        data = memory_sheet(bench, text, board=board, where=where, cut=cut)
    emit(data, json, lambda: told.memory(data))
    return ExitCode.OK


def _print(path: Path) -> str:
    """The print in a file. Raises NotFoundError or ProblemsError."""
    try:
        if path.stat().st_size > LARGEST_PRINT:
            wrong = "this print is far too large"
            raise ProblemsError([Problem(str(path), 1, 1, "", wrong, "the failing lines only")])
        return path.read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        raise NotFoundError(f"{path}: there is no such file") from None
    except (OSError, ValueError) as error:
        wrong = f"cannot be read: {getattr(error, 'strerror', None) or error}"
        raise ProblemsError([Problem(str(path), 1, 1, "", wrong)]) from None
