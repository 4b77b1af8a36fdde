"""Blocks of a file, drawings that keep their places, and two versions on one picture."""

from __future__ import annotations

import json
import random
import re
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from halfsplit.assembly.file import load
from halfsplit.assembly.model import Assembly
from halfsplit.bench.views import by_blocks
from halfsplit.pictures.blocks import by_block, chosen, compared
from halfsplit.pictures.choice import Choice, whole
from halfsplit.pictures.circuit import sheet_svg
from halfsplit.pictures.kept import keep, places, places_in
from halfsplit.pictures.sections import section, sections
from halfsplit.pictures.sheet import Sheet, clashes
from halfsplit.problems import NotFoundError

ROOT = Path(__file__).resolve().parents[2]
FILES = tuple(
    ROOT / "examples" / name
    for name in ("hd40/pt3.yaml", "stile17/ob8.yaml", "type88/supply.yaml", "tl6/su6.yaml")
)
TRAY = FILES[0]
BY_PATTERN = ROOT / "tests" / "files" / "by-pattern" / "pt3.yaml"


@cache
def assembly(file: Path) -> Assembly:
    found = load(file)[0]
    assert found is not None
    return found


def edited(file: Path, *changes: tuple[str, str]) -> Assembly:
    text = file.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    found, problems = load(file, text)
    assert found is not None, problems
    return found


def spots(sheet: Sheet) -> dict[tuple[str, str], tuple[float, float, bool, bool]]:
    return {s.unit.key: (s.x, s.y, s.upright, s.flip) for s in sheet.symbols}


def joined_wrong(sheet: Sheet) -> list[str]:
    """Pins whose wires are not of their net and no other, and pieces of a net without its name."""
    runs = [
        (w.net, k, p, q)
        for k, w in enumerate(sheet.wires)
        for p, q in zip(w.points, w.points[1:], strict=False)
    ]

    def at(x: float, y: float) -> list[tuple[str, int]]:
        return [
            (net, k)
            for net, k, p, q in runs
            if min(p[0], q[0]) - 0.01 <= x <= max(p[0], q[0]) + 0.01
            and min(p[1], q[1]) - 0.01 <= y <= max(p[1], q[1]) + 0.01
        ]

    found = []
    for s in sheet.symbols:
        for pin in s.unit.symbol.pins:
            net = s.unit.nets[pin.terminal]
            if {n for n, _ in at(*s.at(pin.x, pin.y))} != {net}:
                found.append(f"{s.unit.key} {pin.terminal}")
    group = list(range(len(sheet.wires)))  # wires that touch are one piece
    for k, wire in enumerate(sheet.wires):
        for x, y in (wire.points[0], wire.points[-1]):
            for net, other in at(x, y):
                if net == wire.net:
                    old, new = group[other], group[k]
                    group = [new if g == old else g for g in group]
    named = set()
    for label in sheet.labels:
        if label.net:
            left, top, right, bottom = label.box
            for k, wire in enumerate(sheet.wires):
                near = any(left - 20 <= x <= right + 20 and top - 20 <= y <= bottom + 20
                           for x, y in _along(wire.points))  # fmt: skip
                if wire.net == label.net and near:
                    named.add(group[k])
    for end in sheet.ends:
        named |= {group[k] for net, k in at(end.x, end.y) if net == end.net}
    found += [
        f"unnamed piece of {w.net}" for k, w in enumerate(sheet.wires) if group[k] not in named
    ]
    return found


def _along(points: tuple[tuple[float, float], ...]) -> list[tuple[float, float]]:
    return [
        (p[0] + t / 10 * (q[0] - p[0]), p[1] + t / 10 * (q[1] - p[1]))
        for p, q in pairwise(points)
        for t in range(11)
    ]


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_every_part_is_in_one_block_and_every_block_is_readable(file: Path) -> None:
    at = assembly(file)
    listed = sections(at)
    assert sorted(r for s in listed for r in s.refs) == sorted(at.parts)
    assert len(listed) >= 3 and max(len(s.refs) for s in listed) <= 0.5 * len(at.parts)
    choice, sheet = by_block(at, listed)
    assert clashes(sheet) == [] and joined_wrong(sheet) == []
    assert sorted(spots(sheet)) == sorted(u.key for u in choice.units)


