"""Patterns: nothing lost or doubled, every shipped one usable, one's own found first."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfsplit.assembly.edit import set_value
from halfsplit.assembly.file import load
from halfsplit.assembly.pattern import COMMON, Pattern
from halfsplit.assembly.pattern_find import Library, known, shipped
from halfsplit.assembly.placing import Use
from halfsplit.assembly.plain import plain_text, write_plain
from halfsplit.assembly.shortline import WordError, short_line
from halfsplit.bench.opening import check_file, open_machine
from halfsplit.boards.which import sort_of
from halfsplit.parts.base import REGISTRY
from halfsplit.problems import HalfsplitError, ProblemsError

HERE = shipped() / "any.yaml"
LIBRARY = Library(HERE)
NAMES = sorted(p.stem for p in shipped().glob("*.yaml"))
WANTED = {  # fragments the usual supplies are made of
    "bridge-reservoir", "full-wave-reservoir", "half-wave-reservoir", "bridge-two-reservoirs",
    "valve-rectifier", "zener-reference", "gas-tube-reference", "series-pass", "boosted-regulator",
    "differential-error-amplifier", "foldback-limit", "crowbar", "hysteretic-step-down",
    "valve-series-regulator", "op-amp-inverting", "op-amp-non-inverting", "op-amp-follower",
}  # fmt: skip
SMALL = """\
# as drawn
assembly: Bench five
unless_noted:
  resistor: {power: 0.25W}   # the drawing says so
parts:
  S1:   {kind: supply, volts: 24V, ohms: 0.2R, pos: raw, neg: com}
  R9:   {kind: resistor, value: 1k, a: p5, b: com}   # bleeder
patterns:
  # the reference
  ref: {pattern: zener-reference, in: raw, out: b, feed: R1 1k5 2%, zener: CR2 5.6V}
  pass: {pattern: series-pass, in: raw, out: p5, base: b, pass: Q1 2N3055}
rails:
  P5: {net: p5, limits: 4.5..5.5V}
"""


def shipped_one(name: str) -> Pattern:
    made, problems = LIBRARY.get(shipped() / f"{name}.yaml")
    assert made is not None and problems == [], problems
    return made


def test_the_usual_fragments_are_there() -> None:
    assert set(NAMES) >= WANTED
    assert list(known(HERE)) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_pattern_says_what_it_is_and_its_example_works(name: str, tmp_path: Path) -> None:
    made = shipped_one(name)
    assert len(made.what.split()) >= 4 and made.why.endswith("no published source.")
    assert all(p.why for p in made.parameters.values() if p.default is not None)
    assert all(r.what for r in made.roles.values())
    path = tmp_path / "one.yaml"
    path.write_text(f"assembly: one\npatterns:\n  {made.example}\n", encoding="utf-8")
    told = [p for p in load(path)[1] if p.path.startswith(("patterns", "unless"))]
    assert told == []
    told = [p for p in load(path)[1] if "has only this one terminal" not in p.wrong]
    assert [p for p in told if p.path.startswith("parts.")] == []


@st.composite
def uses(draw: st.DrawFn) -> tuple[Pattern, dict[str, Any], dict[str, str]]:
    """A pattern, a use of it with some of what may be left out, and each net's group."""
    made = shipped_one(draw(st.sampled_from(NAMES)))
    given_ = [r for r in made.roles.values() if not r.absent or draw(st.booleans())]
    group = {n: n for r in made.roles.values() for n in r.nets.values()} | {COMMON: COMMON}

    def join(first: str, second: str) -> None:
        keep, gone = sorted((group[first], group[second]), key=lambda n: n != COMMON)
        for net in [n for n, g in group.items() if g == gone]:
            group[net] = keep

    for role in made.roles.values():
        ends = role.through() if role not in given_ else []
        for net in ends[1:]:
            join(ends[0], net)
    for net in made.nets.values():
        if net.net:
            join(net.name, net.net)
    there = {group[n] for r in given_ for n in r.nets.values()}
    use: dict[str, Any] = {"pattern": made.name}
    if made.mirrors and draw(st.booleans()):
        use["polarity"] = "negative"
    for name, net in made.nets.items():
        if group[name] in there and group[name] != COMMON and not net.net:
            use[name] = f"net_{group[name]}"
    for name, value in made.parameters.items():
        if value.default is None:
            use[name] = f"1{value.unit}"
    letters = draw(st.permutations([f"X{i}" for i in range(len(given_))]))
    use |= {role.name: ref for role, ref in zip(given_, letters, strict=True)}
    return made, use, group


