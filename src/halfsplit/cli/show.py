"""Printing for people: tables that read aloud well, plain where there is no terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from halfsplit.bench.words import (
    healthy_words,
    noted_words,
    outcome_leaves,
    outcome_reads,
    reading_words,
    told,
)
from halfsplit.bench.words import percent as percent
from halfsplit.problems import Problem

if TYPE_CHECKING:
    from halfsplit.assembly.condition import Condition
    from halfsplit.assembly.model import Assembly
    from halfsplit.bench.session import Session
    from halfsplit.bench.trail import Step
    from halfsplit.diagnosis.evidence import Meter
    from halfsplit.diagnosis.explain import SuspectGroup
    from halfsplit.journal import Entry

out = Console(highlight=False, soft_wrap=True, emoji=False)
err = Console(stderr=True, highlight=False, soft_wrap=True, emoji=False)


def say(text: str) -> None:
    """One line of plain text."""
    out.print(escape(text))


def error(text: str) -> None:
    """One line to standard error."""
    err.print(f"[bold red]{escape(text)}[/]")


class Patience:
    """A progress bar with the time left, that appears only when work has gone on for a second."""

    shown: ClassVar[Patience | None] = None

    def __init__(self, what: str = "solving every fault in this condition") -> None:
        self._what = what
        self._start = time.monotonic()
        self._bar: Progress | None = None
        self._task: Any = None

    def __call__(self, done: int, total: int) -> None:
        # Into a file a bar would only leave empty lines.
        late = time.monotonic() - self._start > 1.0
        if self._bar is None and done < total and late and err.is_terminal:
            self._bar = Progress(
                TextColumn(self._what),
                BarColumn(),
                TextColumn("{task.completed}/{task.total}"),
                TimeRemainingColumn(),
                console=err,
                transient=True,
            )
            self._bar.start()
            Patience.shown = self
            self._task = self._bar.add_task("", total=total)
        if self._bar is not None:
            self._bar.update(self._task, completed=done)
            if done >= total:
                self.stop()
        if done >= total:
            self._start = time.monotonic()

    def about(self, what: str) -> Patience:
        """One for work of another kind that follows; this one's bar is taken off the screen."""
        self.stop()
        return Patience(what)

    def stop(self) -> None:
        """Take the bar off the screen, so that what is printed next stands on a clean line."""
        if self._bar is not None:
            self._bar.stop()
            self._bar = None
        Patience.shown = None


def first_run_note() -> None:
    """Say why a command takes a while that is the first to need a piece of the solver."""
    from halfsplit.circuit import when_compiling

    when_compiling(_compiling)


_compiling_said: list[bool] = []


def _compiling() -> None:
    # The minute is that of all pieces: one that is missing later in the run needs no other word.
    if not _compiling_said:
        _compiling_said.append(True)
        err.print("Compiling the solver for this computer, up to a minute, once.")


def problems(found: Sequence[Problem]) -> None:
    """Every problem, one a line, doubts marked as such."""
    for p in found:
        mark = "[yellow]doubt[/] " if p.severity == "doubt" else "[red]error[/] "
        out.print(mark + escape(str(p)))


def checked(file: Path, found: Sequence[Problem]) -> None:
    """Outcome of a check."""
    problems(found)
    errors = sum(p.severity == "error" for p in found)
    doubts = len(found) - errors
    if errors:
        more = f", {doubts} to look at again" if doubts else ""
        say(f"{file}: {errors} to put right{more}")
    else:
        doubted = (
            f"{_count(doubts, 'thing')} that may be mistyped" if doubts else "no problem found"
        )
        say(f"{file}: {doubted}")


def stored(entry: Entry, assembly: Assembly) -> None:
    """An entry just put on disk, read back."""
    words = reading_words(assembly, entry.body) if entry.kind == "read" else noted_words(entry.body)
    say(f"stored #{entry.seq}: {words}")


def changed(entries: Sequence[Entry], now: Condition, mind: Sequence[str]) -> None:
    """A change just put on disk, and what to mind at it."""
    say(f"stored #{entries[-1].seq}: now {now.words()}")
    cautions(mind)


def cautions(lines: Sequence[str]) -> None:
    """What to mind, each on its own line."""
    for line in lines:
        out.print(f"  [yellow]caution: {escape(line)}[/]")


def meter(now: Meter) -> None:
    """The meter in use."""
    scale = f"{now.range_volts:g} V" if now.range_volts else "its range"
    pointer = f" + {now.full_scale * 100:g}% of {scale}" if now.full_scale else ""
    load = f"{now.ohms / 1e6:g} MΩ"
    if now.sensitivity:
        load = f"{now.sensitivity / 1e3:g} kΩ for each volt of range"
    say(f"meter: {load}, {now.fraction * 100:g}% + {now.counts:g} counts{pointer}")


