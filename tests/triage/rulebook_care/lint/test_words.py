"""Lists of callers' words that leave something out."""

from __future__ import annotations

from tests.triage.builders import fact
from tests.triage.inputs.test_heard import words_file
from tests.triage.rulebook_care.lint.linted import evidence_file, findings

SEEN = {
    "facts/smoke_seen.yml": fact("smoke_seen", "flag") | {"danger": True},
    "evidence/smoke.yml": evidence_file("smoke", {"smoke_seen": True}, compressor_fault=0.6),
}


def test_a_list_in_both_languages_without_double_phrases_is_clean():
    assert findings({**SEEN, "words/smoke.yml": words_file()}) == {}


def test_a_danger_that_no_list_raises_is_a_note():
    (found,) = findings(SEEN)["danger-without-words"]
    assert (found.rule, found.file, found.severity) == ("smoke_seen", "facts/smoke_seen.yml", "note")


def test_a_list_in_one_language_is_a_note():
    (found,) = findings({**SEEN, "words/smoke.yml": words_file(es=[])})["words-one-language"]
    assert (found.rule, found.message) == ("smoke", "smoke has no phrases in Spanish")


def test_two_phrases_that_hear_the_same_are_a_note():
    twice = words_file(en=["smoke plug", "fire", "plugs smoking", "fire"])
    found = findings({**SEEN, "words/smoke.yml": twice})["words-twice"]
    assert [each.path for each in found] == [("en", 2), ("en", 3)]
    assert found[0].message == '"plugs smoking" hears the same as "smoke plug"'
