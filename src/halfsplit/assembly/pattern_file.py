"""Pattern files: read into patterns, and everything wrong with one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from ruamel.yaml.comments import CommentedMap

from halfsplit.assembly.advice import near, near_or_all, shown
from halfsplit.assembly.file import Reader
from halfsplit.assembly.pattern import (
    COMMON,
    MIRROR_KIND,
    RESERVED,
    UNITS,
    Parameter,
    Pattern,
    PatternNet,
    Role,
    put,
)
from halfsplit.assembly.pattern_find import ENDING, NAME, Library, find_used, name_of
from halfsplit.assembly.placing import Use
from halfsplit.parts import catalogue
from halfsplit.parts.base import REGISTRY
from halfsplit.problems import Problem

SECTIONS = ("pattern", "is", "why", "mirrors", "nets", "parameters", "parts", "patterns", "example")
ABSENT = ("open", "joined")
_INSIDE = re.compile(r"[A-Za-z][\w-]*")
OWN_KEYS = ("is", "absent", "mirrored")  # of a part in a pattern, beside what any part has


class PatternReader(Reader):
    """One pass over a pattern file."""

    samples = {
        "nets": "in: what feeds it",
        "parameters": "volts: {unit: V, default: 6.2V, is: zener voltage, why: common practice}",
        "parts": "feed: {kind: resistor, value: 1k, a: in, b: out}",
        "patterns": "limiter: {pattern: current-limit, sense: sense}",
    }

    def __init__(self, path: Path, library: Library, chain: tuple[str, ...]) -> None:
        super().__init__(path)
        self.library, self.chain = library, (*chain, name_of(path))
        self.further = []

    def pattern(self) -> tuple[Pattern | None, list[Problem]]:
        """The pattern, or None with everything wrong."""
        document = self.read()
        if document is None:
            return None, self.problems
        for key in document:
            if key not in SECTIONS:
                wrong = f"there is no section {shown(key)} in a pattern"
                self.add(str(key), wrong, near_or_all(key, SECTIONS))
        name = name_of(self.path)
        if not NAME.fullmatch(name):
            wrong = f"`{name}` is no name for a pattern: small letters, digits and - only"
            self.add("pattern", wrong, f"a file such as zener-reference{ENDING}")
        elif self.word(document, "pattern", "") != name:
            self.add("pattern", "the pattern is not called as its file", f"pattern: {name}")
        for section, sample in (
            ("is", "is: A zener fed through a resistor"),
            ("why", "why: common practice, no published source"),
        ):
            if not self.word(document, section, "").strip():
                self.add(section, f"the pattern does not say its `{section}`", sample)
        mirrors = document.get("mirrors", False)
        if not isinstance(mirrors, bool):
            self.add("mirrors", f"{shown(mirrors)} is neither true nor false", "true or false")
            mirrors = False
        nets = dict(self._nets(document))
        parameters = dict(self._parameters(document))
        roles: dict[str, Role] = {}
        for section in [k for k in document if k in ("parts", "patterns")]:  # as they stand
            for key, entry in self._entries(document, section):
                if section == "parts":
                    role = self._role(key, entry, parameters)
                    made_here = [role] if role else []
                else:
                    taken = {*nets, *(n for r in roles.values() for n in r.nets.values())}
                    made_here = self._nested(key, entry, taken)
                for role in made_here:
                    if role.name in roles:
                        wrong = f"`{role.name}` is a part already"
                        self.add(f"{section}.{key}", wrong, "another name")
                    roles[role.name] = role
        example = self.word(document, "example", "")
        what, why = self.word(document, "is", ""), self.word(document, "why", "")
        made = Pattern(name, self.path, what, why, mirrors, nets, parameters, roles, example)
        self._agree(made)
        problems = sorted(self.problems, key=lambda p: (p.line, p.column, p.path))
        bad = any(p.severity == "error" for p in [*problems, *self.further])
        return (None if bad else made), problems + self.further

    def _entries(self, document: CommentedMap, name: str) -> Iterator[tuple[str, CommentedMap]]:
        """Usable lines of a section, their names fit for the use of a pattern."""
        for key, entry in self.section(document, name).items():
            where = f"{name}.{key}"
            if not _INSIDE.fullmatch(key):
                self.add(
                    where, f"`{key}` is no name for a part of a pattern", "such as pass or top"
                )
            elif not isinstance(entry, CommentedMap):
                self.add(where, f"{shown(entry)} stands where an entry belongs", self.samples[name])
            else:
                yield key, entry

    def _nets(self, document: CommentedMap) -> Iterator[tuple[str, PatternNet]]:
        for key, entry in self.section(document, "nets").items():
            where = f"nets.{key}"
            if key == COMMON:
                wrong = f"`{COMMON}` is the common net of wherever the pattern is placed"
                self.add(where, wrong, "another name, with net: common")
                continue
            if isinstance(entry, str):
                yield key, PatternNet(key, entry)
                continue
            if not isinstance(entry, CommentedMap) or not isinstance(entry.get("is"), str):
                self.add(where, "nothing says what this net is", f"{key}: what feeds it")
                continue
            for word in entry:
                if word not in ("is", "net", "optional"):
                    known_ = ("is", "net", "optional")
                    self.add(
                        f"{where}.{word}", f"there is no `{word}` here", near_or_all(word, known_)
                    )
            follows = str(entry.get("net", ""))
            others = [COMMON, *(k for k in document["nets"] if k != key)]
            if follows and follows not in others:
                wrong = f"there is no net `{follows}` to be the same as"
                self.add(f"{where}.net", wrong, near_or_all(follows, others))
            if not isinstance(entry.get("optional", False), bool):
                self.add(f"{where}.optional", "is neither true nor false", "optional: true")
            yield (
                key,
                PatternNet(key, entry["is"], follows, entry.get("optional") is True),
            )

    def _parameters(self, document: CommentedMap) -> Iterator[tuple[str, Parameter]]:
        for key, entry in self.section(document, "parameters").items():
            where = f"parameters.{key}"
            if not isinstance(entry, CommentedMap):
                self.add(where, f"{shown(entry)} is no parameter", self.samples["parameters"])
                continue
            known_ = ("unit", "default", "is", "why")
            for word in entry:
                if word not in known_:
                    self.add(
                        f"{where}.{word}", f"there is no `{word}` here", near_or_all(word, known_)
                    )
            unit = entry.get("unit")
            if unit not in (*UNITS, "text"):
                wrong = f"{shown(unit)} is no unit here" if "unit" in entry else "no unit is given"
                self.add(f"{where}.unit", wrong, f"one of {', '.join([*UNITS, 'text'])}")
                continue
            default = None if entry.get("default") is None else str(entry["default"])
            for word in ("is", "why") if default is not None else ("is",):
                if not isinstance(entry.get(word), str):
                    wrong = (
                        "nothing says what it is" if word == "is" else "the default has no reason"
                    )
                    self.add(where, wrong, f"{word}: in a few words")
            found = Parameter(
                key, unit, str(entry.get("is", "")), default, str(entry.get("why", ""))
            )
            bad = found.wrong(default) if default is not None else None
            if bad:
                self.add(f"{where}.default", *bad)
            yield key, found

    def _role(
        self, key: str, entry: CommentedMap, parameters: Mapping[str, Parameter]
    ) -> Role | None:
        where, before = f"parts.{key}", len(self.problems)
        absent, what = entry.get("absent", ""), entry.get("is")
        if not isinstance(what, str):
            self.add(where, "nothing says what this part does", "is: in a few words")
        plain = {str(k): v for k, v in entry.items() if k not in OWN_KEYS}
        kind = self._kind(where, plain)
        mirrored = entry.get("mirrored", {})
        if not isinstance(mirrored, Mapping):
            self.add(f"{where}.mirrored", f"{shown(mirrored)} is no entry", "{type: MJ2955}")
            mirrored = {}
        if kind is None:
            return None
        nets = _nets_in(plain, kind)
        fields = {k: v for k, v in plain.items() if k not in nets}
        if "windings" in fields and isinstance(fields["windings"], Mapping):
            fields["windings"] = {
                n: {k: v for k, v in w.items() if k not in ("start", "end")}
                for n, w in fields["windings"].items()
                if isinstance(w, Mapping)
            }
        ends = str(absent).split("-")
        if absent not in ("", *ABSENT) and not (len(ends) == 2 and set(ends) <= nets.keys()):
            wrong = f"{shown(absent)} does not say what is there without it"
            advice = "open, joined, or two of its terminals that are one then, such as b-e"
            self.add(f"{where}.absent", wrong, advice)
        role = Role(key, str(what), fields, nets, str(absent), dict(mirrored))
        for form in (fields, {**fields, **mirrored}):
            self._try(key, form, nets, parameters)
            if not mirrored:
                break
        return role if len(self.problems) == before else None

    def _kind(self, where: str, plain: Mapping[str, Any]) -> str | None:
        name = plain.get("kind")
        if name is None:
            row = catalogue.load().get(str(plain.get("type")))
            if row is None:
                said = "type" if "type" in plain else ""
                wrong = "the part has no kind, and no type the catalogue knows"
                self.add(f"{where}.{said}" if said else where, wrong, "kind: resistor, npn, …")
                return None
            return row.kind
        if str(name) not in REGISTRY.kinds:
            close = near(name, REGISTRY.kinds)
            self.add(f"{where}.kind", f"there is no kind {shown(name)}", close)
            return None
        return str(name)

    def _try(
        self,
        key: str,
        fields: Mapping[str, Any],
        nets: Mapping[str, str],
        parameters: Mapping[str, Parameter],
    ) -> None:
        """Read a part as it would be with every default; one that lacks a value is not tried."""
        entry, whole = self._defaults(f"parts.{key}", fields, parameters)
        for terminal, net in nets.items():
            put(entry, terminal, net)
        if whole:
            self.part(key, CommentedMap(entry))

    def _defaults(
        self, where: str, fields: Mapping[str, Any], parameters: Mapping[str, Parameter]
    ) -> tuple[dict[str, Any], bool]:
        found: dict[str, Any] = {}
        whole = True
        for name, value in fields.items():
            if isinstance(value, Mapping):
                found[name], sound = self._defaults(f"{where}.{name}", value, parameters)
                whole = whole and sound
            elif isinstance(value, str) and value.startswith("="):
                parameter = parameters.get(value[1:])
                if parameter is None:
                    wrong = f"there is no parameter `{value[1:]}`"
                    advice = near(value[1:], parameters) or "one that stands under `parameters`"
                    self.add(f"{where}.{name}", wrong, advice)
                whole = whole and parameter is not None and parameter.default is not None
                found[name] = parameter.default if parameter else None
            else:
                found[name] = value
        return found, whole

    def _nested(self, key: str, entry: CommentedMap, taken: set[str]) -> list[Role]:
        """Parts of a pattern used by this one; their references are names of roles here, and nets
        inside it keep their names unless those are `taken`."""
        pattern = find_used(self, f"patterns.{key}", entry, self.library, self.chain)
        if pattern is None:
            return []

        def inside(net: str) -> str:
            return f"{key}_{net}" if net in taken else net

        use = Use(pattern, inside, entry, lambda at, *said: self.add(f"patterns.{key}.{at}", *said))
        kept = {line.ref: role for role, line in use.lines.items()}
        return [
            Role(
                p.ref,
                p.role.what,
                p.fields,
                p.nets,
                pattern.roles[kept[p.ref]].absent,
                p.role.mirrored if p.role.fields.items() <= p.fields.items() else {},
            )
            for p in use.placed()
        ]

    def _agree(self, made: Pattern) -> None:
        """Names that would mean two things, nets that go nowhere, negative forms not given."""
        seen: dict[str, str] = dict.fromkeys(RESERVED, "a word of every use")
        for what, names in (
            ("a net", made.nets),
            ("a parameter", made.parameters),
            ("a part", made.roles),
        ):
            for name in names:
                if name in seen:
                    section = {"a net": "nets", "a parameter": "parameters"}.get(what, "parts")
                    wrong = f"`{name}` is {seen[name]} and {what}"
                    self.add(f"{section}.{name}", wrong, "another name for one of them")
                seen[name] = what
        for name in made.inner():
            if name in seen:
                wrong = f"`{name}` is a net inside and {seen[name]}"
                self.add("parts", wrong, "another name for one of them")
        if self.further or any(p.path.startswith(("parts", "patterns")) for p in self.problems):
            return  # with parts missing, what follows would only be their echo
        ends = [(n, r.name, t) for r in made.roles.values() for t, n in r.nets.items()]
        for net, role, terminal in ends:
            if net not in made.nets and net != COMMON and [e[0] for e in ends].count(net) == 1:
                wrong = f"net `{net}` has only this one terminal"
                advice = near(net, [n for n, *_ in ends if n != net] + [*made.nets])
                self.add(f"parts.{role}.{terminal}", wrong, advice or "it under `nets` as well")
        used = {n for n, *_ in ends}
        for net_ in made.nets:
            if net_ not in used:
                self.add(f"nets.{net_}", f"no part of the pattern is on `{net_}`", near(net_, used))
        said = {v[1:] for r in made.roles.values() for v in _texts(r.fields) if v[:1] == "="}
        for parameter in made.parameters:
            if parameter not in said:
                wrong = f"no part uses `{parameter}`"
                self.add(f"parameters.{parameter}", wrong, f"={parameter} where it belongs")
        for role_ in made.roles.values() if made.mirrors else ():
            typed = "type" in role_.fields and not str(role_.fields["type"]).startswith("=")
            if role_.kind in MIRROR_KIND and typed and "type" not in role_.mirrored:
                wrong = f"the {role_.name} has no type for a negative supply"
                self.add(f"parts.{role_.name}.type", wrong, "mirrored: {type: …}")
        if not made.roles and not self.problems:
            self.add(
                "parts", "the pattern has no part", f"parts: and under it {self.samples['parts']}"
            )


def _texts(fields: Mapping[str, Any]) -> Iterator[str]:
    for value in fields.values():
        if isinstance(value, Mapping):
            yield from _texts(value)
        elif isinstance(value, str):
            yield value


def _nets_in(entry: Mapping[str, Any], kind: str) -> dict[str, str]:
    """Terminal -> net of one part of a pattern."""
    found = {t: str(entry[t]) for t in REGISTRY.kinds[kind].TERMINALS if t in entry}
    windings = entry.get("windings")
    for name, winding in windings.items() if isinstance(windings, Mapping) else ():
        for end in ("start", "end"):
            if isinstance(winding, Mapping) and end in winding:
                found[f"windings.{name}.{end}"] = str(winding[end])
    return found
