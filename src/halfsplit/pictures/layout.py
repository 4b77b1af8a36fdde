"""Strips as a drawing: every column as wide as what stands in it, so nothing can overlap."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from halfsplit.pictures.choice import Choice, supplies
from halfsplit.pictures.sheet import LINE, End, EndKind, Label, Placed, Sheet, cut
from halfsplit.pictures.strips import Strip, plan
from halfsplit.pictures.symbols import Side, Unit

WIDEST = 1000.0  # px of a strip before what hangs goes on in the next
GAP, STUB, CLEAR, BETWEEN = 14.0, 12.0, 6.0, 26.0
BESIDE = 44.0


@dataclass(frozen=True)
class Notes:
    """What is written beside the names: lines by net, and a weight by part."""

    nets: Mapping[str, Sequence[str]] = field(default_factory=dict)
    parts: Mapping[str, Sequence[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Pen:
    """What the pieces ask for while they are laid out."""

    choice: Choice
    notes: Notes
    named: frozenset[str]
    shown: set[str]  # nets whose notes stand somewhere already

    def kind(self, net: str) -> EndKind:
        """How a wire of this net stops."""
        if net == self.choice.assembly.common:
            return "ground"
        return "supply" if net in self.named else "flag"

    def net_lines(self, net: str) -> tuple[tuple[str, str], ...]:
        """Name of a net, and its notes the first time."""
        lines = [("net", cut(self.title(net)))]
        if net not in self.shown:
            self.shown.add(net)
            lines += [("note", cut(t)) for t in self.notes.nets.get(net, ())]
        return tuple(lines)

    def title(self, net: str) -> str:
        """A net by its own name and the rail's."""
        rails = [k for k, r in self.choice.assembly.rails.items() if r.net == net and k != net]
        return f"{net} = {rails[0]}" if rails else net

    def part_lines(self, unit: Unit) -> tuple[tuple[str, str], ...]:
        """Designator, value, and notes of a part."""
        ref = unit.part.ref
        head = f"{ref} {unit.name}".strip()
        value = _value(unit) if unit.name != "contact" and unit.name != "heater" else ""
        lines = [("ref", cut(head))] + ([("value", cut(value))] if value else [])
        if unit.name in ("", "coil"):
            lines += [("note", cut(t)) for t in self.notes.parts.get(ref, ())]
        return tuple(lines)


def _value(unit: Unit) -> str:
    part = unit.part
    if part.type:
        return part.type
    label = part.label()
    for word in (" resistor", " capacitor", " trimmer", " inductor", " zener", " fuse"):
        label = label.removesuffix(word)
    return "" if label == part.KIND and part.KIND in ("npn", "pnp", "scr", "wire") else label


def pen_of(choice: Choice, notes: Notes | None = None) -> Pen:
    """What the pieces of a choice are drawn with."""
    return Pen(choice, notes or Notes(), frozenset(supplies(choice.assembly)), set())


def draw(choice: Choice, notes: Notes | None = None) -> Sheet:
    """All of a choice, strips below each other."""
    strung = plan(choice)
    pen = pen_of(choice, notes)
    rows: list[Sheet] = []
    for strip in strung.strips:
        rows += _strip(pen, strip)
    rows += _blocks(pen, strung.blocks)
    sheet, x, y, high = Sheet(), 0.0, 0.0, 0.0
    for row in rows:  # beside each other while there is room
        left, top, right, bottom = row.bounds()
        if x and x + right - left > WIDEST:
            x, y, high = 0.0, y + high + BETWEEN, 0.0
        sheet.add(row, x - left, y - top)
        x, high = x + right - left + BESIDE, max(high, bottom - top)
    return sheet


# -- ends -----------------------------------------------------------------------------------------


def _end(pen: Pen, sheet: Sheet, net: str, x: float, y: float, side: Side) -> None:
    """A short wire from a pin and what stops it."""
    kind = pen.kind(net)
    dx, dy = {"L": (-1, 0), "R": (1, 0), "U": (0, -1), "D": (0, 1)}[side]
    at = (x + dx * STUB, y + dy * STUB)
    if kind == "ground":
        if dx:
            sheet.wire(net, (x, y), at, (at[0], y + 6))
            sheet.ends.append(End("ground", at[0], y + 6, "D", net))
        else:
            sheet.wire(net, (x, y), at)
            sheet.ends.append(End("ground", *at, side, net))
        return
    sheet.wire(net, (x, y), at)
    sheet.ends.append(End(kind, *at, side, net))
    lines = pen.net_lines(net)
    if dx:  # beside each other, for the next pin is near
        one = (("net", "  ".join(t for _, t in lines)),)
        anchor = "end" if dx < 0 else "start"
        sheet.labels.append(Label(at[0] + dx * 6, y - LINE / 2, anchor, one, net=net))  # type: ignore[arg-type]
        return
    top = at[1] + 5 if dy > 0 else at[1] - 5 - LINE * len(lines)
    sheet.labels.append(Label(at[0], top, "middle", lines, net=net))


