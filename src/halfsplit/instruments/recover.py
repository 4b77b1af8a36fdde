"""A connection that mends itself: after a late or lost answer it is closed and made anew."""

from __future__ import annotations

import contextlib

from halfsplit.instruments.errors import GoneError, InstrumentError, NoAnswerError
from halfsplit.instruments.port import Meter, Quantity, Sample


class Recovering:
    """A meter set up for a quantity, opened when needed.

    A late answer stays in the pipe and would be taken for the next one, so a connection that timed
    out is never read again: it is closed, opened and set up anew. `tries` is how often one reading
    may time out before that is told.
    """

    def __init__(self, meter: Meter, quantity: Quantity, tries: int = 2) -> None:
        self.meter, self.quantity, self.tries = meter, quantity, tries
        self.identity = ""
        self._ready = False

    def read(self) -> Sample:
        """The next reading. Raises an InstrumentError; the next call begins with a fresh connection
        where that is needed."""
        for left in reversed(range(self.tries)):
            try:
                self.ready()
                return self.meter.read()
            except NoAnswerError:
                self.close()
                if not left:
                    raise
            except GoneError:
                self.close()
                raise
        raise NoAnswerError(f"{self.meter.resource} sent nothing")

    def ready(self) -> None:
        """Open and set up, unless that is so already."""
        if self._ready:
            return
        try:
            self.meter.open()
            self.identity = self.meter.identify()
            self.meter.set_up(self.quantity)
        except Exception:
            self.close()
            raise
        self._ready = True

    def set_up(self, quantity: Quantity) -> None:
        """Another quantity from the next reading on."""
        self.quantity = quantity
        if self._ready:
            self._ready = False
            with contextlib.suppress(InstrumentError):  # told by the next reading
                self.meter.set_up(quantity)
                self._ready = True

    def close(self) -> None:
        """Let go of the meter."""
        self._ready = False
        self.meter.close()
