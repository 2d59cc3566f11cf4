"""Every way of weakening the default rulebook is found, and nothing that is no weakening."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.rulebook_care.safety.default_files import (
    CRACKED,
    SHOCK,
    WEAKER,
    Edit,
    Files,
    check_with_cautions,
    default_files,
    default_rulebook,
    drop_check_caution,
    put_first,
    with_value,
    without_key,
)
from tests.triage.small_rulebooks import flag_is, rule_head, small_rulebook
from triage.logic.conditions import AllOf, AnyOf, Condition, evaluate, facts_in
from triage.rulebook.model import Caution, Fact, Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.reasoning.formulas import TooHard
from triage.rulebook_care.safety.narrowing import UNPROVED, Narrowing
from triage.rulebook_care.safety.weakening import weakened


@pytest.mark.parametrize("way", WEAKER)
def test_a_weaker_rulebook_is_told_by_file_and_in_words(way: str) -> None:
    edit, file, words = WEAKER[way]
    losses = weakened(default_rulebook(), rulebook_from_data(default_files(edit)))
    assert {loss.edit for loss in losses} == {file}
    assert any(words in loss.what for loss in losses), losses
    assert len({loss.id for loss in losses}) == len(losses)


def test_what_a_caution_no_longer_says_is_a_loss() -> None:
    (loss,) = weakened(default_rulebook(), rulebook_from_data(default_files(told_to_wipe)))
    assert "no longer says “" in loss.what


def test_a_caution_in_a_second_language_is_no_loss_but_the_way_back_is() -> None:
    alone = rulebook_from_data(default_files(without_key(SHOCK, "then", "text_es")))
    assert weakened(alone, default_rulebook()) == ()
    lost = weakened(default_rulebook(), alone)
    assert lost and all("no longer says “" in loss.what and "“”" not in loss.what for loss in lost)


def test_both_shock_cautions_without_stop_and_forbids_lose_four_things() -> None:
    edits = [
        without_key(f"cautions/{name}.yml", "then", key)
        for name in ("shock-felt", "tingling-reported")
        for key in ("stop_use", "forbids")
    ]
    losses = weakened(default_rulebook(), rulebook_from_data(default_files(*edits)))
    assert len(losses) == 4


def test_a_caution_taken_off_a_check_and_a_check_no_longer_first_are_told() -> None:
    files = default_files()
    found = weakened(default_rulebook(), rulebook_from_data(default_files(drop_check_caution)))
    assert [loss.edit for loss in found] == [check_with_cautions(files)]
    assert "no longer comes with the caution" in found[0].what
    strong = rulebook_from_data(default_files(put_first))
    [loss] = weakened(strong, default_rulebook())
    assert loss.edit == CRACKED
    assert "no longer puts the check" in loss.what


def renamed(old: str, new: str, **changed: object) -> Edit:
    """Takes a check out and writes it anew under another id."""

    def edit(files: Files) -> None:
        check = files.pop(f"checks/{old}.yml")
        del check["steps_es"]
        files[f"checks/{new}.yml"] = {**check, "id": new, "title": "Something new", **changed}
        for path, data in files.items():
            if path.startswith("cautions/") and isinstance(data["then"].get("forbids"), list):
                data["then"]["forbids"] = [each for each in data["then"]["forbids"] if each != old]
        groups = files["rulebook.yml"]["together"]
        files["rulebook.yml"]["together"] = [[each for each in group if each != old] for group in groups]

    return edit


SCRUB = renamed("wipe-probe", "scrub", cautions=[])
WIPED_SO = ["Switch off.", "Wipe both pins in the hopper with a clean, damp cloth."]
REWORDED = renamed("wipe-probe", "scrub", cautions=[], steps=WIPED_SO)
LIFT = renamed("level-machine", "shift")
RESET = with_value({"symptom": '"trips_breaker","no_power"'}, "checks/reset-breaker.yml", "when")


@pytest.mark.parametrize(
    ("edit", "file", "words"),
    [
        (SCRUB, "checks/scrub.yml", "and comes without the caution unplug-first"),
        (REWORDED, "checks/scrub.yml", "asks for “Wipe both pins"),
        (LIFT, "checks/shift.yml", "and is not forbidden by the caution lifting-alone"),
        (RESET, "checks/reset-breaker.yml", "is offered where a danger kept it away: it is so now for"),
    ],
)
def test_a_check_written_anew_or_offered_more_widely_is_told(edit: Edit, file: str, words: str) -> None:
    losses = weakened(default_rulebook(), rulebook_from_data(default_files(edit)))
    assert any(loss.edit == file and words in loss.what for loss in losses), losses


def test_a_caution_that_forbids_by_name_does_not_let_a_check_in_by_a_wider_condition() -> None:
    def by_name(files: Files) -> None:
        files[CRACKED]["then"] |= {"stop_use": False}

    def wider_too(files: Files) -> None:
        by_name(files)
        files["checks/wipe-sweat.yml"]["when"] = {"symptom": '"leaking","leaking_behind_hopper","watery"'}

    before = rulebook_from_data(default_files(by_name))
    losses = weakened(before, rulebook_from_data(default_files(wider_too)))
    assert [loss.edit for loss in losses] == ["checks/wipe-sweat.yml"]
    assert "is offered under the caution “Barrel or hopper is cracked”" in losses[0].what


def new_check(files: Files) -> None:
    """It shares only the steps that stand in most checks."""
    cautions = files["checks/wipe-probe.yml"]["cautions"]
    files["checks/dust-lid.yml"] = {
        **files["checks/wipe-probe.yml"],
        "id": "dust-lid",
        "cautions": [],
        "steps": ["Switch both sides off.", "Dust the lid."],
        "steps_es": None,
    }
    assert cautions


def test_a_new_check_is_one_loss_however_many_checks_share_its_step() -> None:
    def emptied(files: Files) -> None:
        new_check(files)
        files["checks/dust-lid.yml"]["steps"] = ["Empty that side to below the tap.", "Dust the lid."]

    [loss] = weakened(default_rulebook(), rulebook_from_data(default_files(emptied)))
    assert loss.what.count("asks for “Empty that side to below the tap.”") == 2


def told_to_wipe(files: Files) -> None:
    text = files[SHOCK]["then"]["text"]
    files[SHOCK]["then"]["text"] = text.replace(
        text.split(". ")[0], "Wipe it with a cloth and go on using it"
    )


def reworded(files: Files) -> None:
    files[SHOCK]["title"] = "Somebody was given a shock"
    files[SHOCK]["then"]["text"] = "Stop using it at once. " + files[SHOCK]["then"]["text"]


def more_words(files: Files) -> None:
    files["words/shock.yml"]["en"] = ["zinger", *files["words/shock.yml"]["en"]]


def wider_phrase(files: Files) -> None:
    listed = files["words/shock.yml"]["en"]
    files["words/shock.yml"]["en"] = [f"{listed[0]}|zinger", *listed[1:]]


def wider(files: Files) -> None:
    files[SHOCK]["when"] = {"any_of": [files[SHOCK]["when"], {"sparks_seen": True}]}


@pytest.mark.parametrize(
    "edit",
    [
        reworded,
        more_words,
        wider_phrase,
        wider,
        put_first,
        with_value("all", CRACKED, "then", "forbids"),
        with_value(1, CRACKED, "then", "visit_priority"),
        with_value("electrical", CRACKED, "then", "visit_skill"),
        with_value(True, "facts/lid_on.yml", "danger"),
        with_value({"symptom": '"watery","noisy"'}, "checks/rinse-filter.yml", "when"),
        new_check,
    ],
)
def test_stronger_and_reworded_is_no_loss(edit: Edit) -> None:
    assert weakened(default_rulebook(), rulebook_from_data(default_files(edit))) == ()


def test_a_derive_rule_behind_a_caution_counts_as_the_caution_itself() -> None:
    def derived(files: Files) -> None:
        rule = {key: files[SHOCK][key] for key in ("title", "status", "owner", "why", "source")}
        rule |= {"id": "wet-floor", "when": {"liquid_at_plug": True}, "then": {"set": {"plug_hot": True}}}
        cases = [{"facts": {"liquid_at_plug": wet}, "fires": wet} for wet in (True, False)]
        files["derive/wet-floor.yml"] = {**rule, "known_misfires": "None is known.", "cases": cases}

    before = rulebook_from_data(default_files(derived))
    narrow = with_value({"liquid_at_plug": True, "display_lit": True}, "derive/wet-floor.yml", "when")
    for edit, said in (
        (narrow, "is narrowed"),
        (with_value("retired", "derive/wet-floor.yml", "status"), "no longer live"),
        (with_value({"set": {"plug_hot": False}}, "derive/wet-floor.yml", "then"), "no longer concludes"),
    ):
        losses = weakened(before, rulebook_from_data(default_files(derived, edit)))
        assert {loss.edit for loss in losses} == {"derive/wet-floor.yml"}
        assert any(said in loss.what for loss in losses)


FLAGS = [f"f{number}" for number in range(4)]
SMALL = small_rulebook(
    {"leaking": {"seal": 1}},
    facts=[Fact(name, name, "flag", "clerk") for name in FLAGS],
    checks=[],
)


def with_caution(when: Condition) -> Rulebook:
    return replace(SMALL, cautions={"c": Caution(rule_head("c", when), "Stop.", stop_use=True)})


flag_conditions = st.recursive(
    st.builds(flag_is, st.sampled_from(FLAGS), st.booleans()),
    lambda inner: st.lists(inner, min_size=1, max_size=3).flatmap(
        lambda parts: st.sampled_from([AllOf(tuple(parts)), AnyOf(tuple(parts))])
    ),
    max_leaves=6,
)


@given(old=flag_conditions, new=flag_conditions)
@settings(max_examples=300, deadline=None)
def test_a_condition_is_narrowed_where_some_report_is_left_out(old: Condition, new: Condition) -> None:
    def left_out() -> bool:
        for number in range(3 ** len(FLAGS)):
            values = [(None, False, True)[number // 3**place % 3] for place in range(len(FLAGS))]
            facts = {fact: value for fact, value in zip(FLAGS, values, strict=True) if value is not None}
            if evaluate(old, facts) is True and evaluate(new, facts) is not True:
                return True
        return False

    found = weakened(with_caution(old), with_caution(new))
    assert bool(found) is left_out()


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_any_random_weakening_of_any_caution_is_found(data: st.DataObject) -> None:
    before = default_rulebook()
    live = [each for each in before.cautions.values() if each.head.status == "live"]
    old = data.draw(st.sampled_from(live))
    looked_at = facts_in(old.head.when)
    flags = {fact.id for fact in before.facts.values() if fact.type == "flag"}
    free = sorted(flags - looked_at)
    extra = flag_is(data.draw(st.sampled_from(free)), data.draw(st.booleans()))
    ways: list[Caution | None] = [
        None,
        replace(old, head=replace(old.head, status="retired")),
        replace(old, head=replace(old.head, status="draft")),
        replace(old, head=replace(old.head, when=AllOf((old.head.when, extra)))),
    ]
    if old.stop_use:
        ways.append(replace(old, stop_use=False))
    if old.forbids_all_checks:
        ways.append(replace(old, forbids_all_checks=False, forbids=frozenset(before.checks)))
    if old.forbids:
        ways.append(replace(old, forbids=old.forbids - {data.draw(st.sampled_from(sorted(old.forbids)))}))
    if not old.only_with_checks:
        ways.append(replace(old, only_with_checks=True))
    new = data.draw(st.sampled_from(ways))
    cautions = {id_: each for id_, each in before.cautions.items() if id_ != old.head.id}
    after = replace(before, cautions=cautions if new is None else {**cautions, old.head.id: new})
    assert {loss.edit for loss in weakened(before, after)} == {old.head.file}


def test_what_cannot_be_proved_counts_as_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    narrowing = Narrowing(with_caution(flag_is("f0")), with_caution(flag_is("f1")))

    def too_hard(formulas: object) -> None:
        raise TooHard

    monkeypatch.setattr(narrowing._reason, "together", too_hard)
    assert narrowing.lost(flag_is("f0"), flag_is("f1")) == UNPROVED
    assert narrowing.lost(flag_is("f0"), flag_is("f0")) is None
