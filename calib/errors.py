"""Errors of the scale sheet and of print checks.

CalibError
├── UnknownSheetError     no such sheet
├── ImplausibleCheckError the typed lengths cannot be those of the check lines
└── PrintFileError        the file of print checks cannot be read or written
"""


class CalibError(Exception):
    """Anything the user can put right: the message says how."""


class UnknownSheetError(CalibError):
    """The sheet named does not exist."""


class ImplausibleCheckError(CalibError):
    """A length typed for a check line is missing, not a number, or far from the line's nominal length."""


class PrintFileError(CalibError):
    """The file that keeps the print checks is damaged, of another format, or cannot be reached."""
