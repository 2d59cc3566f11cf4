"""One fact counted twice, bands of a group, pairs that say nothing, causes no evidence touches."""

from __future__ import annotations

from tests.triage.builders import cause, fact, head, minimal_files
from tests.triage.rulebook_care.lint.linted import evidence_file, findings


def test_the_base_of_these_tests_has_no_findings():
    assert findings() == {}


def test_two_rules_that_look_at_one_fact_count_it_twice():
    found = findings({"evidence/full.yml": evidence_file("full", {"fill_level": "> 90"}, low_fill=0.05)})
    (twice,) = found["counted-twice"]
    assert twice.severity == "error"
    assert "fill_level" in twice.message
    assert {"full", "fill-low"} <= set(twice.message.replace("(", " ").split())


def test_bands_of_one_group_do_not_count_twice():
    full = evidence_file("full", {"fill_level": "> 90"}, 0.1, low_fill=0.01, group="fill", band=3)
    assert findings({"evidence/full.yml": full}) == {}


def test_a_fact_is_not_counted_twice_by_rules_of_which_only_one_can_hang_on_it():
    rules = {
        "evidence/hums.yml": evidence_file("hums", {"hums": True, "symptom": '"leaking"'}, seal_wrong=0.4),
        "evidence/cold.yml": evidence_file(
            "cold", {"hums": True, "none_of": [{"symptom": '"leaking"'}]}, compressor_fault=0.4
        ),
    }
    assert "counted-twice" not in findings(rules)


def test_with_two_symptoms_at_once_both_may_hang_on_it():
    rules = {
        "evidence/hums.yml": evidence_file("hums", {"hums": True, "symptom": '"leaking"'}, seal_wrong=0.4),
        "evidence/cold.yml": evidence_file(
            "cold", {"hums": True, "symptom": '"not_freezing"'}, compressor_fault=0.4
        ),
    }
    (twice,) = findings(rules)["counted-twice"]
    assert "symptom = leaking" in twice.message


def test_the_symptom_itself_is_never_counted_twice():
    rules = {
        f"evidence/{name}.yml": evidence_file(
            name, {"symptom": '"leaking"', fact_id: True}, compressor_fault=0.4
        )
        for name, fact_id in (("hums", "hums"), ("warm", "warm"))
    }
    assert findings({"facts/warm.yml": fact("warm", "flag"), **rules}) == {}


def test_a_fact_behind_two_derived_ones_is_told_as_a_warning():
    also = head("clean", {"filter_days": "< 5"}, {}, {}, then={"set": {"just_cleaned": True}})
    seen = evidence_file("clean-seen", {"just_cleaned": True}, low_fill=0.5)
    found = findings(
        {
            "facts/just_cleaned.yml": fact("just_cleaned", "flag", asked_of="computed"),
            "derive/clean.yml": also,
            "evidence/clean-seen.yml": seen,
        }
    )
    (twice,) = found["counted-twice-derived"]
    assert twice.severity == "warning"
    assert "filter_days" in twice.message


def _two_alike(**more: str) -> dict[str, object]:
    known = {name: fact(name, "flag") for name in ("drips", "puddle")}
    seen = {
        name: evidence_file(f"{name}-seen", {name: True}, 0.1, low_fill=0.5, seal_wrong=0.4) | more
        for name in known
    }
    return {
        **{f"facts/{name}.yml": each for name, each in known.items()},
        **{f"evidence/{name}-seen.yml": each for name, each in seen.items()},
    }


def test_observations_that_speak_for_the_same_causes_are_told_until_they_share_a_mechanism():
    (alike,) = findings(_two_alike())["likely-together"]
    assert (alike.rule, alike.severity) == ("puddle-seen", "warning")
    assert "drips-seen speak for nearly the same causes (low_fill, seal_wrong" in alike.message
    assert "likely-together" not in findings(_two_alike(mechanism="moisture"))


def test_a_shared_mechanism_answers_a_fact_behind_two_derived_ones():
    assert "counted-twice-derived" in findings(_behind_two())
    assert "counted-twice-derived" not in findings(_behind_two(mechanism="neglect"))


def _behind_two(**more: str) -> dict[str, object]:
    also = head("clean", {"filter_days": "< 5"}, {}, {}, then={"set": {"just_cleaned": True}})
    overdue = minimal_files()["evidence/filter-overdue.yml"]
    assert isinstance(overdue, dict)
    return {
        "facts/just_cleaned.yml": fact("just_cleaned", "flag", asked_of="computed"),
        "derive/clean.yml": also,
        "evidence/clean-seen.yml": evidence_file("clean-seen", {"just_cleaned": True}, low_fill=0.5) | more,
        "evidence/filter-overdue.yml": overdue | more,
    }


def test_bands_that_hold_at_once_are_told_with_an_example():
    half = evidence_file("fill-half", {"fill_level": "[15..50)"}, 0.3, low_fill=0.1, group="fill", band=2)
    (overlap,) = findings({"evidence/fill-half.yml": half})["band-overlap"]
    assert overlap.rule == "fill-half"
    assert "fill_level = 15" in overlap.message


def test_a_band_that_earlier_ones_take_whole_is_never_reached():
    less = evidence_file("fill-half", {"fill_level": "< 10"}, 0.3, low_fill=0.1, group="fill", band=2)
    (never,) = findings({"evidence/fill-half.yml": less})["band-never-reached"]
    assert (never.rule, never.severity) == ("fill-half", "error")


def test_a_second_stretch_left_to_none_of_the_bands_is_a_gap():
    half = evidence_file("fill-half", {"fill_level": "(25..50)"}, 0.3, low_fill=0.1, group="fill", band=2)
    (gap,) = findings({"evidence/fill-half.yml": half})["band-gap"]
    assert "fill_level = 20" in gap.message


def test_one_stretch_left_to_none_of_the_bands_is_the_ordinary_case():
    full = evidence_file("fill-half", {"fill_level": "> 90"}, 0.3, low_fill=0.1, group="fill", band=2)
    assert "band-gap" not in findings({"evidence/fill-half.yml": full})


def test_a_pair_that_hardly_differs_says_next_to_nothing():
    hums = evidence_file("hums", {"hums": True}, 0.30, compressor_fault=0.6, low_fill=0.31)
    (little,) = findings({"evidence/hums.yml": hums})["little-information"]
    assert "of 100 calls with low_fill, hums is seen in 31, with any other cause in 30" in little.message
    assert little.path == ("then", "seen_with", "low_fill")


def test_a_rare_sign_says_something_though_its_absence_does_not():
    hums = evidence_file("hums", {"hums": True}, 0.01, compressor_fault=0.6, low_fill=0.02)
    assert findings({"evidence/hums.yml": hums}) == {}


def test_a_band_like_any_other_cause_is_fine_where_another_band_differs():
    half = evidence_file("fill-half", {"fill_level": "[20..50)"}, 0.1, low_fill=0.1, group="fill", band=2)
    assert findings({"evidence/fill-half.yml": half}) == {}


def test_a_cause_that_no_evidence_and_no_symptom_names_is_told():
    found = findings({"causes/ghost.yml": cause("ghost")})
    assert [each.rule for each in found["untouched-cause"]] == ["ghost"]
    assert [each.rule for each in found["cause-without-share"]] == ["ghost"]
