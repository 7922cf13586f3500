"""Reads photos on a running Dask cluster, in order, never holding more than a few results (the only importer of distributed).

The workers need Flutegauge installed and must reach the photos: by a shared folder or an fsspec address. A lost worker's
photos go to another one (Dask does that itself); a photo that loses three workers is given up.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from distributed import Client, KilledWorker

from vision.commands.batch_item import Item
from vision.commands.batch_work import line_of, lost
from vision.commands.measure import Plan
from vision.errors import UsageError

AHEAD = 3
WAIT_S, WORKERS_S = 10, 60
Work = Callable[[Item, Plan], str]


def lines_there(items: Sequence[Item], plan: Plan, address: str, work: Work = line_of) -> Iterator[str]:
    """Give each photo's line, in order, as the cluster's workers have it. Raises UsageError when none answers."""
    try:
        client = Client(address, timeout=WAIT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise UsageError(f"no Dask scheduler answers at {address} ({error}): check its address, and that it runs") from error
    with client:
        try:
            client.wait_for_workers(1, timeout=WORKERS_S)
        except TimeoutError as error:
            raise UsageError(f"the Dask cluster at {address} has no workers: start some, then run the same command again") from error
        yield from _in_order(client, items, plan, work)


def _in_order(client: Client, items: Sequence[Item], plan: Plan, work: Work) -> Iterator[str]:
    # The plan goes with every photo: data kept on the workers would be gone with the worker that held it.
    waiting, in_hand = deque(items), deque[tuple[Item, Any]]()
    while waiting or in_hand:
        most = AHEAD * max(sum(client.ncores().values()), 1)
        while waiting and len(in_hand) < most:
            item = waiting.popleft()
            in_hand.append((item, client.submit(work, item, plan, pure=False)))
        item, future = in_hand.popleft()
        try:
            yield future.result()
        except KilledWorker:
            yield lost(item)
