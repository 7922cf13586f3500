"""`flutegauge tags`: a PDF of code tags and slot labels to cut out."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from vision.commands.outputs import new_file
from vision.desk.tag_print import tags_pdf
from vision.desk.tag_wish import labels_for
from vision.desk.wording import catalogue, speaker
from vision.errors import UsageError
from vision.records.database import default_folder, open_records
from vision.records.faults import RecordsError
from vision.records.instruments import NewInstrument, add_instrument, is_known

FINE, FAILED = 0, 1
ASKED_WRONG = {"invalid", "unknown", "not-ours"}


def print_tags(arguments: argparse.Namespace) -> int:
    """Write the PDF, give out tag numbers; return the exit status. Raises UsageError."""
    if not 0 <= arguments.slots <= 60:
        raise UsageError(f"--slots needs a number from 0 to 60, got {arguments.slots}")
    target: Path = arguments.out or Path("flutegauge-tags.pdf")
    new_file(target, overwrite=arguments.overwrite)
    try:
        with open_records(arguments.data or default_folder()) as records:
            for code in dict.fromkeys(arguments.codes) if arguments.add else ():
                if not is_known(records, code):
                    add_instrument(records, NewInstrument(code))
            labels = labels_for(records, arguments.codes, arguments.kit, arguments.slots)
    except RecordsError as error:
        if error.kind in ASKED_WRONG:
            raise UsageError(error.message + ("; here --add adds it" if error.kind == "unknown" and not arguments.add else "")) from error
        print(f"flutegauge: {error.message}", file=sys.stderr)
        return FAILED
    target.write_bytes(tags_pdf(labels, speaker(catalogue()), arguments.paper))
    tagged = ", ".join(f"{label.text} is tag {label.number}" for label in labels if label.number is not None)
    print(f"{target}: {len(labels)} label{'' if len(labels) == 1 else 's'}. Print at 100 % ('actual size'). {tagged}".rstrip())
    return FINE
