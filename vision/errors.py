"""What can go wrong with a photo, said in one plain sentence each (leaf: imports no stage).

    FlutegaugeError            anything a user is told about
    ├── PhotoError             this photo cannot be examined; the others of the run go on
    └── UsageError             the command line asks for something that does not exist

Every message says what was found, what is needed and the next step.
"""

from __future__ import annotations


class FlutegaugeError(Exception):
    """Base of everything that is told to a user in words."""


class UsageError(FlutegaugeError):
    """The command line is wrong; exit status 64."""


class PhotoError(FlutegaugeError):
    """A photo cannot be examined; ``kind`` is a fixed word for programs, the message is for people."""

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(message)
        self.kind = kind
        self.message = message
