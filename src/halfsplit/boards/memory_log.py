"""Read what a memory test printed, or a plain list of address, written, read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from halfsplit.boards.model import Code
from halfsplit.boards.numbers import RADIX, Base, read_number
from halfsplit.problems import Problem
from halfsplit.quantity import QuantityError

Kind = Literal["address", "data", "pause"]
KINDS: tuple[Kind, ...] = ("address", "data", "pause")
_DIGITS = "([0-9A-Fa-f]+|[.]+)"
_PLACE = re.compile(r"\{(A|W|R|X|LO|HI)\}")
_HEADING = re.compile(
    r"\W*(?:test\s*[:=]?\s*)?(?P<kind>address|data|pause|retention|refresh)(?:\s+test)?\s*[:=]?\s*"
    r"(?P<end>ok|passed|pass|no errors?|stopped)?\s*",
    re.I,
)
_END = re.compile(r"\W*(ok|passed|pass|no errors?|stopped|cold|warm)\W*", re.I)
_COLUMNS = re.compile(r"\s*([0-9A-Fa-fxo]+)[\s,;]+([0-9A-Fa-fxo]+)[\s,;]+([0-9A-Fa-fxo]+)\s*")
# Longest log taken: a whole memory failing every one of several tests stays far below it.
MOST_LINES = 2_000_000
LONGEST = 400  # characters of a line that may be a message; terminals had 132


@dataclass(frozen=True)
class Run:
    """One test as it was printed.

    Attributes
    ----------
    fails: (address, word written, word read). pairs: (address or None, exclusive-or of it and the
    address that reached the same word). cut: printing stopped before the test ended, so addresses
    after the last one printed say nothing. warm: None when not said.
    """

    kind: Kind
    fails: tuple[tuple[int, int, int], ...] = ()
    pairs: tuple[tuple[int | None, int], ...] = ()
    cut: bool = False
    warm: bool | None = None

    @property
    def passed(self) -> bool:
        """Whether it ran and found nothing."""
        return not self.fails and not self.pairs


@dataclass(frozen=True)
class Log:
    """Everything a paste held: tests in order, range tested, codes and their lines, the rest."""

    runs: tuple[Run, ...]
    first: int | None = None
    last: int | None = None
    codes: tuple[tuple[str, str], ...] = ()
    unused: tuple[str, ...] = ()


@dataclass
class _Reader:
    base: Base
    where: str
    runs: list[Run] = field(default_factory=list)
    now: Run | None = None
    fails: list[tuple[int, int, int]] = field(default_factory=list)
    pairs: list[tuple[int | None, int]] = field(default_factory=list)
    warm: bool | None = None
    limits: dict[str, int] = field(default_factory=dict)
    codes: dict[str, str] = field(default_factory=dict)
    unused: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def open(self, kind: Kind) -> None:
        """Begin a test, ending the one before if it is of another kind."""
        if self.now is not None and self.now.kind != kind:
            self.close()
        if self.now is None:
            self.now = Run(kind, warm=self.warm)

    def close(self, cut: bool = False) -> None:
        """End the test that is open."""
        if self.now is not None:
            self.runs.append(
                replace(self.now, fails=tuple(self.fails), pairs=tuple(self.pairs), cut=cut)
            )
        self.now, self.fails, self.pairs = None, [], []

    def number(self, text: str, line: int) -> int | None:
        """A number of the machine, or None with the reason recorded."""
        try:
            return int(text, RADIX[self.base])  # nearly every one; the rest say their own base
        except ValueError:
            pass
        try:
            return read_number(text, self.base)
        except QuantityError as error:
            wrong = f"“{error.text}”: {error.wrong}"
            self.problems.append(Problem(self.where, line, 1, "", wrong, error.instead))
        return None

    def heading(self, kind: str, end: str) -> None:
        """A line that names a test, and perhaps how it went."""
        short: Kind = "address" if kind == "address" else "data" if kind == "data" else "pause"
        self.close()
        self.open(short)
        if end:
            self.close(cut=end == "stopped")

    def say(self, word: str) -> None:
        """A line that ends a test or tells how warm the machine is."""
        if word in ("cold", "warm"):
            self.close()
            self.warm = word == "warm"
        elif self.now is not None:
            self.close(cut=word == "stopped")

    def code(self, name: str, code: Code, found: Mapping[str, str], line: int, said: str) -> None:
        """A line in the machine's own words."""
        self.codes.setdefault(name, said)
        values = {}
        for key, text in found.items():
            if not text.startswith("."):
                value = self.number(text, line)
                if value is None:
                    return
                values[key] = value
        if code.test == "range":
            self.limits.update(values)
        elif code.test == "all" and code.passed:
            self.close()
            for each in KINDS:
                self.open(each)
                self.close()
        elif code.test in KINDS:
            kind: Kind = code.test
            if code.passed:
                self.open(kind)
                self.close()
                return
            if {"A", "W", "R"} <= set(values) and "X" not in values:
                self.fail(kind, values["A"], values["W"], values["R"], line)
                return
            self.open(kind)
            if "X" in values:
                self.pairs.append((values.get("A"), values["X"]))

    def fail(self, kind: Kind, address: int, written: int, read: int, line: int) -> None:
        """One word that came back wrong. One that came back right opens no test: none passed."""
        if written == read:
            wrong = "what was read is what was written, so nothing failed here"
            self.problems.append(Problem(self.where, line, 1, "", wrong, "only words that differ"))
        else:
            self.open(kind)
            self.fails.append((address, written, read))