def test_the_tray_falls_apart_as_its_drawing_does() -> None:
    """By the headings its file was typed under; Q13 and what sets P5 hang between two rails."""
    blocks = {s.name: set(s.refs) for s in sections(assembly(TRAY))}
    assert list(blocks) == ["source", "P5", "P12", "N12"]
    assert {"Q1", "Q2", "Q3", "Q4", "CR3", "R1", "R6", "RV1", "C4", "F4"} <= blocks["N12"]
    assert {"Q5", "Q6", "Q7", "Q8", "Q9", "R12", "C7", "F3"} <= blocks["P12"]
    assert {"Q10", "Q11", "Q14", "R21", "C8", "SCR1", "CR4", "F2"} <= blocks["P5"]
    assert {"J1", "T1", "BR1", "C1", "C2", "C3"} <= blocks["source"]


def test_blocks_the_file_opened_go_first_and_patterns_can_be_asked_for() -> None:
    by_pattern = assembly(BY_PATTERN)
    use = next(n for n, refs in by_pattern.groups.items() if len(refs) > 2)
    assert section(by_pattern, use.upper()).refs == by_pattern.groups[use]
    assert all(s.of != "pattern" for s in sections(by_pattern))
    opened = replace(by_pattern, groups={"mine": ("Q1", "Q2")})
    first = sections(opened)[0]
    assert (first.of, first.refs) == ("block", ("Q1", "Q2"))
    with pytest.raises(NotFoundError, match="there are source, P5, P12, N12"):
        section(assembly(TRAY), "nonesuch")


def test_energy_comes_from_the_left() -> None:
    _, sheet = by_block(assembly(TRAY), chosen(assembly(TRAY), ["P5"]))
    x = {s.unit.part.ref: s.x for s in sheet.symbols}
    assert x["F2"] < x["Q10"] < x["R21"]


# -- places kept ----------------------------------------------------------------------------------


@pytest.mark.parametrize("added", ["R99: {kind: resistor, value: 1k, a: p12, b: b10}",
                                   "C99: {kind: film-capacitor, value: 10n, a: p5, b: com}",
                                   "Q99: {kind: npn, c: vrp, b: b5, e: p12}"])  # fmt: skip
def test_one_part_added_moves_no_other(added: str) -> None:
    before, after = assembly(TRAY), edited(TRAY, ("\nrails:\n", f"  {added}\n\nrails:\n"))
    _, _, first, kept = by_blocks(before)
    assert not kept
    choice, _, second, kept = by_blocks(after, kept=first)
    assert kept
    text = places_in(first)
    sheet = keep(text or "", choice)
    assert sheet is not None and clashes(sheet) == [] and joined_wrong(sheet) == []

    def drawn(svg: str) -> dict[str, str]:
        found = re.findall(r'data-part="([^"]+)".*?transform="([^"]+)"', svg)
        return {f"{ref} {k}": where for k, (ref, where) in enumerate(found)}

    old, new = drawn(first), drawn(second)
    assert len(old) == len(by_blocks(before)[0].units) and new.items() > old.items()
    assert len(new) == len(old) + 1  # to the pixel, in the picture itself


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_any_part_taken_out_leaves_the_rest_in_place(file: Path) -> None:
    """Four seeded ones of a file's parts, one after the other out of the same drawing."""
    at = assembly(file)
    _, first = by_block(at, sections(at))
    text, stood = places(first), spots(first)
    refs = sorted(at.parts)
    for ref in random.Random(file.stem).sample(refs, 4):
        less = replace(at, parts={k: p for k, p in at.parts.items() if k != ref})
        sheet = keep(text, whole(less))
        assert sheet is not None
        assert spots(sheet) == {k: v for k, v in stood.items() if k[0] != ref}
        assert clashes(sheet) == [] and joined_wrong(sheet) == [], ref


