"""The arguments of the check piece; imports nothing heavy, so that --help is quick."""

from __future__ import annotations

import argparse

from vision.commands.parser import decimal

ASSUMED_U_MM = 0.003  # of a stated diameter without a stated u: a hand micrometer's, common practice, no source


def add_check_wire(measure: argparse.ArgumentParser) -> None:
    """Add the options to `measure`."""
    measure.add_argument(
        "--check-wire",
        type=decimal,
        metavar="MM",
        help="a straight smooth wire or pin of this diameter lies beside the instruments: show how far off it reads",
    )
    measure.add_argument(
        "--check-wire-u",
        type=decimal,
        metavar="MM",
        help=f"standard uncertainty of that diameter (unstated: {ASSUMED_U_MM} mm is assumed, and said)",
    )
    measure.add_argument(
        "--correct", action="store_true", help="take the check wire's bias off the instruments' widths; readings say so"
    )
