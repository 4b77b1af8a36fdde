"""Everything the Python interface drives beside volts and suspects, on circuits typed here."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.bench.test_follower import FOLLOWER
from tests.docs.runner import blocks

from halfsplit.api import Bench, NotFoundError, ProblemsError, Proposal, open_bench
from halfsplit.api.given import as_shown
from halfsplit.diagnosis.meters import meters
from halfsplit.faults.pooling import UNTOLD

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "python.md").read_text(encoding="utf-8")
NINE = next(b.body for b in blocks(PAGE) if b.kind == "yaml")


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER)
    with open_bench(file) as opened:
        yield opened


@pytest.fixture
def nine(tmp_path: Path) -> Iterator[Bench]:
    """The supply of the page, on its mains at full load."""
    file = tmp_path / "nine.yaml"
    file.write_text(NINE)
    with open_bench(file) as opened:
        opened.condition("mains", "full")
        yield opened


# -- what is entered ------------------------------------------------------------------------------


def test_a_number_counts_as_a_meter_of_6000_counts_shows_it(bench: Bench) -> None:
    """5.0 typed by a program is no meter that shows a lone 5, which may be anything up to 6.5."""
    told = {5.0: "5.000", 0.0: "0.000", -1.71: "-1.710", 12: "12.00", 24.5: "24.50", 340.0: "340.0"}
    assert {v: as_shown(v, -3) for v in told} == told
    assert as_shown(5999.0, -3) == "5999" and as_shown(6000.0, -3) == "6000"
    assert as_shown(4.98765, -3) == "4.98765" and as_shown(2.2e6, -1) == "2200000"
    assert as_shown(-0.0, -3) == "0.000"
    bench.read("out", 5.0)
    bench.read("out", "5")
    number, text = bench.session.evidence()
    assert (number.resolution, text.resolution) == (0.001, 1.0)
    assert bench.reasons("R5 open")[0].sigma < 0.3 * bench.reasons("R5 open")[1].sigma


def test_a_meter_named_for_one_reading_is_the_one_it_is_weighed_with(bench: Bench) -> None:
    bench.read("zk", "11.9", meter="pointer-1k")
    bench.read("zk", "11.9")
    first, second = bench.session.evidence()
    assert first.meter == meters()["pointer-1k"] and second.meter == meters()["digital"]
    pointer, digital = bench.reasons("no fault")
    # 3 % of its 50 V scale, half of that one sigma; and 50 kohm lie across the zener's 1 kohm.
    assert pointer.sigma > 0.75 > digital.sigma
    bench.use_meter("pointer-20k", scale="25V")
    bench.read("zk", "11.9")
    used = bench.session.evidence()[-1].meter
    assert (used.name, used.range_volts) == ("pointer-20k", 25.0)


def test_a_reading_brings_its_condition_along(bench: Bench) -> None:
    bench.condition(feed="off")
    bench.read("out", "11.2", feed="supply", load="light", ambient=35)
    assert bench.condition() == "fed by supply, load light, air 35 °C"
    bench.read("out", "11.2", warm=10)
    assert bench.session.evidence()[-1].condition.warm == 10.0
    assert bench.condition() == "fed by supply, load light, air 35 °C"
    bench.read("F1", 0.021, quantity="amps", load="out=2k")
    assert bench.condition() == "fed by supply, load none, air 35 °C, out 2000 ohm"
    bench.read("out", "1k", quantity="ohms", feed="off", load="none")
    assert bench.session.evidence()[-1].condition.feed == "off"


def test_line_volts_and_a_lamp_in_series(nine: Bench) -> None:
    """Text and numbers say the same; at 60 % the reservoir is at little more than half."""
    said = nine.condition(mains=0.6, lamp=60)
    assert said == "fed by mains, load full, mains at 60 %, 60 W lamp in series"
    assert nine.condition(mains="60%", lamp="60W") == said
    assert nine.condition(mains=1, lamp=0) == (
        "fed by mains, load full, mains at 100 %, no lamp in series"
    )
    whole, low = nine.expect("raw"), nine.expect("raw", mains=0.6)
    assert 0.5 < low.mean / whole.mean < 0.65
    assert low.low < low.mean < low.high


def test_a_marking_found_is_the_circuit_until_it_is_undone_by_its_number(bench: Bench) -> None:
    """By hand: the follower's output is the zener's volts less a junction's 0.7 V or so."""
    number = bench.found("CR1", "value=9.1V")
    later = bench.note("a smell of phenol", "R1")
    bench.read("zk", "9.1")
    assert bench.reasons("no fault")[0].verdict == "supports"
    assert bench.undo(number) == later + 2
    assert bench.reasons("no fault")[0].verdict == "contradicts"
    assert [n for n, _ in bench.entries()] == [later, later + 1]
    assert bench.entries()[0][1] == "a smell of phenol [R1]"


