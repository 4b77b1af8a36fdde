"""Readings taken from a meter: held, shown, and stored only when somebody says so."""

from __future__ import annotations

import builtins
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.cli.helpers import stored
from tests.instruments.servers import IDN, Scpi, lan


def reads(file: Path) -> list[dict[str, object]]:
    return [body for _, kind, body in stored(file) if kind == "read"]


def test_nothing_is_stored_by_itself(tray: Path, run: Run) -> None:
    ran = run("read", "pt3.yaml", "p5", "--from", "simulated:4.98V")
    assert ran.code == 0 and "p5: 4.9" in ran.out and "--take stores it" in ran.out
    assert run("read", "pt3.yaml", "p5", "--from", "simulated:4.98V", "--json").json["stored"] == []
    assert reads(tray) == []


def test_taken_from_a_lan_meter(tray: Path, run: Run) -> None:
    values = iter([0.0, 0.0, 2.7, *["-1.20412E+1"] * 1000])
    with lan(Scpi(lambda: f"{next(values)}")) as resource:
        ran = run("read", "pt3.yaml", "n12", "--from", resource, "--take")
    assert ran.code == 0 and IDN in ran.out
    (body,) = reads(tray)
    assert body["value"] == -12.0412 and body["resolution"] == pytest.approx(1e-4)
    assert body["text"] == "-12.0412 V"
    assert body["instrument"] == {
        "identity": IDN,
        "place": resource,
        "raw": "-1.20412E+1",
        "settled": True,
        "low": -12.0412,
        "high": -12.0412,
    }
    assert run("suspects", "pt3.yaml").code == 0, "it is evidence like any other reading"


@pytest.mark.parametrize(("typed", "kept"), [("", 1), (" ", 1), ("n", 0), (None, 0)])
def test_a_key_stores_it(
    tray: Path, run: Run, monkeypatch: pytest.MonkeyPatch, typed: str | None, kept: int
) -> None:
    def pressed(_: str) -> str:
        if typed is None:
            raise EOFError
        return typed

    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(builtins, "input", pressed)
    assert run("read", "pt3.yaml", "p5", "--from", "simulated:4.98V").code == 0
    assert len(reads(tray)) == kept


def test_each_quantity(tray: Path, run: Run) -> None:
    for line in (
        "read pt3.yaml v5r --from simulated:0.32V --ac --take",
        "read pt3.yaml v5r --from simulated:100Hz --frequency --take",
        "read pt3.yaml F3 --from simulated:0.83A --current --take",
        "read pt3.yaml p1:p12 --from simulated:0.41V --take",
        "read pt3.yaml n12:com --from simulated:1.5kohm --ohms --feed off --take",
        "read pt3.yaml com:n12 --from simulated:OL --diode --now --take",
    ):
        assert run(*line.split()).code == 0, line
    kinds = [body["quantity"] for body in reads(tray)]
    assert kinds == ["ac", "frequency", "amps", "volts", "ohms", "diode"]
    assert all("nothing was measured" in str(body["instrument"]) for body in reads(tray))


def test_a_dead_rail_needs_now(tray: Path, run: Run) -> None:
    ran = run("read", "pt3.yaml", "p5", "--from", "simulated:0.00V", "--take", "--seconds", "2")
    assert ran.code == 1 and "--now" in ran.err and reads(tray) == []
    assert run("read", "pt3.yaml", "p5", "--from", "simulated:0.00V", "--take", "--now").code == 0
    assert reads(tray)[0]["value"] == pytest.approx(0.0, abs=1e-3)


REFUSED = [
    (1, "read pt3.yaml p5=4.98 --from simulated:4.98V"),
    (1, "read pt3.yaml p5 n12 --from simulated:4.98V"),
    (1, "read pt3.yaml p5 --take"),
    (1, "read pt3.yaml p5 --from simulated:4.98V --ripple"),
    (1, "read pt3.yaml p5 --from simulated:4.7kohm"),
    (1, "read pt3.yaml p5 --from simulated:4.98V --seconds 0"),
    (1, "read pt3.yaml p5 --from @9600"),
    (1, "read pt3.yaml p5 --from TCPIP::127.0.0.1::1::SOCKET"),
    (3, "read pt3.yaml nonesuch --from simulated:4.98V"),
    (3, "read pt3.yaml R99 --from simulated:1A --current"),
    (3, "read pt3.yaml p5 --from /dev/ttyNONE9"),
    (3, "read pt3.yaml p5 --from replay:none.txt"),
    (1, "instruments simulated:4.98V --quantity furlongs"),
    (1, "instruments simulated:4.98V --quantity ohms"),
    (3, "instruments /dev/ttyNONE9"),
]


@pytest.mark.parametrize(("code", "line"), REFUSED, ids=[line for _, line in REFUSED])
def test_refusals(tray: Path, run: Run, code: int, line: str) -> None:
    before = stored(tray)
    ran = run(*line.split())
    assert ran.code == code and ran.err + ran.out
    assert run(*line.split(), "--json").code == code
    assert stored(tray) == before


def test_a_meter_that_dies_half_way_loses_nothing(tray: Path, run: Run) -> None:
    assert run("read", "pt3.yaml", "p12=12.02").code == 0
    meter = Scpi()
    meter.die_at_read = 4
    with lan(meter) as resource:
        ran = run("read", "pt3.yaml", "p5", "--from", resource, "--take")
    assert ran.code == 1 and "went away while being read" in ran.err
    assert "what was stored is on disk" in ran.err
    assert [body["value"] for body in reads(tray)] == [12.02]


def test_listing(tray: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    sim = Path(__file__).parents[1] / "instruments" / "meters.yaml"
    monkeypatch.setenv("PYVISA_LIBRARY", f"{sim}@sim")
    ran = run("instruments")
    assert ran.code == 0 and "TCPIP0::localhost::5025::SOCKET" in ran.out
    assert "such as simulated:4.98V" in ran.out
    told = run("instruments", "TCPIP0::localhost::5025::SOCKET", "--json").json
    assert told["identity"] == "SIMULATED,BENCH DMM,0001,1.0"
    assert told["reading"]["value"] == -12.041
