"""Threads that do one thing after another, and what is told of the one that thinks."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from queue import SimpleQueue
from typing import Any, TypeVar

from halfsplit.problems import HalfsplitError

T = TypeVar("T")


class StoppedError(KeyboardInterrupt):
    """A job was stopped; like Ctrl-C it passes through everything that catches only errors."""


@dataclass(frozen=True)
class Busy:
    """What the thinker does now.

    Attributes
    ----------
    what: in words. done, total: rows of the present pass; total 0 when it cannot be told.
    seconds_left: of this pass, by the pace so far; None when not known.
    """

    what: str
    done: int = 0
    total: int = 0
    seconds_left: float | None = None


class Lane:
    """A thread that runs what it is given, one after another."""

    def __init__(self, name: str) -> None:
        self._ended, self._gate = False, threading.Lock()
        self._jobs: SimpleQueue[tuple[Future[Any], Callable[[], Any]] | None] = SimpleQueue()
        self.thread = threading.Thread(target=self._run, name=name, daemon=True)
        self.thread.start()

    def do(self, verb: Callable[[], T]) -> Future[T]:
        """Have `verb` run on the thread; once it was told to end, whoever waits is told so."""
        done: Future[T] = Future()
        with self._gate:
            if not self._ended:
                self._jobs.put((done, verb))
                return done
        done.set_exception(HalfsplitError("this machine was closed; open it again"))
        return done

    def end(self) -> None:
        """Let the thread end after what it was given before."""
        with self._gate:
            self._ended = True
            self._jobs.put(None)

    def _run(self) -> None:
        while (job := self._jobs.get()) is not None:
            done, verb = job
            if not done.set_running_or_notify_cancel():
                continue
            try:
                done.set_result(verb())
            except BaseException as error:  # a stopped job too: it is the waiter's to know
                done.set_exception(error)
