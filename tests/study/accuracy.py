"""Accuracy study: fresh renders with their truth, read and compared; the figures come from the rows alone.

    python -m tests.study.accuracy run ROWS.jsonl --count flat=300 same=150 --jobs 32 --device cuda --seconds 520
    python -m tests.study.accuracy figures ROWS.jsonl [MORE.jsonl] --out FOLDER
    python -m tests.study.accuracy causes FOLDER-OF-PHOTOS
    python -m tests.study.accuracy ideal

'run' renders and reads; 'render' and 'read' do one half each. Every command goes on where an earlier one stopped.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from tests.study.design import SETUPS, plan
from tests.study.run import Work, gpus, run

COUNTS = {"flat": 320, "same": 160, "free": 300, "hard": 120, "unchecked": 60, "strangers": 80, "traced-flat": 70, "traced-free": 50}
FIRST, FIRST_TRACED = 13000, 33000


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    asked = _parser().parse_args(argv)
    return int(asked.run(asked))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.study.accuracy", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for name, told in (("run", "render and read"), ("render", "render only"), ("read", "read what was rendered")):
        _add_making(commands.add_parser(name, help=told), name)
    figures = commands.add_parser("figures", help="tables and plots from the rows")
    figures.add_argument("rows", type=Path, nargs="+", help="JSON-lines files that 'run' or 'read' wrote")
    figures.add_argument("--out", type=Path, required=True, help="folder for figures.md and the plots")
    figures.set_defaults(run=_figures)
    causes = commands.add_parser("causes", help="one cause of error switched off at a time, on kept photos")
    causes.add_argument("folder", type=Path, help="photos that 'render' or 'run --keep' left")
    causes.add_argument("--rows", type=Path, help="JSON-lines file to add to (default: FOLDER/causes.jsonl)")
    causes.add_argument("--most", type=int, default=48, help="photos at most (default 48)")
    causes.add_argument("--jobs", type=int, default=1, help="processes")
    causes.add_argument("--seconds", type=float, default=float("inf"), help="begin nothing after so long")
    causes.set_defaults(run=_causes)
    ideal = commands.add_parser("ideal", help="spread against the Cramer-Rao bound on a matt bar")
    ideal.add_argument("--repeats", type=int, default=40, help="pictures of each kind (default 40)")
    ideal.add_argument("--jobs", type=int, default=1, help="processes")
    ideal.set_defaults(run=_ideal)
    return parser


def _add_making(parser: argparse.ArgumentParser, command: str) -> None:
    if command != "render":
        parser.add_argument("rows", type=Path, help="JSON-lines file to add to")
    parser.add_argument("--folder", type=Path, default=Path("/tmp/study-photos"), help="where the photos lie")  # noqa: S108
    parser.add_argument(
        "--count", nargs="+", type=_count, metavar="SETUP=N", help=f"how many of which of {', '.join(SETUPS)}"
    )
    parser.add_argument("--traced", type=int, metavar="N", help="so many path-traced ones, three flat to two free")
    parser.add_argument("--seed", type=int, default=FIRST, help=f"first seed (default {FIRST}); development: below 5000")
    parser.add_argument("--traced-seed", type=int, default=FIRST_TRACED, help=f"of path-traced photos ({FIRST_TRACED})")
    parser.add_argument("--jobs", type=int, default=1, help="processes; they share cores and GPUs")
    parser.add_argument("--device", default="cpu", help="cpu, or cuda with PyTorch")
    parser.add_argument("--gpus", help="which GPUs, like 0,1 (default: all)")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begin nothing after so long")
    parser.add_argument("--per-pixel", type=int, default=256, help="paths a pixel of path-traced photos")
    parser.add_argument("--keep", action="store_true", help="keep the photos after they were read")
    parser.set_defaults(run=_make, command=command)


def _count(text: str) -> tuple[str, int]:
    name, _, count = text.partition("=")
    if name not in SETUPS or not count.isdigit():
        raise argparse.ArgumentTypeError(f"needs SETUP=N with a set-up of {', '.join(SETUPS)}, got {text!r}")
    return name, int(count)


def _make(asked: argparse.Namespace) -> int:
    until = time.time() + asked.seconds
    counts = dict(asked.count) if asked.count else ({} if asked.traced else COUNTS)
    if asked.traced:
        counts |= {"traced-flat": round(0.6 * asked.traced), "traced-free": asked.traced - round(0.6 * asked.traced)}
    gpus(asked.device, asked.gpus)
    work = Work(
        asked.folder,
        asked.device,
        render=asked.command != "read",
        read=asked.command != "render",
        keep=asked.keep,
        per_pixel=asked.per_pixel,
        until=until,
    )
    out = None if asked.command == "render" else asked.rows
    return 1 if run(plan(counts, asked.seed, asked.traced_seed), work, asked.jobs, out) else 0


def _figures(asked: argparse.Namespace) -> int:
    from tests.study.report import write_report  # noqa: PLC0415  matplotlib: only where figures are drawn
    from tests.study.rows import load  # noqa: PLC0415

    print(write_report(load(asked.rows), asked.out))
    return 0


def _causes(asked: argparse.Namespace) -> int:
    from tests.study.causes import run_causes  # noqa: PLC0415

    return run_causes(asked.folder, asked.rows or asked.folder / "causes.jsonl", asked.most, asked.jobs, asked.seconds)


def _ideal(asked: argparse.Namespace) -> int:
    from tests.study.ideal import ideal_table  # noqa: PLC0415

    print(ideal_table(asked.repeats, asked.jobs, lambda text: print(text, file=sys.stderr, flush=True)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
