"""Commands that put on disk what was read, seen and done at the bench."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter

from halfsplit.cli import show
from halfsplit.cli.common import NONE, Feed, Json, Limiters, Load, Warm, emit, session
from halfsplit.cli.instruments import From, Now, Seconds, Take, settled, wanted
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError, Problem, ProblemsError

ONE_OF = (
    "a reading is one of volts, --ac, --ripple, --frequency, --current, --temperature, --ohms, "
    "--diode"
)


def read(
    file: Path,
    *readings: str,
    load: Load = None,
    feed: Feed = None,
    warm: Warm = None,
    limiters: Limiters = NONE,
    ripple: Annotated[
        bool, Parameter(negative="", help="peak-to-peak ripple from a scope")
    ] = False,
    ac: Annotated[bool, Parameter(negative="", help="what the meter's AC range showed")] = False,
    frequency: Annotated[
        bool, Parameter(negative="", help="counted or from a scope: v5r=100Hz")
    ] = False,
    current: Annotated[
        bool, Parameter(negative="", help="through a meter in a part's place: F3=0.83A")
    ] = False,
    temperature: Annotated[
        bool, Parameter(negative="", help="of a part's case, warmed up: Q1=82degC")
    ] = False,
    sure: Annotated[
        bool, Parameter(negative="", help="store even a reading far too large")
    ] = False,
    ohms: Annotated[bool, Parameter(negative="", help="resistance, machine off")] = False,
    diode: Annotated[bool, Parameter(negative="", help="diode test, machine off")] = False,
    meter: Annotated[str | None, Parameter(help="ohmmeter profile, such as ohms-1mA")] = None,
    source: From = None,
    take: Take = False,
    now: Now = False,
    seconds: Seconds = 60.0,
    json: Json = False,
) -> int:
    """Store what the meter showed: net=value, as many as you like, such as n12=-1.81 p5=6.93.

    A net and its value may also be two words: n12 -1.81.
    Between two nets write p1:p12=0.41. Naming a load or feed also records that it was changed.
    With --from PLACE name one net without a value: it is taken from that meter once it stands
    still, and stored when you say so.
    With --ohms or --diode the first net has the red lead: n12:com=1.5, com:n12=OL.
    """
    driven = None
    if ripple + ac + frequency + current + temperature + max(ohms, diode) > 1 or (ohms and diode):
        raise ProblemsError([Problem("", 0, 0, "", ONE_OF, "one of them")])
    if ohms or diode or meter:
        from halfsplit.bench.dead import find_ohmmeter

        driven = find_ohmmeter(meter, diode)
        if ripple or ac or frequency or (ohms and driven.test == "diode"):
            raise ProblemsError([Problem("", 0, 0, "", ONE_OF, "--ohms")])
    from halfsplit.bench.doubts import doubt
    from halfsplit.bench.example import reading_example

    problems, stored, absent = [], [], 0
    doubts: list[str] = []
    with session(file) as bench:
        like = reading_example(bench.assembly)
        if not readings:
            raise ProblemsError([Problem("", 0, 0, "", "no reading was given", like)])
        at = bench.condition_from(feed, load, warm, **asdict(limiters))
        sent: dict[str, Any] | None = None
        if source is not None or take or now:
            kind = "ac" if ac else "frequency" if frequency else "amps" if current else "volts"
            kind = "ripple" if ripple else driven.test if driven else kind
            item, sent = _from_meter(bench, readings, source, kind, seconds, now)
            name, _, text = item.partition("=")
            if not wanted(text, sent, name, take, json):
                return emit({"read": text, "instrument": sent, "stored": []}, json, lambda: None)
            readings = (item,)
        for item in _paired(readings):
            name, sign, value = item.partition("=")
            first, _, second = name.partition(":")
            try:
                if not sign or " " in name or (":" in name and not second):
                    wrong = f"“{item}” is no reading"
                    raise ProblemsError([Problem("", 0, 0, "", wrong, like)])
                if current or temperature:
                    if current:
                        entry = bench.read_current(first, value, at, instrument=sent)
                    else:
                        entry = bench.read_temperature(first, value, at)
                    stored.append(entry)
                    if not json:
                        show.stored(entry, bench.assembly)
                    continue
                entry = bench.read(
                    first,
                    value,
                    against=second or None,
                    ripple=ripple,
                    ac=ac,
                    frequency=frequency,
                    ohmmeter=driven,
                    condition=at,
                    sure=sure,
                    instrument=sent,
                )
                stored.append(entry)
                doubts.append(doubt(bench.assembly, entry))
                if not json:
                    show.stored(entry, bench.assembly)
                    if doubts[-1]:
                        show.say(f"  {doubts[-1]}")
            except ProblemsError as error:
                problems += error.problems
            except HalfsplitError as error:
                absent += isinstance(error, NotFoundError)
                problems.append(Problem("", 0, 0, item, str(error)))
    if json:
        emit(
            {
                "stored": [e.as_dict() for e in stored],
                "doubts": [d for d in doubts if d],
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


def _paired(words: tuple[str, ...]) -> list[str]:
    """Each as net=value, a net and the value after it counted as one.

    Of two nets and a value none is stored: between them was meant, perhaps.
    """
    found: list[str] = []
    for word in words:
        alone = found and "=" not in found[-1] and "=" not in word
        value = word[:1] in "-+.\N{MINUS SIGN}" or word[:1].isdigit()
        if alone and (value or word.upper() in ("OL", "UNSTABLE")):
            found[-1] += f"={word}"
            if len(found) > 1 and "=" not in found[-2]:
                found[-2:] = [f"{found[-2]} {found[-1]}"]
        else:
            found.append(word)
    return found


def _from_meter(
    bench: Any, readings: tuple[str, ...], source: str | None, kind: str, seconds: float, now: bool
) -> tuple[str, dict[str, Any]]:
    """The one reading asked for as ``net=value``, taken from a meter, and where it came from."""
    wrong, instead = "", "read FILE p5 --from PLACE"
    if source is None:
        wrong = "--take and --now go with --from"
    elif len(readings) != 1 or "=" in readings[0]:
        wrong = "from a meter one reading is taken at a time, and its value is not typed"
    elif kind == "ripple":
        wrong, instead = "no meter here reads ripple from a scope", "p5=50mV --ripple"
    if wrong or source is None:
        raise ProblemsError([Problem("", 0, 0, "--from", wrong, instead)])
    name = readings[0]
    if kind == "amps":
        from halfsplit.assembly.condition import find_part

        find_part(bench.assembly, name)
    else:  # a slip of the finger is told before anybody holds probes for it
        for net in name.split(":"):
            bench.net(net)
    text, sent = settled(source, kind, seconds, now, name)
    return f"{name}={text}", sent


def observe(
    file: Path,
    text: str = "",
    *,
    part: Annotated[str | None, Parameter(help="part it concerns")] = None,
    touched: Annotated[
        bool, Parameter(negative="", help="an earlier repairer worked on this part")
    ] = False,
    sign: Annotated[
        str,
        Parameter(
            help="of a part: blown, burnt, hot, bulged, cracked, as-drawn, not-as-drawn; "
            "of a lamp or gas tube: lit, dim, dark; of a fan: turning, slow, stopped; "
            "of the machine: ticking, whine, hum, quiet"
        ),
    ] = "",
    found: Annotated[
        tuple[str, ...], Parameter(help="what it is marked where the drawing differs: value=6.8V")
    ] = (),
    good: Annotated[bool, Parameter(negative="", help="the part tested good")] = False,
    bad: Annotated[bool, Parameter(negative="", help="the part tested bad")] = False,
    json: Json = False,
) -> int:
    """Store something seen, heard or smelt, or that a part tested --good or --bad on its own.

    --touched raises suspicion of the part. A sign, a marking found and a verdict weigh on the
    suspects at once; without --part a sign is of the whole machine.
    """
    with session(file) as bench:
        if good or bad:
            if good == bad or part is None or touched:
                wrong = "a verdict needs one part and one of --good, --bad"
                raise ProblemsError([Problem("", 0, 0, "", wrong, "--part F4 --good")])
            entry = bench.prove(part, good, text)
        else:
            entry = bench.observe(text, part, touched, sign, found)
        return emit(entry.as_dict(), json, lambda: show.stored(entry, bench.assembly))


def change(
    file: Path,
    *what: str,
    load: Load = None,
    feed: Feed = None,
    limiters: Limiters = NONE,
    anyway: Annotated[
        str | None, Parameter(help="reason to turn a trimmer before references are proved")
    ] = None,
    json: Json = False,
) -> int:
    """Store what was done: "R3 removed", "R12 lift a", "C4 fitted value=33u", "R3 put-back".

    Also "SW1 open", and --load, --feed, --mains, --lamp, --ambient when those were changed.

    "RV1 set 40%" (of its track, from a to the wiper) is refused until the references are proved,
    unless --anyway says why; that reason is kept and shown by resume.
    """
    from halfsplit.bench import gating
    from halfsplit.bench.hazards import at_limiters, before_touching

    with session(file) as bench:
        entries = []
        asked: dict[str, Any] = {"feed": feed, "load": load, **asdict(limiters)}
        bench.condition_from(**asked)  # a wrong name stops here, before anything is stored
        turned = gating.moved(bench, " ".join(what)) if what else ""
        if turned:
            passed = gating.trimmer(bench, turned, anyway)
            entries += [passed] if passed else []
        elif anyway is not None:
            wrong = "only turning a trimmer is refused here"
            raise ProblemsError([Problem("", 0, 0, "anyway", wrong, "RV1 set 40%")])
        if what:
            entries.append(bench.change(" ".join(what)))
        if any(word is not None for word in asked.values()):
            entries.append(bench.set_condition(bench.condition_from(**asked)))
        if not entries:
            raise ProblemsError([Problem("", 0, 0, "", "no change was named", '"R3 removed"')])
        now = bench.condition
        data = {"stored": [e.as_dict() for e in entries], "condition": now.as_dict()}
        mind = before_touching(bench.machine, now, bench.discharged()) if what else []
        if turned:
            mind.append(f"{turned}: mark where it stood before; an insulated trimming tool")
        if limiters.mains is not None or limiters.lamp is not None:
            mind += at_limiters(bench.machine, now)
        data["before_touching"] = mind
        return emit(data, json, lambda: show.changed(entries, now, mind))


def meter(
    file: Path,
    *,
    kind: Annotated[
        str | None, Parameter(help="shipped meter, such as digital, pointer-20k, scope-x10")
    ] = None,
    ohms: Annotated[str | None, Parameter(help="input resistance, such as 10M")] = None,
    accuracy: Annotated[str | None, Parameter(help="of reading, such as 0.5%")] = None,
    counts: Annotated[float | None, Parameter(help="last digits of error")] = None,
    of_range: Annotated[str | None, Parameter(help="of full scale, for a pointer: 3%")] = None,
    scale: Annotated[str | None, Parameter(help="full scale of its range, such as 25V")] = None,
    json: Json = False,
) -> int:
    """Say which meter is in use from now on.

    Figures without --kind are those of a plain digital meter; --scale alone is another scale of
    the meter in use.
    """
    with session(file) as bench:
        entry = bench.set_meter(ohms, accuracy, counts, of_range, scale, kind)
        return emit(entry.as_dict(), json, lambda: show.meter(bench.meter))


def undo(file: Path, entry: int | None = None, *, json: Json = False) -> int:
    """Undo the last entry, or the one numbered; the journal keeps both."""
    from halfsplit.bench.opening import journal_of
    from halfsplit.bench.undone import still_with_it
    from halfsplit.bench.words import entry_words, plain_words

    beside = journal_of(file)
    if beside is not None:
        with beside as journal:
            undoing = journal.undo(entry)
            before = journal.undoing()
            words = plain_words(before) if before is not None else ""
            return emit(undoing.as_dict(), json, lambda: show.undone(undoing, words))
    with session(file) as bench:
        done = bench.undo(entry)
        taken = bench.journal.undoing()
        words = entry_words(bench.assembly, taken) if taken is not None else ""
        data = done.as_dict() | {"still_with_it": still_with_it(bench, taken)}
        return emit(data, json, lambda: show.undone(done, words, data["still_with_it"]))