def test_a_value_and_a_terminal_changed_where_they_stood() -> None:
    after = edited(
        TRAY,
        ("value: 220R, power: 0.25W, a: b1", "value: 222R, power: 0.25W, a: b1"),
        ("a: n1x, b: n1}", "a: n1x, b: b1}"),
    )
    choice, _, svg, kept = by_blocks(after, kept=by_blocks(assembly(TRAY))[2])
    assert kept and "222 Ω 0.25 W" in svg and "220 Ω 0.25 W" in svg  # R8 has that value too
    sheet = keep(places_in(svg) or "", choice)
    old = spots(by_block(assembly(TRAY), sections(assembly(TRAY)))[1])
    assert sheet is not None and clashes(sheet) == [] and joined_wrong(sheet) == []
    moved = {k for k, v in spots(sheet).items() if v[0] != old[k][0] + 16.0}
    assert moved <= {("R4", "")}


def test_too_much_new_or_a_damaged_drawing_is_laid_out_afresh() -> None:
    at = assembly(TRAY)
    few = whole(at, list(at.parts)[:20])
    few_places = places(
        by_block(at, [replace(sections(at)[0], refs=tuple(list(at.parts)[:20]))])[1]
    )
    assert keep(few_places, few) is not None and keep(few_places, whole(at)) is None
    data = json.loads(few_places)
    hurt: list[object] = ["", "{", "[]", "null", json.dumps({**data, "version": 2})]
    hurt += [json.dumps({**data, "wires": [["n", [[1e9, 0], [0, 0]]]]})]
    hurt += [json.dumps({**data, "labels": [[0, 0, "start", [["<b>", "x"]], "", ""]]})]
    hurt += [json.dumps({**data, "ends": [["cloud", 0, 0, "L", "p5"]]}), "[" * 100_000]
    for text in hurt:
        assert keep(str(text), few) is None, str(text)[:40]


def test_words_from_an_earlier_drawing_stay_words() -> None:
    at = assembly(TRAY)
    choice = Choice(at, whole(at, ["R1", "R2"]).units)
    data = json.loads(places(by_block(at, [replace(sections(at)[0], refs=("R1", "R2"))])[1]))
    data["labels"].append([0, 300, "start", [["heading", "<script>x</script>"]], "", ""])
    sheet = keep(json.dumps(data), choice)
    assert sheet is not None and "<script" not in sheet_svg(sheet, choice, {}, kept=True)


# -- two versions ---------------------------------------------------------------------------------


def test_what_differs_is_marked_by_sign_words_and_outline() -> None:
    before = assembly(TRAY)
    after = edited(
        TRAY,
        ("value: 1k2, power: 0.25W, a: zk", "value: 12k, power: 0.25W, a: zk"),
        ("a: n1x, b: n1}", "a: n1x, b: b1}"),
        ("  R33:  {kind: resistor, value: 2k2, power: 0.5W, a: com, b: vrn}\n", ""),
        ("\nrails:\n", "  R99: {kind: resistor, value: 1k, a: p5, b: com}\n\nrails:\n"),
    )
    _, choice, sheet = compared(before, after)
    assert clashes(sheet) == [] and joined_wrong(sheet) == []
    assert {(s.unit.part.ref, s.mark) for s in sheet.symbols if s.mark} == {
        ("R5", "changed"), ("R4", "moved"), ("R33", "gone"), ("R99", "new"),
    }  # fmt: skip
    said = {t.part: [w for k, w in t.lines if k == "note"] for t in sheet.labels if t.part}
    assert said["R5"] == ["≠ now 12k"] and said["R33"] == ["− gone"] and said["R99"] == ["+ new"]
    headings = [t.lines[0][1] for t in sheet.labels if t.lines[0][0] == "heading"]
    assert headings == ["rail N12", "new parts", "as joined now"]
    outlines = re.findall(r'class="mark (\w+)".*?(?:stroke-dasharray="([\d ]+)")?/>',
                          sheet_svg(sheet, choice, {}))  # fmt: skip
    assert len(dict(outlines)) == len(set(dict(outlines).values())) == 4
    only = compared(before, after, ["P12"])[2]
    assert not [s for s in only.symbols if s.mark]
