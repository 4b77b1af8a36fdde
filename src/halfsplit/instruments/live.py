"""A meter read in a thread of its own, with what it shows now, what it held, and its troubles."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable
from typing import Any, Literal

from halfsplit.instruments.errors import (
    GarbledError,
    InstrumentError,
    NoAnswerError,
    WrongQuantityError,
)
from halfsplit.instruments.hold import Held, Hold
from halfsplit.instruments.port import Meter, Quantity, Sample
from halfsplit.instruments.recover import Recovering
from halfsplit.problems import HalfsplitError

State = Literal["stopped", "connecting", "live", "no answer", "unplugged", "refused", "garbled"]
_AGAIN = 1.0  # s between attempts to reach a meter that is not there, or set otherwise
_PACE = 0.02  # s between readings of a meter that answers at once: fifty a second are plenty
_TWICE = 2  # unreadable lines in a row after which a single reading is given up
_FIRST = 3  # readings before one is taken as it is: the first may be of a range too low
_MOST_GARBLED = 20  # lines in a row that are no readings, after which a person is told to look


class Live:
    """Reads a meter until stopped, whatever happens to it, and stores nothing.

    Each attribute is replaced whole, so any thread may look at it without waiting.

    Parameters
    ----------
    meter: not yet opened, as :func:`halfsplit.instruments.meter_at` gives it.
    on_held, on_sample, on_state: called in the reading thread; a web page passes on to its own loop
        there. What they raise is kept in ``trouble`` and does not stop the reading.

    Attributes
    ----------
    state: where it stands; ``trouble`` says in words what is the matter, "" while all is well.
    latest: the last reading that came, kept when the meter goes away.
    fresh: whether ``latest`` is of now.
    held: the last reading that stood still.
    identity: who the meter says it is.
    """

    def __init__(
        self,
        meter: Meter,
        quantity: Quantity = "volts",
        *,
        on_held: Callable[[Held], object] | None = None,
        on_sample: Callable[[Sample], object] | None = None,
        on_state: Callable[[State, str], object] | None = None,
        again: float = _AGAIN,
    ) -> None:
        self.state: State = "stopped"
        self.trouble = ""
        self.latest: Sample | None = None
        self.held: Held | None = None
        self._meter = Recovering(meter, quantity)
        self._hold = Hold(quantity=quantity)
        self._on_held, self._on_sample, self._on_state = on_held, on_sample, on_state
        self._again = again
        self._lock = threading.Lock()  # of the settling logic and the quantity asked for
        self._asked: Quantity | None = None
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def identity(self) -> str:
        """Who the meter says it is; "" before it was reached."""
        return self._meter.identity

    @property
    def resource(self) -> str:
        """Where the meter is."""
        return self._meter.meter.resource

    @property
    def quantity(self) -> Quantity:
        """What is asked for."""
        return self._asked or self._meter.quantity

    @property
    def fresh(self) -> bool:
        """Whether the latest reading is of now, and not of a meter that is away."""
        return self.state == "live" and self.latest is not None

    def start(self) -> None:
        """Begin reading; a second start does nothing."""
        if self._thread is None or not self._thread.is_alive():
            self._stop.clear()
            self._thread = threading.Thread(target=self._run, name="meter", daemon=True)
            self._thread.start()

    def stop(self, wait: float = 6.0) -> bool:
        """Stop reading and let go of the meter; whether the thread has ended within `wait` [s]."""
        self._stop.set()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(wait)
            return not self._thread.is_alive()
        return True

    def set_up(self, quantity: Quantity) -> None:
        """Ask for another quantity; what was read of the old one is forgotten at once."""
        with self._lock:
            self._asked = quantity
            self.latest = self.held = None
            self._hold = Hold(quantity=quantity)

    def take(self) -> Held | None:
        """What is read now, by key or foot switch, settled or not, over range too; None when
        nothing is read now, or the meter's own display is held."""
        with self._lock:
            if not self.fresh or self.latest is None:
                return None
            return _as_it_is(self.latest, self._hold)

    def source(self) -> dict[str, Any]:
        """What a journal entry keeps of where a reading came from, without the reading."""
        return {"identity": self.identity, "resource": self.resource}

    def _run(self) -> None:
        self._say("connecting", "")
        garbled = 0
        try:
            while not self._stop.is_set():
                pause = _PACE
                try:
                    self._change()
                    sample = self._meter.read()
                    garbled = 0
                    self._took(sample)
                except WrongQuantityError as error:
                    self._say("refused", str(error))
                    self._forget()
                    self._meter.set_up(self._meter.quantity)  # as it may have been turned back
                    pause = self._again
                except GarbledError as error:
                    garbled += 1
                    if garbled >= _MOST_GARBLED or self.state == "connecting":
                        self._say("garbled", str(error))
                    self._forget()
                except NoAnswerError as error:
                    self._say("no answer", str(error))
                    self._forget()
                    pause = self._again
                except HalfsplitError as error:
                    self._say("unplugged", str(error))
                    self._forget()
                    pause = self._again
                except Exception as error:  # a fault of one instrument's code, told like the rest
                    self._meter.close()
                    self._say("unplugged", f"{self.resource}: {type(error).__name__}: {error}")
                    self._forget()
                    pause = self._again
                self._stop.wait(pause)
        finally:
            self._meter.close()
            self._say("stopped", "")

    def _change(self) -> None:
        with self._lock:
            asked, self._asked = self._asked, None
        if asked is not None:
            self._meter.set_up(asked)

    def _forget(self) -> None:
        with self._lock:
            self._hold.forget()

    def _took(self, sample: Sample) -> None:
        with self._lock:
            if self._asked is not None:
                return  # a reading of the quantity asked for before
            held = self._hold.add(sample)
            self.latest = sample
            if held is not None:
                self.held = held
        still = "the meter's own display is held: release it, or nothing new is seen"
        self._say("live", still if sample.hold else "")
        self._call(self._on_sample, sample)
        if held is not None:
            self._call(self._on_held, held)

    def _say(self, state: State, trouble: str) -> None:
        if (state, trouble) != (self.state, self.trouble):
            self.state, self.trouble = state, trouble
            self._call(self._on_state, state, trouble)

    def _call(self, listener: Callable[..., object] | None, *what: Any) -> None:
        if listener is not None:
            try:
                listener(*what)
            except Exception as error:  # a page that was closed must not end the reading
                self.trouble = f"the page could not show it: {type(error).__name__}: {error}"


