"""Feeds one target by coverage: ``python -m tests.fuzz photo --runs 10000``. Needs the extra ``fuzz`` (atheris)."""

from __future__ import annotations

import shutil
import sys
import tempfile
import warnings
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["vision", "calib", "PIL"]):
    import vision.photo
    from tests.fuzz.targets import TARGETS, seeds


def main() -> None:
    """Run libFuzzer with a corpus of its own that begins with the committed seeds; what crashed it is left in crash-*."""
    name = sys.argv[1] if len(sys.argv) > 1 else ""
    if name not in TARGETS:
        sys.exit(f"name a target: {', '.join(TARGETS)}")
    runs = sys.argv[sys.argv.index("--runs") + 1] if "--runs" in sys.argv else "10000"
    warnings.simplefilter("ignore")
    vision.photo.MIN_SIDE_PX = 8  # type: ignore[attr-defined]  # small pictures, so that what is decoded is looked at too
    corpus = Path(tempfile.mkdtemp(prefix="corpus-"))
    for number, seed in enumerate(seeds(name)):
        (corpus / f"seed-{number}").write_bytes(seed)
    limits = [f"-runs={runs}", "-timeout=10", "-rss_limit_mb=1500", "-max_len=20000", "-print_final_stats=1"]
    atheris.Setup([sys.argv[0], *limits, str(corpus)], TARGETS[name])
    try:
        atheris.Fuzz()
    finally:
        shutil.rmtree(corpus, ignore_errors=True)


if __name__ == "__main__":
    main()
