"""AC-range readings of the demo tray on its mains, against ngspice's waveforms."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.diagnosis import swing
from halfsplit.diagnosis.meters import meters
from halfsplit.faults.dictionary import predict
from halfsplit.faults.predictions import Predictions
from tests.simulator import deck, tray, waves

FULL = Condition("mains", "full", tray.NO_CROWBAR)
NETS = ("v5r", "vrpr", "s1a")
BANDWIDTH = 1000.0
# One diode open makes full-wave rectification half-wave; C1 dried lets the whole hump through.
FAULTS = ("", "CR1 open", "C1 open")


@cache
def ours() -> Predictions:
    return predict(tray.tray(), FULL, [tray.fault(f) for f in FAULTS], moves=[])


@cache
def theirs(fault: str) -> waves.Waves:
    """Last five mains cycles; each net also behind a real RC of 1 kHz (1 Mohm, 159 pF)."""
    machine = tray.tray()
    changes = {**tray.fault(fault), **machine.values(FULL)}
    written = deck.write(
        machine.topology, changes, closed=frozenset({"K1:contact"}), transient=True
    )
    for net in NETS:
        farads = 1.0 / (2.0 * np.pi * BANDWIDTH * 1e6)
        behind = written.net(f"bw{net}")
        written.lines.append(f"Rbw{net} {written.net(net)} {behind} 1Meg")
        written.lines.append(f"Cbw{net} {behind} 0 {farads:.6g}")
    found = waves.transient(
        written, [*NETS, *(f"bw{n}" for n in NETS)], stop=0.6, step=2e-5, keep=0.48
    )
    assert found is not None, "ngspice gave no waveform"
    return found.since(0.5, 0.6)


def by_hand(found: waves.Waves, wave: np.ndarray) -> tuple[float, float]:
    """Rectified mean times pi/(2 sqrt 2), and rms, of what is left without the mean."""
    left = wave - found.mean(wave)
    return 1.1107 * found.mean(np.abs(left)), found.mean(left**2) ** 0.5


@pytest.mark.parametrize("net", NETS)
@pytest.mark.parametrize("row", range(len(FAULTS)))
def test_both_sorts_of_meter_within_five_per_cent(net: str, row: int) -> None:
    found, table = theirs(FAULTS[row]), ours()
    column, common = table.column(net), len(table.nets)
    digital, true = meters()["digital"], meters()["digital-rms"]
    assert digital.bandwidth == BANDWIDTH
    average, rms = by_hand(found, found.volts[net])
    rolled, _ = by_hand(found, found.volts[f"bw{net}"])
    for meter, reference in (
        (replace(digital, bandwidth=0.0), average),
        (replace(true, bandwidth=0.0), rms),
        (digital, rolled),
    ):
        shown = float(swing.shown(table, meter, column, common)[row])
        assert shown == pytest.approx(reference, rel=0.05), (meter.name, meter.bandwidth)


@pytest.mark.parametrize("net", NETS)
@pytest.mark.parametrize("row", range(len(FAULTS)))
def test_frequency_and_height(net: str, row: int) -> None:
    """50 Hz mains: 100 behind both diodes, 50 with one open, which changes no other rail."""
    found, table = theirs(FAULTS[row]), ours()
    column, common = table.column(net), len(table.nets)
    wave = found.volts[net]
    middle, high = (wave.max() + wave.min()) / 2, np.ptp(wave)
    wraps = found.rises(wave, middle, middle - 0.2 * high)
    hertz = 1.0 / float(np.diff(wraps).mean())
    assert swing.frequency(table, column, common)[row] == pytest.approx(hertz, rel=0.02)
    expected = 50.0 if net == "s1a" or (net, row) == ("v5r", 1) else 100.0
    assert hertz == pytest.approx(expected, rel=0.02)
    assert swing.height(table, column, common)[row] == pytest.approx(high, rel=0.10)


def test_between_two_nets() -> None:
    """Across both halves of a centre-tapped winding: twice one half, within 1 %; ngspice's too."""
    table = ours()
    meter = meters()["digital-rms"]
    a, b, common = table.column("s1a"), table.column("s1b"), len(table.nets)
    across = float(swing.shown(table, meter, a, b)[0])
    half = float(swing.shown(table, meter, a, common)[0])
    assert across == pytest.approx(2.0 * half, rel=0.01)
    _, rms = by_hand(theirs(""), theirs("").volts["s1a"])
    assert across == pytest.approx(2.0 * rms, rel=0.05)
