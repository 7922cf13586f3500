"""The process that measures: one JSON line in, one JSON line out, so that it can be ended at any moment.

In: {"path", "name", "held", "px_per_mm", "px_per_mm_u"}. Out: {"document", "traces", "tags"}: the document that the command
line writes for that one photo, what the picture draws by the instruments' numbers, and the code tags seen; where
"tray" is asked for, also what is told of each instrument for sorting and checking. A photo with a
"group" is kept for the request with "combine" that follows; its answer is the document of 'measure --same', and "problems".
"""

from __future__ import annotations

import json
import os
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

Json = dict[str, Any]
MOST_GROUPS = 3  # whose photos still come in; each photo keeps up to some hundred MB
# Errors of a photo that could not be opened, so that no tag can be looked for in it.
UNOPENED = {"no-file", "not-a-picture", "truncated", "too-small", "too-large", "all-black", "internal"}


@dataclass
class Group:
    """Photos of one instrument: what the stages made of them, and their readings."""

    looked: list[Any] = field(default_factory=list)
    readings: list[Any] = field(default_factory=list)
    combined: bool = False


@dataclass
class Groups:
    """The groups whose photos are still coming in, the latest few; one that was combined stays for a late photo until another begins."""

    of: dict[str, Group] = field(default_factory=dict)

    def held(self, name: str | None) -> Group:
        """The group of that name, a new one if there is none; a photo without a name has one that is not kept."""
        if name is None:
            return Group()
        if name not in self.of:
            self.of = {other: group for other, group in self.of.items() if not group.combined}
        while len(self.of) >= MOST_GROUPS and name not in self.of:
            del self.of[next(iter(self.of))]
        return self.of.setdefault(name, Group())


def main() -> None:
    """Answer requests until standard input ends. What a library prints goes to standard error, never between answers."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    groups = Groups()
    from vision.commands import measure  # noqa: F401, PLC0415 - loaded before the first photo comes

    answers.write(json.dumps({"ready": True}) + "\n")
    answers.flush()
    for line in sys.stdin:
        answers.write(json.dumps(answer(json.loads(line), groups)) + "\n")
        answers.flush()


def answer(request: Json, groups: Groups) -> Json:
    """Read one photo as the command line does; whatever goes wrong is an error of that photo."""
    from vision.cli import parser  # noqa: PLC0415 - heavy from here on
    from vision.commands.measure import examine, plan_of  # noqa: PLC0415
    from vision.desk.tag_find import tags_in  # noqa: PLC0415
    from vision.net import versions  # noqa: PLC0415
    from vision.records.trace_json import traces  # noqa: PLC0415
    from vision.report.document import document  # noqa: PLC0415

    if request.get("combine"):
        return combined(request, groups)
    path = Path(request["path"])
    plan = plan_of(parser().parse_args(command_line(request)))
    kept = groups.held(request.get("group"))
    before = len(kept.looked)
    reading = replace(examine(path, plan, kept.looked), file=request["name"])
    kept.looked[before:] = [replace(one, name=request["name"], lay=request.get("lay")) for one in kept.looked[before:]]
    kept.readings.append(reading)
    kept.combined = False  # a late photo: the group stays until it is combined again
    opened = reading.error is None or reading.error[0] not in UNOPENED
    answered = {
        "document": document([reading], versions()),
        "traces": traces(reading),
        "tags": tags_in(path) if opened else [],
    }
    return answered | ({"tray": _tray(reading, kept.looked)} if request.get("tray") else {})


def _tray(reading: Any, looked: list[Any]) -> Json:
    """What is told of each instrument for sorting and checking."""
    from vision.tray.looked import tray_photo  # noqa: PLC0415 - as above
    from vision.tray.told_json import tray_json  # noqa: PLC0415

    return tray_json(tray_photo(reading, looked[-1] if looked and reading.error is None else None))


def combined(request: Json, groups: Groups) -> Json:
    """Combine the photos of a group, as 'measure --same' does; a group that is not here any more is said."""
    from vision.call import restated  # noqa: PLC0415 - as above
    from vision.cli import parser  # noqa: PLC0415
    from vision.commands.measure import plan_of  # noqa: PLC0415
    from vision.net import versions  # noqa: PLC0415
    from vision.report.document import document  # noqa: PLC0415
    from vision.together import combine  # noqa: PLC0415

    plan, kept = plan_of(parser().parse_args(command_line(request))), groups.held(request["group"])
    try:
        made, problems = combine(kept.looked, down=plan.held)
    except Exception as error:  # the single readings stand
        made, problems = None, (f"a fault inside the programme ({type(error).__name__}); the single readings stand",)
    if made is not None:
        made = replace(made, instrument=restated(made.instrument, plan.rules, plan.stated))
    kept.combined = True
    return {"document": document(kept.readings, versions(), () if made is None else (made,)), "problems": list(problems)}


def command_line(request: Json) -> list[str]:
    """Return the arguments that say the same on the command line."""
    said = ["measure", request["path"]]
    if request.get("held"):
        said.append("--held")
    for name, option in (("px_per_mm", "--px-per-mm"), ("px_per_mm_u", "--px-per-mm-u"), ("camera", "--camera")):
        if request.get(name) is not None:
            said += [option, str(request[name])]
    return said


if __name__ == "__main__":
    main()
