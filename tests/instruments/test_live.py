"""The reading thread: what it shows, what it tells, and that no trouble of the meter stops it."""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path

import pytest

from halfsplit.instruments import Held, Live, NoAnswerError, meter_at, take_held
from halfsplit.instruments.errors import GoneError, InstrumentError, WrongQuantityError
from halfsplit.instruments.port import Quantity
from halfsplit.instruments.replay import ReplayMeter
from halfsplit.instruments.scpi_dmm import ScpiMeter
from halfsplit.instruments.simulated import SimulatedMeter
from halfsplit.problems import NotFoundError, ProblemsError
from tests.instruments.servers import IDN, Scpi, lan, pty, wait


def simulated(volts: float | None = 4.98, **more: object) -> SimulatedMeter:
    return SimulatedMeter(source=lambda _: volts, apart=0.02, seed=3, **more)  # type: ignore[arg-type]


def test_from_start_to_stop() -> None:
    told: list[Held] = []
    states: list[str] = []
    live = Live(simulated(), on_held=told.append, on_state=lambda s, _: states.append(s))
    assert live.state == "stopped" and live.take() is None
    live.start()
    live.start()
    assert wait(lambda: told)
    assert live.fresh and live.held is told[0] and live.latest is not None
    assert told[0].value == pytest.approx(4.98, rel=2e-3)
    assert live.identity == "simulated meter: nothing was measured"
    assert live.stop()
    assert states == ["connecting", "live", "stopped"] and len(told) == 1
    assert sum(t.name == "meter" for t in threading.enumerate()) == 0


def test_pulled_out_and_plugged_in_again() -> None:
    meter = simulated()
    told: list[Held] = []
    live = Live(meter, on_held=told.append, again=0.02)
    live.start()
    assert wait(lambda: told)
    meter.pull()
    assert wait(lambda: live.state == "unplugged")
    assert "plug it in again" in live.trouble or "check cable" in live.trouble
    assert live.held is told[0] and live.latest is not None, "nothing read is lost"
    assert not live.fresh and live.take() is None, "what is gone is not taken for now"
    meter.plug()
    assert wait(lambda: len(told) == 2) and live.trouble == ""
    live.stop()


def test_a_meter_that_falls_silent_and_comes_back() -> None:
    meter = simulated()
    live = Live(meter, again=0.02)
    live.start()
    assert wait(lambda: live.fresh)
    meter.slow = True
    assert wait(lambda: live.state == "no answer")
    meter.slow = False
    assert wait(lambda: live.fresh)
    live.stop()


def test_no_reading_from_before_a_break_counts_towards_a_held_one() -> None:
    """Four readings before the cable came out and one after are no second of agreement."""
    meter = simulated()
    told: list[float] = []
    live = Live(meter, on_held=lambda h: told.append(time.monotonic()), again=0.02)
    live.start()
    assert wait(lambda: live.fresh)
    time.sleep(0.6)
    meter.pull()
    assert wait(lambda: live.state == "unplugged")
    meter.plug()
    back = time.monotonic()
    assert wait(lambda: told) and told[0] - back > 0.9
    live.stop()


def test_taken_by_key() -> None:
    live = Live(simulated(0.0))
    live.start()
    assert wait(lambda: live.fresh)
    taken = live.take()
    assert taken is not None and taken.value == pytest.approx(0.0, abs=1e-3)
    live.stop()
    over = Live(simulated(None), "ohms")
    over.start()
    assert wait(lambda: over.fresh)
    taken = over.take()
    assert taken is not None and taken.sample.over and not taken.settled and over.held is None
    over.stop()


def test_another_quantity_while_it_runs() -> None:
    def circuit(quantity: Quantity) -> float:
        return {"volts": 12.0, "ohms": 4700.0}[quantity]

    live = Live(SimulatedMeter(source=circuit, apart=0.02, seed=1))
    live.start()
    assert wait(lambda: live.held)
    live.set_up("ohms")
    assert live.held is None and live.quantity == "ohms"
    assert wait(lambda: live.held)
    assert live.held is not None and live.held.unit == "ohm"
    assert live.held.value == pytest.approx(4700.0, rel=2e-3)
    live.stop()


