"""Reads photos in processes of this computer, in order, never holding more than a few results.

A process that ends (killed for memory, say) takes its pool along: a fresh one reads what was in hand one by one, so that
only a photo that ends its process again is given up.
"""

from __future__ import annotations

import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool

from vision.commands.batch_item import ONE_THREAD, Item, as_reader
from vision.commands.batch_work import line_of, lost
from vision.commands.measure import Plan

AHEAD = 3  # photos in hand for each job: enough that none waits for the slowest
Work = Callable[[Item, Plan], str]


def lines_here(items: Sequence[Item], plan: Plan, jobs: int, work: Work = line_of) -> Iterator[str]:
    """Give each photo's line, in order, reading ``jobs`` at a time."""
    waiting = deque(items)
    while waiting:
        in_hand: deque[tuple[Item, Future[str]]] = deque()
        with _pool(jobs) as pool:
            try:
                while waiting or in_hand:
                    while waiting and len(in_hand) < AHEAD * jobs:
                        in_hand.append((waiting[0], pool.submit(work, waiting[0], plan)))
                        waiting.popleft()
                    line = in_hand[0][1].result()
                    in_hand.popleft()
                    yield line
            except BrokenProcessPool:
                pool.shutdown(cancel_futures=True)
        yield from _one_by_one([item for item, _ in in_hand], plan, work)


def _one_by_one(items: Sequence[Item], plan: Plan, work: Work) -> Iterator[str]:
    """Read photos singly, so that one which ends its process is known; each such costs a fresh process."""
    left = deque(items)
    while left:
        with _pool(1) as pool:
            try:
                while left:
                    yield pool.submit(work, left[0], plan).result()
                    left.popleft()
            except BrokenProcessPool:
                yield lost(left.popleft())


def _pool(jobs: int) -> ProcessPoolExecutor:
    for name in ONE_THREAD:  # the processes take them over before they load the libraries
        os.environ.setdefault(name, "1")
    return ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn"), initializer=as_reader)