def test_a_factor_makes_a_part_likelier_beside_all_others_and_is_told(bench: Bench) -> None:
    before = {row.part: row for row in bench.weights()}
    number = bench.weigh("R5", 50)
    after = {row.part: row for row in bench.weights()}
    grown = {part: after[part].odds / before[part].odds for part in after}
    assert grown["R5"] / grown["C1"] == pytest.approx(50.0)
    assert after["R5"].chance == pytest.approx(after["R5"].odds / (1 + after["R5"].odds))
    assert after["R5"].why[0].endswith("× 50 as you set") and after["C1"].kind == "electrolytic"
    bench.undo(number)
    assert {row.part: row for row in bench.weights()} == before
    told = bench.how_many()
    assert sum(told[k] for k in ("none", "one", "two", "more", "unmodelled")) == pytest.approx(1.0)


def test_a_pool_of_others_is_used_and_let_go(bench: Bench, tmp_path: Path) -> None:
    before = {row.part: row for row in bench.weights()}
    rows = [
        {"of": of, "age": UNTOLD, "exposed": 400, "failed": bad, "modes": {"open": bad}}
        for of, bad in (("fuse", 300), ("resistor film", 30))
    ]
    counts = [{"id": f"{k:032x}", "turn": 1, "rows": rows} for k in range(20)]
    file = tmp_path / "pool.json"
    file.write_text(json.dumps({"halfsplit_outcomes": 1, "contributions": counts}))
    with pytest.raises(ProblemsError, match=r"is no file of outcomes.*or `halfsplit pool` wrote"):
        bench.use_pool(tmp_path / "follower.yaml")
    with pytest.raises(NotFoundError):
        bench.use_pool(str(tmp_path / "none.json"))
    assert bench.entries() == []
    bench.use_pool(file)
    pooled = {row.part: row for row in bench.weights()}
    grown = {ref: pooled[ref].odds / before[ref].odds for ref in ("R1", "F1")}
    # Ten to one was counted, where 0.02 to 0.0027 is shipped.
    assert grown["F1"] / grown["R1"] == pytest.approx(10.0 / (0.02 / 0.0027), abs=0.05)
    assert any("pool.json" in why for why in pooled["F1"].why)
    bench.use_pool(None)
    assert {row.part: row for row in bench.weights()} == before


def test_readings_taken_with_a_change_that_is_undone_are_named(bench: Bench) -> None:
    before = bench.read("out", "5.0")
    bench.change("C2 removed")
    change = bench.entries()[-1][0]
    with_it = [bench.read("out", "5.1"), bench.read("zk", "5.6")]
    assert bench.left_behind() == []
    bench.undo(change)
    assert bench.left_behind() == with_it
    bench.read("raw", "23.4")
    assert bench.left_behind() == []
    assert before in [n for n, _ in bench.entries()]


def test_a_trimmer_is_turned_only_for_a_reason_before_references_are_proved(tmp_path: Path) -> None:
    file = tmp_path / "trim.yaml"
    pot = "  RV1: {kind: potentiometer, value: 10k, set: 50%, a: zk, wiper: tap, b: com}\n"
    rail = "rails:\n  TAP: {net: tap, limits: 5..7V}\n"
    file.write_text(FOLLOWER.replace("rails:\n", pot + rail))
    with open_bench(file) as bench:
        with pytest.raises(ProblemsError, match=r'not to be turned yet.*or add anyway="reason"'):
            bench.change("RV1 set 40%")
        with pytest.raises(ProblemsError, match='anyway="'):
            bench.change("RV1 set 40%", anyway="so")
        assert bench.entries() == []
        assert "RV1 set to 40%" in bench.change("RV1 set 40%", anyway="bench test, no load on it")
        kinds = [e.kind for e in bench.session.entries]
        assert kinds == ["override", "condition"]


# -- what is asked --------------------------------------------------------------------------------


