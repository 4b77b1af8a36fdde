"""A serial port: a real one, or a pseudo-terminal. Nothing is sent unless asked."""

from __future__ import annotations

import struct
from types import TracebackType
from typing import Any, Literal

from halfsplit.boards.framing import Format
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError


class PortError(HalfsplitError):
    """The port cannot be used as asked."""

    exit_code = ExitCode.PROBLEMS


class PortBusyError(HalfsplitError):
    """Another program holds the port."""

    exit_code = ExitCode.BUSY


class NotSentError(PortError):
    """The other end would not take what was to be sent; the port is still there."""


Flow = Literal["none", "xon", "rts"]
_STOPS = {1: 1, 1.5: 1.5, 2: 2}
# A machine that holds its lines this long does not want to be talked to.
SEND_TIMEOUT = 5.0
BREAK = 0.25  # s of space; a receiver needs more than one character's length
_COUNTS = 0x545D  # Linux, TIOCGICOUNT: what the port's own hardware counted


class Port:
    """An open serial port; use as a context manager.

    `ready` says whether DTR and RTS are held on while it is open; the machine may wait for them.
    They are levels, not characters: opening sends nothing. Some systems pulse them at opening
    whatever is asked. `flow`: rts waits for the machine's CTS before it sends; for xon the session
    does the waiting, so that those characters are kept like any other.
    """

    def __init__(self, name: str, form: Format, *, ready: bool = True, flow: Flow = "none") -> None:
        import serial

        self.name, self.form, self.ready, self.flow = name, form, ready, flow
        self._serial: Any = serial.Serial()
        line = self._serial
        line.port = name
        line.timeout = 0
        line.write_timeout = SEND_TIMEOUT
        line.rtscts = flow == "rts"
        line.dtr = line.rts = ready
        try:
            line.baudrate = int(form.rate or 9600)
            line.bytesize, line.parity, line.stopbits = form.data, form.parity, _STOPS[form.stop]
            line.exclusive = True
            line.open()
        except ValueError as error:
            raise PortError(f"{name}: this port cannot be set to {form}: {error}") from error
        except (OSError, serial.SerialException) as error:
            raise _refusal(name, error) from error

    def __enter__(self) -> Port:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the port."""
        self._serial.close()

    def receive(self, seconds: float) -> bytes:
        """What has arrived, waiting up to `seconds` for the first byte; b"" when nothing came.

        Raises PortError when the port went away, such as an adapter pulled out.
        """
        import serial

        try:
            self._serial.timeout = seconds
            first: bytes = self._serial.read(1)
            if not first:
                return b""
            more: bytes = self._serial.read(min(self._serial.in_waiting, 65536))
            return first + more
        except (OSError, TypeError, serial.SerialException) as error:
            raise PortError(f"{self.name}: the port went away: {error}") from error

    def send(self, data: bytes) -> None:
        """Send exactly these bytes. Raises NotSentError when the machine holds the line, PortError
        when the port went away.
        """
        import serial

        try:
            self._serial.write(data)
        except serial.SerialTimeoutException as error:
            wrong = f"{self.name}: not sent, or not all of it: the other end took nothing for"
            more = " (its CTS is off?)" if self.flow == "rts" else ""
            raise NotSentError(f"{wrong} {SEND_TIMEOUT:g} s{more}") from error
        except (OSError, serial.SerialException) as error:
            raise PortError(f"{self.name}: not sent: {error}") from error

    def interrupt(self) -> None:
        """Hold the line at space for a quarter of a second: a break. Raises PortError."""
        import serial

        try:
            self._serial.send_break(BREAK)
        except (OSError, serial.SerialException) as error:
            raise PortError(f"{self.name}: no break sent: {error}") from error

    def counts(self) -> dict[str, int]:
        """Characters the port itself found bad since the system started: framing, parity, breaks,
        overruns. Empty where the system or the port keeps no count, as a pseudo-terminal.
        """
        try:
            import fcntl

            kept = fcntl.ioctl(self._serial.fileno(), _COUNTS, bytes(80))
        except (ImportError, OSError, ValueError):
            return {}
        numbers = struct.unpack("20i", kept)
        names = {"framing": 6, "overrun": 7, "parity": 8, "breaks": 9}
        return {name: numbers[at] for name, at in names.items()}

    def settings(self) -> dict[str, Any]:
        """What is kept beside the log."""
        flow = {} if self.flow == "none" else {"flow": self.flow}
        return {"port": self.name, "line": str(self.form), "dtr_rts": self.ready, **flow}


def _refusal(name: str, error: Exception) -> HalfsplitError:
    text = str(error)
    number = getattr(error, "errno", None)
    if number == 2 or "No such file" in text or "FileNotFound" in text:
        return NotFoundError(f"{name}: there is no such port")
    if number in (11, 16) or "lock" in text.lower() or "busy" in text.lower():
        return PortBusyError(f"{name}: in use by another program; close it there, then try again")
    return PortError(f"{name}: the port cannot be opened: {text}")


def ports() -> list[str]:
    """Names of the serial ports of this computer."""
    from serial.tools.list_ports import comports

    return sorted(str(p.device) for p in comports())
