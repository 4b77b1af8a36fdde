"""One typed line: a name, words, and the fields that follow from them; what it puts into the file.

What a line is shows in its words: a pattern's name, or ``rail``, ``point``, ``loads``; anything
else is a part. From that follow its further fields (a part's terminals, a transformer's windings,
a pattern's nets and parts), each with what completes it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ruamel.yaml.comments import CommentedMap

from halfsplit.assembly.designator import KINDS, letters
from halfsplit.assembly.draft import Draft
from halfsplit.assembly.file import Reader
from halfsplit.assembly.model import Point, Rail
from halfsplit.assembly.pattern import Pattern, put
from halfsplit.assembly.patterns import noted, notes
from halfsplit.assembly.shortline import WordError, reads
from halfsplit.assembly.spoken import fields_of, split, words_of
from halfsplit.parts.base import REGISTRY
from halfsplit.problems import Problem
from halfsplit.quantity import QuantityError, Unit, parse

MOST_ENDS = 9  # fields beside the words: a transformer of nine windings, a pattern's parts
LONGEST = 1_000  # characters of one field: no drawing says more of one part
OTHER = {"rail": "rails", "point": "points", "loads": "loads"}
Sort = Literal["net", "winding", "part"]
_TRANSFORMER = "transformer"
_TRANSISTOR = {"c": "collector", "b": "base", "e": "emitter"}
_DIODE = {"a": "anode", "k": "cathode", "g": "gate or grid", "s": "screen"}
_DIODE |= {"a1": "anode", "a2": "other anode", "h1": "heater", "h2": "heater"}
_POLES = {"pos": "+", "neg": "−", "com": "common", "plus": "+ input", "minus": "− input"}
_POLES |= {"vpos": "+ supply", "vneg": "− supply"}


@dataclass(frozen=True)
class End:
    """A field of a line: what it is called in the entry, what it says of itself, what goes in.

    `sort`: "net" for a net's name, "winding" for name, two nets, volts and ohms, "part" for a
    reference and words. `needed`: the entry is none without it.
    """

    name: str
    label: str
    sort: Sort
    needed: bool


@dataclass(frozen=True)
class Line:
    """What a typed line says.

    Attributes
    ----------
    section, name, entry: where it goes in the file and what stands there.
    kind: part kind, pattern, or rail, point, loads; "" while unknown. guessed: by the letter alone.
    ends: the fields it has. problems: what is wrong with it, by the field's name in `path`.
    missing: names of fields that must be filled yet.
    """

    section: str
    name: str
    entry: dict[str, Any]
    kind: str
    guessed: bool = False
    ends: tuple[End, ...] = ()
    problems: tuple[Problem, ...] = ()
    missing: tuple[str, ...] = ()


def section_of(draft: Draft, words: str) -> tuple[str, str]:
    """The section a line goes to by its first word, and that word; "" for a part."""
    first = words.split(maxsplit=1)[0] if words.split() else ""
    if first in OTHER:
        return OTHER[first], first
    if first in draft.patterns and first not in REGISTRY.kinds:
        return "patterns", first
    return "parts", ""


def ends_of(draft: Draft, section: str, kind: str) -> tuple[End, ...]:
    """The fields of a line of this sort."""
    if section in ("rails", "points"):
        return (End("net", "net", "net", True),)
    if section == "loads":
        return ()
    if section == "patterns":
        return _of_pattern(draft.patterns[kind])
    if kind == _TRANSFORMER:
        first = End("w1", "winding 1, the primary", "winding", True)
        more = [End(f"w{k}", f"winding {k}", "winding", k == 2) for k in range(2, MOST_ENDS + 1)]
        return (first, *more)
    known = REGISTRY.kinds.get(kind)
    if known is None:
        return ()
    return tuple(
        End(
            t, _called(t, known.TERMINALS), "net", known.model_fields[_field(kind, t)].is_required()
        )
        for t in known.TERMINALS
    )


def _called(terminal: str, all_of: tuple[str, ...]) -> str:
    """A terminal by its short name and what that stands for."""
    names = _TRANSISTOR if "e" in all_of else _DIODE if "k" in all_of else _POLES
    return f"{terminal}, {names[terminal]}" if terminal in names else terminal


def _field(kind: str, terminal: str) -> str:
    fields = REGISTRY.kinds[kind].model_fields
    return terminal if terminal in fields else f"{terminal}_"


def _of_pattern(made: Pattern) -> tuple[End, ...]:
    nets = [End(n.name, n.name, "net", not n.net and not n.optional) for n in made.nets.values()]
    parts = [
        End(r.name, f"{r.name}: reference, value", "part", not r.absent)
        for r in made.roles.values()
    ]
    needed = [e for e in (*nets, *parts) if e.needed]
    rest = [e for e in (*nets, *parts) if not e.needed]
    return tuple([*needed, *rest][:MOST_ENDS])


def read_line(draft: Draft, name: str, words: str, ends: Sequence[str]) -> Line:
    """What a line as typed says, with all that is wrong with it; `ends` in the order of its fields.

    Whatever the line does not show of an entry that is in the file already stays as it is.
    """
    name, words = name.strip(), words.strip()
    section, kind = section_of(draft, words)
    problems: list[Problem] = []

    def wrong(where: str, what: str, instead: str = "") -> None:
        problems.append(Problem("", 0, 0, where, what, instead))

    texts = [str(t).strip() for t in ends]
    for where, text in (
        ("name", name),
        ("words", words),
        *((f"end {k}", t) for k, t in enumerate(texts)),
    ):
        if len(text) > LONGEST:
            wrong(where, f"more than {LONGEST} characters", "what the drawing says")
            return Line(section, name[:LONGEST], {}, kind, problems=tuple(problems))
        if any(not c.isprintable() for c in text):
            wrong(where, "there is a character here that does not print", "it again in plain text")
            return Line(section, "", {}, kind, problems=tuple(problems))
    if section == "parts":
        return _part(draft, name, words, texts, problems)
    rest = words.partition(" ")[2].strip()
    if not name:
        wrong(
            "name", f"the {kind} has no name", {"rails": "P5", "points": "TP1"}.get(section, "half")
        )
    fields = ends_of(draft, section, kind)
    entry: dict[str, Any] = {}
    bare, named = split(rest)
    if section == "patterns":
        entry["pattern"] = kind
        for word in bare:
            if word in ("positive", "negative"):
                entry["polarity"] = word
            else:
                wrong(
                    "words", f"`{word}` is not understood of a pattern", "a value by name, volts=5V"
                )
        for key, text in named.items():
            put(entry, key, text)
    elif section == "rails":
        if bare:
            entry["limits"] = " ".join(bare)
        entry |= named
    elif section == "points":
        if bare:
            entry["at"] = " ".join(bare)
        entry |= named
    else:
        if bare:
            wrong("words", f"`{bare[0]}` says no net and load", "loads p5=2R p12=1A")
        entry |= named
    said = {e.name: t for e, t in zip(fields, texts, strict=False) if t}
    entry |= said
    missing = tuple(e.name for e in fields if e.needed and e.name not in said)
    if not problems and not missing:
        problems += _of_section(draft, section, name, entry)
    return Line(section, name, entry, kind, False, fields, tuple(problems), missing)


def _of_section(draft: Draft, section: str, name: str, entry: dict[str, Any]) -> list[Problem]:
    reader = Reader(draft.path)
    if section == "loads":
        if not entry:
            reader.add("words", "the load says nothing", "loads p5=2R p12=1A")
        reader.loads(CommentedMap(loads=CommentedMap({name: CommentedMap(entry)})))
    elif section in ("rails", "points"):
        reader.model(Rail if section == "rails" else Point, entry, f"{section}.{name}")
    # A pattern is read where it is placed, against all parts of the file: see `put`.
    return [_of_field(p, f"{section}.{name}") for p in reader.problems]


def _of_field(problem: Problem, where: str) -> Problem:
    at = problem.path.removeprefix(where).lstrip(".")
    return Problem("", 0, 0, at, problem.wrong, problem.instead, problem.severity)


def _part(draft: Draft, ref: str, words: str, texts: list[str], problems: list[Problem]) -> Line:
    if ref and not Reader(draft.path).reference(ref):
        advice = "a reference such as R1, one word without : # . , { } [ ]"
        problems.append(Problem("", 0, 0, "name", f"`{ref}` is no reference", advice))
        return Line("parts", ref, {}, "", problems=tuple(problems))
    old = draft.entry("parts", ref)
    use = draft.placed.use_of(ref) if old is None else None
    if use is not None:
        wrong = f"{ref} comes from `{use}`, a pattern's use"
        problems.append(Problem("", 0, 0, "name", wrong, f"{use} here, to change that"))
    try:
        fields, kind, guessed = fields_of(ref, words, draft.house)
    except WordError as error:
        at = "words" if ref else "name"
        problems.append(Problem("", 0, 0, at, str(error), error.instead))
        kind = KINDS.get(letters(ref), ("",))[0]
        ends = ends_of(draft, "parts", kind)
        return Line("parts", ref, {}, kind, True, ends, tuple(problems))
    ends = ends_of(draft, "parts", kind)
    said = dict(zip((e.name for e in ends), texts, strict=False))
    entry: dict[str, Any] = dict(fields)
    if kind == _TRANSFORMER:
        held = old.get("windings") if isinstance(old, Mapping) else None
        if isinstance(held, Mapping) and len(held) > MOST_ENDS:
            wrong = f"{ref} has more than {MOST_ENDS} windings in the file"
            problems.append(Problem("", 0, 0, "name", wrong, "the change there, in an editor"))
        windings = {**entry.get("windings", {})}
        for end in ends:
            if said.get(end.name):
                name, winding = _winding(end.name, said[end.name], problems)
                windings[name] = winding
        entry["windings"] = windings
    else:
        entry |= {k: v for k, v in said.items() if v}
    missing = tuple(e.name for e in ends if e.needed and not said.get(e.name))
    if not ref:
        problems.append(Problem("", 0, 0, "name", "no reference stands here", "R1"))
    elif not problems and not missing:
        problems += part_problems(draft, ref, entry)
    return Line("parts", ref, entry, kind, guessed, ends, tuple(problems), missing)


def _winding(where: str, text: str, problems: list[Problem]) -> tuple[str, dict[str, str]]:
    """A winding in words: its name, the net of its start (the dotted end), of its end, volts, ohms,
    amps where known."""
    bare, named = split(text)
    fields = dict(named)
    for key, word in zip(("start", "end"), bare[1:3], strict=False):
        fields[key] = word
    for word in bare[3:]:
        unit = _unit(word)
        if unit is None or unit in fields:
            wrong = f"`{word}` is not understood of a winding"
            problems.append(Problem("", 0, 0, where, wrong, "volts, ohms, amps: 15V 0.4R 2A"))
        else:
            fields[unit] = word
    if len(bare) < 3:
        wrong = "a winding needs its name and two nets, then volts and ohms"
        problems.append(Problem("", 0, 0, where, wrong, "s1 sa sb 15V 0.4R 2A"))
    order = ("start", "end", "volts", "ohms", "amps")
    return (bare[0] if bare else ""), {k: fields[k] for k in order if k in fields}


_UNITS: tuple[tuple[str, Unit, str], ...] = (
    ("volts", "V", "V"),
    ("amps", "A", "A"),
    ("ohms", "ohm", ""),
)


def _unit(word: str) -> str | None:
    """Which field of a winding a word with a unit fills; ohms may go without, as in 0R4."""
    for name, unit, ending in _UNITS:
        try:
            parse(word, unit)
        except QuantityError:
            continue
        if word.endswith(ending) and not word.replace(".", "").isdigit():
            return name
    return None


def part_problems(draft: Draft, ref: str, entry: Mapping[str, Any]) -> list[Problem]:
    """What is wrong with a part's entry by itself, place by place; doubts among it."""
    reader = Reader(draft.path)
    reader.house = draft.house
    note = notes(reader, draft.document)
    reader.problems = []
    reader.part(ref, noted(_commented(entry), note))
    return [_of_field(p, f"parts.{ref}") for p in reader.problems]