# -- what hangs -----------------------------------------------------------------------------------


def _upright(pen: Pen, unit: Unit, top: str) -> tuple[Sheet, float]:
    """A part downwards from (0, 0), its stubs and its label at the right; and its length."""
    through = unit.symbol.through or ("", "")
    flip = unit.nets[through[0]] != top
    placed = Placed(unit, 0.0, 0.0, True, flip)
    sheet = Sheet(symbols=[placed])
    for pin in unit.symbol.pins:
        if pin.terminal not in through:
            _end(pen, sheet, unit.nets[pin.terminal], *placed.at(pin.x, pin.y), placed.side(pin))
    lines = pen.part_lines(unit)
    right = sheet.bounds()[2]
    middle = placed.length / 2 - LINE * len(lines) / 2
    sheet.labels.append(Label(right + CLEAR, middle, "start", lines, part=unit.part.ref))
    return sheet, placed.length


def _chain(pen: Pen, net: str, chain: Sequence[Unit]) -> Sheet:
    """Parts below each other from (0, 0) to a ground, a supply or a name."""
    sheet, y = Sheet(), 8.0
    sheet.wire(net, (0.0, 0.0), (0.0, y))
    for k, unit in enumerate(chain):
        part, long = _upright(pen, unit, net)
        low = part.bounds()
        lift = max(0.0, -low[1])  # what a wide symbol or a tall label needs above its pin
        if lift:
            sheet.wire(net, (0.0, y), (0.0, y + lift))
            y += lift
        sheet.add(part, 0.0, y)
        spare = max(0.0, low[3] - long)
        y += long
        net = unit.other(net) or net
        if spare:
            sheet.wire(net, (0.0, y), (0.0, y + spare))
            y += spare
        if k + 1 < len(chain):
            lines = pen.net_lines(net)
            high = LINE * len(lines) + 4
            sheet.wire(net, (0.0, y), (0.0, y + high))
            sheet.dots.append((0.0, y + high / 2, net))
            sheet.labels.append(Label(CLEAR, y + 2, "start", lines, net=net))
            y += high
    _end(pen, sheet, net, 0.0, y, "D")
    return sheet


# -- strips ---------------------------------------------------------------------------------------


