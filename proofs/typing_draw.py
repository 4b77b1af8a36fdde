"""Slips as a hand makes them, drawn in the text of a demo's file.

Nothing of the program under test draws them. Sorts are drawn by RATES, which are ours (common
practice, no published source). A slip that changes nothing a file says, such as a decade on a small
capacitor, is drawn and counted like any other.
"""

from __future__ import annotations

import random
import re
import tempfile
from pathlib import Path
from typing import Any

from halfsplit.assembly.file import load_anyway
from halfsplit.faults.slips import ALIKE, SYMMETRIC, terminals_of

ROOT = Path(__file__).resolve().parents[1]
RATES = {
    "decade or letter": 17,
    "digit of a value": 12,
    "value of a neighbour": 8,
    "wrong net": 18,
    "misspelled net": 4,
    "leads exchanged": 18,
    "part left out": 15,
    "digit of a reference": 3,
    "npn for pnp": 3,
    "claim mistyped": 2,
}
LINE = re.compile(r"^  (?P<ref>[A-Z]+\d+[A-Z]?): +\{(?P<body>.*)\}\s*$")
VALUE = re.compile(r"\b(value|coil): (?P<text>[^,}]+)")
LOOK_ALIKE = {"1": "7", "7": "1", "3": "8", "8": "3", "5": "6", "6": "5", "0": "8", "4": "9", "9": "4", "2": "7"}  # fmt: skip # noqa: E501
LEADS = ("a", "b", "k", "c", "e", "g", "s", "pos", "neg", "plus", "minus", "out", "in", "com", "wiper", "ac1", "ac2", "c1", "c2", "a1", "a2", "vpos", "vneg")  # fmt: skip # noqa: E501


