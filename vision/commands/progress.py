"""Shows on standard error that something takes time, once it has taken more than two seconds."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

AFTER_S = 2.0


@contextmanager
def waiting(words: str, console: Console, after_s: float = AFTER_S) -> Iterator[None]:
    """Show ``words`` with the time elapsed while the block runs longer than ``after_s``; one line if not a terminal."""
    columns = (SpinnerColumn("line"), TextColumn("{task.description}", markup=False), TimeElapsedColumn())
    display = Progress(*columns, console=console, transient=True, redirect_stdout=False, redirect_stderr=False)
    display.add_task(words, total=None)
    lock, over = threading.Lock(), False

    def begin() -> None:
        with lock:
            if over:
                return
            if console.is_terminal:
                display.start()
            else:
                console.print(f"{words} ...", markup=False, highlight=False)

    timer = threading.Timer(after_s, begin)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        with lock:
            over = True
        timer.cancel()
        display.stop()
