"""Stand-ins for reading a photo that end their process; light, since every process of a batch loads them."""

import os
import signal
from pathlib import Path


def dies_on_three(item, _plan):
    """Stands in for reading: the third photo ends its process every time."""
    if item.name == "3":
        os.kill(os.getpid(), signal.SIGKILL)
    return f"line of {item.name}"


def dies_once(item, _plan):
    """Stands in for reading: ends its worker the first time that it meets a photo marked so."""
    mark = Path(item.place)
    if item.name == "dies" and not mark.exists():
        mark.write_text("met")
        os.kill(os.getpid(), signal.SIGKILL)
    return f"line of {item.name}"
