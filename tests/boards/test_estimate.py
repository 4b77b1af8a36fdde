"""Rate, polarity and format of captures; the long version is proofs/decoder.py."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from halfsplit.boards.capture import changes, read_capture
from halfsplit.boards.estimate import estimate
from halfsplit.boards.framing import Format, edges_of
from halfsplit.problems import NotFoundError, ProblemsError
from tests.boards.synthesis import score, synth

SNR = 14.0  # dB, half the swing over the root mean square noise


def test_rate_and_format_right_in_99_of_100() -> None:
    right, text, missed = score(SNR, 150, seed=7)
    print(f"{right} of 150 right, text too in {text}")
    assert right >= 149, missed
    assert text >= 148


def test_the_rate_itself_is_measured() -> None:
    for k in range(20):
        made = synth(np.random.default_rng([3, k]), SNR)
        found = estimate(changes(made.t, made.v))
        assert found is not None
        assert found.rate == pytest.approx(made.true_rate, rel=0.005)


def _trace(values: list[int], form: Format, gap: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """A logic trace of changes only, as an analyser exports it, mark high."""
    edges = edges_of(values, form, gap)
    t = np.array([0.0, *(e[0] for e in edges), edges[-1][0] + 30]) / form.rate
    v = np.array([1.0, *(float(e[1]) for e in edges), 1.0])
    return t, v


def test_a_logic_trace_of_changes_only() -> None:
    text = b"LO 0000 HI 7FFF\r\n"
    t, v = _trace(list(text), Format(7, "E", 1, 1200.0))
    found = estimate(changes(t, v))
    assert found is not None
    assert (found.nominal, str(Format(found.form.data, found.form.parity, found.form.stop))) == (
        1200,
        "7E1",
    )
    assert found.mark == "high" and found.data == text
    assert found.jitter < 1e-6


def test_typed_slowly_the_stop_bits_are_not_told() -> None:
    t, v = _trace(list(b"HELLO THERE 123"), Format(8, "N", 2, 300.0), gap=40.0)
    found = estimate(changes(t, v))
    assert found is not None and found.form.data == 8 and not found.stop_seen


@pytest.mark.parametrize(("form", "gap"), [("8N1", 2.0), ("8N1", 3.0), ("7E1", 2.0), ("8N2", 0.0)])
def test_the_same_pause_after_every_word_is_no_stop_bit_and_no_parity(
    form: str, gap: float
) -> None:
    """A sender slower than its line: two idle bits each time once passed for wrong parity."""
    text = b"MEMORY TEST 16K PASS 0417 ERRORS 000, NEXT"
    sent = Format(int(form[0]), form[1], int(form[2]), 9600.0)
    even = [c | ((c.bit_count() & 1) << 7) for c in text]
    t, v = _trace(even if form == "7E1" else list(text), sent, gap)
    found = estimate(changes(t, v))
    assert found is not None
    # 7E1 and a wider word hold the same bits where every parity is right: the narrower is meant.
    assert (found.form.data, found.form.parity) == (int(form[0]), form[1])
    assert found.data == text and not any(h.parity for h in found.heard)


def test_one_character_is_too_little_to_be_sure() -> None:
    """U alternates: five formats put the same on the wire, and the share says so."""
    t, v = _trace([0x55], Format(8, "N", 1, 9600.0))
    found = estimate(changes(t, v))
    assert found is not None and found.share < 0.6


def test_a_wrong_parity_bit_is_counted() -> None:
    form = Format(7, "E", 1, 1200.0)
    values = [c | ((c.bit_count() & 1) << 7) for c in b"THE QUICK BROWN FOX JUMPS OVER"]
    values[4] ^= 0x80
    t, v = _trace(values, Format(8, "N", 1, form.rate))
    found = estimate(changes(t, v))
    assert found is not None and found.form.parity == "E"
    assert [h.parity for h in found.heard].index(True) == 4
    assert sum(h.parity for h in found.heard) == 1


def test_csv_with_headings_units_and_semicolons(tmp_path: Path) -> None:
    t, v = _trace(list(b"QM 2.1\r\n" * 3), Format(8, "N", 1, 9600.0))
    at = np.arange(0, t[-1], 1 / 9600 / 12)
    level = v[np.searchsorted(t, at, "right") - 1]
    rows = [
        f"{a * 1e3:.6f};{5 * x - 9:.3f}".replace(".", ",") for a, x in zip(at, level, strict=True)
    ]
    path = tmp_path / "scope.csv"
    path.write_text("Model;X\nTime (ms);CH1 (V)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    found = estimate(changes(*read_capture(path)))
    assert found is not None
    assert found.nominal == 9600 and found.data == b"QM 2.1\r\n" * 3 and found.mark == "high"


@pytest.mark.parametrize("bits", [0.4, 3.4, 8.4])
def test_a_character_the_capture_ends_in_is_left_out_and_told(bits: float) -> None:
    form = Format(8, "N", 1, 9600.0)
    t, v = _trace(list(b"QM 2.1\r\n" * 3 + b"E"), form)
    whole = estimate(changes(t, v))
    assert whole is not None and whole.data == b"QM 2.1\r\n" * 3 + b"E" and not whole.cut
    # Sampled as a scope does, to so many bits after the start of the last character.
    end = whole.heard[-1].at + bits / 9600
    at = np.arange(0, end, 1 / 9600 / 12)
    short = estimate(changes(at, v[np.searchsorted(t, at, "right") - 1]))
    assert short is not None and short.data == b"QM 2.1\r\n" * 3
    assert short.cut and not any(h.framing for h in short.heard)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not two lines"),
        ("time,level\n", "not two lines"),
        ("0,1\n1,x\n2,0\n", "bad.csv:2:1: “1,x”"),
        ("t,v\n0,1\n1,nan\n2,0\n", "bad.csv:3:1: a time or level is not a finite"),
        ("t,v\n0,1\n2,0\n1,1\n", "bad.csv:4:1: time runs backwards"),
        ("0,1\n1,x\n2,0\n", "no pair of time and level"),
        ("0,1\n2,0\n1,1\n", "backwards"),
        ("0,1\n1,nan\n2,0\n", "not a finite number"),
        ("0,1\n1,1\n2,1\n", "never changes"),
    ],
)
def test_bad_captures_say_so(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ProblemsError, match=words):
        changes(*read_capture(path))


def test_a_column_that_is_not_there_is_told_as_such(tmp_path: Path) -> None:
    path = tmp_path / "two.csv"
    path.write_text("t,a,b\n0,1,0\n1,0,0\n2,1,1\n", encoding="utf-8")
    with pytest.raises(ProblemsError, match="no column 4: 3 are here") as caught:
        read_capture(path, channel=3)
    assert caught.value.problems[0].instead == "--channel 1 to 2"


def test_a_missing_capture_is_not_found(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError):
        read_capture(tmp_path / "none.csv")
