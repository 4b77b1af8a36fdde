"""What can go wrong between a meter and this computer, in words for who holds the probe."""

from __future__ import annotations

from halfsplit.problems import ExitCode, HalfsplitError


class InstrumentError(HalfsplitError):
    """The meter cannot be read as asked."""

    exit_code = ExitCode.PROBLEMS


class NoAnswerError(InstrumentError):
    """The meter did not answer in time. It may answer late, so the connection is made anew."""


class GoneError(InstrumentError):
    """The meter, its cable or its adapter went away."""


class GarbledError(InstrumentError):
    """What came is no reading."""


class WrongQuantityError(InstrumentError):
    """The meter measures another quantity than was asked for, or cannot measure that one."""
