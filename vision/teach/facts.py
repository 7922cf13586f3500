"""What is taught of each family. Where texts differ the stricter rule is taught, and both are shown.

Sources are named as they were met: 'read' stands for a text read, 'common practice' for what no source was read for.
"""

from __future__ import annotations

from dataclasses import dataclass

RISE_TAUGHT, RISE_OLDER = 0.32, 0.30
RISE_SOURCES = (
    "D16 = D0 + 0.32 mm: 16 mm at a taper of 0.02, JIS T 5419:1995, table 1 (read) and two teaching texts (read). "
    "D0 + 0.30 mm: early editions of the rule (from memory). Taught: 0.32."
)


@dataclass(frozen=True)
class Fact:
    """A right answer, wrong ones, and why: with sources, and with what other texts say."""

    right: str
    wrong: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class Family:
    """What is taught of one family. ``mistakes``: the two that count; ``harmless``: what is none."""

    name: str
    use: Fact
    mistakes: tuple[str, str]
    harmless: tuple[str, ...]
    mistakes_why: str
    told_by: str


FAMILIES = {
    "k-file": Family(
        "K-file",
        Fact(
            "to and fro by no more than a quarter turn, with a light pull",
            ("full turns until it binds", "half turns either way, pushed in", "by the pull stroke only, never turned"),
            "Watch-winding and quarter-turn-and-pull: practice article on steel hand files (read). Some texts turn further in "
            "balanced force; taught is the stricter: a quarter turn.",
        ),
        ("turning it anticlockwise while the tip is bound", "forcing it on when it jams"),
        ("withdrawing it to clean the flutes", "measuring its length against a stop", "using the next size only when this one is loose"),
        "Steel files turned anticlockwise broke in a brittle way, clockwise ones gave way first: Chernick et al. 1976 (summary read).",
        "close, even crests on both edges",
    ),
    "reamer": Family(
        "reamer",
        Fact(
            "turned clockwise by a quarter turn, at most, then withdrawn",
            ("pushed and pulled along the wall", "turned anticlockwise by a full turn", "turned full rounds without withdrawing"),
            "Rotate by a quarter to a half turn and withdraw: figure legends of an atlas and lecture slides (read). Texts differ "
            "between a quarter and a half; taught is the stricter: a quarter turn.",
        ),
        ("filing hard along the wall with it", "using large, stiff sizes in curved canals"),
        ("withdrawing it after each turn", "wiping it before it goes in again", "working from small sizes to large"),
        "A reamer cuts in rotation and keeps canals round; large sizes are stiff: atlas legends and lecture slides (read).",
        "few, steep crests: about half as many as a K-file of its size",
    ),
    "hedstroem-file": Family(
        "Hedstroem file",
        Fact(
            "by the pull stroke only, around the wall",
            ("turned by a quarter turn to and fro", "turned clockwise like a reamer", "pushed in hard and turned back"),
            "Pull stroke only: atlas legends (read). Some texts allow a light quarter turn; taught is the stricter: no turning.",
        ),
        ("turning it while its edges are engaged", "pushing it into a canal that is narrower than it"),
        ("pulling it along one wall after another", "cleaning it between strokes", "discarding it when its edge is chipped"),
        "Turned while engaged it breaks: atlas legends (read), a trade text (read). Texts differ on a light quarter turn.",
        "cones stacked in one another: a steep face toward the handle, a slow slope toward the tip",
    ),
    "barbed-broach": Family(
        "barbed broach",
        Fact(
            "slid in loosely, turned by a quarter turn, drawn out",
            ("used to widen the canal", "turned until it binds, then pulled", "worked up and down along the wall"),
            "The largest that stays loose; a quarter to a half turn; for soft tissue, cotton, paper: a supplier's text and a teaching "
            "page (read). Texts differ on how far to turn; taught is the stricter: a quarter turn.",
        ),
        ("letting its barbs engage the wall", "using it again with bent barbs"),
        ("choosing one that stays loose", "throwing it away after use", "using it for cotton or paper"),
        "A supplier's text and a teaching page on barbed broaches (read).",
        "a smooth wire with slivers standing out, pointing to the handle",
    ),
}
SIZE_SOURCE = "the size number is D0 in hundredths of a millimetre: JIS T 5419:1995, table 1 (read for 15 to 140)"
BROACH_SIZE_SOURCE = "taken as for files, D0 in hundredths of a millimetre: from memory; broach sizes stand in a table nobody here has read"
SECTIONS = {
    "hedstroem-file": ("round", "a round blank with one ground groove: atlas legends (read)"),
    "barbed-broach": ("round", "a round wire, its barbs cut and lifted: a supplier's text (read)"),
}
K_RULES = (
    (25, "a maker who takes square blanks up to size 25 and triangular ones from 30 (one product description, read)"),
    (40, "a maker who takes square blanks up to size 40 and triangular ones above (a practice article, read)"),
)
K_BOTH = (
    "Texts differ from which size on K-files are triangular: from 30 (one product description, read) or above 40 (a practice "
    "article, read). Never trust a symbol alone: which blank it is depends on the maker."
)
REAMER_RULE = (
    "the triangular blank that reamers are usually given; small sizes may be square (teaching summary, read; the latter common practice)"
)


def k_section(size: int, most_square: int) -> str:
    """Section that a rule gives to a K-file of this size."""
    return "square" if size <= most_square else "triangle"
