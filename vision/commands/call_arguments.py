"""What the user knows and no photo shows, and a practice's own rules: arguments of `measure`; imports nothing heavy."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_call(measure: argparse.ArgumentParser) -> None:
    """Add the options to `measure`."""
    measure.add_argument(
        "--material",
        choices=("steel", "nickel-titanium", "unknown"),
        default="unknown",
        help="what it is made of (unstated: unknown, which counts as nickel-titanium)",
    )
    measure.add_argument(
        "--single-use",
        choices=("used", "new", "no", "unknown"),
        default="unknown",
        help="marked for single use, and used or not yet; 'no': not so marked. That comes before any photo",
    )
    measure.add_argument(
        "--against",
        type=Path,
        metavar="FILE",
        help="an earlier reading of this instrument, as --json wrote it: what has changed by more than both doubts",
    )
    measure.add_argument(
        "--rules", type=Path, metavar="FILE", help="a TOML file that makes the rules of the call stricter; a looser one is refused"
    )
