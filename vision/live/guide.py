"""What has been photographed so far, and a Look -> what the reading needs next, and whether to take the photo now.

Two ways to know more than one photo tells. 'height': the instrument stays untouched and the camera goes across it, which
measures its height above the sheet. 'turns': it is turned by a third twice, so that all of the way round is seen, and as it lies
then the camera goes across it: height and lens are measured there, and the photos before are measured by them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from vision.live.judge import ASIDE_DEG, SQUARE_DEG, Check, Wanted, all_right, judge
from vision.live.look import Look
from vision.live.steady import held_still, seen_across_deg, touched

Plan = Literal["one", "height", "turns"]
PHOTOS: dict[Plan, int] = {"one": 1, "height": 2, "turns": 4}
ACROSS_DEG = 18.0  # by which the camera is to see the instrument from elsewhere: tan is a third, and less measures the height badly
ASIDE_COARSER = 0.9  # a view from aside shows so many px/mm of what the same camera shows from straight above, and is a little softer
GOOD_FRAMES = 3  # one after the other, so that nothing is taken on the way


@dataclass(frozen=True)
class Step:
    """What comes next: 'first', 'across', 'turn' or 'done', with how far it is done in its own unit."""

    name: Literal["first", "across", "turn", "done"]
    holds: bool
    seen: float | None = None
    needed: float | None = None


@dataclass(frozen=True)
class Run:
    """One guided run. ``shots``: the look at each photo taken; ``before``: the last frame; ``good``: good frames in a row.

    ``lays``: a number for each photo; those of one number were asked for without touching the instrument between them.
    ``handled``: the instrument was taken up since the last photo. ``over``: ended before the plan was done.
    """

    plan: Plan
    shots: tuple[Look, ...] = ()
    lays: tuple[int, ...] = ()
    before: Look | None = None
    good: int = 0
    handled: bool = False
    over: bool = False

    @property
    def complete(self) -> bool:
        """Whether all photos of the plan are taken, or the run was ended before."""
        return self.over or len(self.shots) >= PHOTOS[self.plan]


@dataclass(frozen=True)
class Advice:
    """What to tell after one frame; ``shoot``: take the photo now."""

    checks: tuple[Check, ...]
    step: Step
    shoot: bool
    still_frames: int = field(default=0)


def watch(run: Run, look: Look, finer: float = 1.0) -> tuple[Run, Advice]:
    """Take one frame in: the run goes on, with what to tell. ``finer``: how many times finer a photo is than the frame."""
    handled = run.handled or (bool(run.shots) and touched(run.shots[-1], look))
    run = replace(run, handled=handled)
    step = next_step(run, look)
    still = None if run.before is None else held_still(run.before, look)
    checks = judge(look, wanted(run.plan, step, finer), still=still)
    right = all_right(checks) and step.holds and step.name != "done"
    good = run.good + 1 if right else 0
    shoot = good >= GOOD_FRAMES
    return replace(run, before=look, good=0 if shoot else good), Advice(checks, step, shoot, good)


def taken(run: Run, look: Look) -> Run:
    """The run with one photo more, whoever took it."""
    last = run.lays[-1] if run.lays else 0
    turned = next_step(run, look).name in ("turn", "done")
    return replace(run, shots=(*run.shots, look), lays=(*run.lays, last + turned), good=0, handled=False)


def ended(run: Run) -> Run:
    """The run ended as it is: nothing more is asked for, and no photo is taken by itself."""
    return replace(run, over=True)


def next_step(run: Run, look: Look) -> Step:
    """Return what the reading needs next, and whether this frame has it."""
    if run.complete:
        return Step("done", holds=True)
    if not run.shots:
        return Step("first", holds=True)
    if run.plan == "turns" and len(run.shots) < PHOTOS["turns"] - 1:
        return Step("turn", holds=run.handled)
    went = seen_across_deg(run.shots[-1], look)
    return Step("across", went is not None and went >= ACROSS_DEG, went, ACROSS_DEG)


def wanted(plan: Plan, step: Step, finer: float) -> Wanted:
    """What a frame must show for this step; the second of two views may look from the side. Who takes two to know the height measures."""
    aside = step.name == "across"
    share = ASIDE_COARSER if aside else 1.0
    return Wanted(finer, ASIDE_DEG if aside else SQUARE_DEG, measured=share if plan == "height" else 0.0)
