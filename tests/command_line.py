"""Runs the command line within a test, as the console script would."""

from __future__ import annotations

import pytest

from vision import cli


def status_of(*argv: object) -> int:
    """Run the command line; argparse leaves by SystemExit, as the console script does."""
    try:
        return cli.main([str(part) for part in argv])
    except SystemExit as left:
        return int(left.code or 0)


def usage_error(capsys: pytest.CaptureFixture[str], *argv: object) -> str:
    assert status_of(*argv) == 64
    said = capsys.readouterr()
    assert said.out == ""
    assert "Traceback" not in said.err
    return said.err
