"""Which of two rulebooks fits better, and when that cannot be told."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from triage.rulebook_care.release.scoring import (
    FEWEST,
    FLOOR,
    HIDDEN,
    Score,
    bootstrap_means,
    compare,
    log_loss,
    score,
    score_of_all,
)

SURE = Score(0.9, 0.02, 1)
UNSURE = Score(0.4, 0.52, 2)


def test_a_cause_that_was_not_named_has_chance_zero_and_no_place() -> None:
    assert score({"filter": 0.75, "other": 0.25}, "seal") == Score(0.0, 1.625, 0)


def test_places_count_from_the_likeliest() -> None:
    chances = {"a": 0.2, "b": 0.5, "c": 0.3}
    assert [score(chances, cause).place for cause in "bca"] == [1, 2, 3]


def test_one_surprise_costs_no_more_than_one_in_a_thousand() -> None:
    assert log_loss(np.array([0.0, 1.0])).tolist() == [-np.log(FLOOR), 0.0]


def test_a_candidate_that_is_surer_of_the_truth_is_better_in_every_measure_it_moves() -> None:
    # Ten tickets of each kind stay as they are, so that the interval has some width.
    before = [UNSURE] * 40 + [SURE] * 10
    after = [SURE] * 40 + [SURE] * 10
    verdicts = {one.measure: one.verdict for one in compare(before, after)}
    assert verdicts == {
        "log_loss": "better",
        "brier": "better",
        "true_cause_first": "better",
        "true_cause_in_first_three": "too thin to tell",  # it always was
    }
    assert {one.verdict for one in compare(after, before)} == {"worse", "too thin to tell"}


def test_with_few_tickets_nothing_is_said() -> None:
    few = FEWEST - 1
    assert {one.verdict for one in compare([UNSURE] * few, [SURE] * few)} == {"too thin to tell"}


def test_without_tickets_there_is_nothing_to_compare() -> None:
    assert compare([], []) == ()


def test_scores_of_different_tickets_are_not_compared() -> None:
    with pytest.raises(ValueError, match="same tickets"):
        compare([SURE], [])


def test_the_same_seed_gives_the_same_intervals() -> None:
    before, after = [UNSURE, SURE] * 20, [SURE] * 40
    assert compare(before, after) == compare(before, after)
    assert compare(before, after) != compare(before, after, seed=7)


def test_intervals_agree_with_scipys_percentile_bootstrap() -> None:
    random = np.random.default_rng(5)
    table = random.gamma(2.0, 1.0, size=(300, 2))
    low, high = bootstrap_means(table, resamples=8000)
    for column in range(2):
        theirs = stats.bootstrap(
            (table[:, column],), np.mean, n_resamples=8000, method="percentile", rng=random
        ).confidence_interval
        assert low[column] == pytest.approx(theirs.low, abs=0.01)
        assert high[column] == pytest.approx(theirs.high, abs=0.01)


def test_pairs_are_drawn_together() -> None:
    # The two columns differ by one on every row: however rows are drawn, so do the means.
    column = np.random.default_rng(1).normal(size=50)
    table = np.column_stack([column, column + 1.0, np.full(50, 1.0)])
    low, high = bootstrap_means(table)
    assert low[1] - low[0] == pytest.approx(1.0)
    assert (low[2], high[2]) == (pytest.approx(1.0), pytest.approx(1.0))


Book = tuple[dict[str, float], dict[str, float]]
"""(share by cause, chance by cause that its own check fixes it)."""

TRUE: Book = {"filter": 0.40, "fill": 0.25, "fault": 0.35}, {"filter": 0.75, "fill": 0.60}
FROM_CONFIRMED: Book = {"filter": 0.26, "fill": 0.18, "fault": 0.56}, {"filter": 0.24, "fill": 0.20}
"""What the confirmed causes alone say of the true one, where the store seldom names what it fixed."""


def _said(book: Book, fixed: str | None, failed: list[str], confirmed: str | None) -> Score:
    shares, fixes = book
    after = {
        cause: share * (1 - fixes.get(cause, 0.0) if cause in failed else 1.0)
        for cause, share in shares.items()
    }
    unfixed = sum(after.values())
    chances = {cause: each / unfixed for cause, each in after.items()}
    cures = None if fixed is None else {fixed: fixes[fixed]}
    return score_of_all(chances, unfixed, cures, confirmed)


def _both(book: Book, other: Book, tickets: int, seed: int) -> tuple[list[Score], list[Score]]:
    """The scores of two rulebooks on tickets of the true world; checks are done until one fixes it."""
    random = np.random.default_rng(seed)
    shares, fixes = TRUE
    found: tuple[list[Score], list[Score]] = [], []
    for cause in map(str, random.choice(list(shares), size=tickets, p=list(shares.values()))):
        failed: list[str] = []
        fixed = None
        for check in fixes:
            if check == cause and random.random() < fixes[check]:
                fixed = check
                break
            failed.append(check)
        confirmed = cause if random.random() < (0.05 if fixed else 0.9) else None
        for scores, each in zip(found, (book, other), strict=True):
            scores.append(_said(each, fixed, failed, confirmed))
    return found


def test_a_rulebook_learned_from_confirmed_causes_alone_is_seen_to_be_worse() -> None:
    verdicts = {one.measure: one.verdict for one in compare(*_both(TRUE, FROM_CONFIRMED, 2000, seed=14))}
    assert verdicts["log_loss"] == "worse"
    assert "better" not in verdicts.values()
    back = {one.measure: one.verdict for one in compare(*_both(FROM_CONFIRMED, TRUE, 2000, seed=14))}
    assert back["log_loss"] == "better"


def test_no_measure_of_the_confirmed_calls_a_rulebook_better_that_is_worse_on_all() -> None:
    sure = [Score(0.9, 0.02, 1, likelihood=0.5)] * 40
    unsure = [Score(0.4, 0.52, 2, likelihood=0.4)] * 40
    hidden_well = [Score(0.0, 0.0, HIDDEN, likelihood=0.6)] * 200
    hidden_badly = [Score(0.0, 0.0, HIDDEN, likelihood=0.2)] * 200
    found = {one.measure: one for one in compare([*unsure, *hidden_well], [*sure, *hidden_badly])}
    assert found["log_loss"].verdict == "worse"
    assert found["brier"].difference.value < 0
    assert found["brier"].verdict == "too thin to tell"


def test_the_likelihood_of_a_ticket_is_that_of_all_its_checks_and_its_cause() -> None:
    found = score_of_all({"filter": 0.6, "other": 0.4}, 0.5, {"filter": 0.8, "other": 0.1}, None)
    assert (found.place, found.likelihood) == (HIDDEN, pytest.approx(0.5 * (0.6 * 0.8 + 0.4 * 0.1)))
    told = score_of_all({"filter": 0.6, "other": 0.4}, 0.5, {"filter": 0.8, "other": 0.1}, "filter")
    assert (told.place, told.likelihood) == (1, pytest.approx(0.5 * 0.6 * 0.8))
