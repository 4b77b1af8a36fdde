"""The user's load resistors, and what can be wired from a few of them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from halfsplit.assembly.text import TextError, document
from halfsplit.bringup.derating import MAKES, Make, allowed, body
from halfsplit.problems import Problem, ProblemsError
from halfsplit.quantity import QuantityError, parse, show, show_code

MOST_PIECES = 4
MOST_NETWORKS = 300_000  # joined at a level before it is left out: a second's work
EXAMPLE = "1R/50W*4,10R/10W*6"
FIELDS = ("value", "watts", "count", "make")


@dataclass(frozen=True)
class Piece:
    """One sort of resistor in the drawer: ohms, rated watts, how many there are, its make."""

    ohms: float
    watts: float
    count: int
    make: Make = "wirewound"

    def label(self) -> str:
        """As the command takes it."""
        return f"{show_code(self.ohms, 'ohm')}/{self.watts:g}W"


@dataclass(frozen=True)
class Carried:
    """What one resistor of a network carries: share of its derated rating, body estimate [degC]."""

    piece: Piece
    watts: float
    stress: float
    degc: float


@dataclass(frozen=True)
class Network:
    """Resistors in series and parallel.

    Attributes
    ----------
    shares: for each resistor the index of its sort and the share of all the power it takes.
    """

    ohms: float
    shares: tuple[tuple[int, float], ...]
    words: str

    def carried(self, stock: Sequence[Piece], watts: float, celsius: float) -> list[Carried]:
        """What each resistor carries when the whole takes `watts` in air at `celsius` [degC]."""
        found = []
        for which, share in self.shares:
            piece, own = stock[which], share * watts
            limit = piece.watts * allowed(piece.make, celsius)[0]
            hot = body(piece.make, celsius, own / piece.watts)
            found.append(Carried(piece, own, own / limit if limit else float("inf"), hot))
        return found


def _joined(a: Network, b: Network, series: bool) -> Network:
    whole = a.ohms + b.ohms
    ohms = whole if series else a.ohms * b.ohms / whole
    first = (a.ohms if series else b.ohms) / whole
    shares = [(i, s * first) for i, s in a.shares] + [(i, s * (1 - first)) for i, s in b.shares]
    sign = " + " if series else " || "
    return Network(ohms, tuple(sorted(shares)), f"({a.words}{sign}{b.words})")


def networks(stock: Sequence[Piece], most: int = MOST_PIECES) -> list[Network]:
    """Every value that up to `most` resistors of the stock make, fewest first.

    Of two networks of the same resistors and value, the one whose hottest runs cooler. A level of
    more than `MOST_NETWORKS` joins is left out.
    """
    levels: list[list[Network]] = [[]]
    levels.append([Network(p.ohms, ((i, 1.0),), p.label()) for i, p in enumerate(stock) if p.count])
    for n in range(2, most + 1):
        pairs = [(levels[k], levels[n - k]) for k in range(1, n // 2 + 1)]
        if sum(len(a) * len(b) for a, b in pairs) > MOST_NETWORKS:
            break
        kept: dict[tuple[Any, ...], tuple[float, Network]] = {}
        for left, right in pairs:
            for a in left:
                for b in right:
                    used = sorted(i for i, _ in (*a.shares, *b.shares))
                    if any(used.count(i) > stock[i].count for i in set(used)):
                        continue
                    for series in (True, False):
                        found = _joined(a, b, series)
                        heat = max(s / stock[i].watts for i, s in found.shares)
                        key = (f"{found.ohms:.5g}", *used)
                        if key not in kept or heat < kept[key][0]:
                            kept[key] = (heat, found)
        levels.append([network for _, network in kept.values()])
    return [network for level in levels for network in level]


@dataclass(frozen=True)
class Choice:
    """A network for a wanted resistance; None with the reason where the stock has none."""

    network: Network | None
    carried: tuple[Carried, ...]
    reason: str = ""


def choose(
    found: Sequence[Network],
    stock: Sequence[Piece],
    ohms: float,
    volts: float,
    *,
    celsius: float,
    stress: float,
    within: float,
) -> Choice:
    """The network of fewest pieces nearest `ohms` that stays cool enough at `volts` [V]."""
    close = [n for n in found if abs(n.ohms / ohms - 1.0) <= within]
    best: tuple[tuple[float, ...], Network, list[Carried]] | None = None
    hot = float("inf")
    for network in close:
        carried = network.carried(stock, volts**2 / network.ohms, celsius)
        worst = max(c.stress for c in carried)
        hot = min(hot, worst)
        rank = (float(len(carried)), abs(network.ohms / ohms - 1.0), worst)
        if worst <= stress and (best is None or rank < best[0]):
            best = (rank, network, carried)
    if best is not None:
        return Choice(best[1], tuple(best[2]))
    if not close:
        near = min(found, key=lambda n: abs(n.ohms / ohms - 1.0), default=None)
        nearest = f"; the nearest is {near.words}, {show(near.ohms, 'ohm', 3)}" if near else ""
        return Choice(None, (), f"nothing in the stock within {100 * within:.0f} %{nearest}")
    return Choice(
        None, (), f"too hot: the coolest runs at {100 * hot:.0f} % of what it may take in this air"
    )


_ITEM = re.compile(r"^(?P<ohms>[^/*]+)/(?P<watts>[^/*]+?)(\*(?P<count>[^:]+))?(:(?P<make>\w+))?$")


def parse_stock(text: str) -> list[Piece]:
    """Read ``1R/50W*4,10R/10W*6``, or a YAML file with a `stock` list.

    Raises ProblemsError with every problem, in a file with its line.
    """
    if text.lower().endswith((".yaml", ".yml")):
        return _from_file(Path(text))
    problems: list[Problem] = []
    pieces = []
    for item in filter(None, (t.strip() for t in text.split(","))):
        match = _ITEM.match(item)
        if match is None:
            problems.append(Problem("", 0, 0, item, "is no resistor of a stock", EXAMPLE))
            continue
        row = {
            "value": match["ohms"].strip(),
            "watts": match["watts"].strip(),
            "count": (match["count"] or "1").strip(),
            "make": match["make"] or "wirewound",
        }
        pieces += _piece(row, item, "", (0, 0), problems)
    if not pieces and not problems:
        problems.append(Problem("", 0, 0, "stock", "there is no resistor in it", EXAMPLE))
    if problems:
        raise ProblemsError(problems)
    return pieces


def _from_file(path: Path) -> list[Piece]:
    try:
        found, places, doubled = document(path)
    except TextError as error:
        raise ProblemsError([error.problem(path)]) from None
    example = "stock: then lines of - {value: 1R, watts: 50W, count: 4}"
    problems = [one.problem(path) for one in doubled]
    for key in found:
        if key != "stock":
            at = places[str(key)]
            problems.append(Problem(str(path), *at, str(key), "has no place in a stock", "stock"))
    rows = found.get("stock")
    if not isinstance(rows, list) or not rows:
        at = places.get("stock", (1, 1))
        problems.append(Problem(str(path), *at, "stock", "must be a list of resistors", example))
        raise ProblemsError(problems)
    pieces = []
    for i, row in enumerate(rows):
        where, at = f"stock.{i}", places.get(f"stock.{i}", (1, 1))
        if not isinstance(row, dict):
            problems.append(Problem(str(path), *at, where, "is no resistor", example))
            continue
        pieces += _piece(row, where, str(path), at, problems)
    if problems:
        raise ProblemsError(problems)
    return pieces


def _piece(
    row: Mapping[Any, Any],
    where: str,
    file: str,
    at: tuple[int, int],
    problems: list[Problem],
) -> list[Piece]:
    """One piece, or nothing and its problems noted."""
    before = len(problems)

    def note(field: str, wrong: str, instead: str) -> None:
        problems.append(Problem(file, *at, f"{where}.{field}" if file else where, wrong, instead))

    numbers = {}
    for field, unit, example in (("value", "ohm", "1R"), ("watts", "W", "50W")):
        try:
            numbers[field] = parse(str(row[field]), unit)  # type: ignore[arg-type]
            if numbers[field] <= 0:
                note(field, f"“{row[field]}” is not above nought", example)
        except KeyError:
            note(field, f"{field} is missing", f"{field}: {example}")
        except QuantityError as error:
            note(field, f"“{error.text}”: {error.wrong}", error.instead or example)
    count, make = str(row.get("count", 1)), str(row.get("make", "wirewound"))
    if not (count.isdigit() and 0 < int(count) < 1000):
        note("count", f"“{count}” is no number of pieces", "4")
    if make not in MAKES:
        note("make", f"“{make}” has no derating here", " or ".join(MAKES))
    for key in row:
        if key not in FIELDS:
            note(str(key), "a resistor of the stock has no such field", ", ".join(FIELDS))
    if len(problems) > before:
        return []
    return [Piece(numbers["value"], numbers["watts"], int(count), make)]  # type: ignore[arg-type]