@settings(max_examples=150, deadline=None)
@given(uses())
def test_expanding_never_loses_or_doubles_a_part(
    case: tuple[Pattern, dict[str, Any], dict[str, str]],
) -> None:
    made, use, group = case
    said: list[tuple[str, ...]] = []
    found = Use(made, lambda net: f"own_{net}", use, lambda *a: said.append(a), "0v").placed()
    assert said == []
    refs = {use[r]: made.roles[r] for r in made.roles if r in use}
    assert sorted(p.ref for p in found) == sorted(refs)
    told: dict[str, str] = {}
    for part in found:
        role = refs[part.ref]
        assert part.role.name == role.name
        assert len(part.nets) == len(role.nets)
        kind = REGISTRY.kinds[str(part.entry().get("kind", part.role.kind))]
        assert {t for t in part.nets if "." not in t} <= set(kind.TERMINALS)
        turned = made.mirror(role, "polarity" in use)
        for terminal, net in turned.nets.items():
            name = part.nets[terminal]
            assert told.setdefault(group[net], name) == name, "one net became two"
    assert len(set(told.values())) == len(told), "two nets became one"
    if COMMON in told:
        assert told[COMMON] == "0v"


def test_a_small_supply_from_patterns_is_as_if_typed(tmp_path: Path) -> None:
    path = tmp_path / "five.yaml"
    path.write_text(SMALL, encoding="utf-8")
    found, problems = load(path)
    assert found is not None and problems == []
    assert list(found.parts) == ["S1", "R9", "R1", "CR2", "Q1"]
    r1, q1 = found.parts["R1"], found.parts["Q1"]
    assert (r1.__dict__["value"], r1.__dict__["power"]) == (1500.0, 0.25)
    assert r1.__dict__["tolerance"].bounds(100.0) == pytest.approx((98.0, 102.0))
    assert q1.type == "2N3055" and q1.terminals() == {"c": "raw", "b": "b", "e": "p5"}
    assert found.parts["R9"].__dict__["power"] == 0.25


@pytest.mark.parametrize(
    ("dotted", "text", "old", "was", "now"),
    [
        ("parts.R1.value", "1k8", "1k5", "R1 1k5 2%", "R1 1k8 2%"),
        ("parts.R1.tolerance", "1%", "2%", "R1 1k5 2%", "R1 1k5 1%"),
        ("parts.Q1.type", "TIP3055", "2N3055", "Q1 2N3055", "Q1 TIP3055"),
        ("parts.R1.power", "0.5W", "0.25W", "5.6V}", "5.6V, R1: {power: 0.5W}}"),
        ("parts.CR2.note", "hot: #2", "", "5.6V}", '5.6V, CR2: {note: "hot: #2"}}'),
        ("parts.R9.power", "1W", "", "b: com}   # b", "b: com, power: 1W}   # b"),
    ],
)
def test_a_part_of_a_pattern_is_edited_and_every_other_byte_stays(
    tmp_path: Path, dotted: str, text: str, old: str, was: str, now: str
) -> None:
    path = tmp_path / "five.yaml"
    path.write_text(SMALL, encoding="utf-8")
    assert set_value(path, dotted, text) == old
    assert SMALL.count(was) == 1
    assert path.read_text(encoding="utf-8") == SMALL.replace(was, now)


def test_a_wrong_edit_of_a_part_of_a_pattern_leaves_the_file(tmp_path: Path) -> None:
    path = tmp_path / "five.yaml"
    path.write_text(SMALL, encoding="utf-8")
    for dotted, text in (("parts.R1.value", "banana"), ("parts.R1.colour", "red")):
        with pytest.raises(ProblemsError) as caught:
            set_value(path, dotted, text)
        assert {p.file for p in caught.value.problems} == {str(path)}
        assert path.read_text(encoding="utf-8") == SMALL


