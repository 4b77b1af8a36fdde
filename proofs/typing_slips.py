"""Seeded typing errors in the first three demos: is the slip among the first three explanations?

    python proofs/typing_slips.py [--cases 300] [--seed 1] [--json FILE] [--only DEMO] [--show]

Each case is a demo's file with one slip made in its text, as a hand makes them; nothing of the
program under test draws it. Sorts are drawn by RATES, which are ours (common practice, no published
source). A slip that changes nothing a file says, such as a decade on a small capacitor, is drawn
and counted like any other. A slip is *named* when one of the first three explanations

* undoes it exactly: every part as in the right file, ends of a resistor and the like in any order;
* or is about the same entry of the same part with a value within 10 % of the right one;
* or, for a part left out, says that this reference is left out (how often the nets were right too
  is told beside it); for a mistyped claim, says that this claim is mistyped.

With `--json` each case is written as it is done and a rerun goes on where it stopped. Exit code 1
when fewer than 80 % are named, or a right file is complained about.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

from halfsplit.assembly.edit import apply_edits
from halfsplit.assembly.file import load_anyway
from halfsplit.bench.proofread import Explanation, proofread
from halfsplit.faults.slips import ALIKE, SYMMETRIC, terminals_of

ROOT = Path(__file__).resolve().parents[1]
DEMOS = ("hd40/pt3", "stile17/ob8", "type88/supply")
RIGHT_FILES = (*DEMOS, "tl6/su6")
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
        if "volts: {" in line or "limits: " in line or re.match(r"^     \w+: ", line)
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


def named(found: Explanation, sort: str, ref: str, wrong: Path, right: Path) -> tuple[bool, bool]:
    """Whether an explanation names the slip, and whether undoing it gives the right file."""
    exact = False
    if found.edits:
        with tempfile.TemporaryDirectory() as folder:
            trial = Path(folder) / wrong.name
            trial.write_bytes(wrong.read_bytes())
            try:
                apply_edits(trial, found.edits)
                exact = signature(trial) == right_signature(right)
            except Exception:  # an edit that cannot be made undoes nothing
                exact = False
    if sort == "part left out":
        return exact or (found.sort == "left out" and found.part == ref), exact
    if sort == "claim mistyped":
        return exact or (found.sort == "claim" and _claimed(found.part, wrong, right)), exact
    if not exact and found.sort == "value" and found.part == ref and len(found.edits) == 1:
        a, b = load_anyway(wrong)[0], load_anyway(right)[0]
        key = found.edits[0].path.rpartition(".")[2]
        if a is not None and b is not None and ref in b.parts:
            want, typed = b.parts[ref].__dict__.get(key), a.parts[ref].__dict__.get(key)
            with tempfile.TemporaryDirectory() as folder:
                trial = Path(folder) / wrong.name
                trial.write_bytes(wrong.read_bytes())
                apply_edits(trial, found.edits)
                c = load_anyway(trial)[0]
            got = None if c is None else c.parts[ref].__dict__.get(key)
            if want != typed and got and want:
                return abs(got / want - 1.0) <= 0.10, False
    return exact, exact


def _claimed(path: str, wrong: Path, right: Path) -> bool:
    a, b = load_anyway(wrong)[0], load_anyway(right)[0]
    if a is None or b is None:
        return False
    steps = path.split(".")
    if steps[0] == "rails":
        return a.rails[steps[1]].limits != b.rails[steps[1]].limits
    one, other = (getattr(x.printed[steps[1]], steps[2])[steps[3]] for x in (a, b))
    return bool(one != other)


def run_case(demo: str, seed: int, number: int) -> dict[str, Any]:
    """Make a slip, proofread, and say whether it was named."""
    sort, ref, said, text = draw(demo, seed, number)
    right = ROOT / "examples" / f"{demo}.yaml"
    with tempfile.TemporaryDirectory() as folder:
        wrong = Path(folder) / right.name
        wrong.write_text(text, encoding="utf-8")
        found = proofread(wrong)
        place, exact = 0, False
        for i, one in enumerate(found.explanations[:3]):
            hit, exact = named(one, sort, ref, wrong, right)
            if hit:
                place = i + 1
                break
    return {
        "demo": demo,
        "number": number,
        "sort": sort,
        "slip": said,
        "disagreements": len(found.disagreements),
        "place": place,
        "exact": bool(place and exact),
        "first": [f"{e.weight:.3f} {e.words}" for e in found.explanations[:3]],
    }


def summary(rows: list[dict[str, Any]], alarms: dict[str, int]) -> int:
    """Print the score; 1 when it falls short."""
    print("sort                    drawn  named in three  first  exactly undone  nothing disagrees")
    for sort in (*RATES, "all"):
        listed = [r for r in rows if sort in (r["sort"], "all")]
        three = sum(1 <= r["place"] <= 3 for r in listed)
        first = sum(r["place"] == 1 for r in listed)
        exact = sum(1 <= r["place"] <= 3 and r["exact"] for r in listed)
        silent = sum(r["disagreements"] == 0 for r in listed)
        print(f"{sort:22} {len(listed):6} {three:15} {first:6} {exact:15} {silent:18}")
    for demo, number in Counter(r["demo"] for r in rows).items():
        three = sum(1 <= r["place"] <= 3 for r in rows if r["demo"] == demo)
        print(f"{demo}: {three} of {number}")
    for demo, number in alarms.items():
        print(f"right file {demo}: {number} disagreements")
    good = sum(1 <= r["place"] <= 3 for r in rows)
    return int(good < 0.8 * len(rows) or any(alarms.values()))


def main() -> int:
    """Run what is left of the cases, then print the score."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--cases", type=int, default=300)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--json", type=Path)
    ask.add_argument("--only", choices=DEMOS)
    ask.add_argument("--show", action="store_true", help="print every case not named")
    said = ask.parse_args()
    rows: list[dict[str, Any]] = []
    if said.json and said.json.exists():
        rows = [json.loads(line) for line in said.json.read_text().splitlines()]
    done = {(r["demo"], r["number"]) for r in rows}
    for number in range(said.cases):
        demo = DEMOS[number % len(DEMOS)]
        if (demo, number) in done or said.only not in (None, demo):
            continue
        try:
            rows.append(run_case(demo, said.seed, number))
        except Exception as error:  # a case that breaks the program is one not named
            row = {"demo": demo, "number": number, "sort": draw(demo, said.seed, number)[0]}
            said_of = {"slip": repr(error), "disagreements": -1, "place": 0, "exact": False}
            rows.append({**row, **said_of, "first": []})
        if said.json:
            with said.json.open("a", encoding="utf-8") as log:
                log.write(json.dumps(rows[-1]) + "\n")
    if said.show:
        for row in rows:
            if not 1 <= row["place"] <= 3:
                print(f"{row['demo']} {row['number']}: {row['sort']}: {row['slip']}; {row['disagreements']} disagree; {row['first']}")  # fmt: skip # noqa: E501
    alarms = {d: len(proofread(ROOT / "examples" / f"{d}.yaml").disagreements) for d in RIGHT_FILES}
    return summary(rows, alarms)


if __name__ == "__main__":
    sys.exit(main())
