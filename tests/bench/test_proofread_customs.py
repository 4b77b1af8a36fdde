"""Proofreading by ripple, by watts of junctions, and by what drawing offices do by custom."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.assembly.file import load_anyway
from halfsplit.bench.proof_rules import doubts
from halfsplit.bench.proofread import proofread, undo_slip

# By hand: 0.9 A for the 8 ms or so a 50 Hz bridge does not conduct takes 1.5 V off 4700 uF.
WALL = """
assembly: Wall supply
common: com
parts:
  J1: {kind: mains, volts: 230V, hertz: 50Hz, live: live, neutral: neutral}
  T1:
    kind: transformer
    windings:
      primary: {start: live, end: neutral, volts: 230V, ohms: 4ohm}
      s1: {start: sa, end: sb, volts: 15V, ohms: 0.2ohm, amps: 3A}
  BR1: {kind: bridge, volts: 200V, amps: 4A, ac1: sa, ac2: sb, pos: raw, neg: com}
  C1: {kind: electrolytic, value: 4700u, volts: 35V, pos: raw, neg: com}
  R1: {kind: resistor, value: 1k, power: 1W, a: raw, b: com}
rails:
  RAW: {net: raw, limits: 16..21V, rated: 1A}
loads:
  full: {raw: 20R}
feeds:
  raws: {nets: {raw: {volts: 19V, ohms: 1.3ohm}}}
  mains: {mains: true}
printed:
  hum: {feed: mains, load: full, within: 25%, ripple: {raw: 1.5V}}
"""
FOLLOWER = Path(__file__).resolve().parents[1] / "files" / "bench-follower.yaml"


def written(folder: Path, text: str) -> Path:
    path = folder / "typed.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_ripple_as_printed_is_kept_and_a_decade_of_the_reservoir_is_named(tmp_path: Path) -> None:
    path = written(tmp_path, WALL)
    right = proofread(path)
    assert not right.disagreements and not right.unchecked
    path = written(tmp_path, WALL.replace("value: 4700u", "value: 47000u"))
    found = proofread(path)
    assert [d.path for d in found.disagreements] == ["printed.hum.ripple.raw"]
    assert found.explanations[0].place == "C1 value"
    undo_slip(path, found.explanations[0])
    assert not proofread(path).disagreements


def test_ripple_printed_where_nobody_looks_is_said_not_to_be_checked(tmp_path: Path) -> None:
    path = written(tmp_path, WALL.replace("load: full, within: 25%", "load: none, within: 25%"))
    assert proofread(path).unchecked == ("printed.hum: on the mains, with load none",)
    path = written(tmp_path, WALL.replace("{feed: mains, load: full", "{feed: raws, load: full"))
    assert proofread(path).unchecked == ("printed.hum.ripple: not on the mains",)


@pytest.mark.parametrize(
    ("old", "new", "ref"),
    [
        # 13 mA at 5.6 V in the zener; 0.05 A with 7.1 V across in the transistor.
        ("value: 5.6V, power: 400mW", "value: 5.6V, power: 40mW", "CR1"),
        ("amps: 1A, power: 1W", "amps: 1A, power: 0.1W", "Q1"),
    ],
)
def test_a_junction_over_its_watts_is_flagged(old: str, new: str, ref: str, tmp_path: Path) -> None:
    found = proofread(written(tmp_path, FOLLOWER.read_text(encoding="utf-8").replace(old, new)))
    assert [d.path for d in found.disagreements] == [f"parts.{ref}"]
    assert found.disagreements[0].says.startswith(f"{ref} takes ")
    assert f"{ref} power" in [e.place for e in found.explanations]


def test_a_heatsink_too_small_is_flagged(tmp_path: Path) -> None:
    # 0.36 W over 300 K/W and 50 K/W would be 125 K above 25 degC, where 125 degC is allowed.
    text = FOLLOWER.read_text(encoding="utf-8")
    for sink, count in (("300K/W", 1), ("30K/W", 0)):
        warm = f"amps: 1A, power: 1W, theta_jc: 50K/W, junction_max: 125, sink: {sink}"
        found = proofread(written(tmp_path, text.replace("amps: 1A, power: 1W", warm)))
        assert len(found.disagreements) == count
        assert all("its junction would pass 125" in d.says for d in found.disagreements)


# -- customs, which nothing is solved for ---------------------------------------------------------

STAGES = """
assembly: Two stages
common: com
parts:
  Q1: {kind: npn, c: rp, b: bp, e: p12}
  C1: {kind: ceramic-capacitor, value: 1n, a: bp, b: sp}
  R1: {kind: resistor, value: 4k7, a: rp, b: bp}
  R2: {kind: resistor, value: 2k2, a: p12, b: sp}
  R3: {kind: resistor, value: 3k3, a: sp, b: com}
  Q2: {kind: pnp, c: rn, b: bn, e: n12}
  C2: {kind: ceramic-capacitor, value: 1n, a: bn, b: sn}
  R4: {kind: resistor, value: 4k7, a: rn, b: bn}
  R5: {kind: resistor, value: 2k2, a: n12, b: sn}
  R6: {kind: resistor, value: 3k3, a: sn, b: com}