def undone(entry: Entry, what: str = "", still: Sequence[int] = ()) -> None:
    """An undo just put on disk, what it undid in words, and readings taken before it."""
    said = f" ({what})" if what else ""
    say(f"stored #{entry.seq}: entry #{entry.body['undoes']} is undone{said}")
    if still:
        listed = ", ".join(f"#{n}" for n in still)
        say(f"  readings of that circuit still count as taken there: {listed}; if they were not,")
        say("  undo them too by their numbers and read again")


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")


def suspects(
    bench: Session,
    groups: Sequence[SuspectGroup],
    where: Sequence[Sequence[str]] = (),
    whole: bool = False,
) -> None:
    """Groups with reasons, and where each is on the pictures; with `whole` what tells nothing of
    them in full."""
    say(f"After {_count(len(bench.evidence()), 'reading')}; now {bench.condition.words()}")
    from halfsplit.bench.contradictory import contradictions
    from halfsplit.bench.report import also_stable
    from halfsplit.cli.speaking import reasons

    contradictory([c.words for c in contradictions(bench)])
    if bench.pool_said():
        say(f"{bench.pool_said()}; halfsplit weights shows them")
    also = also_stable(bench, groups)
    for rank, g in enumerate(groups, 1):
        listed = [s.hypothesis.name for s in g.suspects]
        title = listed[0] if len(listed) == 1 else f"{', '.join(listed[:6])}"
        more = f" and {len(listed) - 6} more" if len(listed) > 6 else ""
        same = "" if len(listed) == 1 else "  (no reading here tells these apart)"
        out.print(f"[bold]{rank}. {escape(title)}{more}[/]  {percent(g.weight)}{same}")
        reasons(g, whole)
        for words in also[rank - 1]:
            say(f"     {words}")
        for words in where[rank - 1] if where else ():
            say(f"     {words}")


def contradictory(lines: Sequence[str]) -> None:
    """Verdicts and signs that cannot both be right, each on its own line."""
    for line in lines:
        out.print(f"[bold]Contradictory:[/] {escape(line)}")


def advice(bench: Session, data: dict[str, Any]) -> None:
    """The next check, or what to do now."""
    act = data["act"]
    if data.get("first"):
        out.print(f"[yellow]{escape(data['first'])}[/]")
    contradictory([c["words"] for c in data["contradictory"]])
    if act:
        who = " or ".join(act["group"][:5])
        out.print(f"[bold]Enough is known to act: {escape(who)}[/] ({percent(act['weight'])})")
        cautions(act["before"])
        file, part = (
            bench.assembly.file.name,
            act["group"][0].removeprefix("new ").partition(" ")[0],
        )
        if act["done"]:
            say(f"  Already replaced: {', '.join(act['done'])}")
        for ref, label in act["as_drawn"].items():
            say(f"  {ref}: fit what is drawn, a {label}, then say so: change {file} {ref} fitted")
        if act["proved"]:
            part = act["proved"][0]
            say(f"  {part} tested bad: fit a good one, then say so: change {file} {part} fitted")
        else:
            for name, lines in act["prove"].items():
                say(f"  Prove {name} out of circuit, or with one lead lifted:")
                for line in lines:
                    say(f"    {line}")
            say(f'  Then say so: observe {file} "…" --part {part} --good, or --bad')
    from halfsplit.cli import acting

    if data["replace"]:
        acting.swap(data["replace"])
    for found in data["not_as_drawn"]:
        acting.odd(bench.assembly.file.name, found)
    for part in data["tested_bad"]:
        if not act or part not in act["proved"]:
            file = bench.assembly.file.name
            say(f"{part} tested bad: fit a good one, then say so: change {file} {part} fitted")
    for taken in data["check_too"][:6]:
        out.print(
            f"[bold]Check {escape(taken['part'])} too[/] ({percent(taken['chance'])} that it went "
            f"with {escape(taken['because'])}): {escape(taken['words'])}"
        )
    for reason in data["again"]:
        out.print(f"[bold]Read again: {escape(reason['words'])}[/]")
        say("  The leading suspect does not explain it: a slip, a fault of another size, or two.")
    mended = data["mended"]
    if mended:
        who = " or ".join(mended["group"][:5])
        out.print(f"[bold]{escape(who)}: replaced.[/]")
        since = _count(mended["readings_since"], "reading")
        if mended["readings_since"] and mended["all_explained"]:
            say(f"  {since} since then, all as a healthy machine reads. Prove it at every load.")
        elif not mended["readings_since"]:
            say("  Read again what was wrong before; nothing has been read since.")
    quiet = data.get("quiet")
    if quiet:
        out.print("[bold]Nothing wrong shows in the readings so far.[/]")
        hidden = quiet["would_not_show"]
        if hidden:
            more = f" and {len(hidden) - 6} more" if len(hidden) > 6 else ""
            say(f"  These faults would not have shown in them: {', '.join(hidden[:6])}{more}")
    if data.get("blocked"):
        say(data["blocked"])
    if data["left_out"]:
        say(f"  ({data['left_out']})")
    if data["nothing_left"]:
        say(f"{data['nothing_left'][0].upper()}{data['nothing_left'][1:]}.")
    for check in [] if data["nothing_left"] else data["checks"][:1]:
        head = "Or confirm with" if act else "To confirm" if mended else "Next check"
        _check(bench, check, head)


