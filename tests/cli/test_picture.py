"""Pictures and reports as typed: what is written where, and what is said."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Run
from tests.cli.helpers import stored


def drawn(path: str) -> str:
    """All text of a drawing, which must be XML."""
    return " ".join(
        " ".join(ET.fromstring(Path(path).read_text(encoding="utf-8")).itertext()).split()
    )


def test_a_neighbourhood_with_what_is_read_and_expected(tray: Path, run: Run) -> None:
    assert run("read", "pt3.yaml", "p5=1.10", "n12=-1.71", "--load", "bench").code == 0
    assert run("picture", "pt3.yaml", "--around", "C4", "--notes", "--svg", "c4.svg").code == 0
    text = drawn("c4.svg")
    assert "is -1.71 V" in text and "C4" in text and "suspect" in text
    # The rail's design value by the tray's own notes.
    level = float(text.partition("n12 = N12 exp ")[2].split()[0])
    assert level == pytest.approx(-12.0, abs=0.15)


def test_json_names_what_is_drawn(tray: Path, run: Run) -> None:
    data = run("picture", "pt3.yaml", "--around", "R21", "--json").json
    assert data["parts"] == ["Q10", "R20", "R21", "R22"]
    assert data["svg"].startswith("<svg")
    crowd = run("picture", "pt3.yaml", "--around", "com", "--json").json
    assert crowd["left_out"]["com"] > 0


def test_a_capture_is_laid_over_the_expected_wave(tray: Path, run: Run) -> None:
    """A made-up capture: the expected wave itself, later by 3 ms, with noise and more mean."""
    wave = ("picture", "pt3.yaml", "--wave", "v5r", "--feed", "mains", "--load", "half")
    line = run(*wave, "--json").json["lines"][0]
    x, y = np.array(line["x"]), np.array(line["y"])
    t = np.linspace(0.0, 0.05, 5000)
    v = np.interp((t + 0.017) % 0.02, x[:65], y[:65])
    v += np.random.default_rng(1).normal(0, 0.005, len(t))
    rows = "\n".join(f"{1e3 * a:.5f},{b:.4f}" for a, b in zip(t, v, strict=True))
    Path("scope.csv").write_text(f"Time (ms),CH1 (V)\n{rows}\n", encoding="utf-8")
    ran = run(*wave, "--captured", "scope.csv", "--svg", "wave.svg", "--json")
    over = ran.json["lines"][-1]
    assert over["name"] == "captured" and "captured" in drawn("wave.svg")
    at, level = np.array(over["x"]), np.array(over["y"])
    shown = at >= 0
    due = np.interp(at[shown] % 0.02, x[:65], y[:65])
    assert np.sqrt(np.mean((level[shown] - due) ** 2)) < 0.03  # of 640 mV peak to peak
    # Ripple by hand: 100 Hz, half load and bleeder, 33 mF, charging a quarter of the time.
    amps = 2.5 + np.mean(y) / 100.0
    assert np.ptp(y) == pytest.approx(amps * 0.01 * 0.75 / 33e-3, rel=0.25)


def test_suspects_entry_by_entry(tray: Path, run: Run) -> None:
    assert run("read", "pt3.yaml", "p5=1.10", "n12=-1.71", "--load", "bench").code == 0
    before = stored(tray)
    data = run("picture", "pt3.yaml", "--suspects-over-time", "--json").json
    first = data["lines"][0]
    assert first["name"] == "C4 short"
    assert first["y"][-1] == max(first["y"]) > 50  # per cent
    assert stored(tray) == before
    for k in range(len(first["x"])):  # each suspect's own weight: no share is counted twice
        assert sum(line["y"][k] for line in data["lines"]) <= 100.0 + 1e-6


def test_a_drill_is_drawn_from_its_own_json(tray: Path, run: Run) -> None:
    rows = [{"claimed": 0.97, "right": 0.95, "cases": 20}]
    told = {"table": {"calibration": rows}, "cases": [{"checks": 4}, {"checks": 4}, {"checks": 6}]}
    Path("drill.json").write_text(json.dumps(told), encoding="utf-8")
    data = run("picture", "pt3.yaml", "--drill", "drill.json", "--svg", "d.svg", "--json").json
    assert data["more"][0]["lines"][0]["y"] == [2.0, 1.0]
    assert "Drill: claimed and right" in drawn("d.svg")


def test_a_report_changes_nothing_and_says_where_it_is(tray: Path, run: Run) -> None:
    assert run("read", "pt3.yaml", "p5=1.10", "--load", "bench").code == 0
    before = stored(tray)
    ran = run("report", "pt3.yaml", "--quick", "--html", "r.html", "--pdf", "r.pdf")
    assert ran.code == 0 and "Written: r.html" in ran.out and "Written: r.pdf" in ran.out
    assert stored(tray) == before
    assert "1.10 V" in Path("r.html").read_text(encoding="utf-8")
    assert Path("r.pdf").read_bytes().startswith(b"%PDF")


def test_the_two_ways_of_saying_nothing_about_where(tray: Path, run: Run) -> None:
    ran = run("report", "pt3.yaml", "--label", "label.txt")
    assert ran.code == 1 and "label.pdf" in ran.out
    ran = run("picture", "pt3.yaml", "--svg", "pt3.yaml/x.svg")
    assert ran.code == 1 and "cannot be written there" in ran.out