class Text:
    """The lines of a demo's file and its part entries."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        begin = next(i for i, line in enumerate(self.lines) if line.startswith("parts:"))
        end = next(i for i, line in enumerate(self.lines) if line.startswith("rails:"))
        found = ((i, LINE.match(self.lines[i])) for i in range(begin, end))
        self.parts = {m["ref"]: (i, m["body"]) for i, m in found if m}

    def with_line(self, at: int, old: str, new: str) -> str:
        """The file with one line changed."""
        lines = list(self.lines)
        assert old in lines[at]
        lines[at] = lines[at].replace(old, new, 1)
        return "".join(lines)

    def leads(self, ref: str) -> dict[str, str]:
        """Leads of a part that carry current the machine works with, and their nets."""
        listed = dict(re.findall(r"\b(\w+): ([\w.]+)(?=[,}]|$)", self.parts[ref][1] + "}"))
        return {t: n for t, n in listed.items() if t in LEADS and not n[0].isdigit()}

    def nets(self) -> list[str]:
        """Every net of these entries."""
        return list(dict.fromkeys(n for r in self.parts for n in self.leads(r).values()))

    def kind(self, ref: str) -> str:
        """Kind of a part, or its type."""
        found = re.search(r"\b(?:kind|type): ([^,}]+)", self.parts[ref][1])
        return found[1] if found else ""


def decade(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """A value ten times too high or low, or with another letter."""
    ref = rng.choice([r for r in text.parts if VALUE.search(text.parts[r][1])])
    at, body = text.parts[ref]
    found = VALUE.search(body)
    assert found
    old = found["text"]
    letters = {"k": "RM", "R": "k", "M": "k", "u": "n", "n": "up", "p": "n", "m": "u"}
    swapped = [c for c in old if c in letters]
    if swapped and rng.random() < 0.2:
        new = old.replace(swapped[0], rng.choice(letters[swapped[0]]), 1)
    else:
        new = _shifted(old, rng.choice((1, -1)))
    return None if new is None else (ref, f"{ref} {old} typed {new}", text.with_line(at, found[0], found[0].replace(old, new)))  # fmt: skip # noqa: E501


def _shifted(text: str, by: int) -> str | None:
    """A value with its point one place off: 4k7 -> 47k or R47k as 470R."""
    found = re.fullmatch(r"(\d*)([A-Za-z.]*)(\d*)([A-Za-z]*)", text)
    if not found:
        return None
    whole, letter, part, unit = found.groups()
    if letter in ("k", "R", "M", "u", "n", "p", "m"):
        digits, place = whole + part, len(whole) + by
        digits = digits.ljust(place, "0") if place > 0 else digits
        if place < 0:
            digits, place = "0" * -place + digits, 0
        head, tail = digits[:place], digits[place:].rstrip("0")
        return f"{head}{letter}{tail}{unit}" if head or tail else None
    number = float(f"{whole}{letter if letter == '.' else ''}{part}" or 0)
    suffix = unit if letter == "." else letter + unit
    return f"{number * 10.0**by:g}{suffix}"


def digit(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """One digit of a value misread, half the time for one that looks alike."""
    ref = rng.choice([r for r in text.parts if VALUE.search(text.parts[r][1])])
    at, body = text.parts[ref]
    found = VALUE.search(body)
    assert found
    old = found["text"]
    i = rng.choice([i for i, c in enumerate(old) if c.isdigit()])
    new = LOOK_ALIKE[old[i]] if rng.random() < 0.5 else rng.choice("0123456789")
    made = old[:i] + new + old[i + 1 :]
    if not re.search(r"[1-9]", made):
        return None
    return (
        ref,
        f"{ref} {old} typed {made}",
        text.with_line(at, found[0], found[0].replace(old, made)),
    )


def neighbour(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """The value of the nearest part of its kind above or below."""
    ref = rng.choice([r for r in text.parts if VALUE.search(text.parts[r][1])])
    refs = [
        r for r in text.parts if text.kind(r) == text.kind(ref) and VALUE.search(text.parts[r][1])
    ]
    i = refs.index(ref) + rng.choice((1, -1))
    if not 0 <= i < len(refs):
        return None
    at, body = text.parts[ref]
    found, other = VALUE.search(body), VALUE.search(text.parts[refs[i]][1])
    assert found and other
    new = found[0].replace(found["text"], other["text"])
    said = f"{ref} {found['text']} typed {other['text']}, of {refs[i]}"
    return ref, said, text.with_line(at, found[0], new)


def wrong_net(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """One lead on a net that is there: spelled alike, of a line near by, or any."""
    ref = rng.choice(list(text.parts))
    leads = text.leads(ref)
    if not leads:
        return None
    lead = rng.choice(list(leads))
    refs = list(text.parts)
    i = refs.index(ref)
    near = [n for r in refs[max(i - 2, 0) : i + 3] if r != ref for n in text.leads(r).values()]
    alike = [n for n in text.nets() if len(n) == len(leads[lead]) and sum(a != b for a, b in zip(n, leads[lead], strict=True)) == 1]  # fmt: skip # noqa: E501
    way = rng.random()
    pool = alike if way < 0.35 and alike else near if way < 0.7 else text.nets()
    net = rng.choice(pool)
    return _moved(text, ref, lead, leads[lead], net)


def misspelled(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """One lead on a net that is nowhere: a letter left out, doubled or wrong."""
    ref = rng.choice(list(text.parts))
    leads = text.leads(ref)
    if not leads:
        return None
    lead = rng.choice(list(leads))
    old = leads[lead]
    i = rng.randrange(len(old))
    made = rng.choice((old[:i] + old[i + 1 :], old[:i] + old[i] + old[i:], old[:i] + rng.choice("abcenprst1235") + old[i + 1 :]))  # fmt: skip # noqa: E501
    if not made or not made[0].isalpha() or made in text.nets():
        return None
    return _moved(text, ref, lead, old, made)


def _moved(text: Text, ref: str, lead: str, old: str, new: str) -> tuple[str, str, str]:
    at = text.parts[ref][0]
    found = re.search(rf"\b{lead}: {re.escape(old)}(?=[,}}])", text.lines[at])
    assert found
    said = f"{ref} {lead} {old} typed {new}"
    return ref, said, text.with_line(at, found[0], f"{lead}: {new}")


def leads_exchanged(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """Two leads of a part the other way round."""
    ref = rng.choice(list(text.parts))
    leads = text.leads(ref)
    if len(leads) < 2:
        return None
    one, two = rng.sample(list(leads), 2)
    at, body = text.parts[ref]
    new = re.sub(rf"\b{one}: {re.escape(leads[one])}(?=[,}}]|$)", f"{one}: \0", body)
    new = re.sub(rf"\b{two}: {re.escape(leads[two])}(?=[,}}]|$)", f"{two}: {leads[one]}", new)
    new = new.replace("\0", leads[two])
    return ref, f"{ref} {one} and {two} exchanged", text.with_line(at, body, new)


def left_out(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """A line not typed."""
    ref = rng.choice(list(text.parts))
    lines = list(text.lines)
    del lines[text.parts[ref][0]]
    return ref, f"{ref} left out", "".join(lines)


def reference(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """One digit of a reference misread, for one that is not there."""
    ref = rng.choice(list(text.parts))
    i = rng.choice([i for i, c in enumerate(ref) if c.isdigit()])
    new = LOOK_ALIKE[ref[i]] if rng.random() < 0.5 else rng.choice("123456789")
    made = ref[:i] + new + ref[i + 1 :]
    if made in text.parts or re.search(r"[A-Z]0", made):
        return None
    at = text.parts[ref][0]
    return made, f"{ref} typed {made}", text.with_line(at, f"{ref}:", f"{made}:")


def polarity(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """NPN for PNP."""
    listed = [r for r in text.parts if text.kind(r) in ("npn", "pnp")]
    if not listed:
        return None
    ref = rng.choice(listed)
    old = text.kind(ref)
    new = "pnp" if old == "npn" else "npn"
    said = f"{ref} {old} typed {new}"
    return ref, said, text.with_line(text.parts[ref][0], f"kind: {old}", f"kind: {new}")


def claim(text: Text, rng: random.Random) -> tuple[str, str, str] | None:
    """A digit of a printed voltage or of a limit."""
    listed = [
        (i, m)
        for i, line in enumerate(text.lines)
        if re.search(r"(?:volts|ripple): \{|limits: |^     \w+: ", line)
        for m in re.finditer(r"(?<=: )-?\d[\d.]*(?=V)", line)
    ]
    listed = [(i, m) for i, m in listed if i > min(a for a, _ in text.parts.values()) and LINE.match(text.lines[i]) is None]  # fmt: skip # noqa: E501
    at, found = rng.choice(listed)
    k = rng.choice([k for k, c in enumerate(found[0]) if c.isdigit()])
    new = rng.choice("0123456789")
    made = found[0][:k] + new + found[0][k + 1 :]
    line = text.lines[at]
    lines = list(text.lines)
    lines[at] = line[: found.start()] + made + line[found.end() :]
    return "claim", f"line {at + 1}: {found[0]} typed {made}", "".join(lines)


MAKERS = {
    "decade or letter": decade,
    "digit of a value": digit,
    "value of a neighbour": neighbour,
    "wrong net": wrong_net,
    "misspelled net": misspelled,
    "leads exchanged": leads_exchanged,
    "part left out": left_out,
    "digit of a reference": reference,
    "npn for pnp": polarity,
    "claim mistyped": claim,
}


_KNOWN: dict[Path, Any] = {}


def right_signature(path: Path) -> dict[str, Any] | None:
    """That of a right file, read once."""
    if path not in _KNOWN:
        _KNOWN[path] = signature(path)
    found: dict[str, Any] | None = _KNOWN[path]
    return found


def signature(path: Path) -> dict[str, Any] | None:
    """What a file says of its circuit, the same for files that say the same; None if unreadable."""
    assembly, _ = load_anyway(path)
    if assembly is None:
        return None
    found: dict[str, Any] = {}
    for ref, part in assembly.parts.items():
        nets = dict(terminals_of(part))
        for group in ALIKE.get(part.KIND, ()):
            if all(t in nets for t in group):
                nets.update(zip(group, sorted(nets[t] for t in group), strict=True))
        if part.KIND in SYMMETRIC:
            nets = dict(zip(nets, sorted(nets.values()), strict=True))
        said = {k: repr(v) for k, v in part.__dict__.items() if k not in ("ref", "note", *part.TERMINALS)}  # fmt: skip # noqa: E501
        found[ref] = (nets, said)
    found["claims"] = repr((assembly.printed, assembly.rails))
    return found


def draw(demo: str, seed: int, number: int) -> tuple[str, str, str, str]:
    """Case `number`: sort, part, the slip in words, and the file's text with it."""
    text = Text(ROOT / "examples" / f"{demo}.yaml")
    rng = random.Random(f"{seed} {demo} {number}")
    right = right_signature(text.path)
    with tempfile.TemporaryDirectory() as folder:
        trial = Path(folder) / "case.yaml"
        while True:
            sort = rng.choices(list(RATES), list(RATES.values()))[0]
            made = MAKERS[sort](text, rng)
            if made is None:
                continue
            trial.write_text(made[2], encoding="utf-8")
            changed = signature(trial)
            if changed is not None and changed != right:  # else it is no slip, or no entry at all
                return sort, *made
