"""The commands, and how an error becomes an exit code."""

from __future__ import annotations

import json
import sys

from cyclopts import App, CycloptsError

from halfsplit import __version__
from halfsplit.cli import (
    boards,
    capacitors,
    compare,
    dead,
    drill,
    energy,
    files,
    instruments,
    loading,
    outcomes,
    part,
    patterns,
    picture,
    proofread,
    reading,
    reasoning,
    report,
    serial,
    share,
    show,
    table,
    web,
    weights,
    wire,
)
from halfsplit.problems import ExitCode, HalfsplitError, Problem, ProblemsError

app = App(
    name="halfsplit",
    version=__version__,
    suppress_keyboard_interrupt=False,  # run() says what is on disk and gives the exit code
    help="What this meter should read here, which faults still explain the readings, and what to "
    "check next.\n\nExit codes: 0 done; 1 the file or value has problems, all listed; 2 command "
    "not understood; 3 a named file, net or part does not exist; 4 not solved; 5 journal in use; "
    "130 stopped by Ctrl-C.",
)


def run(argv: list[str]) -> int:
    """Parse and run; a foreseen error prints its words and gives its code, never a traceback."""
    as_json = "--json" in argv
    try:
        result = app(argv, exit_on_error=False, print_error=False, result_action="return_value")
        return int(result or 0)
    except CycloptsError as error:
        if as_json:
            print(json.dumps({"error": str(error), "code": int(ExitCode.USAGE)}))
        else:
            show.error(f"{error}  (halfsplit --help lists the commands)")
        return ExitCode.USAGE
    except ProblemsError as error:
        _problems(error.problems, as_json)
        return ExitCode.PROBLEMS
    except HalfsplitError as error:
        if as_json:
            print(json.dumps({"error": str(error), "code": int(error.exit_code)}))
        else:
            show.error(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        if show.Patience.shown:
            show.Patience.shown.stop()
        show.error("stopped; everything acknowledged is on disk, and the next run resumes from it")
        return ExitCode.INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()
        return ExitCode.OK


def _problems(problems: list[Problem], as_json: bool) -> None:
    if as_json:
        print(json.dumps({"problems": [p.as_dict() for p in problems]}, indent=2))
    else:
        show.problems(problems)


for command in (
    files.new,
    files.check,
    proofread.proofread,
    files.edit,
    files.schema,
    patterns.patterns,
    patterns.plain,
    table.table,
    table.fill,
    files.export,
    files.restore,
    files.demo,
    share.pack,
    share.unpack,
    reading.read,
    reading.observe,
    reading.change,
    reading.meter,
    instruments.instruments,
    reading.undo,
    reasoning.expect,
    reasoning.suspects,
    reasoning.trail,
    weights.weights,
    outcomes.outcomes,
    outcomes.pool,
    reasoning.resume,
    dead.ohms,
    drill.drill,
    loading.load,
    loading.protect,
    capacitors.reform,
    capacitors.discharge,
    energy.power,
    energy.leans,
    energy.gate,
    energy.card,
    energy.plan,
    part.part,
    wire.wire,
    serial.line,
    serial.console,
    boards.boards,
    boards.settings,
    boards.memory,
    picture.picture,
    compare.compare,
    report.report,
    web.app,
):
    app.command(command)
app.command(reasoning.next_, name="next")
