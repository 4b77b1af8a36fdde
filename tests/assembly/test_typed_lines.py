"""A circuit typed line by line: what each says, that only it is written, what is pointed out."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from tests.assembly.circuits import Typed, typed_parts

from halfsplit.assembly.designator import after, alike, close
from halfsplit.assembly.draft import draft
from halfsplit.assembly.entry_edit import put_entries, remove_entry
from halfsplit.assembly.entry_text import with_entries, without_entry
from halfsplit.assembly.file import load
from halfsplit.assembly.new_file import file_name, new_file
from halfsplit.assembly.typed_line import line_of, read_line
from halfsplit.problems import HalfsplitError, ProblemsError

ROOT = Path(__file__).parents[2]
DEMOS = [ROOT / "examples" / f for f in ("hd40/pt3.yaml", "stile17/ob8.yaml")]
DEMOS += [ROOT / "examples" / f for f in ("type88/supply.yaml", "tl6/su6.yaml")]
DEMOS += sorted((ROOT / "tests" / "files" / "by-pattern").glob("*.yaml"))
SUPPLY = [
    ("S1", "supply 12V ohms=0.2R", "raw", "com"),
    ("U1", "7805", "raw", "com", "p5"),
    ("C1", "100u 16V", "p5", "com"),
    ("R1", "4k7 1%", "p5", "com"),
    ("P5", "rail 4.75..5.25V ripple=50mV", "p5"),
    ("TP1", "point C1 plus lead", "p5"),
    ("half", "loads p5=10R"),
]
AS_FILE = """\
  S1: {kind: supply, volts: 12V, ohms: 0.2R, pos: raw, neg: com}
  U1: {type: "7805", in: raw, com: com, out: p5}
  C1: {kind: electrolytic, value: 100u, volts: 16V, pos: p5, neg: com}
  R1: {kind: resistor, value: 4k7, tolerance: 1%, a: p5, b: com}

rails:
  P5: {limits: 4.75..5.25V, ripple: 50mV, net: p5}

loads:
  half: {p5: 10R}

points:
  TP1: {at: C1 plus lead, net: p5}
