from __future__ import annotations

from triage.values.shown import hint, nearest

FACTS = ["filter_days", "fill_level", "seal_style"]


def test_the_nearest_word_is_named() -> None:
    assert nearest("filter_dyas", FACTS) == "filter_days"
    assert hint("seal_stile", FACTS) == '; did you mean "seal_style"?'


def test_a_word_like_none_of_them_gets_the_other_hint() -> None:
    assert nearest("xyzzy", FACTS) is None
    assert hint("xyzzy", FACTS, "; define it") == "; define it"
    assert hint("anything", [], "; define it") == "; define it"
