from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.triage import hostile_rulebooks as hostile
from tests.triage.builders import head, minimal_files
from triage.logic.engine_checked import engine_note
from triage.rulebook_care.editing.sandbox import try_in_child, try_rulebook_folder
from triage.values.errors import InputError

durable_serves = engine_note() is None


def attempt(trial: Callable[[], None], seconds: float = 60, memory_mb: int = 2048) -> str:
    """What the rejection says; empty when the candidate may serve."""
    try:
        try_in_child(trial, (), seconds, memory_mb)
    except InputError as error:
        return "\n".join(map(str, error.problems))
    return ""


@pytest.mark.parametrize(
    "trial",
    [
        hostile.five_thousand_rules,
        hostile.one_condition_five_hundred_times,
        hostile.ten_thousand_values_of_one_fact,
        hostile.ten_thousand_values_in_one_rule,
    ],
)
def test_many_rules_and_many_values_are_taken_within_the_limits(trial: Callable[[], None]) -> None:
    assert attempt(trial) == ""


@pytest.mark.skipif(not durable_serves, reason="the plain engine takes rules of any width")
@pytest.mark.parametrize(
    ("trial", "says"),
    [
        (hostile.ten_thousand_gaps_in_one_rule, 'rule "wide" has more than 100 alternatives'),
        (hostile.six_hundred_branches, 'rule "wide" has more than 100 alternatives'),
        (hostile.alternatives_that_multiply, 'rule "product" has more than 100 alternatives'),
        (hostile.six_hundred_facts_at_once, 'rule "wide" looks at more than 57 facts'),
    ],
)
def test_a_rule_too_wide_for_the_engine_is_rejected_by_name(trial: Callable[[], None], says: str) -> None:
    assert says in attempt(trial)


def test_deep_nesting_is_rejected_by_name() -> None:
    assert 'rule "deep" is nested more than 32 levels deep' in attempt(hostile.deep_nesting)


def test_a_hang_is_rejected_when_its_time_is_over() -> None:
    assert attempt(hostile.an_endless_loop, seconds=1) == "trying the rulebook took more than 1 seconds"


def test_a_crash_is_rejected_and_the_parent_lives_on() -> None:
    assert attempt(hostile.a_crash).startswith(
        "the process trying the rulebook ended by itself (exit -11: segmentation fault"
    )


def test_too_much_memory_is_rejected() -> None:
    message = attempt(hostile.all_memory, memory_mb=1024)
    assert message == "trying the rulebook took more than 1024 MB of memory"


def folder_of(tmp_path: Path, **files: object) -> Path:
    for name, data in minimal_files({f"derive/{id_}.yml": data for id_, data in files.items()}).items():
        file = tmp_path / name
        file.parent.mkdir(exist_ok=True)
        file.write_text(json.dumps(data))  # JSON is YAML
    return tmp_path


def test_a_good_rulebook_folder_may_serve(tmp_path: Path) -> None:
    try_rulebook_folder(folder_of(tmp_path))


def test_a_folder_that_cannot_be_read_is_rejected_with_file_and_line(tmp_path: Path) -> None:
    folder = folder_of(tmp_path)
    (folder / "derive" / "broken.yml").write_text("id: broken\nwhen: [\n")
    with pytest.raises(InputError) as caught:
        try_rulebook_folder(folder)
    assert any(problem.file == "derive/broken.yml" and problem.line for problem in caught.value.problems)


def test_a_folder_with_a_circle_is_rejected_with_the_facts_named(tmp_path: Path) -> None:
    circle = head("again", {"unknown": ["seal_style"]}, {}, {"seal_style": "flat"})
    folder = folder_of(tmp_path, again=circle | {"then": {"set": {"seal_style": "flat"}}})
    with pytest.raises(InputError, match="in a circle: seal_style") as caught:
        try_rulebook_folder(folder)
    assert caught.value.problems[0].file == "derive/again.yml"


def test_a_folder_that_is_not_there_is_rejected(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nowhere"):
        try_rulebook_folder(tmp_path / "nowhere")
