"""The parser of the command line: what is not known is named with what may be meant, and with the help of the very command."""

from __future__ import annotations

import argparse
import difflib
import re
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

WRONG_USAGE = 64


class Parser(argparse.ArgumentParser):
    """argparse, but wrong usage ends with status 64, and in words."""

    def parse_args(self, args: Sequence[str] | None = None, namespace: Any = None) -> Any:  # type: ignore[override]  # has overloads
        """As argparse, but an unknown option is told by the command that it was given to."""
        given = list(sys.argv[1:] if args is None else args)
        known, unknown = self.parse_known_args(given, namespace)
        if unknown:
            meant = _deepest(self, given)
            meant.error(_unknown(meant, unknown[0]))
        return known

    def error(self, message: str) -> NoReturn:
        """Print how it is used and what is wrong, and end."""
        self.print_usage(sys.stderr)
        self.exit(WRONG_USAGE, f"{self.prog}: {message}; '{self.prog} --help' lists what is possible\n")


def _deepest(parser: argparse.ArgumentParser, given: Sequence[str]) -> argparse.ArgumentParser:
    """The deepest command that the words name."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            word = next((word for word in given if word in action.choices), None)
            if word is not None:
                return _deepest(action.choices[word], given[given.index(word) + 1 :])
    return parser


def _unknown(parser: argparse.ArgumentParser, word: str) -> str:
    """A sentence on a word that this command does not know."""
    if not word.startswith("-"):
        return f"does not know what to do with {word!r}"
    option = word.partition("=")[0]
    near = difflib.get_close_matches(option, [name for name in parser._option_string_actions if name.startswith("--")], 1)
    return f"has no option {option}" + (f": did you mean {near[0]}?" if near else "")


def decimal(text: str) -> float:
    """A number with a decimal point. Raises ArgumentTypeError in words; many write a comma."""
    try:
        return float(text)
    except ValueError:
        comma = re.fullmatch(r"[-+]?\d+,\d+", text)
        said = f"{text!r} has a comma: write {text.replace(',', '.')}" if comma else f"{text!r} is no number"
        raise argparse.ArgumentTypeError(said) from None
