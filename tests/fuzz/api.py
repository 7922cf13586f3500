"""Feeds the desk's programme interface from its own description: ``python -m tests.fuzz.api [--examples 400]``.

Needs the extra ``fuzz`` (schemathesis). Starts a desk over invented records, and fails on any answer of 500 or above.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path
from shutil import which

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from desk_server import running
from invented_records import fill


def main() -> int:
    """Return schemathesis' own exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz.api", description=__doc__)
    parser.add_argument("--examples", type=int, default=400, help="examples an operation")
    asked = parser.parse_args()
    command = which("schemathesis", path=str(Path(sys.executable).parent)) or "schemathesis"
    with tempfile.TemporaryDirectory() as place:
        fill(Path(place) / "records")
        with running(Path(place) / "records") as desk:
            token = desk.web.get(f"{desk.address}api/token").json()["token"]
            options = ["--checks", "not_a_server_error", "-n", str(asked.examples), "-H", f"x-flutegauge-token: {token}"]
            # Reading real photos is slow and is fed elsewhere: what is sent to /api/measure would be waited for.
            options += ["--exclude-path", "/api/measure", "--suppress-health-check", "all", "--request-timeout", "10"]
            return subprocess.run([command, "run", f"{desk.address}api/openapi.json", *options], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