def _check(bench: Session, check: dict[str, Any], head: str) -> None:
    from halfsplit.assembly.condition import Condition

    what = {
        "volts": "direct volts",
        "ripple": "ripple, peak to peak",
        "ac": "volts on the AC range",
        "frequency": "frequency",
        "ohms": f"ohms ({check['ohmmeter']})",
        "diode": f"diode test ({check['ohmmeter']})",
    }.get(check["quantity"], "")
    if check["quantity"] == "look":
        part = bench.assembly.parts[check["net"]]
        out.print(f"[bold]{head}: look at {escape(part.ref)}[/]: is it {escape(part.label())}?")
        say(f"  its marking, and which way round; about {check['minutes']:.1f} min")
    else:
        probes = ("red lead", "black lead") if check["ohmmeter"] else ("probe", "other probe")
        other = check.get("other_at", bench.assembly.common)
        out.print(
            f"[bold]{head}: {what} at {escape(check['label'])}[/], "
            f"{probes[0]} on {escape(check['at'])}, {probes[1]} on {escape(other)}"
        )
        say(f"  with the machine {Condition.from_dict(check['condition']).words()}")
        good = "healthy reads " if check["healthy"] else "healthy: "
        say(f"  {good}{healthy_words(check)}; about {check['minutes']:.1f} min")
    for pin in check.get("pins", ()):
        say(f"  {pin['words']}")
    if check["caution"]:
        out.print(f"  [yellow]caution: {escape(check['caution'])}[/]")
    found, left = told(check)
    for o in found:
        chance = percent(o["chance"])
        say(f"    {outcome_reads(o, check['unit'])} ({chance}): {outcome_leaves(o)}")
    if check["quantity"] != "look":
        say(f"    anything else ({percent(left)}): a rarer fault, a slip, or not in this model")


def resumed(bench: Session, data: dict[str, Any]) -> None:
    """The page one comes back to."""
    title = ": ".join(filter(None, (data["machine"], data["assembly"])))
    out.print(f"[bold]{escape(title)}[/]")
    say(f"Now: {data['condition_words']}")
    for item in data["open_items"]:
        out.print(f"[yellow]Open item: {escape(item)}[/]")
    for item in data["overrides"]:
        words = f"{item['gate']} was overridden: {item['why']}"
        out.print(f"[red]{escape(words)} (entry #{item['entry']})[/]")
    if data["handed"]:
        words = (
            f"entries up to #{data['handed']} are of another bench: what it proved, discharged or "
            "passed does not count here, measure again"
        )
        out.print(f"[yellow]{words}[/]")
    for hazard in data["hazards"]:
        out.print(f"[yellow]Hazard: {escape(hazard)}[/]")
    say(
        f"{_count(data['readings'], 'reading')} in the journal"
        + ("; the last:" if data["readings"] else "")
    )
    for entry in data["last_readings"]:
        b = entry["body"]
        where = bench.assembly.net_label(b["net"]) + (f" to {b['against']}" if b["against"] else "")
        kind = "" if b["quantity"] == "volts" else f"{b['quantity']} "
        say(f"  #{entry['seq']} {entry['at'][:16]} {where} {kind}{b['text']}")
    for entry in data["observations"]:
        say(f"  #{entry['seq']} noted: {entry['body']['text']}")
    for g in data["suspects"]:
        listed = ", ".join(s["name"] for s in g["suspects"][:5])
        say(f"  suspect {percent(g['weight'])}: {listed}")
    advice(bench, data["next"])
    sys.stdout.flush()


def trail(steps: Sequence[Step]) -> None:
    """What each entry did to the suspects."""
    if not steps:
        say("Nothing in the journal weighs on the suspects yet.")
    for step in steps:
        lead = ", ".join(step.lead[:3]) + (
            f" and {len(step.lead) - 3} more" if step.lead[3:] else ""
        )
        out.print(f"[bold]#{step.number} {escape(step.words)}[/]")
        say(f"  then led: {lead}, {percent(step.weight)} (before {percent(step.before)})")
        for name, reason in step.dropped:
            say(f"  dropped {name}: {reason}")


def amps(value: float) -> str:
    """A current as the trade writes it."""
    from halfsplit.quantity import show

    return show(value, "A", 2)
