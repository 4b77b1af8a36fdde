"""Spread rows of a batch over the processor's cores.

The compiled kernels release the interpreter lock, so plain threads suffice; between chunks Ctrl-C
is heard, progress can be shown, and whoever waits can be asked whether to go on.
"""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager

# Rows of some dozen microseconds each that are solved in one go: to set a thread going takes as
# long as ten of them.
AT_ONCE = 64
Progress = Callable[[int, int], None]
_asked = threading.local()  # .go_on: what this thread asks between batches


@contextmanager
def asking(go_on: Callable[[], None]) -> Iterator[None]:
    """Inside, `go_on` is called in this thread before each batch of rows and after each slice of it
    that this thread took; it may raise to stop, whatever was to be worked out."""
    before = getattr(_asked, "go_on", None)
    _asked.go_on = go_on
    try:
        yield
    finally:
        _asked.go_on = before


def cores() -> int:
    """Cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not every system can hold a process to some of its cores
        return os.cpu_count() or 1


def spread(
    work: Callable[[slice], None], count: int, *, chunk: int, progress: Progress | None = None
) -> None:
    """Call `work` on consecutive slices of at most `chunk` rows until `count` rows are done.

    The caller's own thread takes slices too, and calls `progress(done, count)` after each of them;
    what was raised in another is raised there. Interrupted, no further slice is begun.
    """
    go_on = getattr(_asked, "go_on", None) or (lambda: None)
    go_on()
    left = deque(slice(i, min(i + chunk, count)) for i in range(0, count, chunk))
    done: list[int] = []
    failed: list[BaseException] = []

    def help_on() -> None:
        try:
            while not failed and (part := _next(left)) is not None:
                work(part)
                done.append(part.stop - part.start)
        except BaseException as problem:
            failed.append(problem)

    helpers = [threading.Thread(target=help_on) for _ in range(min(cores(), len(left)) - 1)]
    told = 0
    try:
        for helper in helpers:
            helper.start()
        while not failed and (part := _next(left)) is not None:
            work(part)
            done.append(part.stop - part.start)
            if progress:
                told = sum(done)
                progress(told, count)
            go_on()
    finally:
        left.clear()  # whatever was raised: what is begun is finished, and nothing more begun
        for helper in helpers:
            if helper.ident is not None:
                helper.join()
    if failed:
        raise failed[0]
    if progress and told < count:
        progress(count, count)


def _next(left: deque[slice]) -> slice | None:
    try:
        return left.popleft()
    except IndexError:
        return None
