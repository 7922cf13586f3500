"""A few wrong photos of the gauntlet beside a harmless twin, on one sample photo. All of them: python -m tests.gauntlet OUT."""

from pathlib import Path

import pytest

from tests.gauntlet.__main__ import as_it_must
from tests.gauntlet.bases import of_sample
from tests.gauntlet.cases import CASES, Spoiled
from tests.gauntlet.judge import outcome

SAMPLE = Path(__file__).resolve().parent.parent / "samples" / "photos" / "k-file-25-flat.jpg"
BY_NAME = {case.name: case for case in CASES}


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("the same sheet twice", "hard"),
        ("far away", "hard"),
        ("black for white", "hard"),
        ("coded to blocks", "hard"),
        ("much noise", "hard"),
        ("a thing on the tip", "hard"),
        ("a thing on the tip", "mild"),
    ],
)
def test_wrong_photos_are_refused_or_honest_and_harmless_ones_read(name, kind, tmp_path):
    base = of_sample(SAMPLE, "flat", 0.5 if kind == "hard" else 1.0)
    made = getattr(BY_NAME[name], kind)(base)
    found = outcome(base, made if isinstance(made, Spoiled) else Spoiled(made), tmp_path)

    assert as_it_must(BY_NAME[name], found, kind), found


def test_there_are_at_least_forty_cases_with_names_of_their_own():
    assert len(BY_NAME) == len(CASES) >= 40