def test_the_plain_form_says_the_same_and_keeps_comments(tmp_path: Path) -> None:
    path = tmp_path / "five.yaml"
    path.write_text(SMALL, encoding="utf-8")
    plain = plain_text(path)
    for kept in ("# as drawn", "# bleeder", "# the reference"):
        assert plain.count(kept) == 1
    assert "patterns:" not in plain and "unless_noted" not in plain
    to = write_plain(path, tmp_path / "plain.yaml")
    first, second = load(path)[0], load(to)[0]
    assert first is not None and second is not None
    assert first.parts == second.parts and list(first.parts) == list(second.parts)
    assert plain_text(to) == plain
    with pytest.raises(HalfsplitError, match="is there already"):
        write_plain(path, to)


@pytest.mark.parametrize("name", ["pt3", "ob8", "supply"])
def test_the_plain_form_of_a_demo_has_its_parts(name: str, tmp_path: Path) -> None:
    twin = Path(__file__).parents[1] / "files" / "by-pattern" / f"{name}.yaml"
    found = load(write_plain(twin, tmp_path / "plain.yaml"))[0]
    before = load(twin)[0]
    assert found is not None and before is not None and dict(found.parts) == dict(before.parts)


def test_a_file_without_patterns_is_its_own_plain_form() -> None:
    tray = Path(__file__).parents[2] / "examples" / "hd40" / "pt3.yaml"
    assert plain_text(tray) == tray.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("kind", "text", "fields"),
    [
        (
            "resistor",
            "R6 2k2 1% 0.5W wirewound",
            "value=2k2 tolerance=1% power=0.5W tech=wirewound",
        ),
        ("regulator", "U1 7805", "type=7805"),
        ("zener", "CR3 6.2V 400mW", "value=6.2V power=400mW"),
        ("zener", "CR9 1N4734A", "type=1N4734A"),
        ("electrolytic", "C1 33000u 16V 20mohm 9A", "value=33000u volts=16V esr=20mohm ripple=9A"),
        ("electrolytic", "C4 tantalum 22u 20V", "kind=tantalum value=22u volts=20V"),
        ("fuse", "F1 2A T", "amps=2A speed=T"),
        ("potentiometer", "RV1 500R 29%", "value=500R set=29%"),
        ("inductor", "L1 10H 100mA 100R", "value=10H amps=100mA resistance=100R"),
        ("rectifier", "CR5 1N4148", "type=1N4148"),
        ("npn", "Q1 npn 60V 10A 115W", "kind=npn volts=60V amps=10A power=115W"),
    ],
)
def test_a_few_words_of_a_parts_list(kind: str, text: str, fields: str) -> None:
    found = short_line(text, kind)
    assert found.ref == text.split()[0]
    assert found.fields == dict(pair.split("=") for pair in fields.split())


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        ("resistor", "R6 2k2 3k3", "`3k3` is not understood"),
        ("resistor", "R6 2k2 12", "`12` is not understood"),  # a bare number would be a guess
        ("resistor", "R6 wirewuond", "wirewound"),
        ("npn", "Q1 2N9999", "`2N9999` is not understood"),
        ("npn", "Q1 7805", "`7805` is not understood"),
    ],
)
def test_a_word_that_could_be_anything_is_refused(kind: str, text: str, said: str) -> None:
    with pytest.raises(WordError) as caught:
        short_line(text, kind)
    assert said in f"{caught.value} {caught.value.instead}"


OWN = """\
pattern: zener-reference
is: Ours, with two resistors in a row.
why: as on our drawings
nets: {in: what feeds it, out: the reference}
parts:
  feed: {is: first resistor, kind: resistor, value: 470R, a: in, b: half}
  second: {is: second resistor, kind: resistor, value: 470R, a: half, b: out}
  zener: {is: the zener, kind: zener, value: 5.6V, a: common, k: out}
"""


@pytest.mark.parametrize("place", ["zener-reference.pattern.yaml", "patterns/zener-reference.yaml"])
def test_ones_own_pattern_is_found_first(tmp_path: Path, place: str) -> None:
    path = tmp_path / "five.yaml"
    path.write_text(SMALL.replace("CR2 5.6V}", "CR2 5.6V, second: R2}"), encoding="utf-8")
    (tmp_path / place).parent.mkdir(exist_ok=True)
    (tmp_path / place).write_text(OWN, encoding="utf-8")
    found, problems = load(path)
    assert found is not None and problems == []
    assert found.parts["R2"].terminals() == {"a": "ref_half", "b": "b"}
    assert check_file(tmp_path / place) == []


