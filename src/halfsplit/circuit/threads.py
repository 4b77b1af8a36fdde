"""Spread rows of a batch over the processor's cores.

The compiled kernels release the interpreter lock, so plain threads suffice; between chunks Ctrl-C
is heard and progress can be shown.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, as_completed

Progress = Callable[[int, int], None]


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
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