def test_reasons_hold_every_reading_against_a_set(bench: Bench) -> None:
    """By hand: with C2 short the base stands at 0.9 V or so and the output at nought."""
    first = bench.read("zk", "11.9")
    second = bench.read("out", "0.00")
    told = bench.reasons("c2  SHORT")
    assert [(r.entry, r.at, r.other, r.quantity) for r in told] == [
        (first, "zk", "", "volts"),
        (second, "out", "", "volts"),
    ]
    assert [r.verdict for r in told] == ["contradicts", "supports"]
    assert told[0].read == 11.9 and 0.7 < told[0].predicted < 1.3 and 0.0 < told[0].sigma < 0.3
    assert told[0].condition == "fed by supply, load none" and "you read 11.90 V" in told[0].words
    lead = bench.suspects(1)[0]
    assert bench.reasons(lead) == bench.reasons(lead.name)
    silent = bench.reasons("something not in this model")[0]
    assert silent.verdict == "says nothing" and math.isnan(silent.predicted)
    with pytest.raises(NotFoundError, match="did you mean C2 short"):
        bench.reasons("C2 shot")


def test_of_a_fault_in_several_sizes_the_reasons_are_those_of_the_likeliest(bench: Bench) -> None:
    """A leak of the usual size leaves the base at 11.9 V; one a good deal worse is wanted here."""
    bench.read("out", "9.00")
    bench.read("zk", "9.70")
    lead = bench.session.groups()[0].members[0]
    names = [h.name for h in bench.session.hypotheses]
    assert names[lead] == "C1 leaky" and names.index("C1 leaky") < lead
    told = bench.reasons("C1 leaky")
    assert [r.words for r in told] == [r.words for r in bench.session.reasons(lead)]
    assert 8.5 < told[1].predicted < 10.5


def test_an_over_range_is_infinite_on_both_sides(bench: Bench) -> None:
    bench.condition(feed="off")
    bench.read("out", "OL", quantity="ohms")
    fits, not_so = bench.reasons("R5 open")[0], bench.reasons("C2 short")[0]
    assert fits.read == fits.predicted == math.inf
    assert not_so.read == math.inf and not_so.predicted < 2.0


def test_a_trail_tells_who_was_dropped_by_which_reading(bench: Bench) -> None:
    bench.read("out", "0.00")
    bench.read("zk", "11.9")
    steps = bench.trail()
    assert [s.words for s in steps] == ["OUT 0.000 V", "zk 11.90 V"]
    assert steps[0].lead == ("F1 open",) and steps[0].dropped == ()
    assert "you read 11.90 V" in dict(steps[1].dropped)["C1 short"]
    assert [s.number for s in bench.trail(1)] == [steps[1].number]
    assert len(bench.session.evidence()) == 2  # the whole journal is looked at again


def test_what_was_not_looked_at_is_told(bench: Bench) -> None:
    assert bench.left_out() == ""
    bench.session.found.__dict__["left"] = "so many sets"
    assert bench.left_out() == bench.session.left_out == "so many sets"


@pytest.mark.parametrize("quantity", ["volts", "ripple", "ac", "frequency"])
def test_healthy_readings_are_those_of_the_checks(nine: Bench, quantity: str) -> None:
    """By hand: 12 V rms less two junctions and the winding's drop at 0.4 A is 13 V or so; 100 Hz
    behind a bridge."""
    mean, low, high = nine.expect("raw", quantity)
    by_hand = {"volts": (12.5, 14.5), "frequency": (99.9, 100.1), "ripple": (1.0, 1.8)}
    first, last = by_hand.get(quantity, (0.3, 0.6))
    assert low < mean < high and first < mean < last
    row = nine.table("raw")[0]
    told = {"volts": row["mean"], "frequency": row["hertz"]}.get(quantity, row.get(quantity))
    assert told == pytest.approx(mean, rel=0.01)
    asked = [c for c in nine.session.near_checks() if c.candidate.quantity == quantity]
    for check in asked:
        if check.candidate.net == "raw":
            near = 0.02 * mean if quantity == "volts" else 1e-6 * mean
            assert check.healthy == pytest.approx((low, high), abs=near)
    # A counter is asked for where a machine makes its own beat.
    assert bool(asked) is (quantity != "frequency")


def test_healthy_readings_between_two_nets(bench: Bench) -> None:
    mean, low, high = bench.expect("zk", against="out")
    assert 0.5 < mean < 0.8 and low < mean < high
    assert bench.expect("out", against="zk").mean == pytest.approx(-mean)


