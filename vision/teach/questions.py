"""A subject and a seed -> questions with their answers; and whether an answer is right."""

from __future__ import annotations

import random
import re
from collections.abc import Sequence
from dataclasses import dataclass

from vision.teach.facts import (
    BROACH_SIZE_SOURCE,
    FAMILIES,
    K_BOTH,
    K_RULES,
    REAMER_RULE,
    RISE_OLDER,
    RISE_SOURCES,
    RISE_TAUGHT,
    SECTIONS,
    SIZE_SOURCE,
    k_section,
)
from vision.teach.subjects import Subject

LETTERS = "abcdef"
SECTION_WORDS = {"square": "square", "triangle": "triangular", "rhombus": "rhombic", "round": "round"}
NEAR_MM = 0.0051  # a number is right to the second decimal


@dataclass(frozen=True)
class Question:
    """``choices`` empty: a number is asked. ``right``: letters of the right choices. ``numbers``: (mm, rule that must be named or '')."""

    kind: str
    text: str
    choices: tuple[str, ...]
    right: str
    numbers: tuple[tuple[float, str], ...]
    why: str

    @property
    def key(self) -> str:
        """The right answer in words."""
        if self.choices:
            return "; ".join(f"{letter}) {self.choices[LETTERS.index(letter)]}" for letter in self.right)
        return self._numbers

    @property
    def said(self) -> str:
        """The same without the letters of the choices, as a card shows it."""
        return "; ".join(self.choices[LETTERS.index(letter)] for letter in self.right) if self.choices else self._numbers

    @property
    def _numbers(self) -> str:
        return " or ".join(f"{mm:.2f} mm" + (f" (by the rule {rule})" if rule else "") for mm, rule in self.numbers)


def questions_of(subject: Subject, seed: int) -> list[Question]:
    """All that can be asked about one subject, in the order in which one looks."""
    draw = random.Random(f"{seed}-{subject.photo.stem}")  # noqa: S311 - a quiz, no secret
    family = FAMILIES[subject.family]
    names = [one.name for one in FAMILIES.values()]
    source = BROACH_SIZE_SOURCE if subject.family == "barbed-broach" else SIZE_SOURCE
    asked = [
        _choice(draw, "name", "What is it?", family.name, [n for n in names if n != family.name], f"Told by: {family.told_by}."),
        Question("tip", _sized(subject, "What is its diameter at the tip, D0, in mm?"), (), "", ((subject.size / 100.0, ""),), source),
    ]
    if subject.family != "barbed-broach":
        asked.append(_end(subject))
    section = _section(draw, subject)
    if section is not None:
        asked.append(section)
    asked.append(_choice(draw, "use", "How is this instrument used?", family.use.right, list(family.use.wrong), family.use.why))
    asked.append(_mistakes(draw, subject))
    return asked


def is_right(question: Question, answer: str) -> bool:
    """Whether an answer is right: letters in any order, or a number; one by the other rule must name that rule."""
    said = answer.strip().lower()
    if question.choices:
        return sorted(re.sub(r"[^a-f]", "", said)) == sorted(question.right)
    numbers = [float(n.replace(",", ".")) for n in re.findall(r"\d+[.,]\d+|\d+", said)]
    if not numbers:
        return False
    for mm, rule in question.numbers:
        named = not rule or rule == f"{RISE_TAUGHT:.2f}" or any(abs(n - float(rule)) < 1e-6 for n in numbers[1:])
        if abs(numbers[0] - mm) < NEAR_MM and named:
            return True
    return False


def _end(subject: Subject) -> Question:
    tip = subject.size / 100.0
    numbers = ((tip + RISE_TAUGHT, f"{RISE_TAUGHT:.2f}"), (tip + RISE_OLDER, f"{RISE_OLDER:.2f}"))
    text = _sized(
        subject,
        "What is its diameter at the end of the working part, D16, in mm? A number by the older rule counts if it names the rule.",
    )
    return Question("end", text, (), "", numbers, RISE_SOURCES)


def _section(draw: random.Random, subject: Subject) -> Question | None:
    """Which section; the question says which blank it assumes and not which it is. None where no rule that was read gives this one."""
    if subject.family in SECTIONS:
        right, why = SECTIONS[subject.family]
        assumed = "the family's usual blank"
    elif subject.family == "reamer":
        right, why, assumed = "triangle", f"Assumed: {REAMER_RULE}.", "the family's usual blank"
    else:
        rule = next(((most, words) for most, words in K_RULES if k_section(subject.size, most) == subject.section), None)
        if rule is None:
            return None
        right, assumed, why = subject.section, rule[1], K_BOTH
    if right != subject.section:
        return None
    others = [words for name, words in SECTION_WORDS.items() if name != right]
    return _choice(draw, "section", f"Which section has its blank? Assume {assumed}.", SECTION_WORDS[right], others, why)


def _mistakes(draw: random.Random, subject: Subject) -> Question:
    family = FAMILIES[subject.family]
    options = [*family.mistakes, *family.harmless]
    draw.shuffle(options)
    right = "".join(sorted(LETTERS[options.index(mistake)] for mistake in family.mistakes))
    return Question("mistakes", "Which two are the common mistakes with this instrument?", tuple(options), right, (), family.mistakes_why)


def _choice(draw: random.Random, kind: str, text: str, right: str, wrong: Sequence[str], why: str) -> Question:
    options = [right, *wrong]
    draw.shuffle(options)
    return Question(kind, text, tuple(options), LETTERS[options.index(right)], (), why)


def _sized(subject: Subject, text: str) -> str:
    return f"Its handle says size {subject.size}. {text}"