def test_a_switch_on_the_wrong_quantity_is_told_until_it_is_turned() -> None:
    with pty() as (meter, name):
        live = Live(meter_at(name), "volts", again=0.02)
        live.start()
        wait(lambda: live.state == "connecting")
        os.write(meter, b"\n")
        end = time.monotonic() + 10
        while live.state != "refused" and time.monotonic() < end:
            os.write(meter, b"4.70 kOhm\r\n")
            time.sleep(0.05)
        assert live.state == "refused" and "shows ohms" in live.trouble and live.latest is None
        os.write(meter, b"4.98 VDC\r\n")
        assert wait(lambda: live.fresh)
        os.write(meter, b"4.98 VDC HOLD\r\n")
        assert wait(lambda: live.trouble) and "display is held" in live.trouble
        assert live.take() is None
        live.stop()


def test_a_lan_meter_that_dies_is_told_and_found_again() -> None:
    meter = Scpi()
    meter.die_at_read = 5
    with lan(meter) as resource:
        live = Live(ScpiMeter(resource, patience=0.3), again=0.02)
        live.start()
        assert wait(lambda: live.state == "unplugged")
        assert live.latest is not None and live.identity == IDN
        assert live.source() == {"identity": IDN, "resource": resource}
        assert live.stop()


def test_a_listener_that_fails_does_not_stop_the_reading() -> None:
    def broken(_: object) -> None:
        raise RuntimeError("page closed")

    live = Live(simulated(), on_sample=broken)
    live.start()
    assert wait(lambda: live.held)
    assert "page closed" in live.trouble
    live.stop()


def test_a_fault_in_an_instruments_code_is_told() -> None:
    live = Live(SimulatedMeter(source=lambda _: 1 / 0, apart=0.01), again=0.02)
    live.start()
    assert wait(lambda: live.state == "unplugged") and "ZeroDivisionError" in live.trouble
    assert live.stop()


def test_stopping_from_a_listener() -> None:
    live = Live(simulated(), on_sample=lambda _: live.stop())
    live.start()
    assert wait(lambda: live.state == "stopped")


def test_never_plugged_in() -> None:
    live = Live(meter_at("/dev/ttyNONE9"), again=0.02)
    live.start()
    assert wait(lambda: live.state == "unplugged") and "nothing is plugged in" in live.trouble
    live.stop()


# -- recordings and simulations -------------------------------------------------------------------


def test_a_recording_settles_as_it_did(tmp_path: Path) -> None:
    file = tmp_path / "walk.txt"
    air = [f"0.00{k % 4} V" for k in range(20)]
    rows = [*air, "2.2 V", "4.1 V", *["4.98 V"] * 30, *air, *["-12.04 V"] * 30]
    file.write_text("# invented\n" + "\n".join(rows) + "\n", encoding="utf-8")
    found, identity = take_held(ReplayMeter(str(file), speed=0), "volts", 10.0)
    assert found.value == 4.98 and identity == "recording walk.txt"
    told: list[Held] = []
    live = Live(ReplayMeter(str(file), speed=0), on_held=told.append)
    live.start()
    assert wait(lambda: live.state == "unplugged") and "has ended" in live.trouble
    live.stop()
    assert [h.value for h in told[:2]] == [4.98, -12.04]


def test_times_of_a_recording(tmp_path: Path) -> None:
    file = tmp_path / "timed.txt"
    file.write_text("0\t1 V\n0.5\t2 V\n\n2.25\t3 V\n", encoding="utf-8")
    with ReplayMeter(str(file), speed=0) as meter:
        at = [meter.read().at for _ in range(3)]
        assert [round(t - at[0], 3) for t in at] == [0.0, 0.5, 2.25]
        with pytest.raises(GoneError, match="has ended"):
            meter.read()
    with pytest.raises(NoAnswerError):
        meter.read()


def test_recordings_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError):
        ReplayMeter(str(tmp_path / "none.txt")).open()
    (tmp_path / "bad.txt").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ProblemsError):
        ReplayMeter(str(tmp_path / "bad.txt")).open()
    with pytest.raises(ProblemsError):
        ReplayMeter(str(tmp_path)).open()


def test_a_simulated_value_from_its_place() -> None:
    with meter_at("simulated:-12.04V") as meter:
        found = meter.read()
        assert found.value == pytest.approx(-12.04, rel=2e-3) and found.step == 0.01
        meter.set_up("ohms")
        with pytest.raises(WrongQuantityError, match="no value to simulate"):
            meter.read()
    with meter_at("simulated:OL") as meter:
        meter.set_up("ohms")
        assert meter.read().over


def test_simulated_probes_in_the_air_never_settle() -> None:
    with pytest.raises(InstrumentError, match="nothing stood still"):
        take_held(simulated(None), "volts", 2.0)
