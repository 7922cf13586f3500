"""The process that measures: one JSON line in, one JSON line out, so that it can be ended at any moment.

In: {"path", "name", "held", "px_per_mm", "px_per_mm_u"}. Out: {"document", "traces", "tags"}: the document that the command
line writes for that one photo, what the picture draws by the instruments' numbers, and the code tags seen.
"""

from __future__ import annotations

import json
import os
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

Json = dict[str, Any]
# Errors of a photo that could not be opened, so that no tag can be looked for in it.
UNOPENED = {"no-file", "not-a-picture", "truncated", "too-small", "too-large", "all-black", "internal"}


def main() -> None:
    """Answer requests until standard input ends. What a library prints goes to standard error, never between answers."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    from vision.commands import measure  # noqa: F401, PLC0415 - loaded before the first photo comes

    answers.write(json.dumps({"ready": True}) + "\n")
    answers.flush()
    for line in sys.stdin:
        answers.write(json.dumps(answer(json.loads(line))) + "\n")
        answers.flush()


def answer(request: Json) -> Json:
    """Read one photo as the command line does; whatever goes wrong is an error of that photo."""
    from vision.cli import parser  # noqa: PLC0415 - heavy from here on
    from vision.commands.measure import examine, plan_of  # noqa: PLC0415
    from vision.desk.tag_find import tags_in  # noqa: PLC0415
    from vision.net import versions  # noqa: PLC0415
    from vision.records.trace_json import traces  # noqa: PLC0415
    from vision.report.document import document  # noqa: PLC0415

    path = Path(request["path"])
    plan = plan_of(parser().parse_args(command_line(request)))
    reading = replace(examine(path, plan), file=request["name"])
    opened = reading.error is None or reading.error[0] not in UNOPENED
    return {
        "document": document([reading], versions()),
        "traces": traces(reading),
        "tags": tags_in(path) if opened else [],
    }


def command_line(request: Json) -> list[str]:
    """Return the arguments that say the same on the command line."""
    said = ["measure", request["path"]]
    if request.get("held"):
        said.append("--held")
    for name, option in (("px_per_mm", "--px-per-mm"), ("px_per_mm_u", "--px-per-mm-u")):
        if request.get(name) is not None:
            said += [option, str(request[name])]
    return said


if __name__ == "__main__":
    main()
