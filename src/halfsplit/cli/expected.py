"""What should be read, as tables: one a condition, and before its bands where those take long."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from halfsplit.bench.words import reads
from halfsplit.cli.show import out, say
from halfsplit.quantity.volts import volts

if TYPE_CHECKING:
    from halfsplit.assembly.condition import Condition
    from halfsplit.bench.expect import Line

BANDS_FOLLOW = (
    "bands follow, and with them what is to be said of fuses and of what the meter itself moves: "
    "each uncertain value is moved in turn and the machine followed again, which takes long the "
    "first time. Ctrl-C stops it; what is finished by then is kept"
)


def readings(lines: Sequence[Line], title: str) -> None:
    """Readings of one condition, of which no band is known yet."""
    _table(lines, f"{title}: {lines[0].condition.words()}", bands=False)
    _states(lines)
    say(f"  {BANDS_FOLLOW}")


def tables(lines: Sequence[Line], title: str, others: Callable[[Condition], Sequence[str]]) -> None:
    """Expected readings, one table a condition.

    What `others` says of other states is asked for once the table stands: the first time it needs a
    piece of the solver of its own, which then compiles behind readings and not before them.
    """
    for condition in dict.fromkeys(line.condition for line in lines):
        here = [line for line in lines if line.condition == condition]
        _table(here, f"{title}: {condition.words()}")
        for line in here:
            if line.off_scale and not line.adrift:
                say(f"  the meter on {line.name} is {line.off_scale}")
            for rail, change in line.disturbs:
                say(f"  the meter on {line.name} itself moves {rail} by {change:+.2f} V")
        for words in dict.fromkeys(line.fuses for line in here if line.fuses):
            left = [
                f"{line.name} {'not solved' if line.left is None else volts(line.left)}"
                for line in here
                if not line.adrift
            ]
            say(f"  {words}; after that {', '.join(left[:8])}")
        for words in others(condition):
            say(f"  {words}")
        _states(here)
        for note in dict.fromkeys(line.note for line in here if line.note and not line.adrift):
            say(f"  {note}")


def _table(lines: Sequence[Line], title: str, *, bands: bool = True) -> None:
    table = Table(title=escape(title), title_justify="left")
    swings = any((line.ac or 0.0) > 5e-4 for line in lines)
    heads = ["at", "reads", *(["between", "and"] if bands else []), "ripple"]
    for head in [*heads, "AC range", "repeats"] if swings else heads:
        # Folded: a net name cut short could not be typed again.
        table.add_column(head, justify="left" if head == "at" else "right", overflow="fold")
    for line in lines:
        if line.adrift:
            band = ["", ""] if bands else []
            table.add_row(escape(line.name), "adrift", *band, "nothing holds this net")
            continue
        ripple = volts(line.ripple) if line.ripple > 5e-4 else "-"
        if line.ripple > 0.1:
            ripple += f", down to {volts(line.valley)}"
        band = [volts(line.low), volts(line.high)] if bands else []
        cells = [volts(line.mean), *band, ripple]
        if swings:
            cells += [volts(line.ac or 0.0), reads(line.hertz, "Hz") if line.hertz else "-"]
        table.add_row(escape(line.name), *cells)
    out.print(table)


def _states(lines: Sequence[Line]) -> None:
    for status in dict.fromkeys(line.status for line in lines):
        if status != "steady":
            say(f"  {status}")
    for beat in dict.fromkeys(line.beat for line in lines if line.beat):
        say(f"  {beat.words}")
