"""Readings from a text file, one a line as a meter sends them, for practice and for looking again.

A line may begin with its time in seconds and a tab; without, they come ten a second. Lines that
begin with ``#`` are notes.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

from halfsplit.instruments.errors import GoneError, NoAnswerError
from halfsplit.instruments.port import Driver, Meter, Sample
from halfsplit.instruments.said import from_line
from halfsplit.problems import NotFoundError, Problem, ProblemsError

_APART = 0.1  # s between lines that carry no time
_LARGEST = 4_000_000  # bytes; hours of readings


class ReplayMeter(Meter):
    """Plays a file; `speed` 2 plays it twice as fast, 0 without waiting.

    Each reading carries the time the file gives it, so a faster playing settles the same.
    """

    def __init__(self, resource: str, speed: float = 1.0) -> None:
        super().__init__(resource)
        self.speed = speed
        self._lines: Iterator[tuple[float, str]] | None = None
        self._start = 0.0

    def open(self) -> None:
        """Read the file; playing starts with the first reading asked for."""
        path = Path(self.resource)
        try:
            if path.stat().st_size > _LARGEST:
                wrong = "far too long for a recording of readings"
                raise ProblemsError([Problem(self.resource, 0, 0, "", wrong, "a piece of it")])
            text = path.read_text(encoding="utf-8")
        except FileNotFoundError:
            raise NotFoundError(f"{self.resource}: there is no such file") from None
        except (OSError, ValueError) as error:
            wrong = f"the recording cannot be read: {error}"
            raise ProblemsError([Problem(self.resource, 0, 0, "", wrong)]) from error
        self._lines = self._parsed(text)
        self._start = time.monotonic()

    def identify(self) -> str:
        """The file it plays."""
        return f"recording {Path(self.resource).name}"

    def read(self) -> Sample:
        """The next line at its time. Raises GoneError at the end of the file."""
        if self._lines is None:
            raise NoAnswerError(f"{self.resource} is not open")
        try:
            when, line = next(self._lines)
        except StopIteration:
            raise GoneError(f"{self.resource}: the recording has ended") from None
        if self.speed:
            time.sleep(max(0.0, self._start + when / self.speed - time.monotonic()))
        return from_line(line, self.quantity, self._start + when)

    def close(self) -> None:
        """Forget the file."""
        self._lines = None

    def _parsed(self, text: str) -> Iterator[tuple[float, str]]:
        when = -_APART
        for line in text.splitlines():
            if not line.strip() or line.lstrip().startswith("#"):
                continue
            timed = re.fullmatch(r"(\d{1,7}(?:\.\d{1,9})?)\t(.*)", line)
            when = max(when, float(timed[1])) if timed else when + _APART
            yield when, timed[2] if timed else line


DRIVER = Driver(
    name="replay",
    what="readings from a text file, one a line",
    takes=lambda text: False,
    make=ReplayMeter,
    example="replay:readings.txt",
)
