"""An open machine: its session, and the condition a call is about."""

from __future__ import annotations

from pathlib import Path
from typing import Self

from halfsplit.api.given import in_python, maybe, measure, refuse
from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.problems import HalfsplitError

FEED = 'a feed of the file, such as "off"'
LOAD = 'a load of the file, or "p5=2R,p12=24R"'
MAINS = 'a share of nominal: 0.9, or "90%"'
LAMP = '60 (rated watts), "60W" or "none"'
AMBIENT = '35 or "35degC"'
WARM = '10 (seconds since switch-on), "10s", "cold" or "hot"'


class Opened:
    """A machine with its journal open."""

    @in_python
    def __init__(self, file: Path | str) -> None:
        if not isinstance(file, str | Path) or not str(file).strip():
            refuse("file", f"{file!r} is no path", 'that of the machine\'s file: "supply.yaml"')
        self._session: Session | None = Session(Path(file))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the journal, so that another program may have it; twice does nothing."""
        if self._session is not None:
            self._session.journal.close()
            self._session = None

    @property
    def session(self) -> Session:
        """What is underneath. Raises HalfsplitError once this is closed."""
        if self._session is None:
            raise HalfsplitError("this bench is closed: open it again with open_bench(file)")
        return self._session

    def _at(
        self,
        feed: str | None,
        load: str | None,
        warm: float | str | None,
        mains: float | str | None,
        lamp: float | str | None,
        ambient: float | str | None,
    ) -> Condition:
        """The present condition with what was given changed."""
        return self.session.condition_from(
            maybe("feed", feed, FEED),
            maybe("load", load, LOAD),
            measure("warm", warm, "s", WARM),
            mains=measure("mains", mains, "%", MAINS),
            lamp=measure("lamp", lamp, "W", LAMP),
            ambient=measure("ambient", ambient, "degC", AMBIENT),
        )
