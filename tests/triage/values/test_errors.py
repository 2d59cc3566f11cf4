"""What is told of a bad input: enough to fix it, and little more."""

from __future__ import annotations

from triage.values.errors import MOST_TOLD, InputError, Problem, told


def test_a_few_problems_are_told_as_they_are() -> None:
    problems = tuple(Problem(f"fault {number}", f"/{number}") for number in range(MOST_TOLD))
    assert told(problems) == problems
    assert InputError(problems).told == problems


def test_of_many_the_first_are_told_and_how_many_more_there_are() -> None:
    error = InputError(Problem(f"fault {number}") for number in range(10_000))
    assert len(error.problems) == 10_000
    assert error.told[:-1] == error.problems[:MOST_TOLD]
    assert str(error).endswith(f"fault {MOST_TOLD - 1}\nand 9,950 more; fix these first")


def test_long_messages_and_places_are_cut() -> None:
    (problem,) = told([Problem("x" * 10_000, "/" + "y" * 10_000, "z" * 10_000, 3)])
    assert len(str(problem)) < 1_300
    assert problem.message.endswith("x…")
    assert problem.line == 3
