"""Commands about energy: what may be powered, what leans on what, what must be proved first."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter
from cyclopts.validators import Number
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import NONE, Feed, Json, Limiters, Load, emit, session
from halfsplit.problems import Problem, ProblemsError

Weight = Annotated[
    float,
    Parameter(help="look at suspects of at least this weight", validator=Number(gte=0, lte=1)),
]


def power(
    file: Path,
    *,
    feed: Feed = None,
    load: Load = None,
    limiters: Limiters = NONE,
    weight: Weight = 0.02,
    json: Json = False,
) -> int:
    """What would be hurt if power went on now, and the lightest energising that teaches something.

    Every part is held against its ratings, as healthy and under each suspect.
    """
    from halfsplit.bench.energy import power_dict

    with session(file, "what would be hurt") as bench:
        at = bench.condition_from(feed, load, **asdict(limiters))
        data = power_dict(bench, at, weight)
        return emit(data, json, lambda: _power(data, at.words()))


def _power(data: dict[str, Any], words: str) -> None:
    for line in data["cautions"]:
        show.out.print(f"[yellow]caution: {escape(line)}[/]")
    show.say(f"Condition: {words}")
    colour = "bold red" if data["objections"] else "bold"
    show.out.print(f"[{colour}]{escape(data['verdict'])}[/]")
    if data["findings"]:
        table = Table(title="Parts near or over a rating, worst first", title_justify="left")
        for head in ("times", "part", "what", "when"):
            table.add_column(head, justify="right" if head == "times" else "left")
        for f in data["findings"][:20]:
            when = f["under"] if f["weight"] == 1.0 else f"{f['under']} ({100 * f['weight']:.0f} %)"
            when += f", {f['when']}" if f["when"] else ""
            table.add_row(f"{f['ratio']:.2f}", f["part"], escape(f["words"]), escape(when))
        show.out.print(table)
    for line in data["rails"]:
        show.out.print(f"[bold red]{escape(line)}[/]")
    for story in data["fuses"][:6]:
        _fuse(story)
    if data["harder"]:
        show.say("Within its ratings, but far hotter than usual:")
    for h in data["harder"][:6]:
        show.say(f"  {h['words']}")
    for ref, near in data["beside"].items():
        show.say(f"  beside {ref}, which would run hot: look at {', '.join(near)} too")
    for line in [*data["ripple"], *data["starts"]]:
        show.say(f"  {line}")
    for i in data["inrush"][:6]:
        show.say(f"  {i['words']}")
    for name in data["unsolved"]:
        show.say(f"  not solved, so nothing is claimed: {name}")
    if data["damage"]:
        show.say(
            f"Chance that some part is hurt, over suspects of {100 * data['covered']:.0f} % weight "
            f"together: {min(100 * data['damage'], 99):.2g} %"
        )
    for k, p in enumerate(data["lightest"]):
        show.say(("Lightest that teaches: " if k == 0 else "  or ") + p["words"])


def _fuse(story: dict[str, Any]) -> None:
    """What a fuse does under one case: before it opens, after, or that it does not."""
    chance = "" if story["weight"] == 1.0 else f" ({100 * story['weight']:.0f} %)"
    show.out.print(f"[bold]{escape(story['under'])}{chance}:[/] {escape(story['words'])}")
    if story["until"]:
        show.say(f"  until then {story['until']}")
    if story["after"]:
        show.say(f"  after that {story['after']}")


def leans(file: Path, *, json: Json = False) -> int:
    """What each rail and signal leans on, found by experiment on the circuit, as a tree.

    A rail is proved only by readings in limits at a load, with all it leans on proved at that load.
    Correct the map in the file: leans: {tail: {of: P5, on: N12, why: R18 returns there}}.
    """
    from halfsplit.bench.gating import leans_dict

    with session(file) as bench:
        data = leans_dict(bench)
        return emit(data, json, lambda: _leans(data))


def _leans(data: dict[str, Any]) -> None:
    from halfsplit.quantity.volts import volts

    table = Table(title="What leans on what", title_justify="left")
    for head in ("this", "leans on", "how", "follows", "without it reads", "at load"):
        table.add_column(
            head, justify="right" if head in ("follows", "without it reads") else "left"
        )
    for e in data["edges"]:
        follows = "" if e["coupling"] < 0.01 else f"{100 * e['coupling']:.0f} %"
        without = "" if e["without"] != e["without"] else volts(e["without"])
        mark = "" if e["source"] == "circuit" else " (from the file)"
        row = (e["of"], e["on"], e["how"] + mark, follows, without, e["at"])
        table.add_row(*(escape(c) for c in row))
    show.out.print(table)
    for e in data["struck"]:
        show.say(f"  struck by the file: {e['of']} on {e['on']}: {e['source']}")
    for line in (line for tree in data["trees"].values() for line in tree):
        show.say(line)
    show.say("Bring up in this order: " + ", ".join(data["order"]))
    for p in data["proofs"]:
        if p["proved"]:
            entries = ", ".join(f"#{n}" for n in p["readings"])
            show.out.print(
                f"[green]{escape(p['label'])} proved at {escape(p['at'])} ({entries})[/]"
            )
        else:
            show.say(f"{p['label']} not proved: {'; '.join(p['missing'])}")
    for line in data["unsolved"]:
        show.say(f"  not solved, so an edge may be missing: {line}")


def gate(
    file: Path,
    *,
    override: Annotated[str | None, Parameter(help="gate to pass all the same, by name")] = None,
    why: Annotated[str, Parameter(help="the reason, kept and shown by resume")] = "",
    trip: Annotated[str | None, Parameter(help="measured over-voltage trip: P5=6.2V")] = None,
    disturbed: Annotated[
        str | None, Parameter(help="parts moved or heated in getting at another: R4,R5")
    ] = None,
    json: Json = False,
) -> int:
    """What is refused, why, and the proof that lifts it: power, trimmers, boards."""
    from halfsplit.bench import gating

    with session(file) as bench:
        if trip is not None:
            gating.trip(bench, trip)
        if disturbed is not None:
            gating.disturbed(bench, disturbed)
        if override is not None:
            gating.override(bench, override, why)
        data = gating.gate_dict(bench)
        return emit(data, json, lambda: _gate(data))


def _gate(data: dict[str, Any]) -> None:
    colours = {"open": "green", "overridden": "red", "refused": "yellow"}
    for g in data["gates"]:
        head = f"{g['name']} ({', '.join(g['subjects'])}): {g['state']}"
        show.out.print(f"[{colours[g['state']]}]{escape(head)}[/]")
        for line in g["refused"]:
            show.say(f"  {line}")
        if g["refused"]:
            show.say(f"  lifted by: {g['proof']}")
        if g["override"]:
            show.out.print(f"[red]  passed all the same: {escape(g['override'])}[/]")
    for subject, names in data["refused"].items():
        words = f"refused by {', '.join(names)}" if names else "no gate in the way"
        show.out.print(f"[bold]{subject}: {escape(words)}[/]")


def card(
    file: Path,
    part: str | None = None,
    *,
    try_: Annotated[
        list[str] | None,
        Parameter(name="--try", help='a part to judge: "type=1N1200A", "esr=5mohm"; repeatable'),
    ] = None,
    wire: Annotated[str | None, Parameter(help="a current a burnt lead carried: 6A")] = None,
    trace: Annotated[
        float | None, Parameter(help="width of a burnt trace, in mm", validator=Number(gt=0))
    ] = None,
    json: Json = False,
) -> int:
    """What a position demands of its part, and whether another would do, with reasons.

    Worked out from the circuit: volts, amperes, watts, speed, series resistance, gain, polarity,
    pins. With --wire or --trace: the wire for a burnt lead or trace, no part needed.
    """
    from halfsplit.bench.bringing import value
    from halfsplit.bringup.conductors import conductor_words, trace_words

    amps = value("wire", wire, "A")
    if amps is not None or trace is not None:
        carried, words = trace_words(trace) if trace is not None else (amps or 0.0, "")
        words = words or f"a lead that carried {conductor_words(carried)}"
        return emit({"amps": carried, "words": words}, json, lambda: show.say(words))
    if part is None:
        wrong = "no part was named"
        raise ProblemsError([Problem("", 0, 0, "card", wrong, "card FILE CR5, or --wire 6A")])
    from halfsplit.assembly.condition import find_part, parse_change
    from halfsplit.bringup.card import card as ask
    from halfsplit.bringup.judge import judge

    with session(file, "what a position demands") as bench:
        ref = find_part(bench.assembly, part).ref
        found = ask(bench.machine, ref)
        judged = []
        for text in try_ or []:
            drawn = bench.assembly.parts[ref]
            if drawn.KIND == "selenium" and text.startswith("type="):
                from halfsplit.assembly.condition import Change

                made = Change(ref, "fitted", "", (("type", text.partition("=")[2]),))
            else:
                made = parse_change(bench.assembly, f"{ref} fitted {text}")
            judged.append(judge(bench.machine, made).as_dict())
        data = found.as_dict() | {"judged": judged}
        return emit(data, json, lambda: _card(data))


def _card(data: dict[str, Any]) -> None:
    show.out.print(f"[bold]{escape(data['part'])}: {escape(data['label'])} demands[/]")
    for d in data["demands"]:
        show.say(f"  {d['name']}: {d['words']}")
    for words in data["unsolved"]:
        show.say(f"  not solved, so not in it: {words}")
    for j in data["judged"]:
        colour = "green" if j["accepted"] else "red"
        show.out.print(f"[{colour}]{escape(j['verdict'])}[/]")
        for aspect, words in j["cautions"]:
            show.out.print(f"[yellow]  {escape(aspect)}: {escape(words)}[/]")


def plan(
    file: Path,
    *,
    new: Annotated[
        bool, Parameter(negative="", help="work it out afresh and write it down")
    ] = False,
    done: Annotated[str | None, Parameter(help="step done that no reading can tick")] = None,
    note: Annotated[str, Parameter(help="what was seen at that step")] = "",
    at: Annotated[
        str | None, Parameter(help="note the machine as put into this step's feed and load")
    ] = None,
    anyway: Annotated[
        str | None, Parameter(help="pass what stands before the step, and why; it is kept")
    ] = None,
    json: Json = False,
) -> int:
    """The bring-up plan: written down before power, ticked by readings as they are entered.

    Each step has what to expect and where to stop. Print it as it stands; taken up again later it
    shows what was done.
    """
    from halfsplit.bench import planning

    with session(file, "what would be hurt") as bench:
        if new or (planning.written(bench) is None and done is None and at is None):
            planning.write(bench)
        if done is not None:
            planning.tick(bench, done, note, anyway)
        if at is not None:
            planning.begin(bench, at, anyway)
        data = planning.plan_dict(bench)
        lines = planning.page(data, bench.assembly.name, bench.assembly.file.name)
        return emit(data, json, lambda: show.say("\n".join(lines)))
