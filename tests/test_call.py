"""The call: by one table, which a practice can make stricter and never looser; what comes before a photo is said."""

from __future__ import annotations

from dataclasses import replace

import pytest
from invented_readings import condition, k_file

from vision.call import Stated, call_of, own_rules, read_rules, restated
from vision.errors import UsageError
from vision.quantity import Quantity
from vision.reading import Finding
from vision.report.words import STRENGTH_UNITS

RULES = own_rules()


def finding(chance: float, kind: str = "kinked") -> Finding:
    return Finding(kind, 3.0, 4.0, Quantity(20.0, 2.0), STRENGTH_UNITS[kind], chance)


def written(tmp_path, text: str):
    path = tmp_path / "rules.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("kind", RULES.of_kind)
def test_the_table_is_the_call(kind):
    """At each row's two chances the call changes, and nowhere else; an unfit photo is never 'nothing seen'."""
    rule = RULES.of(kind)

    assert call_of([finding(rule.discard_at, kind)], unfit=False, rules=RULES) == "discard"
    assert call_of([finding(rule.discard_at - 0.01, kind)], unfit=False, rules=RULES) == "look again"
    assert call_of([finding(rule.look_at, kind)], unfit=False, rules=RULES) == "look again"
    assert call_of([finding(rule.look_at - 0.01, kind)], unfit=False, rules=RULES) == "nothing seen"
    assert call_of([], unfit=True, rules=RULES) == "look again"


def test_a_practice_may_be_stricter(tmp_path):
    stricter = "[kinked]\ndiscard_at = 0.4\n[practice]\nsingle_use_up_to_size = 30\nlocal_rules = 'bin after one use'\n"
    rules = read_rules(written(tmp_path, stricter))
    quiet = replace(k_file(), condition=replace(condition("nothing seen"), findings=(finding(0.45),)))
    called = restated(quiet, rules, Stated()).condition

    assert rules.of("unwound") == RULES.of("unwound")
    assert called.call == "discard"
    assert restated(quiet, RULES, Stated()).condition.call == "nothing seen"
    assert any("sizes up to 30" in line and "size 25" in line for line in called.before)
    assert "local rule: bin after one use" in called.before


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[kinked]\ndiscard_at = 0.95\n", "looser than the tool: kinked.discard_at is 0.95, may be 0.8 at most"),
        ("[unwound]\nlook_at = 0.6\n", "looser than the tool: unwound.look_at is 0.6, may be 0.5 at most"),
        ("[rusty]\nlook_at = 0.1\n", "known are unwound"),
        ("[kinked]\nlook_at = 'often'\n", "needs a chance between 0 and 1, is 'often'"),
        ("[kinked]\nlook_at = true\n", "needs a chance between 0 and 1, is True"),
        ("[kinked]\nnever = 0.1\n", "may hold discard_at and look_at only"),
        ("[practice]\nsingle_use_up_to_size = 'all'\n", "needs an ISO size from 6 to 140, is 'all'"),
        ("[kinked\n", "is no TOML"),
    ],
)
def test_looser_or_garbled_rules_are_refused_in_words(tmp_path, text, said):
    with pytest.raises(UsageError, match=said):
        read_rules(written(tmp_path, text))


def test_a_missing_file_of_rules_is_refused_in_words(tmp_path):
    with pytest.raises(UsageError, match="cannot read"):
        read_rules(tmp_path / "none.toml")


def test_used_single_use_is_discarded_whatever_the_photo_shows():
    one = restated(replace(k_file(), condition=condition("nothing seen")), RULES, Stated("steel", "used")).condition

    assert one.call == "discard"
    assert "marked for single use" in one.reasons[0]


@pytest.mark.parametrize("single_use", ["used", "new", "no", "unknown"])
def test_nothing_that_is_stated_makes_a_call_weaker(single_use):
    odd = replace(k_file(), condition=replace(condition("look again"), findings=(), reasons=("blurred",)))

    assert restated(k_file(), RULES, Stated("steel", single_use)).condition.call == "discard"
    assert restated(odd, RULES, Stated("steel", single_use)).condition.call in ("look again", "discard")


def test_unknown_material_counts_as_nickel_titanium():
    for material in ("unknown", "nickel-titanium"):
        before = restated(k_file(), RULES, Stated(material)).condition.before
        assert any("can part without any visible sign" in line for line in before)
    assert not any("visible sign" in line for line in restated(k_file(), RULES, Stated("steel")).condition.before)
