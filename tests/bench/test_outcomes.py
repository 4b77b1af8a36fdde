"""Outcomes: what is counted of a machine, what is never told, how files merge, how pools weigh."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from proofs.pooled_rates import right, score

from halfsplit.bench.noting import Noter
from halfsplit.bench.outcomes import count, export, say_mode, unsaid
from halfsplit.bench.packing import gather, number, write
from halfsplit.bench.pool_file import merged, read_outcomes
from halfsplit.bench.pools import drop, pool_dict, pool_of, take
from halfsplit.bench.session import Session
from halfsplit.bench.unpacking import unpack
from halfsplit.faults.pooling import (
    STRENGTH,
    Pool,
    Row,
    age_class,
    overdispersion,
    scale_of,
    shipped_weights,
)
from halfsplit.faults.quantiles import beta_below, beta_quantile, gamma_below, gamma_quantile
from halfsplit.problems import NotFoundError, ProblemsError

TRAY = """\
assembly: Hobson tray
machine: secret machine
parts:
  S1: {kind: supply, volts: 12V, ohms: 0.2R, pos: raw, neg: com}
  R1: {kind: resistor, value: 4k7, power: 0.25W, a: raw, b: p5}
  R2: {kind: resistor, value: 3k3, power: 0.25W, a: p5, b: com}
  R3: {kind: resistor, value: 3k3, power: 0.25W, a: p5, b: com, touched: bright solder}
  R4: {kind: resistor, value: 3k3, power: 0.25W, a: p5, b: com}
  C1: {kind: tantalum, value: 10u, volts: 20V, pos: p5, neg: com, made: 1974}
  C2: {kind: tantalum, value: 10u, volts: 20V, pos: p5, neg: com, made: 1974}
  C3: {kind: tantalum, value: 10u, volts: 20V, pos: p5, neg: com, made: 1971}
  C4: {kind: tantalum, value: 10u, volts: 20V, pos: raw, neg: com}
  CR1: {kind: zener, value: 9.1V, power: 400mW, a: com, k: p5}
rails:
  P5: {net: p5, limits: 4.75..5.25V}