"""


def type_(path: Path, name: str, words: str, *ends: str) -> None:
    line = read_line(draft(path), name, words, ends)
    assert (line.problems, line.missing) == ((), ()), (name, line)
    put_entries(path, line.section, {line.name: line.entry}, lambda _: None)


@pytest.fixture
def fresh(tmp_path: Path) -> Path:
    return new_file(tmp_path / "bench.yaml", "Bench five")


def test_a_supply_typed_from_an_empty_file_loads_as_its_plain_text_says(fresh: Path) -> None:
    start = fresh.read_text(encoding="utf-8")
    for line in SUPPLY:
        type_(fresh, *line)
    assert fresh.read_text(encoding="utf-8") == start + AS_FILE
    assembly, problems = load(fresh)
    assert assembly is not None and problems == []
    assert assembly.parts["U1"].__dict__["value"] == 5.0
    assert assembly.rails["P5"].net == "p5" and assembly.loads["half"]["p5"].ohms == 10.0


def test_loose_ends_are_not_yet_and_mistakes_are_wrong(fresh: Path) -> None:
    assert [p.wrong for p in draft(fresh).not_yet] == ["the file lists no part"]
    type_(fresh, *SUPPLY[0])
    at = draft(fresh)
    assert at.wrong == () and not at.loads
    assert any("net `raw` has only this one terminal" in p.wrong for p in at.not_yet)
    with pytest.raises(ProblemsError, match="every terminal of R9 is on net `raw`"):
        put_entries(
            fresh, "parts", {"R9": {"kind": "resistor", "value": "1k", "a": "raw", "b": "raw"}},
            lambda _: None,
        )  # fmt: skip
    assert draft(fresh).entry("parts", "R9") is None


@pytest.mark.parametrize(
    ("name", "words", "kind", "guessed"),
    [
        ("R12", "4k7", "resistor", True),
        ("C4", "100u 16V", "electrolytic", True),
        ("C4", "100n", "film-capacitor", True),
        ("C4", "470p", "ceramic-capacitor", True),
        ("C4", "tantalum 22u", "tantalum", False),
        ("VR1", "500R", "potentiometer", True),
        ("VR1", "5.6V", "zener", True),
        ("CR1", "1N4004", "rectifier", False),
        ("Q1", "2N3055", "npn", False),
        ("Q1", "pnp 60V", "pnp", False),
        ("U1", "7805", "regulator", False),
        ("F1", "2A T", "fuse", True),
        ("L1", "10m", "inductor", True),
        ("bar", "crowbar", "crowbar", False),
        ("P5", "rail 4.75..5.25V", "rail", False),
    ],
)
def test_what_a_line_is(fresh: Path, name: str, words: str, kind: str, guessed: bool) -> None:
    line = read_line(draft(fresh), name, words, ())
    assert (line.kind, line.guessed) == (kind, guessed)


@pytest.mark.parametrize(
    ("name", "words", "ends", "where", "says"),
    [
        ("Q1", "4k7", (), "words", "npn or pnp"),
        ("R1", "banana", ("a", "b"), "words", "`banana` is not understood"),
        ("R1", "4k7", ("two words", "b"), "a", "a net is one word"),
        ("R:1", "4k7", ("a", "b"), "name", "no reference"),
        ("", "4k7", ("a", "b"), "name", "no reference"),
        ("T1", "transformer", ("pri l n 230V 4R", "s1 a"), "w2", "a winding needs"),
        ("T1", "transformer", ("pri l n 230V 4R", "s1 a b 15 4R"), "w2", "`15` is not"),
        ("half", "loads", (), "words", "says nothing"),
        ("P5", "rail four", ("p5",), "limits", "four"),
        ("R1", "x" * 1500, (), "words", "more than 1000 characters"),
        ("R1", "4k7\x07", (), "words", "does not print"),
    ],
)
def test_what_is_wrong_is_told_at_its_field(
    fresh: Path, name: str, words: str, ends: tuple[str, ...], where: str, says: str
) -> None:
    problems = read_line(draft(fresh), name, words, ends).problems
    assert any(p.path == where and says in str(p) for p in problems), problems


def plain(value: Any) -> Any:
    if hasattr(value, "items"):
        return {str(k): plain(v) for k, v in value.items()}
    return str(value).lower() if isinstance(value, bool) else str(value)


@pytest.mark.parametrize("file", DEMOS, ids=lambda p: p.stem)
def test_every_entry_of_the_demos_said_in_words_says_the_same_again(file: Path) -> None:
    at = draft(file)
    assert at.wrong == at.not_yet == ()
    count = 0
    for section in ("parts", "patterns", "rails", "points", "loads"):
        for name in at.entries(section):
            found = line_of(at, name)
            if found is None or found[0] != section:
                continue  # a rail called as a part is: the part is shown
            line = read_line(at, name, found[1], found[2])
            assert (line.problems, line.missing) == ((), ()), name
            assert plain(line.entry) == plain(at.entry(section, name)), name
            count += 1
    assert count > 10
    source = file.read_text(encoding="utf-8")
    typed = {n: at.entry("parts", n) for n in at.entries("parts")}
    assert with_entries(source, "parts", typed) == source


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(lines=typed_parts())
def test_random_circuits_are_on_disk_as_typed_and_gone_again_byte_for_byte(
    tmp_path_factory: pytest.TempPathFactory, lines: list[Typed]
) -> None:
    path = tmp_path_factory.mktemp("typed") / "any.yaml"
    new_file(path, "Any")
    texts = [path.read_bytes()]
    for typed in lines:
        type_(path, typed.name, typed.words, *typed.ends)
        texts.append(path.read_bytes())
        found = line_of(draft(path), typed.name)
        assert found is not None
        again = read_line(draft(path), typed.name, found[1], found[2])
        assert again.problems == () and tuple(e for e in found[2] if e) == typed.ends
    for typed in reversed(lines):
        assert path.read_bytes() == texts.pop()
        remove_entry(path, "parts", typed.name)
    assert path.read_bytes() == texts.pop()


SMALL = """\
# as drawn
assembly: "Divider"   # sheet 2
parts:
  V1:   {kind: supply, volts: 12V, pos: vin, neg: com}   # bench

  R1:   { kind: resistor,value: '1k', a: vin, b: mid , }
  R2:
      # lower arm
      kind: resistor
      value:    2k2     # read twice
      a: mid
      b: com
# rails of sheet 3
rails:
  P8: {net: mid, limits: 8..8.5V}
