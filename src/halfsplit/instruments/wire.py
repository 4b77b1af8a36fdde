"""Lines of text to and from a meter, over a serial device, a socket or VISA; failures in words."""

from __future__ import annotations

import contextlib
import os
import socket
import time
from abc import ABC, abstractmethod
from typing import Any, Protocol

from halfsplit.instruments.errors import GarbledError, GoneError, InstrumentError, NoAnswerError
from halfsplit.instruments.place import Place
from halfsplit.problems import HalfsplitError, NotFoundError

# A gap after which what follows begins a new line: three characters at 300 baud, the slowest.
GAP = 0.1  # s
# What a meter may send without a line end before it is taken for no meter; lines are dozens long.
LONGEST = 4096  # bytes
_TICK = 0.05  # s, the longest single wait, so that a stop is never far away


class Wire(Protocol):
    """A connection that carries lines."""

    def write(self, text: str) -> None:
        """Send a line. Raises GoneError."""

    def read(self, seconds: float) -> bytes:
        """The next line without its end. Raises NoAnswerError, GoneError, GarbledError."""

    def newest(self, seconds: float) -> bytes:
        """The last whole line that came, waiting for one when there is none; same errors."""

    def quiet(self, seconds: float) -> None:
        """Throw away what is in the pipe until nothing came for `seconds`. Raises GoneError."""

    def close(self) -> None:
        """Let go; never raises."""


class Pipe(ABC):
    """A wire made of ``_some(seconds)``, which gives bytes as they come: cut into lines here.

    Bytes at the very beginning may be the rest of a line whose head went by unheard, and a rest
    such as ``2.34`` of ``12.34`` reads well: they are dropped up to the first line end, unless the
    line was quiet before them.
    """

    name: str
    end: bytes = b"\n"

    def __init__(self) -> None:
        self._held = bytearray()
        self._opened = time.monotonic()
        self._cut = True  # whether what is held may have lost its head

    @abstractmethod
    def _some(self, seconds: float) -> bytes:
        """Bytes that came within `seconds`, none if nothing did."""

    @abstractmethod
    def _put(self, data: bytes) -> None:
        """Send bytes."""

    def write(self, text: str) -> None:
        """Send a line."""
        self._put(text.encode("ascii", "replace") + self.end)

    def _feed(self, seconds: float) -> bool:
        came = self._some(seconds)
        if not came:
            if not self._held and time.monotonic() - self._opened > GAP:
                self._cut = False
            return False
        self._held += came
        if self._cut and (places := [k for k in map(self._held.find, b"\r\n") if k >= 0]):
            del self._held[: min(places) + 1]
            self._cut = False
        if len(self._held) > LONGEST:
            self._held.clear()
            raise GarbledError(
                f"{self.name} sends without a line end: check the line setting, such as @2400-7N1"
            )
        return True

    def _line(self) -> bytes | None:
        """The first whole line held, empty ones skipped."""
        while not self._cut and (places := [k for k in map(self._held.find, b"\r\n") if k >= 0]):
            line = bytes(self._held[: min(places)])
            del self._held[: min(places) + 1]
            if line.strip(b" \0"):
                return line
        return None

    def read(self, seconds: float) -> bytes:
        """The next line."""
        until = time.monotonic() + seconds
        while (line := self._line()) is None:
            left = until - time.monotonic()
            if left <= 0:
                raise NoAnswerError(f"{self.name} sent nothing for {seconds:g} s")
            self._feed(min(left, _TICK))
        return line

    def newest(self, seconds: float) -> bytes:
        """The last whole line that came; older ones are stale and dropped."""
        for _ in range(64):  # a meter that never pauses is read on, not waited for
            if not self._feed(0.0):
                break
        line = None
        while (later := self._line()) is not None:
            line = later
        return self.read(seconds) if line is None else line

    def quiet(self, seconds: float) -> None:
        """Throw away what is in the pipe."""
        until = time.monotonic() + 20 * seconds
        while self._some(seconds) and time.monotonic() < until:
            pass
        self._held.clear()
        self._cut = False


