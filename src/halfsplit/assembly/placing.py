"""One use of a pattern, from its line in the drawing to the parts it stands for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from halfsplit.assembly.advice import near, near_or_all, shown
from halfsplit.assembly.pattern import (
    COMMON,
    RESERVED,
    Parameter,
    Pattern,
    Placed,
    Role,
    Say,
    merged,
)
from halfsplit.assembly.shortline import ShortLine, WordError, short_line
from halfsplit.parts import catalogue
from halfsplit.parts.base import REGISTRY

Notes = Mapping[str, Mapping[str, Any]]


class Use:
    """One use of a pattern, read; :meth:`placed` are its parts.

    Parameters
    ----------
    inside: names a net nobody named, from its name in the pattern.
    say: takes whatever is wrong: place below the use, what is wrong, what to write.
    common: the common net there.
    note: what the drawing says of every part of a kind unless noted.
    """

    def __init__(
        self,
        pattern: Pattern,
        inside: Callable[[str], str],
        use: Mapping[Any, Any],
        say: Say,
        common: str = COMMON,
        note: Notes | None = None,
    ) -> None:
        self.pattern, self._inside, self._say = pattern, inside, say
        self.common, self.note = common, note or {}
        self.sound = True
        self.lines: dict[str, ShortLine] = {}  # role -> its words
        self.values: dict[str, str] = {}  # parameter -> as typed
        self.named: dict[str, str] = {}  # net of the pattern -> of the drawing
        self.extra: dict[str, Mapping[str, Any]] = {}  # reference -> fields set beside
        self.negative = self._polarity(use.get("polarity"))
        further = []
        for key, value in use.items():
            name = str(key)
            if name in RESERVED:
                continue
            if name in pattern.roles:
                self._role(pattern.roles[name], value)
            elif name in pattern.parameters:
                self._parameter(pattern.parameters[name], value)
            elif name in pattern.nets or name in pattern.inner():
                self._net(name, value)
            else:
                further.append((name, value))
        for name, value in further:
            self._beside(name, value)
        meant = {near(name, pattern.words()) for name, _ in further}
        for role in pattern.roles.values():
            if not role.absent and role.name not in {*map(str, use), *meant}:
                wrong = f"the {role.name} has no reference ({role.what})"
                self.wrong("", wrong, f"{role.name}: {sample(role)}")
        self._group: dict[str, str] = self._joined()

    def wrong(self, where: str, wrong: str, instead: str = "") -> None:
        """Record what is wrong at a place below the use."""
        self.sound = False
        self._say(where, wrong, instead)

    def _polarity(self, value: Any) -> bool:
        if value not in (None, "positive", "negative"):
            self.wrong("polarity", f"{shown(value)} is no polarity", "positive or negative")
        elif value == "negative" and not self.pattern.mirrors:
            wrong = f"{self.pattern.name} has no negative form: its nets say which way round it is"
            self.wrong("polarity", wrong, "its nets, and leave polarity out")
        return bool(value == "negative" and self.pattern.mirrors)

    def _role(self, role: Role, value: Any) -> None:
        if not isinstance(value, str) or not value.strip():
            wrong = f"{shown(value)} stands where the reference of the {role.name} belongs"
            wrong = f"nothing stands after `{role.name}:`" if value is None else wrong
            self.wrong(role.name, wrong, f"{role.name}: {sample(role)}")
            return
        try:
            line = short_line(value, self.pattern.mirror(role, self.negative).kind)
        except WordError as error:
            self.wrong(role.name, str(error), error.instead)
            return
        other = next((r for r, known in self.lines.items() if known.ref == line.ref), None)
        if other is not None:
            wrong = f"`{line.ref}` is the {other} of this use already"
            self.wrong(role.name, wrong, "the reference of this part")
            return
        self.lines[role.name] = line

    def _parameter(self, parameter: Parameter, value: Any) -> None:
        if value is None or isinstance(value, (bool, list, Mapping)):
            wrong = "nothing stands here" if value is None else f"{shown(value)} is no value"
            example = parameter.default or f"<in {parameter.unit}>"
            self.wrong(parameter.name, wrong, f"{parameter.name}: {example}")
            return
        text = str(value)
        bad = None if text.startswith("=") else parameter.wrong(text)
        if bad:
            self.wrong(parameter.name, *bad)
        else:
            self.values[parameter.name] = text

    def _net(self, name: str, value: Any) -> None:
        text = str(value) if isinstance(value, (str, int)) else ""
        if isinstance(value, bool) or not text or any(c in " \t:,{}[]#" for c in text):
            wrong = "nothing stands here" if value is None else f"{shown(value)} is no net"
            self.wrong(name, wrong, f"{name}: <net of the drawing>")
        else:
            self.named[name] = text

    def _beside(self, name: str, value: Any) -> None:
        """A part of this use by its reference, with what is set of it."""
        refs = [line.ref for line in self.lines.values()]
        if isinstance(value, Mapping) and name in refs:
            self.extra[name] = {str(k): v for k, v in value.items()}
        elif name in refs:
            wrong = f"{shown(value)} stands where `{{field: value}}` belongs"
            self.wrong(name, wrong, f"{name}: {{tolerance: 1%}}")
        elif isinstance(value, Mapping):
            wrong = f"no part of this use is called `{name}`"
            self.wrong(name, wrong, near_or_all(name, refs) if refs else "")
        else:
            wrong = f"pattern {self.pattern.name} has no net, value or part `{name}`"
            self.wrong(name, wrong, near(name, self.pattern.words()) or self._all())

    def _all(self) -> str:
        known = [*self.pattern.nets, *self.pattern.parameters, *self.pattern.roles]
        return f"one of {', '.join(known)}"

    def _present(self) -> list[Role]:
        return [r for r in self.pattern.roles.values() if r.name in self.lines]

    def _joined(self) -> dict[str, str]:
        """Net of the pattern -> net of the drawing, with what is absent and joined through."""
        parent: dict[str, str] = {}

        def root(net: str) -> str:
            while parent.setdefault(net, net) != net:
                net = parent[net]
            return net

        for role in self.pattern.roles.values():
            for net in role.nets.values():
                root(net)
            if role.name not in self.lines:
                first, *others = role.through() or [COMMON]
                for net in others:
                    parent[root(net)] = root(first)
        for net_ in self.pattern.nets.values():
            if net_.net and net_.name not in self.named:
                parent[root(net_.name)] = root(net_.net)
        groups: dict[str, list[str]] = {}
        for net in parent:
            groups.setdefault(root(net), []).append(net)
        used = {n for r in self._present() for n in self._nets_of(r).values()}
        found: dict[str, str] = {}
        for members in groups.values():
            name = self._name(members, bool(used & set(members)))
            found |= dict.fromkeys(members, name)
        for net in self.named:
            alone = not used & {n for n in found if found[n] == found.get(net)}
            if self.sound and net in found and alone:
                wrong = f"no part given here stands on `{net}`"
                self.wrong(net, wrong, "the part that does, or leave it out")
        return found

    def _name(self, members: list[str], used: bool) -> str:
        given = list(dict.fromkeys(self.named[m] for m in members if m in self.named))
        given += [self.common] if COMMON in members and self.common not in given else []
        outer = [self.pattern.nets[m] for m in members if m in self.pattern.nets]
        if len(given) > 1:
            net = next(m for m in reversed(members) if m in self.named)
            wrong = f"`{given[0]}` and `{given[1]}` are one net: no part given stands between them"
            self.wrong(net, wrong, f"{given[0]} for both, or the part between them")
        if given:
            return given[0]
        if COMMON in members:
            return self.common
        needed = [n for n in outer if not n.optional]
        if needed and used:
            net_ = needed[0]
            self.wrong("", f"net `{net_.name}` is not given: {net_.what}", f"{net_.name}: <net>")
        first = outer[0].name if outer else members[0]
        return self._inside(first)

    def _nets_of(self, role: Role) -> dict[str, str]:
        """Terminals of a role to nets of the pattern, windings nobody connected left out."""
        if not any(t.startswith("windings.") for t in role.nets):
            return dict(role.nets)
        others = [r for r in self.pattern.roles.values() if r.name != role.name]
        alive = {*self.named, *(n for r in others for n in r.nets.values())}
        kept = {}
        for terminal, net in role.nets.items():
            name = terminal.split(".")[1]
            ends = {n for t, n in role.nets.items() if t.split(".")[1] == name}
            optional = {n for n in ends if n in self.pattern.nets and self.pattern.nets[n].optional}
            if not optional or optional & alive:
                kept[terminal] = net
        return kept

    def placed(self) -> list[Placed]:
        """The parts of this use; empty while something is wrong with it."""
        if not self.sound:
            return []
        found = [self._placed(self.pattern.mirror(r, self.negative)) for r in self._present()]
        return found if self.sound else []

    def _placed(self, role: Role) -> Placed:
        line = self.lines[role.name]
        beside = self.extra.get(line.ref, {})
        mine = {t: self._group[n] for t, n in self._nets_of(role).items()}
        ends = {k: v for k, v in beside.items() if k in mine or k in _terminals(beside, role)}
        over = merged(line.fields, {k: v for k, v in beside.items() if k not in ends})
        kept = {t.split(".")[1] for t in mine if t.startswith("windings.")}
        base = {} if {"kind", "type"} & over.keys() else self._filled(role, kept)
        fields = merged(base, over)
        if "type" not in fields:
            kind = str(fields.get("kind", ""))
            fields = merged({"kind": kind} | dict(self.note.get(kind, {})), fields)
        where = dict.fromkeys(fields, role.name)
        where |= {key: f"{line.ref}.{key}" for key in beside}
        nets = mine | {k: str(v) for k, v in ends.items()}
        return Placed(line.ref, role, fields, nets, where)

    def _filled(self, role: Role, windings: set[str]) -> dict[str, Any]:
        """What the pattern writes of a part, with the values of this use."""
        fields = dict(role.fields)
        if isinstance(fields.get("windings"), Mapping):
            fields["windings"] = {k: v for k, v in fields["windings"].items() if k in windings}
        return {k: self._value(v, role) for k, v in fields.items()}

    def _value(self, value: Any, role: Role) -> Any:
        if isinstance(value, Mapping):
            return {k: self._value(v, role) for k, v in value.items()}
        if not isinstance(value, str) or not value.startswith("="):
            return value
        parameter = self.pattern.parameters[value[1:]]
        text = self.values.get(parameter.name, parameter.default)
        if text is None:
            wrong = f"`{parameter.name}` is not given: {parameter.what}"
            self.wrong("", wrong, f"{parameter.name}: <in {parameter.unit}>")
        return text


def _terminals(beside: Mapping[str, Any], role: Role) -> tuple[str, ...]:
    """Terminals of the kind that will stand there."""
    row = catalogue.load().get(str(beside.get("type", "")))
    name = str(beside.get("kind", row.kind if row else role.kind))
    kind = REGISTRY.kinds.get(name)
    return kind.TERMINALS if kind else ()


def sample(role: Role) -> str:
    """How a role could be written, such as ``R1 4k7``."""
    letter = {
        "resistor": "R1", "npn": "Q1", "pnp": "Q1", "zener": "CR1", "diode": "CR1",
        "rectifier": "CR1", "bridge": "BR1", "fuse": "F1", "inductor": "L1", "scr": "SCR1",
        "transformer": "T1", "mains": "J1", "switch": "SW1", "potentiometer": "RV1",
        "regulator": "U1", "opamp": "U1", "comparator": "U1", "wire": "W1", "relay": "K1",
    }  # fmt: skip
    kind = role.kind
    ref = letter.get(kind, "V1" if kind in ("triode", "pentode", "gas-tube") else "C1")
    told = role.fields.get("value", role.fields.get("type", role.fields.get("amps", "")))
    return f"{ref} {told}".strip() if not str(told).startswith("=") else ref
