"""Commands for loading the rails and for proving what protects them, and their printing."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import NONE, Feed, Json, Limiters, emit, session

if TYPE_CHECKING:
    from halfsplit.bringup.ladder import Ladder

FIRST = (
    "bench information, not permission: local rules and licensed practice come first; "
    "boards out until the rail is proved"
)


def caution(text: str) -> None:
    """One caution, at the step it belongs to."""
    show.out.print(f"  [yellow]caution: {escape(text)}[/]")


def load(
    file: Path,
    *rails: str,
    stock: Annotated[
        str, Parameter(help="resistors at hand: 1R/50W*4,10R/10W*6, or a YAML file with `stock:`")
    ],
    feed: Feed = None,
    limiters: Limiters = NONE,
    stress: Annotated[str, Parameter(help="share of the derated watts to use")] = "80%",
    pieces: Annotated[int, Parameter(help="most resistors in one load, 1 to 5")] = 4,
    faults: Annotated[Path | None, Parameter(help="fault script laid over the machine")] = None,
    json: Json = False,
) -> int:
    """A load ladder for each rail (all rated ones): resistors, watts, and what it should read."""
    from halfsplit.bench.bringing import plain
    from halfsplit.bench.proving import load_ladder

    with session(file, "currents") as bench:
        found = load_ladder(
            bench,
            rails,
            stock=stock,
            feed=feed,
            script=faults,
            stress=stress,
            pieces=pieces,
            **asdict(limiters),
        )
        return emit(plain(found.as_dict()), json, lambda: _ladder(found))


def _ladder(found: Ladder) -> None:
    caution(FIRST)
    for line in found.cautions:
        caution(line)
    for rail in dict.fromkeys(s.rail for s in found.steps):
        table = Table(title=f"{escape(rail)}: {escape(found.condition)}", title_justify="left")
        for head in ("step", "connect", "draws", "watts", "hottest", "reads alone", "all loaded"):
            table.add_column(
                head,
                justify="left" if head in ("step", "connect") else "right",
                overflow="fold",  # no number is cut short
            )
        for step in (None, *(s for s in found.steps if s.rail == rail)):
            amount = step.share if step else 0.0
            lines = [e for e in found.expected if e.rail == rail and e.share == amount]
            alone = next((e for e in lines if not e.together), lines[0])
            both = next((e for e in lines if e.together), lines[0])
            network = step.choice.network if step else None
            words = network.words if network else "nothing"
            words = words[1:-1] if words.startswith("(") else words
            if step and not network:
                words = f"{ohms(step.ohms)}, {step.rated_watts:.0f} W: {step.choice.reason}"
            hot = max((c.degc for c in step.choice.carried), default=None) if step else None
            table.add_row(
                f"{100 * amount:.0f} %",
                escape(words),
                show.amps(step.amps) if step else "-",
                f"{step.watts:.3g} W" if step else "-",
                f"{hot:.0f} °C" if hot is not None else "-",
                _reads(alone, False),
                _reads(both),
            )
        show.out.print(table)
        for e in found.expected:
            if e.rail == rail and e.within is False:
                with_ = "with all rails at" if e.together else "at"
                show.say(f"  {with_} {100 * e.share:.0f} % it is out of limits: {_reads(e)}")
        top = next((e for e in found.expected if e.rail == rail and e.share == 1.0), None)
        if top is not None and top.within is not None:
            loaded = ", all rails loaded" if found.cross else ""
            show.say(f"  regulation to full load {100 * top.regulation:.2g} %{loaded}")
        for cross in found.cross:
            if cross["rail"] == rail and cross["moves"] is not None:
                show.say(
                    f"  loading the others moves it {1e3 * cross['moves']:+.0f} mV at full load, "
                    f"of {1e3 * cross['room']:.0f} mV between its limits"
                )
        for least in found.minimum:
            if least["rail"] == rail:
                show.say(f"  least load: {least['why']}")


def ohms(value: float) -> str:
    """A resistance as people write it."""
    from halfsplit.quantity import show as quantity

    return quantity(value, "ohm", 3)


def _reads(e: Any, banded: bool = True) -> str:
    from halfsplit.quantity.volts import volts

    if e.within is None:
        return "not solved"
    ripple = f", {volts(e.ripple)} ripple" if e.ripple > 5e-4 else ""
    band = f" ({e.low:.2f} to {e.high:.2f})" if banded else ""
    return f"{volts(e.volts)}{band}{ripple}"


def protect(
    file: Path,
    *rails: str,
    feed: Feed = None,
    faults: Annotated[Path | None, Parameter(help="fault script laid over the machine")] = None,
    absolute: Annotated[str | None, Parameter(help="most the rail may ever see: 7.0V")] = None,
    trip: Annotated[list[str] | None, Parameter(help="volts at which it fired; give three")] = None,
    let_go: Annotated[bool, Parameter(negative="", help="it fired but did not stay so")] = False,
    knee: Annotated[str | None, Parameter(help="most current read")] = None,
    short: Annotated[str | None, Parameter(help="current read into a short")] = None,
    hold_up: Annotated[str | None, Parameter(help="time the rail stood after the plug")] = None,
    json: Json = False,
) -> int:
    """How to prove crowbar, current limit, restart and hold-up, in numbers; what readings say."""
    from halfsplit.bench.bringing import plain
    from halfsplit.bench.proving import protect as prove

    with session(file, "protection") as bench:
        data = prove(
            bench,
            rails,
            feed=feed,
            script=faults,
            absolute=absolute,
            trip=trip or [],
            let_go=let_go,
            knee=knee,
            short=short,
            hold_up=hold_up,
        )
        return emit(plain(data), json, lambda: _tests(data))


def _tests(data: dict[str, Any]) -> None:
    caution(FIRST)
    show.say(f"For the machine {data['condition']}, {data['stands']}")
    if not data["tests"]:
        show.say("No crowbar and no rail with a rated current or load is in this file.")
    for test in data["tests"]:
        show.out.print(f"[bold]{escape(test['rail'])}: {escape(test['test'])}[/]")
        if "not_solved" in test:
            show.say(f"  not solved: {test['not_solved']}")
            continue
        for line in test["steps"]:
            show.say(f"  {line}")
        for line in test.get("after", []):
            show.say(f"  {line}")
        if test.get("refused"):
            show.out.print(f"  [red]{escape(test['refused'])}[/]")
    for verdict in data["verdicts"]:
        words = "as it should be" if verdict["passed"] else "not proved"
        show.say(f"stored #{verdict['stored']}: {verdict['test']} {words}")
        for reason in verdict["reasons"]:
            show.say(f"  {reason}")
