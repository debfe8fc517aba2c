"""Show on a terminal that work goes on, and for how long."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread

SECONDS_BETWEEN = 1.0


@contextmanager
def showing_work(words: str) -> Iterator[None]:
    """Show ``words`` and the seconds so far, from the first second on. Without a terminal nothing is shown."""
    if not sys.stderr.isatty():
        yield
        return
    stream, begun, done = sys.stderr, time.monotonic(), Event()

    def show() -> None:
        while not done.wait(SECONDS_BETWEEN):
            stream.write(f"\r\x1b[K{words} {time.monotonic() - begun:.0f} s")
            stream.flush()

    shower = Thread(target=show, daemon=True)
    shower.start()
    try:
        yield
    finally:
        done.set()
        shower.join()
        stream.write("\r\x1b[K")
        stream.flush()