def pattern(says: str) -> tuple[re.Pattern[str], list[str]]:
    """Pattern of a message template, and which place holds what."""
    names: list[str] = []
    out = []
    at = 0
    for place in _PLACE.finditer(says):
        out.append(_literal(says[at : place.start()]))
        out.append(_DIGITS)
        names.append(place[1])
        at = place.end()
    out.append(_literal(says[at:]))
    return re.compile(r"\s*" + "".join(out) + r"\s*"), names


def _literal(text: str) -> str:
    """A piece of a message, taking any stretch of blanks for a blank."""
    return r"\s+".join(re.escape(p) for p in re.split(r"\s+", text))


def read_log(
    text: str | Iterable[str],
    base: Base,
    codes: Mapping[str, Code] | None = None,
    where: str = "",
) -> tuple[Log, list[Problem]]:
    """Tests and failures in pasted output.

    A line is one of the machine's own messages (`codes`), three columns (address, written, read),
    a heading such as ``address test``, ``data test: ok`` or ``pause test``, a word of its own line
    (``ok``, ``stopped``, ``cold``, ``warm``), or something else, which is kept as unused. Columns
    before any heading are a data test.
    """
    known = [(n, c, *pattern(c.says)) for n, c in (codes or {}).items() if c.says is not None]
    to = _Reader(base, where)
    lines = text.splitlines() if isinstance(text, str) else text
    for number, raw in enumerate(lines, 1):
        line = raw.strip()
        if not line:
            continue
        if number > MOST_LINES:
            wrong = f"more than {MOST_LINES} lines"
            to.problems.append(Problem(where, number, 1, "", wrong, "the failing lines only"))
            break
        if len(line) > LONGEST:  # no message is, and patterns take long over what is
            to.unused.append(line)
            continue
        plain = " ".join(line.split())
        hit = next(((n, c, m, names) for n, c, p, names in known if (m := p.fullmatch(line))), None)
        if hit:
            name, code, match, names = hit
            to.code(name, code, dict(zip(names, match.groups(), strict=True)), number, line)
        elif columns := _COLUMNS.fullmatch(line):
            values = [to.number(c, number) for c in columns.groups()]
            if None not in values:
                kind: Kind = to.now.kind if to.now else "data"
                to.fail(kind, *values, number)  # type: ignore[call-arg, arg-type]
        elif head := _HEADING.fullmatch(plain):
            to.heading(head["kind"].lower(), (head["end"] or "").lower())
        elif end := _END.fullmatch(plain):
            to.say(end[1].lower())
        else:
            to.unused.append(line)
    to.close()
    limits = to.limits
    log = Log(
        tuple(to.runs),
        limits.get("LO"),
        limits.get("HI"),
        tuple(to.codes.items()),
        tuple(to.unused),
    )
    return log, to.problems
