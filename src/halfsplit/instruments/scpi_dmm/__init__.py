"""Bench multimeters that speak SCPI, over USB, LAN, GPIB or a serial line."""

from __future__ import annotations

import time

from halfsplit.instruments.data import data
from halfsplit.instruments.errors import (
    GarbledError,
    InstrumentError,
    NoAnswerError,
    WrongQuantityError,
)
from halfsplit.instruments.place import place
from halfsplit.instruments.port import QUANTITIES, WORDS, Driver, Meter, Quantity, Sample
from halfsplit.instruments.said import from_number, printable
from halfsplit.instruments.wire import Wire, wire
from halfsplit.quantity import parse

_QUIET = 0.02  # s without a byte after which the pipe counts as empty at opening


class ScpiMeter(Meter):
    """A meter by the commands of ``commands.yaml``; one answer may take `patience` [s]."""

    def __init__(self, resource: str, patience: float | None = None) -> None:
        super().__init__(resource)
        self.words = data("scpi_dmm", "commands.yaml")
        self.quantities = frozenset(q for q in QUANTITIES if q in self.words["quantities"])
        self.patience = parse(self.words["patience"], "s") if patience is None else patience
        self._place = place(resource, self.words["line"])
        self._wire: Wire | None = None
        self._name = ""

    def open(self) -> None:
        """Connect and ask for its name: answers come in order, so once the name is here, nothing
        late can be taken for a reading."""
        self.close()
        self._wire = wire(self._place, self.patience)
        try:
            self._wire.quiet(_QUIET)
            self._wire.write(self.words["identify"])
            for _ in range(4):
                said = printable(self._wire.read(self.patience))
                if said.count(",") >= 2:  # maker, model, serial number, version (IEEE 488.2)
                    self._name = said
                    return
            raise GarbledError(
                f"{self.resource} answers “{said}” when asked for its name: no SCPI meter, or the "
                "line setting is wrong; a meter that sends lines by itself is plain:…"
            )
        except InstrumentError:
            self.close()
            raise

    def identify(self) -> str:
        """What ``*IDN?`` gave at opening."""
        return self._name

    def set_up(self, quantity: Quantity) -> None:
        """Configure it, then ask it whether it took that."""
        super().set_up(quantity)
        self._open.write(self.words["clear"])
        self._open.write(self.words["quantities"][quantity]["set"])
        refused = self._ask(self.words["error"])
        if refused.lstrip("+-0")[:1] not in ("", ","):
            raise WrongQuantityError(
                f"the meter refuses {WORDS[quantity]}: {refused}; choose what it can measure"
            )
        self._check()

    def read(self) -> Sample:
        """One reading, then its function again: somebody may have turned the switch."""
        text = self._ask(self.words["read"])
        self._check()
        return from_number(text, self.quantity, time.monotonic())

    def close(self) -> None:
        """Let go of the connection."""
        if self._wire is not None:
            self._wire.close()
            self._wire = None

    @property
    def _open(self) -> Wire:
        if self._wire is None:
            raise NoAnswerError(f"{self.resource} is not open")
        return self._wire

    def _ask(self, command: str) -> str:
        self._open.write(command)
        return printable(self._open.read(self.patience))

    def _check(self) -> None:
        told = self._ask(self.words["function"]).strip("\"'").upper()
        if told not in self.words["quantities"][self.quantity]["tells"]:
            raise WrongQuantityError(
                f"the meter is set to {told or 'nothing'}, and {WORDS[self.quantity]} was asked "
                "for: leave its front panel alone while it is read, or ask for what it shows"
            )


DRIVER = Driver(
    name="scpi",
    what="bench multimeter that speaks SCPI, over USB, LAN, GPIB or serial",
    takes=lambda text: place(text).visa,
    make=ScpiMeter,
    example="TCPIP::10.0.0.7::5025::SOCKET",
)