rails:
  P12: {net: p12, limits: 11.4..12.6V}
  N12: {net: n12, limits: -11.4..-12.6V}
"""


def said(folder: Path, text: str) -> list[tuple[str, dict[str, tuple[float, float]]]]:
    assembly, _ = load_anyway(written(folder, text))
    assert assembly is not None
    return [(d.says, dict(d.fits)) for d in doubts(assembly)]


def test_twins_of_sister_stages_have_like_values(tmp_path: Path) -> None:
    assert said(tmp_path, STAGES) == []
    found = said(tmp_path, STAGES.replace("C2: {kind: ceramic-capacitor, value: 1n", "C2: {kind: ceramic-capacitor, value: 10n"))  # fmt: skip # noqa: E501
    assert len(found) == 1 and set(found[0][1]) == {"C1 value", "C2 value"}
    assert found[0][1]["C2 value"] == pytest.approx((0.98e-9, 1.02e-9))
    found = said(tmp_path, STAGES.replace("R5: {kind: resistor, value: 2k2", "R5: {kind: resistor, value: 2k7"))  # fmt: skip # noqa: E501
    assert [set(f) for _, f in found] == [{"R2 value", "R5 value"}]
    # Stages of rails that differ need not be alike, but for the capacitors that set their time.
    other = STAGES.replace("limits: -11.4..-12.6V", "limits: -4.75..-5.25V")
    assert said(tmp_path, other.replace("R5: {kind: resistor, value: 2k2", "R5: {kind: resistor, value: 2k7")) == []  # fmt: skip # noqa: E501
    assert len(said(tmp_path, other.replace("C2: {kind: ceramic-capacitor, value: 1n", "C2: {kind: ceramic-capacitor, value: 2n2"))) == 1  # fmt: skip # noqa: E501


def test_the_trays_twins_are_known_as_such() -> None:
    tray = Path(__file__).resolve().parents[2] / "examples" / "hd40" / "pt3.yaml"
    text = tray.read_text(encoding="utf-8")
    for old, new, pair in (
        ("C6:   {kind: ceramic-capacitor, value: 1n", "10n", {"C6 value", "C11 value"}),
        ("C7:   {kind: tantalum, value: 22u", "2u2", {"C4 value", "C7 value"}),
    ):
        assert old in text
        path = tray.with_name("none.yaml")
        changed = text.replace(old, old.rpartition(" ")[0] + " " + new)
        assembly, _ = load_anyway(path, changed)
        assert assembly is not None
        assert [set(d.fits) for d in doubts(assembly)] == [pair]


def test_what_no_such_part_is_made_in_is_doubted(tmp_path: Path) -> None:
    for typed in ("kind: electrolytic, value: 100p", "kind: ceramic-capacitor, value: 1000u"):
        pos, neg = ("pos", "neg") if "lytic" in typed else ("a", "b")
        more = f"  C9: {{{typed}, {pos}: p12, {neg}: com}}\n"
        found = said(tmp_path, STAGES.replace("rails:", more.rstrip() + "\nrails:"))
        assert [set(f) for _, f in found] == [{"C9 value"}]


def test_one_value_of_another_series_than_all_others_is_doubted(tmp_path: Path) -> None:
    rows = [f"  R{k}: {{kind: resistor, value: {v}, a: p12, b: x{k}}}" for k, v in enumerate(["4k7", "1k2"] * 8, 20)]  # fmt: skip # noqa: E501
    for odd, count in (("4k3", 1), ("4k7", 0), ("4k3, tolerance: 1%", 0)):
        more = [*rows, f"  R50: {{kind: resistor, value: {odd}, a: p12, b: x50}}"]
        found = said(tmp_path, STAGES.replace("rails:", "\n".join(more) + "\nrails:"))
        assert [set(f) for _, f in found] == [{"R50 value"}] * count


def test_a_reservoir_far_too_small_is_flagged_though_no_ripple_is_printed(tmp_path: Path) -> None:
    text = WALL[: WALL.index("printed:")]
    assert not proofread(written(tmp_path, text)).disagreements
    # By hand 15 V of ripple at 0.9 A: the mean falls too, and either is told.
    found = proofread(written(tmp_path, text.replace("value: 4700u", "value: 470u")))
    assert any(d.path == "parts.C1.value" for d in found.disagreements)
    assert found.explanations[0].place == "C1 value"
