"""Meters that send a line of text per reading, such as ``12.34 VDC``, by serial line or socket."""

from __future__ import annotations

import time

from halfsplit.instruments.data import data
from halfsplit.instruments.errors import NoAnswerError
from halfsplit.instruments.place import place
from halfsplit.instruments.port import Driver, Meter, Sample
from halfsplit.instruments.said import from_line
from halfsplit.instruments.wire import Wire, wire
from halfsplit.quantity import parse


class PlainMeter(Meter):
    """A meter whose lines are read as they come; it cannot be set from here, only checked.

    `ask` is sent before each reading where the meter wants to be asked.
    """

    def __init__(
        self, resource: str, patience: float | None = None, ask: str | None = None
    ) -> None:
        super().__init__(resource)
        words = data("plain_serial", "lines.yaml")
        self.patience = parse(words["patience"], "s") if patience is None else patience
        self.ask: str = words["ask"] if ask is None else ask
        self._rts = bool(words["rts"])
        self._place = place(resource, words["line"])
        self._wire: Wire | None = None

    def open(self) -> None:
        """Connect; the rest of a line whose head went by unheard is dropped."""
        self.close()
        self._wire = wire(self._place, self.patience, self._rts)

    def identify(self) -> str:
        """It cannot say who it is."""
        return f"a meter that sends lines, on {self.resource}"

    def read(self) -> Sample:
        """The newest line; older ones waiting in the pipe are stale."""
        if self._wire is None:
            raise NoAnswerError(f"{self.resource} is not open")
        if self.ask:
            self._wire.write(self.ask)
            line = self._wire.read(self.patience)
        else:
            line = self._wire.newest(self.patience)
        return from_line(line, self.quantity, time.monotonic())

    def close(self) -> None:
        """Let go of the line."""
        if self._wire is not None:
            self._wire.close()
            self._wire = None


DRIVER = Driver(
    name="plain",
    what="meter that sends one reading a line as text, such as 12.34 VDC",
    takes=lambda text: not place(text).visa,
    make=PlainMeter,
    example="/dev/ttyUSB0@2400-7N1",
)
