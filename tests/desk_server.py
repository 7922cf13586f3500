"""Starts the desk as a user does: the command, in a process of its own, on a free port of this computer."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx2 as http

ROOT = Path(__file__).resolve().parent.parent
COMMAND = "import sys; from vision import cli; sys.exit(cli.main(sys.argv[1:]))"


@dataclass(frozen=True)
class Running:
    """A desk that answers at ``address``; ``web`` asks it, over a new connection each time."""

    address: str
    folder: Path
    pid: int
    web: http.Client

    @property
    def port(self) -> int:
        return int(self.address.rstrip("/").rpartition(":")[2])


def start(folder: Path, before: Callable[[], None] | None = None, *more: str) -> subprocess.Popen[str]:
    """Start the process; ``before`` runs in it first, for instance to set a limit."""
    command = [sys.executable, "-c", COMMAND, "desk", "--data", str(folder), "--port", "0", "--no-browser", *more]
    found = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=found, preexec_fn=before)  # noqa: PLW1509


@contextmanager
def running(folder: Path, before: Callable[[], None] | None = None) -> Iterator[Running]:
    """Run the desk until the block ends."""
    process = start(folder, before)
    assert process.stdout is not None
    assert process.stderr is not None
    try:
        line = process.stdout.readline()
        assert "http://" in line, process.stderr.read()
        # One client for all: each would load the computer's list of certificates, which nothing here needs.
        with http.Client(verify=False, trust_env=False, limits=http.Limits(max_keepalive_connections=0)) as web:
            yield Running(line.split()[5], folder, process.pid, web)
    finally:
        process.terminate()
        process.communicate(timeout=20)
