"""Series and charts: what is kept of a capture, where it is laid, the same bytes every time."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from halfsplit.pictures import series
from halfsplit.pictures.chart import TONES, chart_svg
from halfsplit.pictures.series import Chart, Line, Mark

PERIOD = 0.02
PHASE = np.arange(64) / 64
# A rectifier's ripple: up in a fifth of the period, down in the rest; never the same twice over.
SAW = np.where(PHASE < 0.2, PHASE / 0.2, (1 - PHASE) / 0.8) - 0.5


def captured(
    shift: float, span: float = 2.5, mean: float = 10.0
) -> tuple[series.Floats, series.Floats]:
    t = np.linspace(-0.003, -0.003 + span * PERIOD, 4000)
    v = mean + np.interp(((t - t[0]) / PERIOD + shift) % 1.0, PHASE, SAW, period=1.0)
    return t, v + np.random.default_rng(3).normal(0, 0.01, len(t))


@pytest.mark.parametrize("shift", [0.0, 0.13, 0.5, 0.77])
def test_a_capture_lies_on_the_wave_it_is_of(shift: float) -> None:
    t, v = captured(shift)
    at = t - series.laid_over(PERIOD, SAW, t, v)
    due = 10.0 + np.interp((at / PERIOD) % 1.0, PHASE, SAW, period=1.0)
    assert np.sqrt(np.mean((v - due) ** 2)) < 0.03  # of 1 V peak to peak, with 10 mV of noise


def test_a_capture_through_a_capacitor_is_told_and_laid_on_the_mean() -> None:
    t, v = captured(0.2, mean=0.0)
    chart = series.wave_chart("v5r", "load half", PERIOD, [("healthy", 10.0, SAW)], (t, v))
    line = chart.lines[-1]
    assert line.name == "captured" and 9.3 < min(line.y) < max(line.y) < 10.7
    assert "its input blocked direct volts" in chart.notes[-1]
    plain = series.wave_chart("v5r", "load half", PERIOD, [("healthy", 10.0, SAW)], captured(0.2))
    assert "blocked" not in plain.notes[-1]


def test_a_short_capture_says_its_place_is_a_guess() -> None:
    chart = series.wave_chart("v5r", "", PERIOD, [("healthy", 10.0, SAW)], captured(0.2, 0.4))
    assert "its place is a guess" in chart.notes[-1]


def test_two_periods_join_without_a_step() -> None:
    chart = series.wave_chart("v5r", "", PERIOD, [("healthy", 10.0, SAW)])
    (line,) = chart.lines
    assert line.x[0] == 0.0 and line.x[-1] == pytest.approx(2 * PERIOD)
    assert line.y[0] == line.y[64] == line.y[128]


def test_no_spike_is_lost_when_a_trace_is_thinned() -> None:
    t, v = np.linspace(0, 1, 100_000), np.zeros(100_000)
    v[54_321], v[71_000] = 9.0, -7.0
    _, kept = series.thin(t, v)
    assert len(kept) <= series.DRAWN and kept.max() == 9.0 and kept.min() == -7.0


def test_readings_from_before_the_repair_do_not_squash_the_chart() -> None:
    expected = [("none", 0.0, 5.05), ("full", 5.0, 4.93)]
    chart = series.load_chart(
        "P5", "raws", expected, [(9, 2.5, 4.99)], (4.75, 5.25), [(3, 0.0, 1.1)]
    )
    assert chart.reach == (4.25, 5.75)
    assert [k.name for k in chart.lines] == ["expected, healthy", "read"]
    assert chart.notes[-1] == "off the scale before the last repair: #3 1.10 V"


def test_suspects_are_named_by_how_they_end() -> None:
    steps = [(1, "first", {"A": 0.5, "B": 0.2}), (4, "second", {"B": 0.9, "C": 0.05})]
    chart = series.suspicion_chart(steps, 2)
    assert [(k.name, k.x, k.y) for k in chart.lines] == [
        ("B", (1.0, 4.0), (20.0, 90.0)),
        ("C", (1.0, 4.0), (0.0, 5.0)),
    ]


def test_a_drill_is_counted() -> None:
    chart = series.checks_chart([{"checks": 3}, {"checks": 5}, {"checks": 3}])
    assert (chart.lines[0].x, chart.lines[0].y) == ((3.0, 5.0), (2.0, 1.0))
    rows = {"calibration": [{"claimed": 0.97, "right": 0.9, "cases": 10}]}
    assert series.claims_chart(rows).lines[1].x == (97.0,)


def some(title: str = "P5", name: str = "read") -> Chart:
    lines = (Line("expected", (0.0, 1.0), (5.0, 4.9)), Line(name, (0.5,), (4.95,), "points"))
    return Chart(title, "load", "A", title, "V", lines, (Mark(4.75, title),), (title,))


def test_the_same_chart_is_the_same_bytes_and_takes_the_page_s_colour() -> None:
    first, again = chart_svg(some()), chart_svg(some())
    assert first == again
    root = ET.fromstring(first)
    assert "currentColor" in first and "#010203" not in first
    assert root[0].tag.endswith("title") and root[0].text == "P5. P5"
    assert any("expected" in (t.text or "") for t in root.iter() if t.tag.endswith("text"))


@pytest.mark.parametrize(
    "text", ['<script>alert(1)</script>"&', "$\\frac{", "_hidden", "a\x00\ud800", "שלום"]
)
def test_any_text_is_text(text: str) -> None:
    made = chart_svg(some(text, text))
    ET.fromstring(made)
    assert "<script" not in made
    if "\x00" not in text:
        assert text in "".join(ET.fromstring(made).itertext())


def test_no_chart_refers_to_anything_outside() -> None:
    made = chart_svg(some())
    spaces = made.replace('xmlns="http://www.w3.org/2000/svg"', "")
    spaces = spaces.replace('xmlns:xlink="http://www.w3.org/1999/xlink"', "")
    assert "http" not in spaces and "<metadata" not in made and "<!DOCTYPE" not in made


def test_what_is_no_number_is_null_in_json() -> None:
    chart = Chart("", "", "", "", "", (Line("a", (0.0,), (float("nan"),)),))
    assert json.loads(json.dumps(chart.as_dict(), allow_nan=False))["lines"][0]["y"] == [None]


@pytest.mark.parametrize("style", ["line", "dashed", "points", "steps", "bars"])
def test_every_style_draws(style: series.Style) -> None:
    ET.fromstring(
        chart_svg(Chart("t", "x", "", "y", "%", (Line("a", (1.0, 2.0), (3.0, 4.0), style),)))
    )


def luminance(tone: str) -> float:
    """Relative luminance of a colour such as #0e7490, by WCAG 2.1."""
    parts = [int(tone[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    flat = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * flat[0] + 0.7152 * flat[1] + 0.0722 * flat[2]


@pytest.mark.parametrize("tone", TONES)
@pytest.mark.parametrize("paper", ["#ffffff", "#161616"])
def test_lines_stand_out_on_light_and_dark(tone: str, paper: str) -> None:
    """Graphics want 3 to 1 (WCAG 2.1, success criterion 1.4.11)."""
    low, high = sorted((luminance(tone), luminance(paper)))
    assert (high + 0.05) / (low + 0.05) >= 3.0
