"""What the command line says of faults that nobody foresaw, and of a reader that stops early."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from command_line import status_of

from vision import cli

FAULTS = [
    (KeyboardInterrupt(), 130, "interrupted"),
    (OSError(28, "No space left on device", "out.json"), 1, "out.json: no room is left on the disk"),
    (OSError(13, "Permission denied", "out.json"), 1, "out.json: Permission denied"),
    (RuntimeError("odd"), 1, "a fault inside the programme (RuntimeError: odd)"),
]


@pytest.mark.parametrize(("error", "status", "said"), FAULTS)
def test_the_last_net(
    error: BaseException, status: int, said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(_: object) -> int:
        raise error

    monkeypatch.setattr(cli, "_sheet", fail)
    assert status_of("sheet") == status
    assert said in capsys.readouterr().err


def test_a_reader_that_stops_early_causes_no_complaint() -> None:
    code = (
        "import sys, vision.cli as c\n"
        "c._sheet = lambda _: [print('x' * 9999) for _ in range(999)] and 0\n"
        "sys.exit(c.main(['sheet']))"
    )
    line = f'{sys.executable} -c "$CODE" | head -c 10'
    done = subprocess.run(  # noqa: S602 - a pipe needs a shell
        line, shell=True, capture_output=True, text=True, env={"CODE": code, "PYTHONPATH": str(Path.cwd())}, check=False
    )

    assert done.stdout == "x" * 10
    assert done.stderr == ""