class _Row:
    """One strip being laid out from left to right along y = 0."""

    def __init__(self, pen: Pen) -> None:
        self.pen, self.sheet, self.x = pen, Sheet(), 0.0

    def head(self, unit: Unit) -> None:
        """A block that begins the strip, its other pins ended by names."""
        placed = Placed(unit, 0.0, 0.0)
        own = Sheet(symbols=[placed])
        for pin in unit.symbol.pins:
            if pin.terminal != unit.symbol.out:
                _end(self.pen, own, unit.nets[pin.terminal], *placed.at(pin.x, pin.y), pin.side)
        _above(self.pen, own, unit, placed)
        self._column(own, unit.nets[str(unit.symbol.out)], "", placed.length)

    def across(
        self, unit: Unit, left: str, right: str, under: Mapping[tuple[str, str], list[Unit]]
    ) -> None:
        """A part on the spine, what its lower pins carry below it."""
        through = unit.symbol.through or ("", "")
        placed = Placed(unit, 0.0, 0.0, False, unit.nets[through[0]] != left)
        own = Sheet(symbols=[placed])
        for pin in unit.symbol.pins:
            if pin.terminal in through:
                continue
            net, at = unit.nets[pin.terminal], placed.at(pin.x, pin.y)
            chain = under.get((unit.part.ref, pin.terminal))
            if not chain:
                _end(self.pen, own, net, *at, placed.side(pin))
                continue
            lines = self.pen.net_lines(net)
            high = LINE * len(lines) + 4
            own.wire(net, at, (at[0], at[1] + high))
            own.dots.append((at[0], at[1] + high / 2, net))
            own.labels.append(Label(at[0] + CLEAR, at[1] + 4, "start", lines, net=net))
            own.add(_chain(self.pen, net, chain), at[0], at[1] + high)
        _above(self.pen, own, unit, placed)
        self._column(own, right, left, placed.length)

    def _column(self, own: Sheet, right: str, left: str, long: float) -> None:
        x0, _, x1, _ = own.bounds()
        shift = self.x + max(0.0, -x0) + (CLEAR if left else 0.0)
        if left:
            self.sheet.wire(left, (self.x, 0.0), (shift, 0.0))
        self.sheet.add(own, shift, 0.0)
        self.x = shift + max(x1, long) + CLEAR
        self.sheet.wire(right, (shift + long, 0.0), (self.x, 0.0))

    def segment(
        self, net: str, chains: list[list[Unit]], first: bool, last: bool, joined: int
    ) -> list[list[Unit]]:
        """The wire of a net with its name above and what hangs below; returns what did not fit."""
        lines = self.pen.net_lines(net)
        start = self.x
        if first:
            self.sheet.ends.append(
                End("supply" if net in self.pen.named else "flag", start, 0.0, "L", net)
            )
        label = Label(start + 4, -6 - LINE * len(lines), "start", lines, net=net)
        self.sheet.labels.append(label)
        end = label.box[2] + GAP
        at, left = start + GAP, []
        for k, chain in enumerate(chains):
            hung = _chain(self.pen, net, chain)
            x0, _, x1, _ = hung.bounds()
            if at - x0 + x1 > WIDEST and k:
                left = chains[k:]
                break
            x = at - x0
            self.sheet.add(hung, x, 0.0)
            if k < len(chains) - 1 or not (last and not left) or joined:
                self.sheet.dots.append((x, 0.0, net))
            at = x + x1 + GAP
        end = max(end, at)
        self.sheet.wire(net, (start, 0.0), (end, 0.0))
        if last:
            self.sheet.ends.append(
                End("supply" if net in self.pen.named else "flag", end, 0.0, "R", net)
            )
        self.x = end
        return left


def _above(pen: Pen, sheet: Sheet, unit: Unit, placed: Placed) -> None:
    """Designator and value above all that is drawn so far near a symbol."""
    lines = pen.part_lines(unit)
    middle = (placed.box[0] + placed.box[2]) / 2
    half = max(Label(0, 0, "middle", lines).box[2], 0.0)
    near = [b for b in _boxes(sheet) if b[0] < middle + half and b[2] > middle - half and b[1] < 0]
    top = min([placed.box[1], *(b[1] for b in near)])
    label = Label(middle, top - 3 - LINE * len(lines), "middle", lines, part=unit.part.ref)
    sheet.labels.append(label)


def _boxes(sheet: Sheet) -> list[tuple[float, float, float, float]]:
    found = (
        [s.box for s in sheet.symbols] + [t.box for t in sheet.labels] + [e.box for e in sheet.ends]
    )
    return found + [
        (min(p[0], q[0]) - 1, min(p[1], q[1]) - 1, max(p[0], q[0]) + 1, max(p[1], q[1]) + 1)
        for w in sheet.wires
        for p, q in zip(w.points, w.points[1:], strict=False)
    ]


def _strip(pen: Pen, strip: Strip) -> list[Sheet]:
    """A strip, and rows of its own for what did not fit below it."""
    row = _Row(pen)
    over: list[tuple[str, list[list[Unit]]]] = []
    if strip.head is not None:
        row.head(strip.head)
    for k, net in enumerate(strip.nets):
        first, last = k == 0 and strip.head is None, k == len(strip.nets) - 1
        left = row.segment(net, strip.hung.get(net, []), first, last, k)
        if left:
            over.append((net, left))
        if not last:
            row.across(strip.units[k], net, strip.nets[k + 1], strip.under)
    found = [row.sheet]
    while over:
        net, chains = over.pop(0)
        more = _Row(pen)
        left = more.segment(net, chains, True, True, 0)
        found.append(more.sheet)
        if left:
            over.insert(0, (net, left))
    return found


def _blocks(pen: Pen, blocks: Sequence[Unit]) -> list[Sheet]:
    """Blocks that stand alone."""
    rows = []
    for unit in blocks:
        placed = Placed(unit, 0.0, 0.0)
        own = Sheet(symbols=[placed])
        for pin in unit.symbol.pins:
            _end(pen, own, unit.nets[pin.terminal], *placed.at(pin.x, pin.y), pin.side)
        _above(pen, own, unit, placed)
        rows.append(own)
    return rows
