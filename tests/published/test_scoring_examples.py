"""Log loss and Brier score: two documented examples, and three classes computed twice.

Source: scikit-learn developers; documentation of `brier_score_loss` and `log_loss`, examples; version and
    year unknown; method: Glenn W. Brier, "Verification of forecasts expressed in terms of
    probability", Monthly Weather Review 78 (1950)
Status: from memory (the examples' inputs); the values are computed with scikit-learn
"""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import brier_score_loss
from sklearn.metrics import log_loss as sklearn_log_loss

from triage.rulebook_care.release.scoring import Score, log_loss, score


def _scores(rows: list[dict[str, float]], truth: list[str]) -> list[Score]:
    return [score(row, true) for row, true in zip(rows, truth, strict=True)]


def _mean_loss(scores: list[Score]) -> float:
    return float(np.mean(log_loss(np.array([one.chance for one in scores]), floor=0.0)))


def test_the_binary_brier_score_is_half_of_the_sum_over_both_classes() -> None:
    truth, chances = [0, 1, 1, 0], [0.1, 0.9, 0.8, 0.3]
    rows = [{"1": p, "0": 1 - p} for p in chances]
    mean = np.mean([one.brier for one in _scores(rows, [str(y) for y in truth])])
    assert mean / 2 == pytest.approx(0.0375, abs=1e-12)
    assert mean / 2 == pytest.approx(brier_score_loss(truth, chances), abs=1e-12)


def test_the_log_loss_of_four_messages_is_the_documented_one() -> None:
    truth = ["spam", "ham", "ham", "spam"]
    table = [(0.1, 0.9), (0.9, 0.1), (0.8, 0.2), (0.35, 0.65)]
    scores = _scores([{"ham": ham, "spam": spam} for ham, spam in table], truth)
    assert _mean_loss(scores) == pytest.approx(0.2161618747, abs=1e-10)
    assert _mean_loss(scores) == pytest.approx(sklearn_log_loss(truth, table), abs=1e-12)


def test_three_classes_come_out_as_computed_by_hand() -> None:
    table, truth = [(0.7, 0.2, 0.1), (0.1, 0.6, 0.3), (0.2, 0.3, 0.5)], ["0", "1", "1"]
    scores = _scores([dict(zip("012", row, strict=True)) for row in table], truth)
    assert [one.brier for one in scores] == pytest.approx([0.14, 0.26, 0.78])
    assert np.mean([one.brier for one in scores]) == pytest.approx(0.3933333333, abs=1e-10)
    assert _mean_loss(scores) == pytest.approx(0.6904911241, abs=1e-10)
