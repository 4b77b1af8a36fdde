"""What differs between two versions of a file, in words: by meaning, not by its text.

Comments, order, spelling of values and whether a part came from a pattern do not count. A net or a
part that only got another name is told as such, once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from halfsplit.assembly.model import Assembly, LoadValue
from halfsplit.parts.base import InUnit, Part
from halfsplit.quantity import Range, Tolerance, show
from halfsplit.quantity.show import show_code

What = Literal["added", "removed", "changed", "moved", "renamed"]
OWN = frozenset({"ref", "kind"})  # fields told by other words, or not at all


@dataclass(frozen=True)
class Difference:
    """One thing that differs.

    Attributes
    ----------
    path: where in the file, such as ``parts.R6.value``.
    part: reference it is about, "" for what is no part.
    words: the whole of it, without the part's name.
    """

    what: What
    path: str
    part: str
    words: str
    before: str = ""
    after: str = ""

    def as_dict(self) -> dict[str, str]:
        """All of it as plain data."""
        return dict(self.__dict__)


@dataclass(frozen=True)
class Differences:
    """All that differs. `refs`, `nets`: old name -> new name of what was only renamed."""

    found: tuple[Difference, ...]
    refs: Mapping[str, str]
    nets: Mapping[str, str]

    def of(self, ref: str) -> list[Difference]:
        """What is said of one part."""
        return [d for d in self.found if d.part == ref]


def differences(before: Assembly, after: Assembly) -> Differences:
    """Everything that differs, parts first in the order of the files."""
    nets = _renamed_nets(before, after)
    refs = _renamed_parts(before, after, nets)
    found = list(_parts(before, after, nets, refs))
    for old, new in nets.items():
        found.append(
            Difference("renamed", f"nets.{old}", "", f"net {old} is called {new} now", old, new)
        )
    found += _rest(before, after, nets)
    return Differences(tuple(found), refs, nets)


# -- names ----------------------------------------------------------------------------------------


def _renamed_nets(before: Assembly, after: Assembly) -> dict[str, str]:
    """Nets whose every pin of the parts in both files is on one and the same other net now."""
    there: dict[str, set[str]] = {}
    back: dict[str, set[str]] = {}
    for ref in before.parts.keys() & after.parts.keys():
        old, new = before.parts[ref].terminals(), after.parts[ref].terminals()
        for pin in old.keys() & new.keys():
            there.setdefault(old[pin], set()).add(new[pin])
            back.setdefault(new[pin], set()).add(old[pin])
    gone = {*before.nets(), before.common} - {*after.nets(), after.common}
    come = {*after.nets(), after.common} - {*before.nets(), before.common}
    found = {}
    for net in [*before.nets(), before.common]:
        now = there.get(net, set())
        only = next(iter(now), "")
        if net in gone and len(now) == 1 and only in come and back[only] == {net}:
            found[net] = only
    return found


def _renamed_parts(before: Assembly, after: Assembly, nets: Mapping[str, str]) -> dict[str, str]:
    """Parts that are gone, each with the only new one that is the same but for its name."""
    gone = [r for r in before.parts if r not in after.parts]
    come = [r for r in after.parts if r not in before.parts]
    if not gone or not come:
        return {}

    def looks(part: Part, table: Mapping[str, str]) -> str:
        pins = {t: table.get(n, n) for t, n in part.terminals().items()}
        return repr((part.KIND, sorted(pins.items()), sorted(_said(part).items())))

    old: dict[str, list[str]] = {}
    new: dict[str, list[str]] = {}
    for ref in gone:
        old.setdefault(looks(before.parts[ref], nets), []).append(ref)
    for ref in come:
        new.setdefault(looks(after.parts[ref], {}), []).append(ref)
    return {
        refs[0]: new[key][0]
        for key, refs in old.items()
        if len(refs) == 1 and len(new.get(key, ())) == 1
    }


# -- parts ----------------------------------------------------------------------------------------


def _parts(
    before: Assembly, after: Assembly, nets: Mapping[str, str], refs: Mapping[str, str]
) -> Iterator[Difference]:
    news = {new: old for old, new in refs.items()}
    for ref, part in before.parts.items():
        now = after.parts.get(ref)
        if ref in refs:
            words = f"was called {ref}"
            yield Difference("renamed", f"parts.{refs[ref]}", refs[ref], words, ref, refs[ref])
        elif now is None:
            words = f"{part.label()} is gone; it was on {_pins(part)}"
            yield Difference("removed", f"parts.{ref}", ref, words)
        else:
            yield from _part(part, now, nets)
    for ref, part in after.parts.items():
        if ref not in before.parts and ref not in news:
            words = f"{part.label()} is new, on {_pins(part)}"
            yield Difference("added", f"parts.{ref}", ref, words)


def _part(old: Part, new: Part, nets: Mapping[str, str]) -> Iterator[Difference]:
    ref = new.ref
    if old.KIND != new.KIND:
        words = f"is a {new.KIND} now, was a {old.KIND}"
        yield Difference("changed", f"parts.{ref}.kind", ref, words, old.KIND, new.KIND)
    pins, now = old.terminals(), new.terminals()
    for pin in dict.fromkeys([*pins, *now]):
        a, b = pins.get(pin, ""), now.get(pin, "")
        if nets.get(a, a) == b:
            continue
        moved = {
            (True, True): f"terminal {pin} is on {b} now, was on {a}",
            (False, True): f"terminal {pin} is on {b} now",
            (True, False): f"terminal {pin} is left out now, was on {a}",
        }[bool(a), bool(b)]
        yield Difference("moved", f"parts.{ref}.{pin}", ref, moved, a, b)
    if old.KIND == new.KIND:
        yield from _fields(_said(old), _said(new), f"parts.{ref}", ref, "")


def _pins(part: Part) -> str:
    return ", ".join(f"{net} ({pin})" for pin, net in part.terminals().items())


def _said(part: Part) -> dict[str, str]:
    """What a part says of itself besides its name, kind and nets."""
    skip = OWN | set(part.terminals()) | {f"{t}_" for t in part.terminals()}
    return {
        k: v
        for k, v in _flat(part)
        if k not in skip
        and k.partition(".")[0] not in skip
        and k.rpartition(".")[2] not in ("start", "end")
    }


def _fields(
    old: Mapping[str, str], new: Mapping[str, str], path: str, ref: str, lead: str
) -> Iterator[Difference]:
    for name in dict.fromkeys([*old, *new]):
        a, b = old.get(name, ""), new.get(name, "")
        if a != b:
            words = f"{lead}{name} is {b} now, was {a}" if a and b else ""
            words = words or (f"{lead}{name} is {b} now" if b else f"{lead}{name} {a} is gone")
            yield Difference("changed", f"{path}.{name}", ref, words, a, b)


# -- values as text -------------------------------------------------------------------------------


def _flat(record: BaseModel, lead: str = "") -> Iterator[tuple[str, str]]:
    """Each field that says something, as (name, text)."""
    for name, info in type(record).model_fields.items():
        value = record.__dict__[name]
        yield from _texts(f"{lead}{info.alias or name}", value, info)


def _texts(name: str, value: Any, info: FieldInfo | None) -> Iterator[tuple[str, str]]:
    if value is None or value == "" or value == {} or value == [] or value == ():
        return
    if isinstance(value, BaseModel):
        yield from _flat(value, f"{name}.")
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _texts(f"{name}.{key}", inner, None)
    else:
        yield name, _text(value, info)


def _text(value: Any, info: FieldInfo | None) -> str:
    unit = next((m.unit for m in (info.metadata if info else ()) if isinstance(m, InUnit)), None)
    unit = unit or (info and _inner_unit(info.annotation)) or None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and unit in ("ohm", "F") and value >= 0:
        return show_code(value, unit)
    if isinstance(value, float) and unit:
        number, _, symbol = show(value, unit, 6).partition(" ")
        number = number.rstrip("0").rstrip(".") if "." in number else number
        return f"{number} {symbol}".rstrip()
    if isinstance(value, Range):
        return f"{value.low:g}..{value.high:g} {unit or ''}".rstrip()
    if isinstance(value, Tolerance):
        sides = sorted(
            {f"{100 * v:g} %" if value.relative else f"{v:g}" for v in (value.minus, value.plus)}
        )
        return "±" + sides[0] if len(sides) == 1 else f"-{_side(value, 0)} +{_side(value, 1)}"
    if isinstance(value, (list, tuple)):
        return ", ".join(_text(v, None) for v in value)
    return f"{value:g}" if isinstance(value, float) else " ".join(str(value).split())


def _side(tolerance: Tolerance, which: int) -> str:
    side = (tolerance.minus, tolerance.plus)[which]
    return f"{100 * side:g} %" if tolerance.relative else f"{side:g}"


def _inner_unit(annotation: Any) -> Any:
    """The unit inside `Ohms | None`."""
    for option in getattr(annotation, "__args__", ()):
        for mark in getattr(option, "__metadata__", ()):
            if isinstance(mark, InUnit):
                return mark.unit
    return None


# -- the rest of the file -------------------------------------------------------------------------

RECORDS = ("rails", "points", "feeds", "leans")


def _rest(before: Assembly, after: Assembly, nets: Mapping[str, str]) -> Iterator[Difference]:
    for name in ("name", "machine", "common", "notes"):
        a, b = str(getattr(before, name)), str(getattr(after, name))
        if nets.get(a, a) != b:
            key = "assembly" if name == "name" else name
            words = f"{key} differs" if name == "notes" else f"{key} is {b or 'gone'} now, was {a}"
            yield Difference("changed", key, "", words, a, b)
    for section in RECORDS:
        old, new = getattr(before, section), getattr(after, section)
        yield from _records(
            section[:-1],
            section,
            {k: _named(dict(_flat(v)), nets) for k, v in old.items()},
            {k: dict(_flat(v)) for k, v in new.items()},
        )
    yield from _records(
        "load", "loads", {k: _load(v, nets) for k, v in before.loads.items()},
        {k: _load(v, {}) for k, v in after.loads.items()},
    )  # fmt: skip
    for name in ("mains", "air"):
        a, b = getattr(before, name), getattr(after, name)
        old = dict(_flat(a)) if a else {}
        new = dict(_flat(b)) if b else {}
        yield from _fields(old, new, name, "", f"{name} ")
    beside = [
        {tuple(sorted((ref, o))) for ref, others in at.layout.items() for o in others}
        for at in (before, after)
    ]
    for pair in sorted(beside[0] ^ beside[1]):
        gone = pair in beside[0]
        words = f"{pair[0]} and {pair[1]} {'no longer sit' if gone else 'sit'} side by side"
        yield Difference("removed" if gone else "added", "layout", "", words)


def _records(
    word: str, section: str, old: Mapping[str, dict[str, str]], new: Mapping[str, dict[str, str]]
) -> Iterator[Difference]:
    for key in dict.fromkeys([*old, *new]):
        path = f"{section}.{key}"
        if key not in new:
            yield Difference("removed", path, "", f"{word} {key} is gone")
        elif key not in old:
            told = ", ".join(f"{k} {v}" for k, v in new[key].items())
            yield Difference("added", path, "", f"{word} {key} is new" + (told and f": {told}"))
        else:
            yield from _fields(old[key], new[key], path, "", f"{word} {key}: ")


def _named(fields: dict[str, str], nets: Mapping[str, str]) -> dict[str, str]:
    """Fields of a record with what was only renamed called as it is now."""
    found = {}
    for name, value in fields.items():
        steps = name.split(".")
        if steps[0] == "nets" and len(steps) > 1:
            steps[1] = nets.get(steps[1], steps[1])
        found[".".join(steps)] = nets.get(value, value) if name == "net" else value
    return found


def _load(load: Mapping[str, LoadValue], nets: Mapping[str, str]) -> dict[str, str]:
    return {nets.get(net, net): str(value) for net, value in load.items()}
