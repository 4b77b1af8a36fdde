"""The commands, and how an error becomes an exit code."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

from cyclopts import App, CycloptsError, Parameter
from cyclopts.validators import Number

from halfsplit import __version__
from halfsplit.cli import dead, show
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError, Problem, ProblemsError

app = App(
    name="halfsplit",
    version=__version__,
    suppress_keyboard_interrupt=False,  # run() says what is on disk and gives the exit code
    help="What this meter should read here, which faults still explain the readings, and what to "
    "check next.\n\nExit codes: 0 done; 1 the file or value has problems, all listed; 2 command "
    "not understood; 3 a named file, net or part does not exist; 4 not solved; 5 journal in use; "
    "130 stopped by Ctrl-C.",
)
Json = Annotated[bool, Parameter(name="--json", negative="", help="print JSON instead of text")]
Feed = Annotated[str | None, Parameter(help="feed the machine is powered by, as named in the file")]
Load = Annotated[str | None, Parameter(help="load named in the file, or p5=2R,p12=24R")]

Warm = Annotated[
    str | None, Parameter(help="time since switch-on: 10s, cold, or hot (as when not given)")
]


def emit(data: Any, as_json: bool, text: Any) -> int:
    """Print `data` as JSON or call `text` to print it for people."""
    if as_json:
        print(json.dumps(data, indent=2, ensure_ascii=False, default=str))
    else:
        text()
    return ExitCode.OK


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
        show.error("stopped; everything acknowledged is on disk")
        return ExitCode.INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()
        return ExitCode.OK


def _problems(problems: list[Problem], as_json: bool) -> None:
    if as_json:
        print(json.dumps({"problems": [p.as_dict() for p in problems]}, indent=2))
    else:
        show.problems(problems)


def session(file: Path) -> Any:
    """Open a machine with its journal; a long computation shows its progress."""
    from halfsplit.bench.session import Session

    show.first_run_note()
    return Session(file, progress=show.Patience())


@app.command
def check(file: Path, *, json: Json = False) -> int:
    """Check an assembly file: every problem with its line, what is wrong, and what to write."""
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


@app.command
def expect(
    file: Path,
    *names: str,
    load: Annotated[list[str] | None, Parameter(help="load; may be given more than once")] = None,
    feed: Feed = None,
    warm: Warm = None,
    all_loads: Annotated[bool, Parameter(negative="", help="every load of the file")] = False,
    faults: Annotated[Path | None, Parameter(help="fault script laid over the machine")] = None,
    json: Json = False,
) -> int:
    """What nets, rails or points should read if all is well, in the present condition or others."""
    from halfsplit.assembly.script import load_faults
    from halfsplit.bench.expect import expect as ask

    with session(file) as bench:
        loads: list[str | None] = [*bench.assembly.loads] if all_loads else [*(load or [])]
        conditions = [bench.condition_from(feed, name, warm) for name in loads or [None]]
        laid = load_faults(bench.assembly, faults) if faults else None
        lines = ask(bench, names, conditions, laid)
        title = f"With {faults}" if faults else "If all is well"
        emit([line.as_dict() for line in lines], json, lambda: show.expected(lines, title))
        unsolved = any(line.status.startswith("not solved") for line in lines)
        return ExitCode.UNSOLVED if unsolved else ExitCode.OK


@app.command
def read(
    file: Path,
    *readings: str,
    load: Load = None,
    feed: Feed = None,
    warm: Warm = None,
    ripple: Annotated[
        bool, Parameter(negative="", help="peak-to-peak ripple from a scope")
    ] = False,
    sure: Annotated[
        bool, Parameter(negative="", help="store even a reading far too large")
    ] = False,
    ohms: Annotated[bool, Parameter(negative="", help="resistance, machine off")] = False,
    diode: Annotated[bool, Parameter(negative="", help="diode test, machine off")] = False,
    meter: Annotated[str | None, Parameter(help="ohmmeter profile, such as ohms-1mA")] = None,
    json: Json = False,
) -> int:
    """Store what the meter showed: net=value, as many as you like, such as n12=-1.81 p5=6.93.

    Between two nets write p1:p12=0.41. Naming a load or feed also records that it was changed.
    With --ohms or --diode the first net has the red lead: n12:com=1.5, com:n12=OL.
    """
    driven = None
    if ohms or diode or meter:
        from halfsplit.bench.dead import find_ohmmeter

        driven = find_ohmmeter(meter, diode)
        if ripple or (ohms and driven.test == "diode"):
            either = "a reading is one of volts, --ripple, --ohms, --diode"
            raise ProblemsError([Problem("", 0, 0, "", either, "--ohms")])
    problems, stored, absent = [], [], 0
    with session(file) as bench:
        if not readings:
            raise ProblemsError([Problem("", 0, 0, "", "no reading was given", "n12=-12.04")])
        at = bench.condition_from(feed, load, warm)
        for item in readings:
            name, sign, value = item.partition("=")
            first, _, second = name.partition(":")
            try:
                if not sign or (":" in name and not second):
                    wrong = Problem("", 0, 0, item, "is no reading", "n12=-12.04")
                    raise ProblemsError([wrong])
                entry = bench.read(
                    first,
                    value,
                    against=second or None,
                    ripple=ripple,
                    ohmmeter=driven,
                    condition=at,
                    sure=sure,
                )
                stored.append(entry)
                if not json:
                    show.stored(entry, bench.assembly)
            except ProblemsError as error:
                problems += error.problems
            except HalfsplitError as error:
                absent += isinstance(error, NotFoundError)
                problems.append(Problem("", 0, 0, item, str(error)))
    if json:
        emit(
            {
                "stored": [e.as_dict() for e in stored],
                "problems": [p.as_dict() for p in problems],
            },
            True,
            None,
        )
    elif problems:
        show.problems(problems)
    if problems and absent == len(problems):
        return ExitCode.NOT_FOUND
    return ExitCode.PROBLEMS if problems else ExitCode.OK


@app.command
def observe(
    file: Path,
    text: str,
    *,
    part: Annotated[str | None, Parameter(help="part it concerns")] = None,
    touched: Annotated[
        bool, Parameter(negative="", help="an earlier repairer worked on this part")
    ] = False,
    good: Annotated[bool, Parameter(negative="", help="the part tested good")] = False,
    bad: Annotated[bool, Parameter(negative="", help="the part tested bad")] = False,
    json: Json = False,
) -> int:
    """Store something seen, heard or smelt, or that a part tested --good or --bad on its own.

    --touched raises suspicion of the part. A verdict weighs on the suspects at once.
    """
    with session(file) as bench:
        if good or bad:
            if good == bad or part is None or touched:
                wrong = "a verdict needs one part and one of --good, --bad"
                raise ProblemsError([Problem("", 0, 0, "", wrong, "--part F4 --good")])
            entry = bench.prove(part, good, text)
        else:
            entry = bench.observe(text, part, touched)
        return emit(entry.as_dict(), json, lambda: show.stored(entry, bench.assembly))


@app.command
def change(
    file: Path,
    *what: str,
    load: Load = None,
    feed: Feed = None,
    json: Json = False,
) -> int:
    """Store what was done: "R3 removed", "R12 lift a", "C4 fitted value=33u", "R3 put-back".

    Also "SW1 open"; and --load, --feed when those were changed.
    """
    from halfsplit.bench.hazards import before_touching

    with session(file) as bench:
        entries = []
        bench.condition_from(feed, load)  # a wrong name stops here, before anything is stored
        if what:
            entries.append(bench.change(" ".join(what)))
        if load is not None or feed is not None:
            entries.append(bench.set_condition(bench.condition_from(feed, load)))
        if not entries:
            raise ProblemsError([Problem("", 0, 0, "", "no change was named", '"R3 removed"')])
        now = bench.condition
        data = {"stored": [e.as_dict() for e in entries], "condition": now.as_dict()}
        mind = before_touching(bench.machine, now) if what else []
        data["before_touching"] = mind
        return emit(data, json, lambda: show.changed(entries, now, mind))


@app.command
def meter(
    file: Path,
    *,
    kind: Annotated[
        str | None, Parameter(help="shipped meter, such as digital, pointer-20k, scope-x10")
    ] = None,
    ohms: Annotated[str | None, Parameter(help="input resistance, such as 10M")] = None,
    accuracy: Annotated[str | None, Parameter(help="of reading, such as 0.5%%")] = None,
    counts: Annotated[float | None, Parameter(help="last digits of error")] = None,
    of_range: Annotated[str | None, Parameter(help="of full scale, for a pointer: 3%%")] = None,
    scale: Annotated[str | None, Parameter(help="full scale of its range, such as 25V")] = None,
    json: Json = False,
) -> int:
    """Say which meter is in use from now on."""
    with session(file) as bench:
        entry = bench.set_meter(ohms, accuracy, counts, of_range, scale, kind)
        return emit(entry.as_dict(), json, lambda: show.meter(bench.meter))


@app.command
def undo(file: Path, entry: int | None = None, *, json: Json = False) -> int:
    """Undo the last entry, or the one numbered; the journal keeps both."""
    with session(file) as bench:
        done = bench.undo(entry)
        return emit(done.as_dict(), json, lambda: show.undone(done))


@app.command
def suspects(
    file: Path,
    *,
    most: Annotated[int, Parameter(help="groups to list", validator=Number(gte=1))] = 6,
    json: Json = False,
) -> int:
    """Which faults still explain the readings, how likely each is, and why."""
    from halfsplit.bench.report import suspects_dict

    with session(file) as bench:
        groups = bench.suspects(most)
        return emit(suspects_dict(bench, groups), json, lambda: show.suspects(bench, groups))


@app.command(name="next")
def next_(file: Path, *, json: Json = False) -> int:
    """The one check to make next, and what each outcome would mean."""
    from halfsplit.bench.report import next_dict

    with session(file) as bench:
        advice = next_dict(bench)
        return emit(advice, json, lambda: show.advice(bench, advice))


@app.command
def resume(file: Path, *, json: Json = False) -> int:
    """Where you left off: condition, open items, last readings, suspects, next check."""
    from halfsplit.bench.report import resume_dict

    with session(file) as bench:
        data = resume_dict(bench)
        return emit(data, json, lambda: show.resumed(bench, data))


@app.command
def export(file: Path, *, json: Json = False) -> int:
    """The whole journal as text, or with --json as a document that can be read back."""
    with session(file) as bench:
        text = bench.journal.export_text()
        return emit(bench.journal.export_json(), json, lambda: print(text, end=""))


@app.command
def restore(file: Path, document: Path, *, json: Json = False) -> int:
    """Rebuild a lost or damaged journal from a document that export --json wrote."""
    from halfsplit.bench.recall import restore_journal

    count = restore_journal(file, document)
    return emit({"restored": count}, json, lambda: show.say(f"{count} entries restored"))


@app.command
def edit(file: Path, path: str, value: str, *, json: Json = False) -> int:
    """Change one entry of the file, comments kept: edit pt3.yaml parts.R6.value 2k0."""
    from halfsplit.assembly.edit import set_value

    old = set_value(file, path, value)
    data = {"path": path, "old": old, "new": value}
    return emit(data, json, lambda: show.say(f"{path}: {old or '(nothing)'} → {value}"))


@app.command
def schema(*, json: Json = False) -> int:
    """The JSON Schema of assembly files, for an editor to complete and check while you type."""
    from halfsplit.assembly.schema import assembly_schema

    del json  # the schema is JSON either way
    return emit(assembly_schema(), True, None)


@app.command
def demo(*, keep: Path | None = None, json: Json = False) -> int:
    """Run the main job on a demo machine: check, expect, read, suspects, next, resume."""
    from halfsplit.cli.demo import run_demo

    return run_demo(run, keep, as_json=json)


app.command(dead.ohms)
