"""Lines to and from a meter through a VISA library: USB, GPIB, older LAN meters, simulations."""

from __future__ import annotations

import contextlib
import time
import warnings
from typing import Any

from halfsplit.instruments.errors import NoAnswerError
from halfsplit.instruments.place import Place
from halfsplit.instruments.wire import cannot_open, gone


def manager() -> Any:
    """The VISA library's resource manager: the system's if there is one, else the pure Python one.

    PYVISA_LIBRARY names another, such as a simulation file with ``@sim``.
    """
    import pyvisa

    return pyvisa.ResourceManager()


class VisaWire:
    """A VISA session. It gives whole answers, so nothing is ever cut off at the head.

    A wait is one call: what has come of an answer is lost when the library's time is up.
    """

    def __init__(self, at: Place, patience: float = 5.0) -> None:
        import pyvisa

        self.name = at.name
        self._codes, self._error = pyvisa.constants.StatusCode, pyvisa.errors.VisaIOError
        try:
            with warnings.catch_warnings():  # of backends, about interfaces that are not asked for
                warnings.simplefilter("ignore")
                self._session: Any = manager().open_resource(
                    at.name, open_timeout=round(patience * 1000)
                )
            self._session.read_termination = self._session.write_termination = "\n"
            if at.name.upper().startswith("ASRL"):
                names = {"N": "none", "E": "even", "O": "odd"}
                stops = pyvisa.constants.StopBits
                self._session.baud_rate, self._session.data_bits = at.baud, at.data
                self._session.parity = pyvisa.constants.Parity[names[at.parity]]
                self._session.stop_bits = stops.one if at.stop == 1 else stops.two
        except Exception as error:  # a VISA library may raise anything at all on a bad day
            raise cannot_open(at.name, error) from error

    def write(self, text: str) -> None:
        """Send a line."""
        try:
            self._session.write(text)
        except Exception as error:
            raise gone(self.name, error) from error

    def read(self, seconds: float) -> bytes:
        """The next line, without its end."""
        try:
            self._session.timeout = max(1, round(seconds * 1000))
            return bytes(self._session.read_raw()).rstrip(b"\r\n")
        except self._error as error:
            if error.error_code == self._codes.error_timeout:
                raise NoAnswerError(f"{self.name} sent nothing for {seconds:g} s") from error
            raise gone(self.name, error) from error
        except Exception as error:
            raise gone(self.name, error) from error

    def newest(self, seconds: float) -> bytes:
        """The last line in the pipe, or the next."""
        line = None
        with contextlib.suppress(NoAnswerError):
            for _ in range(1000):
                line = self.read(1e-3)
        return self.read(seconds) if line is None else line

    def quiet(self, seconds: float) -> None:
        """Throw away what is in the pipe."""
        until = time.monotonic() + 20 * seconds
        with contextlib.suppress(NoAnswerError):
            while time.monotonic() < until:
                self.read(seconds)

    def close(self) -> None:
        """Let go of the session; the manager is shared by all of them."""
        with contextlib.suppress(Exception):
            self._session.close()
