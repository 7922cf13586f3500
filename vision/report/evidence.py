"""Clues -> words: for family and size what was seen, for which names it speaks and how strongly, and on what ground."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from vision.reading import Clue, InstrumentReading
from vision.report.words import family_text, percent, size_text

ALIKE = 1.5  # likelihoods within this factor are called the same
SHOWN = 3  # names beyond the best, the likeliest first
NONE_APART = "tells none apart"
FAR = 1000.0  # times less likely: beyond, no number is worth printing
RULE = (
    "each line stands for itself; lines that share a cause count in part only, and the network sees the outline too. "
    "'n times less' compares how well a name explains what was seen"
)


def evidence_lines(one: InstrumentReading) -> Iterator[tuple[str, str, str, str]]:
    """Yield name ('family', 'size'), clue, what was seen with its ground, and what it speaks for; then how all add up."""
    for name, clues, families in (("family", one.family_clues, True), ("size", one.size_clues, False)):
        for clue in clues:
            yield name, clue.what, f"{clue.seen} [{clue.source}]", says_text(clue.says, families=families)
        choice = one.family if families else one.size
        if clues:
            value = family_text(choice.value) if families else size_text(choice.value)
            ranked = sorted(choice.others.items(), key=lambda item: -item[1])[:SHOWN]
            rest = ", ".join(f"{_named(n, families)} {percent(p)}" for n, p in ranked)
            sure = f"{value} {percent(choice.probability)}" if choice.value is not None else value
            yield name, "together", "all of the above" + _dispute(clues), sure + (f"; else {rest}" if rest else "")


def says_text(says: Mapping[str, float], *, families: bool) -> str:
    """Return what a clue speaks for: 'K-file; reamer 4 times less'; where it suits most names, what it speaks against."""
    if not says:
        return "nothing"
    ranked = sorted(says.items(), key=lambda item: -item[1])
    top = [name for name, value in ranked if value * ALIKE >= ranked[0][1]]
    if len(top) == len(ranked):
        return NONE_APART
    rest = ranked[len(top) :]
    if len(top) > (SHOWN if families else 2 * SHOWN):
        return "against " + ", ".join(f"{_named(name, families)} {_less(value)}" for name, value in rest[: -SHOWN - 1 : -1])
    less = ", ".join(f"{_named(name, families)} {_less(value)}" for name, value in rest[:SHOWN])
    return " or ".join(_named(name, families) for name in top) + "; " + less


def _named(name: str, families: bool) -> str:
    return family_text(name) if families else size_text(int(name))


def _less(value: float) -> str:
    times = 1.0 / max(value, 1e-12)
    if times > FAR:
        return f"over {FAR:.0f} times less"
    return f"{times:.1f} times less" if times < 9.5 else f"{times:.0f} times less"


def _dispute(clues: tuple[Clue, ...]) -> str:
    """Say where what was measured and what was learned point to different names."""
    learned = [clue for clue in clues if clue.learned]
    if not learned:
        return ""
    product: dict[str, float] = {}
    for clue in clues:
        if not clue.learned:
            for name, value in clue.says.items():
                product[name] = product.get(name, 1.0) * max(value, 1e-6)
    by_shape = max(product, key=lambda name: product[name], default="")
    by_network = max(learned[0].says, key=lambda name: learned[0].says[name])
    return "" if by_shape == by_network else f"; shape alone leans to {family_text(by_shape)}, the network to {family_text(by_network)}"