def _commented(entry: Mapping[str, Any]) -> CommentedMap:
    made = CommentedMap()
    for key, value in entry.items():
        made[key] = _commented(value) if isinstance(value, Mapping) else value
    return made


def line_of(draft: Draft, name: str) -> tuple[str, str, list[str]] | None:
    """An entry of the file as it would be typed: its section, words and fields; None for none.

    A part before a pattern's use before a rail, point or load of the same name.
    """
    for section in ("parts", "patterns", "rails", "points", "loads"):
        entry = draft.entry(section, name)
        if isinstance(entry, Mapping):
            return section, *_said(draft, section, name, entry)
    return None


def _said(draft: Draft, section: str, name: str, entry: Mapping[str, Any]) -> tuple[str, list[str]]:
    plain = {str(k): v for k, v in entry.items()}
    if section == "parts":
        words = words_of(name, plain, (), draft.house)
        try:
            _, kind, _ = fields_of(name, words, draft.house)
        except WordError:
            kind = str(plain.get("kind", ""))
        ends = ends_of(draft, section, kind)
        if kind == _TRANSFORMER:
            windings = plain.get("windings")
            listed = windings.items() if isinstance(windings, Mapping) else ()
            texts = [_winding_words(str(n), w) for n, w in listed if isinstance(w, Mapping)]
            return words_of(name, plain, ("windings",), draft.house), texts[:MOST_ENDS]
        names = [e.name for e in ends]
        texts = ["" if plain.get(n) is None else str(plain[n]) for n in names]
        return words_of(name, plain, names, draft.house), texts
    kind = {"rails": "rail", "points": "point", "loads": "loads"}.get(section, "")
    kind = kind or str(plain.pop("pattern", ""))
    if section == "patterns" and kind not in draft.patterns:
        return kind, []
    ends = ends_of(draft, section, kind)
    texts = [str(plain.pop(e.name, "")) for e in ends]
    main = {"rails": "limits", "points": "at", "patterns": "polarity"}.get(section, "")
    bare = [str(plain.pop(main))] if plain.get(main) else []
    rest = words_of("", plain, (), {}) if plain else ""
    return " ".join(w for w in [kind, *bare, rest] if w), texts


def _winding_words(name: str, winding: Mapping[str, Any]) -> str:
    order = ("start", "end", "volts", "ohms", "amps")
    return " ".join([name, *(str(winding[k]) for k in order if winding.get(k) is not None)])


def reads_as_net(text: str) -> bool:
    """Whether a text may name a net."""
    return reads(REGISTRY.kinds["resistor"], "a", text)