"""


@pytest.fixture
def tray(tmp_path: Path) -> Path:
    """A machine in which C1 was tested bad, and C4 replaced without a test."""
    file = tmp_path / "tray.yaml"
    file.write_text(TRAY)
    with Noter(file) as bench:
        bench.prove("C1", False, "Hobson measured a short")
        bench.change("C4 fitted")
        bench.prove("R2", True, "reads right")
    return file


def rows_of(file: Path, least: int = 3) -> dict[tuple[str, str], tuple[int, int, dict[str, int]]]:
    with Noter(file) as bench:
        found = count(bench, 2026, least)
    return {(r.of, r.age): (r.exposed, r.failed, dict(r.modes)) for r in found.rows}


# -- counting -------------------------------------------------------------------------------------


def test_what_was_tested_is_counted_and_what_nobody_knows_is_not(tray: Path) -> None:
    with Noter(tray) as bench:
        found = count(bench, 2026)
        assert found.bad == {"C1": ""} and unsaid(found) == ["C1"]
        assert found.undecided == ("C4", "R3")
        say_mode(bench, "C1=short")
        found = count(bench, 2026)
        assert found.bad == {"C1": "short"} and not unsaid(found)
    assert rows_of(tray) == {
        ("resistor film", "not told"): (3, 0, {}),
        ("tantalum", "45 to 59"): (3, 1, {"short": 1}),
    }
    assert ("zener", "not told") in rows_of(tray, least=1)


def test_a_replaced_part_counts_once_somebody_says_how_it_was_bad(tray: Path) -> None:
    with Noter(tray) as bench:
        say_mode(bench, "C4=open")
        assert count(bench, 2026).bad == {"C1": "", "C4": "open"}
        bench.undo()
        assert "C4" not in count(bench, 2026).bad


@pytest.mark.parametrize(
    ("text", "said"),
    [("C2=short", "neither"), ("C1=sad", "short"), ("C1", "short"), ("R2=open", "neither")],
)
def test_a_mode_is_taken_only_of_what_was_bad(tray: Path, text: str, said: str) -> None:
    with Noter(tray) as bench, pytest.raises(ProblemsError, match=said):
        say_mode(bench, text)


def test_a_part_tested_good_later_is_good(tray: Path) -> None:
    with Noter(tray) as bench:
        bench.prove("C1", True, "it was the meter")
        assert not count(bench, 2026).bad


def test_no_name_place_date_or_word_is_in_the_file(tray: Path, tmp_path: Path) -> None:
    out = tmp_path / "o.json"
    with Noter(tray) as bench:
        say_mode(bench, "C1=short")
        export(bench, count(bench, 2026, 1), out)
    text = out.read_text()
    for word in ("Hobson", "secret", "tray", "C1", "R2", "P5", "1974", "2026", "measured", "at"):
        assert f'"{word}' not in text and f" {word}" not in text
    keys = {"of", "age", "exposed", "failed", "modes"}
    assert all(set(r) == keys for r in json.loads(text)["contributions"][0]["rows"])


def test_few_parts_of_an_age_are_told_without_it_and_few_of_all_not_at_all(tray: Path) -> None:
    tray.write_text(TRAY.replace("made: 1971", "made: 1951"))
    assert rows_of(tray, 2) == {
        ("resistor film", "not told"): (3, 0, {}),
        ("tantalum", "45 to 59"): (2, 1, {}),
    }
    assert age_class(1951, 2026) == "60 and over" and age_class(2030, 2026) == "not told"


# -- merging --------------------------------------------------------------------------------------


def test_the_same_machine_told_twice_counts_once(tray: Path, tmp_path: Path) -> None:
    first, second = tmp_path / "1.json", tmp_path / "2.json"
    with Noter(tray) as bench:
        export(bench, count(bench, 2026), first)
        say_mode(bench, "C1=short")
        export(bench, count(bench, 2026), second)
    files = [(p.name, read_outcomes(p)) for p in (second, first, first)]
    listed, again = merged(files)
    assert len(listed) == 1 and listed[0].turn == 2 and len(again) == 2
    assert any(r.modes for r in listed[0].rows)


def test_whoever_gets_the_journal_tells_the_same_machine(tray: Path, tmp_path: Path) -> None:
    number([tray])
    write(gather([tray], journal="without-notes"), tmp_path / "t.zip")
    unpack(tmp_path / "t.zip", tmp_path / "new")
    for k, file in ((1, tray), (2, tmp_path / "new/tray.yaml")):
        with Noter(file) as bench:
            export(bench, count(bench, 2026), tmp_path / f"{k}.json")
    listed, _ = merged([(n, read_outcomes(tmp_path / n)) for n in ("1.json", "2.json")])
    assert len(listed) == 1


def contribution(k: int, rows: list[dict[str, Any]], turn: int = 1) -> dict[str, Any]:
    return {"id": f"{k:032x}", "turn": turn, "rows": rows}


def row(of: str = "tantalum", exposed: int = 10, failed: int = 1, **more: Any) -> dict[str, Any]:
    return {"of": of, "age": "45 to 59", "exposed": exposed, "failed": failed, "modes": {}, **more}


def file_of(path: Path, listed: list[Any]) -> Path:
    path.write_text(json.dumps({"halfsplit_outcomes": 1, "contributions": listed}))
    return path


def test_a_machine_told_in_two_ways_is_counted_as_named_first_and_said(tmp_path: Path) -> None:
    a = read_outcomes(file_of(tmp_path / "a", [contribution(1, [row()])]))
    b = read_outcomes(file_of(tmp_path / "b", [contribution(1, [row(failed=9)])]))
    listed, again = merged([("a", a), ("b", b)])
    assert listed == a and "not as here: a came first" in again[0]


@pytest.mark.parametrize(
    "entry",
    [
        None,
        {},
        contribution(1, [row(failed=11)]),
        contribution(1, [row(exposed=-1, failed=-1)]),
        contribution(1, [row(exposed=10**9)]),
        contribution(1, [row(exposed=True)]),
        contribution(1, [row(exposed=1e3)]),
        contribution(1, [row(of="Hobson")]),
        contribution(1, [row(age="1974")]),
        contribution(1, [row(modes={"short": 2})]),
        contribution(1, [row(modes={"at Hobson's, he said": 1})]),
        contribution(1, [row(serial="4711")]),
        contribution(1, [row(), row()]),
        contribution(1, [row()], turn=-1),
        {**contribution(1, [row()]), "who": "Hobson"},
        {**contribution(1, [row()]), "id": "../x"},
        {**contribution(1, []), "rows": 5},
    ],
)
def test_counts_that_cannot_be_are_refused(tmp_path: Path, entry: Any) -> None:
    with pytest.raises(ProblemsError, match=r"contributions\.0"):
        read_outcomes(file_of(tmp_path / "x.json", [entry]))


@pytest.mark.parametrize("text", ["", "[]", "{}", "\0", "[" * 90_000, '{"contributions": 1}', "ÿ"])
def test_what_is_no_file_of_outcomes_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "x.json"
    path.write_text(text, encoding="latin-1")
    with pytest.raises(ProblemsError):
        read_outcomes(path)
    with pytest.raises(NotFoundError):
        read_outcomes(tmp_path / "none.json")


# -- weighing -------------------------------------------------------------------------------------


def test_a_pool_moves_weights_by_what_was_counted_and_says_so(tray: Path, tmp_path: Path) -> None:
    rows = [row(exposed=200, failed=2, modes={"open": 2}), row("resistor film", 400, 8)]
    path = file_of(tmp_path / "field.json", [contribution(1, rows), contribution(2, rows)])
    with Session(tray) as bench:
        before = {f.name: f.odds for h in bench.standard for f in h.faults}
        assert bench.pool_said() == ""
        take(bench, path, 2026)
        path.unlink()  # what was counted is in the journal
        after = {f.name: f.odds for h in bench.standard for f in h.faults}
        assert after["R1 open"] > 5 * before["R1 open"]
        assert after["C2 short"] < before["C2 short"]
        assert after["C2 open"] / after["C2 short"] > before["C2 open"] / before["C2 short"]
        why = next(f.why for h in bench.standard for f in h.faults if f.part == "C2")
        assert "by the field: 4 bad of 400 tantalum, 45 to 59 years in field.json" in why
        assert "field.json (2 machines" in bench.pool_said()
        worn = [f for h in bench.standard for f in h.faults if f.cause == "worn"]
        assert sum(f.odds for f in worn) == pytest.approx(0.94)
        bench.weigh_part("C2", 50.0)
        mine = next(f.why for h in bench.standard for f in h.faults if f.part == "C2")
        assert "as you set" in mine and "field" not in mine
        bench.undo()
        drop(bench)
        assert {f.name: f.odds for h in bench.standard for f in h.faults} == before


def test_a_pool_that_came_with_the_machine_is_not_in_use(tray: Path, tmp_path: Path) -> None:
    path = file_of(tmp_path / "field.json", [contribution(1, [row(exposed=200, failed=2)])])
    with Session(tray) as bench:
        take(bench, path, 2026)
        assert bench.pool_said()
    write(gather([tray], journal="whole"), tmp_path / "t.zip")
    unpack(tmp_path / "t.zip", tmp_path / "new")
    with Session(tmp_path / "new/tray.yaml") as bench:
        assert bench.pool_said() == ""


def test_without_counts_the_shipped_weights_stay() -> None:
    pool = Pool([], shipped_weights(), {})
    assert not pool.classes and not pool.aged
    pool = Pool([[Row("tantalum", "45 to 59", 10, 0, {})]], shipped_weights(), {})
    assert not pool.classes  # nothing bad at all: no scale to weigh by


def test_one_class_by_hand() -> None:
    """One class: the scale is its own count, so the pool says what was counted, with one more
    failed part's worth of trust: Gamma(1 + 4, 1/0.02 + 200) has its mean at 0.02."""
    pool = Pool([[Row("tantalum", "not told", 200, 4, {})]], {"tantalum": 0.117}, {})
    found = pool.classes["tantalum"]
    assert found.shipped == pytest.approx(0.02) and found.rate == pytest.approx(0.02)
    assert found.factor == pytest.approx(1.0)
    # Chi-square table, NIST/SEMATECH e-Handbook 1.3.6.7.4, 10 degrees of freedom, 0.05 and 0.95.
    assert found.low == pytest.approx(3.940 / 2 / 250, rel=1e-3)
    assert found.high == pytest.approx(18.307 / 2 / 250, rel=1e-3)


