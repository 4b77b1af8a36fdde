"""A serial port: a real one, or a pseudo-terminal. Nothing is sent unless asked."""

from __future__ import annotations

from types import TracebackType
from typing import Any

from halfsplit.boards.framing import Format
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError


class PortError(HalfsplitError):
    """The port cannot be used as asked."""

    exit_code = ExitCode.PROBLEMS


class PortBusyError(HalfsplitError):
    """Another program holds the port."""

    exit_code = ExitCode.BUSY


_STOPS = {1: 1, 1.5: 1.5, 2: 2}


class Port:
    """An open serial port; use as a context manager.

    `ready` says whether DTR and RTS are held on while it is open; the machine may wait for them.
    They are levels, not characters: opening sends nothing. Some systems pulse them at opening
    whatever is asked.
    """

    def __init__(self, name: str, form: Format, *, ready: bool = True) -> None:
        import serial

        self.name, self.form, self.ready = name, form, ready
        self._serial: Any = serial.Serial()
        line = self._serial
        line.port = name
        line.timeout = 0
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
        """Send exactly these bytes. Raises PortError."""
        import serial

        try:
            self._serial.write(data)
            self._serial.flush()
        except (OSError, serial.SerialException) as error:
            raise PortError(f"{self.name}: not sent: {error}") from error

    def settings(self) -> dict[str, Any]:
        """What is kept beside the log."""
        return {"port": self.name, "line": str(self.form), "dtr_rts": self.ready}


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