def test_healthy_ohms_are_of_the_machine_switched_off(nine: Bench) -> None:
    """22 ohm of load beside 1 kohm, then 1 kohm alone."""
    assert nine.expect("p9", "ohms").mean == pytest.approx(22 * 1000 / 1022, rel=0.01)
    low = nine.expect("p9", "ohms", load="none", meter="low-power")
    assert low.mean == pytest.approx(1000.0, rel=0.01) and low.low < 1000.0 < low.high
    over = nine.expect("wall_live", "ohms")  # the transformer parts it from all else
    assert over == (math.inf, math.inf, math.inf)
    assert 0.4 < nine.expect("ref", "diode", against="p9", load="none").mean < 0.8
    assert nine.condition() == "fed by mains, load full" and len(nine.entries()) == 1


def test_where_nothing_healthy_is_known_it_is_said(bench: Bench) -> None:
    with pytest.raises(ProblemsError, match="no frequency is known of a healthy machine"):
        bench.expect("out", "frequency")
    bench.use_meter("scope")
    with pytest.raises(ProblemsError, match=r'no AC range here. Write use_meter\("digital"\)'):
        bench.expect("out", "ac")


def test_no_proposal_is_listed_twice(bench: Bench) -> None:
    for net, volts in {"out": "0.20", "raw": "23.30", "vin": "23.50", "zk": "1.03"}.items():
        bench.read(net, volts)
    asked = bench.propose(100)
    assert any(p.before for p in asked)
    places = Counter((p.quantity, p.at, p.other, p.feed, p.load, p.before, p.meter) for p in asked)
    assert [p for p, often in places.items() if often > 1] == []


def do(bench: Bench, check: Proposal, shown: str | bool) -> None:
    """That of the page."""
    code = next(b.body for b in blocks(PAGE) if b.body.startswith("def do("))
    names: dict[str, object] = {}
    exec(code, names)
    names["do"](bench, check, shown)  # type: ignore[operator]


@pytest.mark.parametrize(
    ("load", "other"), [("none", "ohms"), ("out=2k", "look")], ids=["named", "typed"]
)
def test_a_proposal_is_done_as_it_says(bench: Bench, load: str, other: str) -> None:
    """Every check offered, each done and undone: what is stored is the very one proposed."""
    bench.condition(feed="supply", load=load)
    if other == "look":
        bench.touched("R2")
    for net, volts in {"out": "0.20", "raw": "23.30", "vin": "23.50", "zk": "1.03"}.items():
        bench.read(net, volts)
    asked = bench.session.next_checks(40)
    told = bench.propose(40)
    assert {"volts", other} <= {p.quantity for p in told}
    assert any(p.before for p in told) or load != "none"
    for check, proposal in zip(asked, told, strict=True):
        last = bench.session.entries[-1].seq
        do(bench, proposal, True if proposal.quantity == "look" else "0.10")
        if proposal.quantity != "look":
            item, place = bench.session.evidence()[-1], check.candidate
            meter = place.ohmmeter and place.ohmmeter.name
            black = "" if place.black == "com" else place.black
            assert (item.pos, item.neg, item.quantity) == (place.net, black, place.quantity)
            assert item.condition == place.condition, proposal
            assert (item.ohmmeter and item.ohmmeter.name) == meter
        for number, _ in reversed(bench.entries()):
            if number > last:
                bench.undo(number)


def test_outcomes_are_told_in_words_beside_their_sets(bench: Bench) -> None:
    bench.touched("R2")
    looks = [p for p in bench.propose(20) if p.quantity == "look"]
    assert looks and looks[0].says == ("as drawn", "not as drawn")
    assert looks[0].where == "" and looks[0].meter == ""
    volts = next(p for p in bench.propose(20) if p.quantity == "volts")
    assert len(volts.says) == len(volts.leaves) and volts.where
    assert re.fullmatch(r"-?[\d.]+ V( to -?[\d.]+ V)?", volts.says[0])


def test_cautions_come_with_their_numbers(nine: Bench) -> None:
    assert any("230 V" in c for c in nine.cautions())
    assert any("230 V mains" in p.caution for p in nine.propose(3))
    assert nine.advice()["checks"][0]["caution"] == nine.propose(1)[0].caution


def test_a_closed_bench_says_so_and_frees_the_journal(tmp_path: Path) -> None:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER)
    first = open_bench(file)
    first.close()
    first.close()
    with open_bench(file) as second:
        second.read("out", "11.3")
    for bench in (first, second):
        with pytest.raises(Exception, match="closed: open it again with open_bench"):
            bench.suspects()
