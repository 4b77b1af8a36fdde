"""What the Python interface refuses, in words and with nothing stored."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests.bench.test_follower import FOLLOWER

from halfsplit.api import Bench, open_bench
from halfsplit.bench.drill_cases import prepared
from halfsplit.problems import HalfsplitError, NotFoundError, ProblemsError


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER)
    return open_bench(file)


NAN, INF = float("nan"), float("inf")
Call = Callable[[Bench], object]
# What is asked of a bench that is on, and words of the refusal.
REFUSED: list[tuple[Call, str]] = [
    (lambda b: b.read("zk", None), "None is no number that can be used. Write a number, or text"),
    (lambda b: b.read("zk", True), "True is no number"),
    (lambda b: b.read("zk", NAN), "nan is no number"),
    (lambda b: b.read("zk", INF), "inf is no number"),
    (lambda b: b.read("zk", 10**400), "is no number"),
    (lambda b: b.read("zk", b"5"), "is no number"),
    (lambda b: b.read("zk", 1e300), "too large to be meant"),
    (lambda b: b.read("zk", ""), "There is no value here. Write a value such as 12.5 V"),
    (lambda b: b.read("zk", "about 5"), "Type what the meter shows"),
    (lambda b: b.read("zk", 1e9), "three times anything.*or add sure=True if it is so"),
    (lambda b: b.read("zk", 5.0, sure="yes"), "'yes' is neither True nor False"),
    (lambda b: b.read(None, 5.0), "at: None is no text. Write a net, rail or point"),
    (lambda b: b.read("", 5.0), "at: there is nothing in this text"),
    (lambda b: b.read("zz", 5.0), "no net, rail or point zz; there are vin, raw"),
    (lambda b: b.read("zk", 5.0, against=3), "against: 3 is no text"),
    (lambda b: b.read("zk", 5.0, against="zz"), "no net, rail or point zz"),
    (lambda b: b.read("zk", 5.0, against="zk"), "both probes would be on one net"),
    (lambda b: b.read("zk", 5.0, quantity=None), "no quantity None. Write volts, ripple, ac"),
    (lambda b: b.read("zk", 5.0, quantity=["ac"]), "no quantity"),
    (lambda b: b.read("zk", -5.0, quantity="frequency"), "nothing was counted"),
    (lambda b: b.read("zk", 0.0, quantity="frequency"), "nothing was counted"),
    (lambda b: b.read("zk", NAN, quantity="frequency"), "nan is no number"),
    (lambda b: b.read("zk", -0.1, quantity="ripple"), "peak to peak, and has no sign"),
    (lambda b: b.read("zk", -0.1, quantity="ac"), "an AC range shows no sign"),
    (lambda b: b.read("zk", 5.0, meter="zzz"), "no meter zzz; there are digital"),
    (lambda b: b.read("zk", 5.0, meter="auto"), "no meter auto; there are digital"),
    (lambda b: b.read("zk", 5.0, meter=3), 'meter: 3 is no text. Write "digital"'),
    (lambda b: b.read("zk", 5.0, quantity="ac", meter="scope"), 'no AC range here. Write meter="d'),
    (lambda b: b.read("zk", 0.1, quantity="ripple", meter="scope"), "counts for nothing in ripple"),
    (lambda b: b.read("zk", 99.0, quantity="frequency", meter="scope"), "nothing in frequency"),
    (lambda b: b.read("F1", 0.1, quantity="amps", meter="digital"), "counts for nothing in amps"),
    (lambda b: b.read("F1", 0.1, quantity="amps", against="zk"), "read at a part"),
    (lambda b: b.read("F1", True, quantity="amps"), "True is no number"),
    (lambda b: b.read("F1", None, quantity="amps"), "None is no number"),
    (lambda b: b.read("Q1", 0.1, quantity="amps"), "Q1 has 3 leads"),
    (lambda b: b.read("F1", 0.1, quantity="amps", feed="off"), "no current flows.*Write feed="),
    (lambda b: b.read("Q1", NAN, quantity="degC"), "nan is no number"),
    (
        lambda b: b.read("Q1", 40.0, quantity="degC"),
        r'Write sink: 8K/W at Q1, or observe\("hot", "Q1',
    ),
    (lambda b: b.read("zk", 5.0, quantity="ohms"), 'a dead machine.*Write feed="off", when it is'),
    (lambda b: b.read("zk", -5.0, quantity="ohms", feed="off"), "less than nought means a charge"),
    (lambda b: b.read("zk", 5.0, quantity="ohms", feed="off", meter="zzz"), "no meter zzz"),
    (lambda b: b.read("zk", 5.0, quantity="ohms", feed="off", meter="diode"), "this asks for ohms"),
    (
        lambda b: b.read("zk", 0.5, quantity="diode", feed="off", meter="auto"),
        'Write meter="diode"',
    ),
    (lambda b: b.read("zk", 5.0, feed="zz"), "no feed zz; there are supply, off"),
    (lambda b: b.read("zk", 5.0, load="zz"), "no load zz; there are none, light, or write"),
    (lambda b: b.read("zk", 5.0, warm=-3), "lies before switch-on"),
    (lambda b: b.read("zk", 5.0, warm=NAN), "warm: nan is no number"),
    (lambda b: b.read("zk", 5.0, ambient="x"), "does not start with a number"),
    (lambda b: b.condition(feed="zz"), "no feed zz"),
    (lambda b: b.condition(feed=""), "feed: there is nothing in this text"),
    (lambda b: b.condition(feed=3), "feed: 3 is no text"),
    (lambda b: b.condition(load=3), "load: 3 is no text"),
    (lambda b: b.condition(load="zk=1k"), "zk is no rail"),
    (lambda b: b.condition(load="out=nan"), "not a number that can be used"),
    (lambda b: b.condition(mains=0.9), "does not use the mains.*Write nothing there"),
    (lambda b: b.condition(mains=True), "mains: True is no number"),
    (lambda b: b.condition(lamp=INF), "lamp: inf is no number"),
    (lambda b: b.condition(ambient=900), "is beyond any bench. Write 25degC"),
    (lambda b: b.use_meter(), r'no meter was named. Write use_meter\("pointer-20k"'),
    (lambda b: b.use_meter("zzz"), "no meter zzz"),
    (lambda b: b.use_meter(counts=NAN), "counts: nan is no number"),
    (lambda b: b.use_meter(counts=-5), r"no meter is like that. Write counts=2\."),
    (lambda b: b.use_meter(scale="-3V"), 'no meter is like that. Write scale="25V"'),
    (lambda b: b.use_meter(ohms=""), "ohms: there is nothing in this text"),
    (lambda b: b.use_meter(of_range="3%"), 'Write kind="pointer-20k" or scale='),
    (lambda b: b.look("F1", "no"), "'no' is neither True nor False"),
    (lambda b: b.look(None, True), "part: None is no text"),
    (lambda b: b.look("ZZ", True), "no part ZZ; there are S1"),
    (lambda b: b.found("CR1"), "no marking was named. Write found"),
    (lambda b: b.found("CR1", "value=x"), "does not start with a number"),
    (lambda b: b.found("CR1", "colour=red"), "is nothing a new zener comes with"),
    (lambda b: b.found("CR1", 9.1), "marking: 9.1 is no text"),
    (lambda b: b.observe("burnt"), r'burnt needs a part. Write observe\("burnt", "C4"\)'),
    (lambda b: b.observe("scorched", "R1"), "no sign scorched"),
    (lambda b: b.observe(None), "sign: None is no text"),
    (lambda b: b.observe("lit", "R1"), "lit is a sign of a lamp"),
    (lambda b: b.note(" "), "note: there is nothing in this text"),
    (lambda b: b.note("\ud800"), "nothing in this note that can be stored"),
    (lambda b: b.touched(None), "part: None is no text"),
    (lambda b: b.tested("C1", None), "good: None is neither"),
    (lambda b: b.tested("C1", 1), "good: 1 is neither"),
    (lambda b: b.tested(["C1"], True), "is no text"),
    (lambda b: b.change(None), "change: None is no text"),
    (lambda b: b.change("C1 exploded"), "not something I know how to do"),
    (lambda b: b.change("C1 put-back"), "nothing was done to C1.*done so far: nothing"),
    (lambda b: b.change("C1 fitted value=-3u"), "C1 value: .*must be more than 0. Write value="),
    (lambda b: b.change("R1 set 40%"), "nothing to turn. Write R1 fitted"),
    (lambda b: b.change("C1 fitted", anyway="because I say so"), "only turning a trimmer"),
    (lambda b: b.weigh("C1", NAN), "factor: nan is no number"),
    (lambda b: b.weigh("C1", True), "factor: True is no number"),
    (lambda b: b.weigh("C1", 0), r'above 0 and at most 10000. Write weigh\("C4", 30\)'),
    (lambda b: b.weigh("ZZ", 3), "no part ZZ"),
    (lambda b: b.use_pool(3), "file: 3 is no text"),
    (lambda b: b.use_pool("none.json"), "there is no such file"),
    (lambda b: b.undo(), "nothing to undo"),
    (lambda b: b.undo(99), "nothing to undo"),
    (lambda b: b.undo(True), "True is no whole number from 1 up. Write the number of an entry"),
    (lambda b: b.undo("1"), "is no whole number"),
    (lambda b: b.suspects(0), "most: 0 is no whole number from 1 up"),
    (lambda b: b.suspects(-1), "is no whole number"),
    (lambda b: b.propose(1.5), "1.5 is no whole number"),
    (lambda b: b.trail(0), "last: 0 is no whole number"),
    (lambda b: b.trail(-1), "is no whole number"),
    (lambda b: b.reasons("C9 short"), "no set of faults called C9 short is weighed; did you mean"),
    (lambda b: b.reasons(None), "of: None is no text"),
    (lambda b: b.expect(None), "at: None is no text"),
    (lambda b: b.expect("zz"), "no net, rail or point zz"),
    (lambda b: b.expect("com"), "both probes would be on one net"),
    (lambda b: b.expect("zk", "degC"), "no degC is told. Write volts, ripple"),
    (lambda b: b.expect("zk", meter="pointer-1k"), r'Write use_meter\("pointer-1k"\)'),
    (lambda b: b.expect("zk", "ohms", meter="diode"), "this asks for ohms"),
    (lambda b: b.expect("zk", feed="zz"), "no feed zz"),
    (lambda b: b.table(3), "net: 3 is no text"),
    (lambda b: b.table("zk:"), "names one lead of two"),
]


@pytest.fixture(scope="module")
def lasting(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """One for all refusals, as none of them changes anything."""
    file = tmp_path_factory.mktemp("refusals") / "follower.yaml"
    file.write_text(FOLLOWER)
    with open_bench(file) as bench:
        yield bench


@pytest.mark.parametrize(("call", "says"), REFUSED, ids=[says for _, says in REFUSED])
def test_what_cannot_be_is_refused_in_words_and_not_stored(
    lasting: Bench, call: Call, says: str
) -> None:
    with pytest.raises(HalfsplitError, match=says) as refused:
        call(lasting)
    told = str(refused.value)
    assert "--" not in told and "FILE" not in told, "words of the command line"
    assert isinstance(refused.value, ProblemsError | NotFoundError)
    assert lasting.session.journal.history() == []


@pytest.mark.parametrize("file", [None, "", 3, b"follower.yaml"], ids=repr)
def test_what_is_no_path_is_refused(file: object) -> None:
    with pytest.raises(ProblemsError, match=r"is no path. Write that of the machine's file"):
        open_bench(file)  # type: ignore[arg-type]


def test_an_undo_of_what_is_not_there_names_what_is(bench: Bench) -> None:
    with bench:
        number = bench.read("zk", "11.9")
        for wrong in (number + 1, 99):
            with pytest.raises(NotFoundError, match=rf"no entry {wrong} in force.*\[{number}\]"):
                bench.undo(wrong)
        assert bench.undo(number) == number + 1
        with pytest.raises(NotFoundError, match=f"no entry {number} in force"):
            bench.undo(number)
        assert bench.entries() == []


def test_an_entry_the_file_no_longer_knows_is_told_in_python_s_words(tmp_path: Path) -> None:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER)
    with open_bench(file) as bench:
        number = bench.read("zk", "11.9")
    file.write_text(FOLLOWER.replace("zk", "ze"))
    with open_bench(file) as bench:
        with pytest.raises(ProblemsError, match=rf"names net zk.*undo\({number}\)"):
            bench.suspects()
        bench.undo(number)
        assert bench.suspects()


def test_one_may_be_sure(bench: Bench) -> None:
    with bench:
        assert bench.read("zk", 99.0, sure=True) > 0


def test_what_blames_nothing_has_a_name(bench: Bench) -> None:
    with bench:
        bench.read("out", 16.2)
        names = {s.name for s in bench.suspects(9) if not s.faults}
        assert names <= {"no fault", "something not in this model"} and names


def test_a_drill_of_a_machine_that_is_off_is_refused(bench: Bench) -> None:
    with bench:
        bench.condition(feed="off")
        session = bench.session
        with pytest.raises(HalfsplitError, match=r"no fault shows.*off"):
            prepared(session, session.condition, ["single"], 1, 1)


def test_a_drill_of_two_faults_where_one_part_shows_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "one.yaml"
    file.write_text(
        "assembly: One\nparts:\n"
        "  S1: {kind: supply, volts: 5V, ohms: 0.5R, pos: in, neg: com}\n"
        "  R1: {kind: resistor, value: 1k, power: 1W, a: in, b: com}\n"
    )
    with open_bench(file) as bench:
        session = bench.session
        with pytest.raises(HalfsplitError, match=r"one part alone|no fault shows"):
            prepared(session, session.condition, ["double"], 1, 1)