def test_the_scale_is_not_decided_by_the_class_with_most_parts() -> None:
    """Classes five times and just as bad as their weights say: the scale is near the mean of four
    ratios, (5 + 1 + 1 + 1) / 4, not the ratio of the sums, nearly 5."""
    expected, failed = [1000.0, 10.0, 10.0, 10.0], [5000.0, 10.0, 10.0, 10.0]
    assert sum(failed) / sum(expected) > 4.8
    assert scale_of(expected, failed) == pytest.approx(2.0, abs=0.1)
    assert scale_of([0.0, 5.0], [0.0, 5.0]) == pytest.approx(1.0)


def test_machines_that_differ_by_chance_alone_count_in_full() -> None:
    assert overdispersion([(0.1, 10, 1)] * 50) == 0.0
    assert overdispersion([(0.1, 10, 0)] * 45 + [(0.1, 10, 10)] * 5) > 5.0
    rows = [[Row("tantalum", "not told", 10, 10 if k < 5 else 0, {})] for k in range(50)]
    apart = Pool(rows, {"tantalum": 1.0}, {}).classes["tantalum"]
    alike = [[Row("tantalum", "not told", 10, 1, {})] for _ in range(50)]
    even = Pool(alike, {"tantalum": 1.0}, {}).classes["tantalum"]
    assert apart.worth > 5 and even.worth == 1.0
    assert apart.high - apart.low > 2 * (even.high - even.low)


