"""The shipped part types: every number sourced, readable, and in step with known identities."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from halfsplit.parts import catalogue
from halfsplit.parts.base import Part
from halfsplit.parts.catalogue import same
from halfsplit.quantity import parse

CATALOGUE = catalogue.load()

GOOD = """\
T1:
  kind: rectifier
  volts: 50V
  amps: 1A
  drop: 0.9V
  drop_at: 1A
  source: memory
"""


def value(name: str, field: str) -> float:
    """SI value of one field of one type."""
    row = CATALOGUE.get(name)
    assert row is not None, name
    return parse(str(row.fields[field]), catalogue.FIELD_UNITS[field])


def checked(tmp_path: Path, text: str) -> list[str]:
    """Problems of a file holding `text`, as printed, without the folder."""
    file = tmp_path / "try.yaml"
    file.write_text(text, encoding="utf-8")
    return [str(p).replace(f"{tmp_path}/", "") for p in catalogue.check(file)]


def test_the_shipped_files_are_clean() -> None:
    assert catalogue.check(catalogue.shipped()) == []


def test_there_are_enough_types_of_every_kind_a_catalogue_serves() -> None:
    assert len(CATALOGUE.rows) >= 1500
    # Without fuses and lamps under our own names, and without the wide grade of each zener.
    names = [r.type for r in CATALOGUE.rows.values() if r.kind not in ("fuse", "lamp", "selenium")]
    assert len([n for n in names if f"{n}A" not in CATALOGUE.rows]) >= 1400
    assert set(CATALOGUE.kinds()) == set(catalogue.REQUIRED)


@pytest.mark.parametrize("kind", sorted(catalogue.REQUIRED))
def test_every_field_of_a_kind_has_a_unit_or_is_words(kind: str) -> None:
    made = catalogue.kind_of(kind)
    assert made is not None
    nets = {f"{t}_" for t in made.TERMINALS} | set(made.TERMINALS)
    for field in made.model_fields:
        if field not in Part.model_fields and field not in nets:
            assert field in catalogue.FIELD_UNITS or field in catalogue.WORD_FIELDS, field


def test_a_good_file_is_clean(tmp_path: Path) -> None:
    assert checked(tmp_path, GOOD) == []


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ("  source: memory\n", "", "try.yaml:3:3: T1.volts: This number has no source."),
        ("memory", "hearsay", "try.yaml:3:3: T1.volts: There is no source hearsay."),
        (
            "memory\n",
            "memory\n  from: {drop: rumour}\n",
            "try.yaml:5:3: T1.drop: There is no source rumour.",
        ),
        (
            "memory\n",
            "memory\n  from: {surge: memory}\n",
            "try.yaml:8:3: T1.from: `from` names surge, which the row does not have.",
        ),
        (
            "drop_at: 1A",
            "drop_a: 1A",
            "try.yaml:6:3: T1.drop_a: A rectifier has no field drop_a. Write drop_at.",
        ),
        ("amps: 1A", "a: 1A", "try.yaml:4:3: T1.a: A rectifier has no field a."),
        ("50V", "50A", "try.yaml:3:3: T1.volts: "),
        ("50V", "50", "try.yaml:3:3: T1.volts: “50” has no unit."),
        ("50V", "'50'", "try.yaml:3:3: T1.volts: The unit is missing. Write 50V."),
        ("50V", "[50V]", "try.yaml:3:3: T1.volts: “['50V']” has no unit."),
        ("50V", "-50V", "try.yaml:3:3: T1.volts: A rectifier cannot take this"),
        ("50V", "50V..60V", "try.yaml:3:3: T1.volts: A rectifier cannot take this"),
        ("  drop: 0.9V\n", "", "try.yaml:1:1: T1: A rectifier row must say its drop."),
        ("rectifier", "rectifer", "try.yaml:2:3: T1.kind: A row needs a known kind."),
        ("T1:", "t 1: {kind: lamp, volts: 6V, amps: 1A, source: memory}\nT1:", "listed twice."),
        ("  amps: 1A", "  volts: 60V", "try.yaml:4:3: This is not readable as YAML"),
        ("  kind", " \tkind", "This is not readable as YAML"),
        (GOOD, "- T1\n", "try.yaml: The file must list entries by name."),
        (GOOD, "T1: 50V\n", "try.yaml:1:1: T1: An entry must be a block of fields."),
        (GOOD, "T1:\n  kind: npn\n  from: 3\n", "T1.from: `from` must give a source"),
    ],
)
def test_a_faulty_file_is_refused_in_place(
    tmp_path: Path, old: str, new: str, problem: str
) -> None:
    assert old in GOOD
    found = checked(tmp_path, GOOD.replace(old, new))
    assert any(problem in line for line in found), found


def test_every_unsourced_number_is_named(tmp_path: Path) -> None:
    found = checked(tmp_path, GOOD.replace("  source: memory\n", ""))
    assert len(found) == 4  # volts, amps, drop, drop_at


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("s: {title: t, edition: e, where: w, status: sure}", "There is no status sure."),
        ("s: {title: t, edition: e, status: found}", "A source needs its where."),
        ("s: {title: t, edition: e, where: w, status: memory}", "title of a memory source is"),
        ("s: {title: t, edition: e, where: w, status: found, by: x}", "no field by."),
    ],
)
def test_a_faulty_source_is_refused(tmp_path: Path, text: str, problem: str) -> None:
    (tmp_path / catalogue.SOURCES).write_text(text, encoding="utf-8")
    assert any(problem in str(p) for p in catalogue.check(tmp_path))


def test_what_cannot_be_read_is_a_problem_not_an_exception(tmp_path: Path) -> None:
    assert "cannot be read" in str(catalogue.check(tmp_path / "none.yaml"))
    (tmp_path / "try.yaml").write_bytes(b"T1: \xff\xfe")
    assert "not UTF-8" in str(catalogue.check(tmp_path / "try.yaml"))
    assert "cannot be read" in str(catalogue.check(tmp_path))  # no sources.yaml here


def test_what_nobody_looked_up_says_so_in_fixed_words() -> None:
    titles = {s.title for s in CATALOGUE.sources.values() if s.status == "memory"}
    assert titles == {"from memory, unconfirmed"}


def test_every_field_has_a_source_and_every_source_is_used() -> None:
    used = set()
    for row in CATALOGUE.rows.values():
        assert set(row.sources) == set(row.fields), row.type
        used |= set(row.sources.values())
    assert used == set(CATALOGUE.sources)


@pytest.mark.parametrize("name", ["2n3055", " 2N 3055", "2N3055"])
def test_case_and_spaces_do_not_matter(name: str) -> None:
    row = CATALOGUE.get(name)
    assert row is not None and row.type == "2N3055"


@pytest.mark.parametrize(
    ("name", "type_name"),
    [
        ("LM7805", "7805"),
        ("ecc83", "12AX7"),
        ("OA2", "0A2"),
        ("GZ34", "5AR4"),
        ("lm741", "UA741"),
        ("MK4116", "4116"),
    ],
)
def test_a_type_is_found_by_its_other_names(name: str, type_name: str) -> None:
    row = CATALOGUE.get(name)
    assert row is not None and row.type == type_name and same(name) in map(same, row.also)


@pytest.mark.parametrize("name", ["SN7400N", "DM74LS00N", "N7400A", "sn74ls74an", "MC7493P"])
def test_logic_is_found_whoever_made_it(name: str) -> None:
    row = CATALOGUE.get(name)
    assert row is not None and row.kind == "chip"
    assert row.type.removesuffix("A") in name.upper()


def test_an_unknown_type_gets_near_ones() -> None:
    assert CATALOGUE.get("ZZ7805") is None
    assert CATALOGUE.nearest("ZZ7805")[0] == "7805"
    assert "lamp-47" in CATALOGUE.nearest("LAMP 48")
    assert CATALOGUE.nearest("???") == []


def test_the_1n400x_voltages_climb_as_the_sheet_says() -> None:
    # Vishay document 88503, maximum ratings.
    volts = [value(f"1N400{i}", "volts") for i in range(1, 8)]
    assert volts == [50, 100, 200, 400, 600, 800, 1000]


ONE_WATT = [f"1N{n}A" for n in range(4728, 4752)]


@pytest.mark.parametrize("name", ONE_WATT)
def test_one_watt_zeners_follow_their_two_power_rules(name: str) -> None:
    # Worked out from the 1N4728 to 1N4751 table: test power 0.25 W, top power 0.91 W. Rounding of
    # the printed currents costs up to 2.6 % (9.5 mA at 27 V) and 2.5 % (217 mA at 4.3 V).
    assert value(name, "value") * value(name, "test_current") == pytest.approx(0.25, rel=0.027)
    assert value(name, "value") * value(name, "max_current") == pytest.approx(0.91, rel=0.026)


def test_a_zener_without_suffix_is_the_wide_one() -> None:
    for n in [*range(4728, 4752), *range(746, 760)]:
        plain, tight = CATALOGUE.get(f"1N{n}"), CATALOGUE.get(f"1N{n}A")
        assert plain is not None and tight is not None
        assert (plain.fields["tolerance"], tight.fields["tolerance"]) == ("10%", "5%")
        assert plain.fields["value"] == tight.fields["value"]


@pytest.mark.parametrize(("name", "kind"), [("2N3055", "npn"), ("MJ2955", "pnp")])
def test_polarity_of_the_common_pairs(name: str, kind: str) -> None:
    pairs = {"npn": "PN2222A 2N3904 TIP31C 2N5886", "pnp": "2N2907A 2N3906 TIP32C 2N5884"}
    for other in [name, *pairs[kind].split()]:
        row = CATALOGUE.get(other)
        assert row is not None and row.kind == kind


def test_the_plastic_3055_is_the_weaker_one() -> None:
    assert value("TIP3055", "power") == 90 and value("2N3055", "power") == 115
    assert value("TIP3055", "junction_max") < value("2N3055", "junction_max")


@pytest.mark.parametrize(
    ("positive", "negative"), [("7805", "7905"), ("7812", "7912"), ("LM317", "LM337")]
)
def test_negative_regulators_have_their_own_pin_order(positive: str, negative: str) -> None:
    plus, minus = CATALOGUE.get(positive), CATALOGUE.get(negative)
    assert plus is not None and minus is not None
    assert plus.fields["pinout"] != minus.fields["pinout"]
    assert str(minus.fields["pinout"]).endswith("tab input")
    assert value(positive, "value") == -value(negative, "value")


def test_7805_and_7905_pins_are_as_the_sheets_number_them() -> None:
    five, minus = CATALOGUE.get("7805"), CATALOGUE.get("7905")
    assert five is not None and minus is not None
    assert five.fields["pinout"] == "pins 1 input, 2 common, 3 output; tab common"
    assert minus.fields["pinout"] == "pins 1 common, 2 input, 3 output; tab input"


def test_what_is_kept_on_disk_is_the_catalogue(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path))
    monkeypatch.setattr(catalogue, "shipped", lambda: tmp_path / "types")
    (tmp_path / "types").mkdir()
    text = (catalogue_folder() / "references.yaml").read_text(encoding="utf-8")
    (tmp_path / "types" / "r.yaml").write_text(text, encoding="utf-8")
    sources = (catalogue_folder() / catalogue.SOURCES).read_text(encoding="utf-8")
    (tmp_path / "types" / catalogue.SOURCES).write_text(sources, encoding="utf-8")
    first = catalogue.load.__wrapped__()
    read = catalogue.read_folder
    monkeypatch.setattr(catalogue, "read_folder", lambda *_: pytest.fail("parsed again"))
    assert catalogue.load.__wrapped__() == first
    (kept,) = (tmp_path / "catalogue").glob("*.json")
    kept.write_text('{"rows": [["x"]], "sources": {}}', encoding="utf-8")
    monkeypatch.setattr(catalogue, "read_folder", read)
    assert catalogue.load.__wrapped__() == first  # a spoilt cache is parsed anew
    (tmp_path / "types" / "r.yaml").write_text(text.replace("LM113", "LM113X"), encoding="utf-8")
    assert catalogue.load.__wrapped__().get("LM113X") is not None


def catalogue_folder() -> Path:
    return Path(catalogue.__file__).parents[1] / "catalogue"


def test_kinds_without_a_circuit_are_told_apart() -> None:
    chip, diode = CATALOGUE.get("4116"), CATALOGUE.get("1N4148")
    assert chip is not None and diode is not None
    assert diode.modelled and not chip.modelled


def test_the_page_of_trust_counts_what_is_there() -> None:
    page = (Path(__file__).parents[2] / "docs" / "trust.md").read_text(encoding="utf-8")
    names = sum(len(row.also) for row in CATALOGUE.rows.values())
    assert f"has {len(CATALOGUE.rows)} types and {names} other names" in page
    table = re.findall(r"(?m)^  \| (\d+) \| ", page)
    assert sum(map(int, table)) == len(CATALOGUE.rows)
    known = CATALOGUE.sources
    used = [known[s].status for r in CATALOGUE.rows.values() for s in r.sources.values()]
    share = 100 * used.count("memory") / len(used)
    assert f"Of the {len(used):,} numbers {share:.0f} % are" in page
    read = 0
    for row in CATALOGUE.rows.values():
        read += any(known[s].status in ("found", "second-hand") for s in row.sources.values())
    assert f"{read} types have numbers read in a sheet" in page