def take_held(
    meter: Meter,
    quantity: Quantity,
    seconds: float,
    on_sample: Callable[[Sample], object] | None = None,
    now: bool = False,
) -> tuple[Held, str]:
    """Read until a reading stands still: that reading, and who the meter says it is.

    With `now` it is the third reading, whatever it is: a dead rail, probes on nothing.

    Raises
    ------
    InstrumentError: not settled within `seconds` (the words say between what it moved), or the
        meter failed twice running.
    """
    reader, hold = Recovering(meter, quantity), Hold(quantity=quantity)
    until = time.monotonic() + seconds
    seen: list[Sample] = []
    garbled = 0
    try:
        while time.monotonic() < until:
            try:
                sample = reader.read()
            except GarbledError:
                garbled += 1
                if garbled >= _TWICE:
                    raise
                continue
            garbled = 0
            if on_sample is not None:
                on_sample(sample)
            seen.append(sample)
            held = hold.add(sample)
            if now and len(seen) >= _FIRST:
                held = _as_it_is(sample, hold)
            if held is not None:
                return held, reader.identity
            time.sleep(_PACE)
    finally:
        reader.close()
    raise InstrumentError(_unsettled(seen, seconds))


def _as_it_is(latest: Sample, hold: Hold) -> Held | None:
    """A reading taken by key: None where there is nothing to take."""
    if latest.hold or math.isnan(latest.value):
        return None
    found = hold.take()
    if found is None or latest.over:
        return Held(latest, latest.value, latest.value, 0.0, settled=False)
    return found


def _unsettled(seen: list[Sample], seconds: float) -> str:
    if not seen:
        return f"no reading came within {seconds:g} s"
    lately = seen[-20:]
    low = min(lately, key=lambda s: s.value)
    high = max(lately, key=lambda s: s.value)
    moved = f"it shows {high.text}" if low.text == high.text else (
        f"it moved between {low.text} and {high.text}"
    )  # fmt: skip
    return (
        f"nothing stood still within {seconds:g} s: {moved}. Near nought and over range are never "
        "taken by themselves: type those, or use --now"
    )
