"""Study of tray checks: fresh trays on a mat, each against lists with 0 to 4 planted faults.

Run as ``python -m tests.study.tray_checks OUT --seed 16000 --count 10 --lists 4``. What was rendered and read is kept in OUT. Lists of one
photo share its reading, so their outcomes are not independent. Reported seeds start at 16000.
"""

from __future__ import annotations

from collections import Counter
from functools import partial
from typing import Any

from tests.study.check_scenes import Planted, check_scene, planted
from tests.study.tray_photos import arguments, total_of
from tests.study.trays import share_text
from vision.tray.check import Checked, check_tray
from vision.tray.looked import TrayPhoto
from vision.tray.merged import merge


def main() -> None:
    """Render, read, check, count, print."""
    parser = arguments("tray_checks", __doc__, seed=16000, count=10)
    parser.add_argument("--lists", type=int, default=4, help="lists for each photo")
    asked = parser.parse_args()
    print("\n".join(figures(total_of(asked, check_scene, partial(checked_lists, asked.lists)))))


def checked_lists(lists: int, seed: int, truth: dict[str, Any], tray: TrayPhoto) -> Counter[str]:
    """Counts of one photo against its lists."""
    total = Counter({"not examined": int(tray.reading.error is not None)})
    for turn in range(lists):
        plan = planted(truth, seed, turn)
        total += counted(plan, check_tray(plan.kit, merge([tray]), filled=tray.filled))
    return total


def counted(plan: Planted, checked: Checked) -> Counter[str]:
    """What became of planted faults and of right positions in one check."""
    count: Counter[str] = Counter(checks=1, clean=int(not plan.faults))
    said = {row.position.slot: row.outcome for row in checked.rows if row.position is not None}
    lying = {row.seen.best.lane: row.outcome for row in checked.rows if row.seen is not None}
    for slot, fault in plan.faults.items():
        outcome = lying.get(slot, "matches list") if fault == "extra" else said[slot]  # what was not found at all was passed too
        count["faults"] += 1
        count["faults passed"] += outcome == "matches list"
        which = "along the view" if slot in plan.along_view else "that show"
        count[f"faults {which}"] += 1
        count[f"faults {which} passed"] += outcome == "matches list"
        count["faults undecided"] += outcome == "undecided"
        count["faults by their kind"] += outcome == fault
        count[f"{fault} -> {outcome}"] += 1
    right = [outcome for slot, outcome in said.items() if slot not in plan.faults]
    alarms = sum(outcome not in ("matches list", "undecided") for outcome in right)
    alarms += sum(row.position is None and row.outcome == "extra" and plan.faults.get(row.seen.best.lane or 0) != "extra"
                  for row in checked.rows if row.seen is not None)  # fmt: skip
    count["right"] += len(right)
    count["right undecided"] += sum(outcome == "undecided" for outcome in right)
    count["false faults"] += alarms
    count["clean without a false fault"] += not plan.faults and not alarms
    return count


def figures(total: Counter[str]) -> list[str]:
    """Shares with Wilson's 95 % interval, then every planted fault with what was said."""
    rows = (
        ("faults passed as 'matches list'", "faults passed", "faults"),
        ("  of those that show from above", "faults that show passed", "faults that show"),
        ("  of kinks along the view", "faults along the view passed", "faults along the view"),
        ("faults undecided", "faults undecided", "faults"),
        ("faults told by their kind", "faults by their kind", "faults"), ("right positions undecided", "right undecided", "right"),
        ("false faults over right positions", "false faults", "right"),
        ("clean trays without a false fault", "clean without a false fault", "clean"),
    )  # fmt: skip
    said = [f"{total['checks']} checks on {total['photos']} photos, {total['not examined']} not examined"]
    said += [f"{name:34s} {total[a]:4d} of {total[b]:4d}  {share_text(total[a], total[b])}" for name, a, b in rows]
    return said + [f"  {name}: {number}" for name, number in sorted(total.items()) if " -> " in name]


if __name__ == "__main__":
    main()
