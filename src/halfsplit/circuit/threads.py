"""Spread rows of a batch over the processor's cores.

The compiled kernels release the interpreter lock, so plain threads suffice; between chunks Ctrl-C
is heard, progress can be shown, and whoever waits can be asked whether to go on.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager

# Rows of some dozen microseconds each that are solved in one go: to set a thread going takes as
# long as ten of them.
AT_ONCE = 64
Progress = Callable[[int, int], None]
_asked = threading.local()  # .go_on: what this thread asks between batches


@contextmanager
def asking(go_on: Callable[[], None]) -> Iterator[None]:
    """Inside, `go_on` is called in this thread before each batch of rows and after each slice of
    it; it may raise to stop, whatever was to be worked out."""
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

    `progress(done, count)` is called from the caller's thread after each slice.
    """
    go_on = getattr(_asked, "go_on", None) or (lambda: None)
    go_on()
    parts = [slice(i, min(i + chunk, count)) for i in range(0, count, chunk)]
    workers = cores()
    if len(parts) <= 1 or workers == 1:
        for part in parts:
            work(part)
            if progress:
                progress(part.stop, count)
        return
    done = 0
    with ThreadPoolExecutor(max_workers=workers) as pool:
        futures = {pool.submit(work, part): part for part in parts}
        try:
            for future in as_completed(futures):
                future.result()
                part = futures[future]
                done += part.stop - part.start
                if progress:
                    progress(done, count)
                go_on()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