def test_the_users_folder_serves_every_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HALFSPLIT_PATTERNS", str(tmp_path / "mine"))
    (tmp_path / "mine").mkdir()
    own = OWN.replace("pattern: zener-reference", "pattern: two-in-a-row")
    (tmp_path / "mine" / "two-in-a-row.yaml").write_text(own, encoding="utf-8")
    path = tmp_path / "five.yaml"
    text = SMALL.replace("pattern: zener-reference", "pattern: two-in-a-row")
    path.write_text(text.replace("CR2 5.6V}", "CR2, second: R2}"), encoding="utf-8")
    found, problems = load(path)
    assert found is not None and problems == []


def test_a_mistake_of_a_pattern_file_is_told_at_its_own_line(tmp_path: Path) -> None:
    path = tmp_path / "five.yaml"
    path.write_text(SMALL.replace("CR2 5.6V}", "CR2 5.6V, second: R2}"), encoding="utf-8")
    own = tmp_path / "zener-reference.pattern.yaml"
    own.write_text(OWN.replace("k: out", "k: uot"), encoding="utf-8")
    told = [(p.file, p.line, p.path, p.instead) for p in load(path)[1]]
    assert told == [(str(own), 8, "parts.zener.k", "out")]
    assert [p.as_dict() for p in check_file(own)] == [p.as_dict() for p in load(path)[1]]


def test_the_schema_knows_the_uses(tmp_path: Path) -> None:
    import jsonschema
    from ruamel.yaml import YAML

    from halfsplit.assembly.schema import assembly_schema

    schema = json.loads(json.dumps(assembly_schema()))
    check = jsonschema.Draft202012Validator(schema)
    for name in ("pt3", "ob8", "supply"):
        twin = Path(__file__).parents[1] / "files" / "by-pattern" / f"{name}.yaml"
        data = YAML(typ="safe").load(twin.read_text(encoding="utf-8"))
        assert [e.message for e in check.iter_errors(data)] == []
    small = YAML(typ="safe").load(SMALL)
    assert check.is_valid(small)
    del small["patterns"]["ref"]["zener"]
    assert not check.is_valid(small)


@pytest.mark.parametrize("section", ["patterns", "blocks"])
def test_the_lines_of_the_readme_are_read(section: str, tmp_path: Path) -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    listed = [b for b in re.findall(r"```yaml\n(.*?)```", text, flags=re.S) if f"\n{section}:" in b]
    assert len(listed) == 1
    path = tmp_path / "readme.yaml"
    named = "" if listed[0].startswith("assembly:") else "assembly: one\n"
    path.write_text(named + listed[0], encoding="utf-8")
    told = [p for p in load(path)[1] if "has only this one terminal" not in p.wrong]
    assert [p for p in told if "nothing powers this circuit" not in p.wrong] == []


def _without(lines: list[str], sections: tuple[str, ...]) -> list[str]:
    """Lines of a file without some of its sections."""
    kept, inside = [], False
    for line in lines:
        inside = line.startswith(sections) or (inside and line[:1] in (" ", "#"))
        kept += [] if inside else [line]
    return kept


def test_the_counts_of_the_readme_are_those_of_the_files() -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    examples = Path(__file__).parents[2] / "examples"
    counts = []
    for folder, names in (
        (Path(__file__).parents[1] / "files" / "by-pattern", ("pt3", "ob8", "supply")),
        (examples, ("hd40/pt3", "stile17/ob8", "type88/supply")),
    ):
        listed = [(folder / f"{n}.yaml").read_text(encoding="utf-8").splitlines() for n in names]
        # What the drawing prints is no part of the circuit, and only the plain files have it.
        own = [_without(f, ("printed:", "numbering:")) for f in listed]
        full = [[t for t in f if t.strip() and t.strip()[0] != "#"] for f in own]
        counts.append([len(f) for f in full])
    assert "take {}, {} and {} lines".format(*counts[0]) in " ".join(text.split())
    assert "plain files take {}, {} and {}".format(*counts[1]) in " ".join(text.split())


def test_a_pattern_is_no_machine(tmp_path: Path) -> None:
    own = tmp_path / "zener-reference.pattern.yaml"
    own.write_text(OWN, encoding="utf-8")
    assert sort_of(own) is None
    with pytest.raises(ProblemsError, match="this is a pattern, which a machine's file places"):
        open_machine(own)