"""
R2 = {"kind": "resistor", "value": "2k2", "a": "mid", "b": "com"}


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("change", "was", "now"),
    [
        ({"R2": {**R2, "value": "3k3"}}, "value:    2k2     #", "value:    3k3     #"),
        ({"R2": {**R2, "power": "1W"}}, "      kind: r", "      power: 1W\n      kind: r"),
        ({"R2": {k: v for k, v in R2.items() if k != "b"}}, "      b: com\n", ""),
        (
            {"R1": {"kind": "resistor", "value": "1k", "a": "vin", "b": "x"}},
            "b: mid , }",
            "b: x , }",
        ),
        (
            {"V1": {"kind": "supply", "volts": "12V", "limit": "1A"}},
            "volts: 12V, pos: vin, neg: com}",
            "volts: 12V, limit: 1A}",
        ),
        (
            {"R3": {"kind": "wire", "a": "mid", "b": "x"}},
            "# rails",
            "  R3: {kind: wire, a: mid, b: x}\n# rails",
        ),
    ],
)
def test_only_what_changed_changes(
    change: dict[str, dict[str, str]], was: str, now: str, ends: str
) -> None:
    source = SMALL.replace("\n", ends)
    assert SMALL.count(was) == 1
    assert with_entries(source, "parts", change) == SMALL.replace(was, now).replace("\n", ends)


def test_an_entry_goes_with_its_line_and_the_rest_stays() -> None:
    assert without_entry(SMALL, "parts", "V1") == SMALL.replace(SMALL.splitlines(True)[3], "")
    gone = without_entry(SMALL, "parts", "R2")
    assert gone == SMALL[: SMALL.index("  R2:")] + SMALL[SMALL.index("# rails") :]
    with pytest.raises(HalfsplitError, match="there is no R9"):
        without_entry(SMALL, "parts", "R9")


def test_a_part_goes_into_every_form_a_section_has() -> None:
    entry = {"R1": {"kind": "wire", "a": "x", "b": "y"}}
    for before, after_ in (
        ("assembly: A\nparts:\n", "assembly: A\nparts:\n  R1: {kind: wire, a: x, b: y}\n"),
        ("assembly: A\nparts: {}\n", "assembly: A\nparts:\n  R1: {kind: wire, a: x, b: y}\n"),
        ("assembly: A", "assembly: A\n\nparts:\n  R1: {kind: wire, a: x, b: y}\n"),
        (
            "assembly: A\nparts: {W1: {kind: wire, a: p, b: q}}\n",
            "assembly: A\nparts: {W1: {kind: wire, a: p, b: q}, R1: {kind: wire, a: x, b: y}}\n",
        ),
        (
            "assembly: A\n# loads\nloads:\n  x: {p: 1A}\n",
            "assembly: A\nparts:\n  R1: {kind: wire, a: x, b: y}\n\n# loads\nloads:\n"
            "  x: {p: 1A}\n",
        ),
    ):
        assert with_entries(before, "parts", entry) == after_


def test_what_follows_and_what_is_easily_mistaken() -> None:
    assert after("R12", {"R12", "R13"}) == "R14" and after("C09", set()) == "C10"
    assert after("C4A", set()) == "C4B" and after("half", set()) == ""
    nets = ["p5", "p15", "n12", "b1", "b2", "com", "+5", "VO"]
    assert alike("P5_", nets) == ["p5"] and alike("p5", nets) == [] and alike("V0", nets) == ["VO"]
    assert (
        close("p5", nets) == ["p15"] and close("b3", nets) == [] and close("n21", nets) == ["n12"]
    )


def test_a_new_file_stays_where_it_is_told_and_never_writes_over(tmp_path: Path) -> None:
    path = new_file(tmp_path / "a.yaml", 'Rack "7": left', "gnd")
    at = draft(path)
    assert at.assembly is not None and at.assembly.name == 'Rack "7": left' and at.common == "gnd"
    with pytest.raises(HalfsplitError, match="there already"):
        new_file(path, "again")
    for name, common in (("", "com"), ("x\ny", "com"), ("x", "two words"), ("x" * 1500, "com")):
        with pytest.raises(ProblemsError):
            new_file(tmp_path / "b.yaml", name, common)
    assert not (tmp_path / "b.yaml").exists()
    assert file_name("../../etc/Pässe: 7") == "etc-passe-7" and file_name("…") == "machine"


def test_a_file_that_cannot_be_read_is_left_alone(tmp_path: Path) -> None:
    path = Path(shutil.copy(DEMOS[0], tmp_path / "pt3.yaml"))
    for content in (b"parts: {R1: {", b"\xff\xfe\0", b"", b"- 1\n", b"{assembly: x}"):
        path.write_bytes(content)
        assert draft(path).assembly is None or content.startswith(b"{")
        with pytest.raises(HalfsplitError):
            put_entries(path, "parts", {"R1": {"kind": "wire"}}, lambda _: None)
        assert path.read_bytes() == content