class SerialWire(Pipe):
    """A serial device or a pseudo-terminal."""

    def __init__(self, at: Place, rts: bool = True) -> None:
        import serial

        super().__init__()
        self.name = at.name
        self._port: Any = serial.Serial()
        try:
            self._port.port = at.device or at.name
            self._port.baudrate, self._port.bytesize = at.baud, at.data
            self._port.parity, self._port.stopbits = at.parity, at.stop
            self._port.write_timeout, self._port.exclusive = 2.0, True
            self._port.timeout = _TICK  # once: a change of it sets the whole line anew
            self._port.dtr, self._port.rts = True, rts
            self._port.open()
        except (OSError, ValueError, serial.SerialException) as error:
            raise cannot_open(at.name, error) from error

    def _some(self, seconds: float) -> bytes:
        try:
            if seconds <= 0.0 and not self._port.in_waiting:
                return b""
            first: bytes = self._port.read(1)
            return first + self._port.read(min(self._port.in_waiting, 4096)) if first else b""
        except Exception as error:  # pyserial lets TypeError and others through on a lost device
            raise gone(self.name, error) from error

    def _put(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except Exception as error:
            raise gone(self.name, error) from error

    def close(self) -> None:
        """Let go of the port."""
        with contextlib.suppress(Exception):
            self._port.close()


class SocketWire(Pipe):
    """A LAN meter's raw socket, as ``TCPIP::host::5025::SOCKET`` names it.

    Done here because through a VISA library a meter that died looks like one that is slow.
    """

    def __init__(self, at: Place, patience: float = 5.0) -> None:
        super().__init__()
        self.name = at.name
        host, port = at.socket or ("", 0)
        try:
            self._socket = socket.create_connection((host, port), timeout=patience)
        except (OSError, UnicodeError, OverflowError) as error:
            raise cannot_open(at.name, error) from error

    def _some(self, seconds: float) -> bytes:
        try:
            self._socket.settimeout(max(seconds, 1e-3))
            came = self._socket.recv(4096)
        except TimeoutError:
            return b""
        except OSError as error:
            raise gone(self.name, error) from error
        if not came:
            raise gone(self.name, ConnectionError("the meter closed the connection"))
        return came

    def _put(self, data: bytes) -> None:
        try:
            self._socket.settimeout(2.0)
            self._socket.sendall(data)
        except OSError as error:
            raise gone(self.name, error) from error

    def close(self) -> None:
        """Let go of the connection."""
        with contextlib.suppress(OSError):
            self._socket.close()


def wire(at: Place, patience: float = 5.0, rts: bool = True) -> Wire:
    """Connect to a place; on a serial line DTR is on and RTS as said.

    Raises NotFoundError, GoneError or InstrumentError.
    """
    by_library = bool(os.environ.get("PYVISA_LIBRARY"))
    if at.socket and not by_library:
        return SocketWire(at, patience)
    if at.visa and (by_library or not at.device):
        from halfsplit.instruments.visa import VisaWire

        return VisaWire(at, patience)
    return SerialWire(at, rts)


def _said(error: Exception) -> str:
    return " ".join(str(error).split())[:160] or type(error).__name__


def gone(name: str, error: Exception) -> GoneError:
    """The words for a connection that broke."""
    return GoneError(
        f"{name} went away while being read ({_said(error)}); what was stored is on disk. Plug it "
        "in again, or type the reading"
    )


def cannot_open(name: str, error: Exception) -> HalfsplitError:
    """The words for a place that could not be opened, by what the system said."""
    text, number = _said(error), getattr(error, "errno", None)
    if number == 2 or "No such file" in text or "FileNotFound" in text:
        return NotFoundError(f"{name}: nothing is plugged in there")
    if number == 13 or "ermission" in text:
        return InstrumentError(
            f"{name}: this user may not use it; on Linux add the user to group dialout (serial) or "
            "give the meter a udev rule (USB), then plug it in again"
        )
    if number in (11, 16) or "lock" in text.lower() or "busy" in text.lower():
        return InstrumentError(f"{name}: in use by another program; close it there, then try again")
    return GoneError(f"{name}: nothing answers there ({text}); check cable, power and address")
