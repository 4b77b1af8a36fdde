"""Meters on a loopback socket, a pty, simulated VISA: slow, dying, garbled, turned, pulled out."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from halfsplit.instruments import connected, drivers, meter_at, take_held
from halfsplit.instruments.errors import (
    GarbledError,
    GoneError,
    InstrumentError,
    NoAnswerError,
    WrongQuantityError,
)
from halfsplit.instruments.place import place
from halfsplit.instruments.plain_serial import PlainMeter
from halfsplit.instruments.recover import Recovering
from halfsplit.instruments.scpi_dmm import ScpiMeter
from halfsplit.instruments.wire import SerialWire
from halfsplit.problems import NotFoundError, ProblemsError
from tests.instruments.servers import IDN, Scpi, lan, pty

SIM = Path(__file__).with_name("meters.yaml")


@pytest.fixture(params=["socket", "visa"])
def by(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """The same meter through our own socket, and through the VISA library."""
    if request.param == "visa":
        monkeypatch.setenv("PYVISA_LIBRARY", "@py")
    else:
        monkeypatch.delenv("PYVISA_LIBRARY", raising=False)
    return str(request.param)


@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    with pty() as ends:
        yield ends


# -- LAN ------------------------------------------------------------------------------------------


def test_lan_meter(by: str) -> None:
    meter = Scpi()
    with lan(meter) as resource, meter_at(resource) as dmm:
        assert isinstance(dmm, ScpiMeter)
        assert dmm.identify() == IDN
        dmm.set_up("volts")
        found = dmm.read()
    assert (found.value, found.unit, found.text) == (4.9821, "V", "4.98210000 V")
    assert found.raw == "+4.98210000E+00"
    assert "CONF:VOLT:DC" in meter.heard


@pytest.mark.parametrize(
    ("quantity", "function", "unit"),
    [("ac", "VOLT:AC", "V"), ("amps", "CURR", "A"), ("ohms", "RES", "ohm"),
     ("frequency", "FREQ", "Hz")],
)  # fmt: skip
def test_each_quantity_is_configured(quantity: str, function: str, unit: str) -> None:
    meter = Scpi()
    with lan(meter) as resource, meter_at(resource) as dmm:
        dmm.set_up(quantity)  # type: ignore[arg-type]
        assert dmm.read().unit == unit and meter.function == function


def test_overload_is_over_range() -> None:
    with lan(Scpi(lambda: "+9.90000000E+37")) as resource, meter_at(resource) as dmm:
        dmm.set_up("ohms")
        found = dmm.read()
    assert found.over and found.text == "OL"


def test_a_late_answer_is_never_taken_for_the_next(by: str) -> None:
    """The first reading comes too late; had the connection been kept, every later question would
    be given the answer of the one before."""
    values = iter(range(1, 100))
    meter = Scpi(lambda: f"+{next(values)}.0E+0")
    meter.delays = [0.5]
    with lan(meter) as resource:
        dmm = Recovering(ScpiMeter(resource, patience=0.15), "volts")
        first = dmm.read()
        second = dmm.read()
        dmm.close()
    assert (first.value, second.value) == (2.0, 3.0)
    assert meter.connections == 2


def test_a_meter_that_stays_silent_is_told(by: str) -> None:
    meter = Scpi()
    meter.delays = [1.0, 1.0]
    with lan(meter) as resource:
        dmm = Recovering(ScpiMeter(resource, patience=0.1), "volts")
        with pytest.raises(NoAnswerError, match=r"sent nothing"):
            dmm.read()
        dmm.close()


def test_a_dying_meter_is_told_in_words(by: str) -> None:
    meter = Scpi()
    meter.die_at_read = 3
    with lan(meter) as resource:
        dmm = Recovering(ScpiMeter(resource, patience=0.5), "volts")
        assert [dmm.read().value for _ in range(2)] == [4.9821, 4.9821]
        with pytest.raises((GoneError, NoAnswerError)) as told:
            dmm.read()
        with pytest.raises(GoneError, match=r"nothing answers there|went away"):
            dmm.read()
        dmm.close()
    if by == "socket":  # at once, not after its patience
        assert isinstance(told.value, GoneError) and "what was stored is on disk" in str(told.value)


def test_nobody_there(by: str) -> None:
    with lan(Scpi()) as resource:
        pass
    with pytest.raises(GoneError, match=r"cable, power and address|went away"):
        meter_at(resource).open()


def test_what_it_cannot_measure_is_refused() -> None:
    refused = pytest.raises(WrongQuantityError, match=r"refuses a diode test.*Undefined header")
    with lan(Scpi()) as resource, meter_at(resource) as dmm, refused:
        dmm.set_up("diode")


def test_a_switch_turned_at_its_front_is_noticed() -> None:
    meter = Scpi()
    with lan(meter) as resource, meter_at(resource) as dmm:
        dmm.set_up("volts")
        dmm.read()
        meter.function = "RES"
        with pytest.raises(WrongQuantityError, match=r"set to RES, and direct volts"):
            dmm.read()


def test_something_else_on_that_port() -> None:
    class Other(Scpi):
        def answer(self, command: str) -> str | None:
            return "220 welcome"

    with lan(Other()) as resource, pytest.raises(InstrumentError, match=r"no SCPI meter|nothing"):
        ScpiMeter(resource, patience=0.1).open()


def test_held_reading_over_the_lan() -> None:
    values = iter([0.0, 3.1, 4.2, *[4.98] * 500])
    seen: list[float] = []
    with lan(Scpi(lambda: f"{next(values)}")) as resource:
        found, identity = take_held(
            meter_at(resource), "volts", 20.0, lambda s: seen.append(s.value)
        )
    assert found.value == 4.98 and identity == IDN
    assert seen[:3] == [0.0, 3.1, 4.2]


def test_not_settled_in_time_says_between_what() -> None:
    values = iter(range(1000))
    refused = pytest.raises(InstrumentError, match=r"moved between .* V and .* V.*--now")
    with lan(Scpi(lambda: f"{next(values)}")) as resource, refused:
        take_held(meter_at(resource), "volts", 0.5)


# -- simulated VISA -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "resource",
    ["USB0::0x1AB1::0x0001::SIM0001::0::INSTR", "TCPIP0::localhost::5025::SOCKET", "ASRL3::INSTR"],
)
def test_through_visa_on_each_interface(resource: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYVISA_LIBRARY", f"{SIM}@sim")
    with meter_at(resource) as dmm:
        assert dmm.identify() == "SIMULATED,BENCH DMM,0001,1.0"
        dmm.set_up("volts")
        assert dmm.read().value == -12.041
        dmm.set_up("frequency")
        assert dmm.read().unit == "Hz"
        with pytest.raises(WrongQuantityError, match=r"refuses a diode test"):
            dmm.set_up("diode")


def test_a_visa_meter_that_never_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYVISA_LIBRARY", f"{SIM}@sim")
    with pytest.raises(NoAnswerError):
        ScpiMeter("USB0::0x1AB1::0x0002::MUTE::0::INSTR", patience=0.1).open()


def test_everything_connected_is_listed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYVISA_LIBRARY", f"{SIM}@sim")
    found = {f.place: f.driver for f in connected()}
    assert found["USB0::0x1AB1::0x0001::SIM0001::0::INSTR"] == "scpi"
    assert found["TCPIP0::localhost::5025::SOCKET"] == "scpi", "sockets are listed too"
    assert "ASRL3::INSTR" in found
    assert not [name for name in found if name.endswith("INTFC")]


def test_a_visa_library_that_fails_leaves_the_serial_devices(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PYVISA_LIBRARY", "/nonexistent.yaml@sim")
    assert any("VISA lists nothing" in f.what for f in connected())
    with pytest.raises(InstrumentError):
        meter_at("USB0::1::2::3::0::INSTR").open()


# -- serial ---------------------------------------------------------------------------------------


def test_serial_meter_that_sends_by_itself(line: tuple[int, str]) -> None:
    meter, name = line
    with meter_at(name) as dmm:
        assert isinstance(dmm, PlainMeter)
        dmm.set_up("volts")
        time.sleep(0.12)
        with pytest.raises(NoAnswerError):
            PlainMeter.read(_hurried(dmm))
        os.write(meter, b"+12.34 VDC\r\n")
        assert dmm.read().text == "12.34 V"
        os.write(meter, b"12.35 VDC\r\n12.36 VDC\r\n12.37 VDC\r\n12.")
        time.sleep(0.05)
        assert dmm.read().value == 12.37, "the newest whole line counts"
        os.write(meter, b"38 VDC\r\n")
        assert dmm.read().value == 12.38


def _hurried(dmm: PlainMeter) -> PlainMeter:
    dmm.patience = 0.1
    return dmm


def test_the_rest_of_a_line_is_no_reading(line: tuple[int, str]) -> None:
    """Opened in the middle of 12.34 V, only 2.34 V would be heard."""
    meter, name = line
    with closing(SerialWire(place(name))) as wire:
        os.write(meter, b"2.34 VDC\r\n")
        os.write(meter, b"12.35 VDC\r\n")
        assert wire.read(1.0) == b"12.35 VDC"


def test_scpi_on_a_serial_line(line: tuple[int, str]) -> None:
    end, name = line
    meter = Scpi()
    stop = threading.Event()

    def serve() -> None:
        held = b""
        while not stop.is_set():
            try:
                held += os.read(end, 100)
            except OSError:
                return
            while b"\n" in held:
                row, _, held = held.partition(b"\n")
                said = meter.answer(row.decode())
                if said is not None:
                    os.write(end, said.encode() + b"\r\n")

    threading.Thread(target=serve, daemon=True).start()
    for resource in (f"scpi:{name}@19200-7E1", f"ASRL{name}::INSTR"):
        with meter_at(resource) as dmm:
            dmm.set_up("volts")
            assert dmm.read().value == 4.9821
    # A late answer on a serial line comes into the new connection: it must not be taken.
    values = iter(range(1, 100))
    meter.reading, meter.delays = (lambda: f"{next(values)}.0"), [0.4]
    slow = Recovering(ScpiMeter(name, patience=0.3), "volts")
    assert [slow.read().value for _ in range(2)] == [2.0, 3.0]
    slow.close()
    stop.set()


def test_garbage_on_the_line(line: tuple[int, str]) -> None:
    meter, name = line
    with meter_at(name) as dmm:
        os.write(meter, b"\r\n\xff\xfe garbage \x1b[2J\r\n")
        with pytest.raises(GarbledError, match=r"no reading: check the line setting") as told:
            dmm.read()
        assert str(told.value).isprintable()
        os.write(meter, b"\x00" * 5000)
        with pytest.raises(GarbledError, match=r"without a line end"):
            _hurried(dmm).read()
        os.write(meter, b"\r\n4.98\r\n")
        assert dmm.read().value == 4.98


def test_volts_shown_when_ohms_were_asked(line: tuple[int, str]) -> None:
    meter, name = line
    with meter_at(name) as dmm:
        dmm.set_up("ohms")
        os.write(meter, b"\n12.34 VDC\r\n")
        with pytest.raises(WrongQuantityError, match=r"shows volts .*ohms were asked"):
            dmm.read()


def test_unplugged_while_reading(line: tuple[int, str]) -> None:
    meter, name = line
    with meter_at(name) as dmm:
        os.write(meter, b"\n1.0\n")
        dmm.read()
        threading.Timer(0.1, os.close, [meter]).start()
        with pytest.raises(GoneError, match=r"went away while being read.*Plug it in again"):
            dmm.read()
        with pytest.raises(GoneError):
            dmm.read()


def test_a_port_in_use_and_one_that_is_not(line: tuple[int, str]) -> None:
    _, name = line
    with meter_at(name), pytest.raises(InstrumentError, match=r"in use by another program"):
        meter_at(name).open()
    with pytest.raises(NotFoundError, match=r"nothing is plugged in"):
        meter_at("/dev/ttyNONE9").open()


# -- places ---------------------------------------------------------------------------------------


def test_places_and_drivers() -> None:
    assert set(drivers()) == {"scpi", "plain", "replay", "simulated"}
    for driver in drivers().values():
        prefix = "" if driver.example.startswith(driver.name) else f"{driver.name}:"
        assert type(meter_at(prefix + driver.example)) is type(driver.make(driver.example))
    assert isinstance(meter_at("/dev/ttyUSB0"), PlainMeter)
    assert isinstance(meter_at("COM3"), PlainMeter)
    assert isinstance(meter_at("scpi:/dev/ttyUSB0"), ScpiMeter)
    assert isinstance(meter_at("plain:TCPIP::10.0.0.7::23::SOCKET"), PlainMeter)
    assert isinstance(meter_at("GPIB0::22::INSTR"), ScpiMeter)
    found = place("/dev/ttyUSB0@2400-7e2")
    assert (found.baud, found.data, found.parity, found.stop) == (2400, 7, "E", 2)
    assert place("TCPIP::10.0.0.7::5025::SOCKET").socket == ("10.0.0.7", 5025)


@pytest.mark.parametrize("text", ["", "  ", "@9600", "/dev/ttyUSB0@fast", "a\0b", "x@9600-9N1"])
def test_no_place_at_all(text: str) -> None:
    with pytest.raises(ProblemsError):
        meter_at(text)


def test_a_page_may_leave_drivers_out() -> None:
    may = ("scpi", "plain", "simulated")
    with pytest.raises(ProblemsError, match="not to be used from here"):
        meter_at("replay:/etc/hostname", may)
    assert isinstance(meter_at("/dev/ttyUSB0", may), PlainMeter)


@pytest.mark.parametrize("text", ["scpi", "replay:none.txt", "simulated:banana"])
def test_a_driver_without_its_place(text: str) -> None:
    with pytest.raises((NotFoundError, InstrumentError, ProblemsError)):
        meter_at(text).open()
        meter_at(text).read()