def test_a_pool_is_shown_with_shipped_counted_and_pooled(tmp_path: Path) -> None:
    path = file_of(tmp_path / "f.json", [contribution(k, [row()]) for k in range(1, 5)])
    data = pool_dict(*merged([("f", read_outcomes(path))]))
    assert [r["age"] for r in data["classes"]] == ["", "45 to 59"]
    first = data["classes"][0]
    assert first["exposed"] == 40 and first["failed"] == 4
    assert first["low"] < first["rate"] < first["high"]
    assert first["pooled_weight"] == pytest.approx(first["shipped_weight"] * first["factor"])
    assert pool_of(read_outcomes(path)).spread == 0.0


@pytest.mark.parametrize("shape", [1, 2, 7, 60])
def test_gamma_against_sums_of_poisson_chances(shape: int) -> None:
    """P(Gamma(k) <= x) is the chance of at least k events with mean x (DLMF 8.4.10)."""
    for x in (0.1, 1.0, 5.5, 40.0, 90.0):
        fewer = sum(math.exp(-x + i * math.log(x) - math.lgamma(i + 1)) for i in range(shape))
        assert gamma_below(shape, x) == pytest.approx(1.0 - fewer, abs=1e-12)
        assert gamma_quantile(shape, 2.0, 0.05) < gamma_quantile(shape, 2.0, 0.95)


@pytest.mark.parametrize(("a", "b"), [(1, 1), (2, 5), (7, 3), (30, 40)])
def test_beta_against_sums_of_binomial_chances(a: int, b: int) -> None:
    """I_x(a, b) is the chance of at least a of a + b - 1 (DLMF 8.17.5)."""
    n = a + b - 1
    for x in (0.02, 0.3, 0.5, 0.9):
        sure = sum(math.comb(n, k) * x**k * (1 - x) ** (n - k) for k in range(a, n + 1))
        assert beta_below(a, b, x) == pytest.approx(sure, abs=1e-12)
        assert beta_below(a, b, beta_quantile(a, b, x)) == pytest.approx(x, abs=1e-9)


def test_quantiles_against_published_tables() -> None:
    """Chi-square is Gamma(n/2, 1/2): NIST/SEMATECH e-Handbook, table 1.3.6.7.4. Beta(1/2, 1/2) is
    the arcsine law, in closed form."""
    for n, low, high in ((1, 0.004, 3.841), (4, 0.711, 9.488), (50, 34.764, 67.505)):
        assert gamma_quantile(n / 2, 0.5, 0.05) == pytest.approx(low, abs=6e-4)
        assert gamma_quantile(n / 2, 0.5, 0.95) == pytest.approx(high, abs=6e-4)
    for p in (0.05, 0.3, 0.95):
        assert beta_quantile(0.5, 0.5, p) == pytest.approx(math.sin(math.pi * p / 2) ** 2)


def test_a_slice_of_synthetic_field_data_is_held_by_its_intervals() -> None:
    """1,000 draws of six cases: proofs/pooled_rates.py; here 40 pools of one, 400 intervals."""
    (found,) = score(40, 3, (("fixed", 100),))
    assert right(found), found
    assert STRENGTH > 0
