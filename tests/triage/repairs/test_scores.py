"""How well chances fit, and what each rule did: against scikit-learn, and against ranking anew."""

from __future__ import annotations

from dataclasses import asdict
from math import log
from typing import Any

import pytest
from sklearn.metrics import brier_score_loss, log_loss

from tests.triage.services import rulebook_files
from triage.decide.causes.ranking import rank
from triage.repairs.scores import FLOOR, decision_score
from triage.rulebook.reading.reader import rulebook_from_data

RULEBOOK = rulebook_from_data(rulebook_files())
RULES = {rule: index % 2 == 0 for index, rule in enumerate(sorted(RULEBOOK.evidence))}


def decision(truths: dict[str, bool]) -> dict[str, Any]:
    causes = rank(RULEBOOK, ["not_freezing"], truths, ["rinse-filter"])
    return {
        "causes": [{**asdict(one), "factors": [factor._asdict() for factor in one.factors]} for one in causes]
    }


def test_the_scores_are_those_of_scikit_learn() -> None:
    causes = decision(RULES)["causes"]
    names, chances = [one["cause"] for one in causes], [one["chance"] for one in causes]
    for truth in names:
        found = decision_score({"causes": causes}, truth)
        assert found is not None
        if chances[names.index(truth)] > FLOOR:
            labels = sorted(names)
            ordered = [chances[names.index(name)] for name in labels]
            assert found.log_loss == pytest.approx(log_loss([truth], [ordered], labels=labels))
        by_cause = (
            brier_score_loss([name == truth], [chance], pos_label=True, labels=[False, True])
            for name, chance in zip(names, chances, strict=True)
        )
        assert found.brier == pytest.approx(sum(by_cause))


def test_a_rule_left_out_is_the_ranking_without_it() -> None:
    whole = decision(RULES)
    found = decision_score(whole, "dirty_filter")
    assert found is not None
    single = [rule for rule in RULES if RULEBOOK.evidence[rule].group is None]
    assert single
    for rule in single:
        rest = decision({name: truth for name, truth in RULES.items() if name != rule})
        without = next(one["chance"] for one in rest["causes"] if one["cause"] == "dirty_filter")
        change = -log(max(without, FLOOR)) - found.log_loss
        assert found.rules[rule] == pytest.approx(change, abs=1e-4)


def test_a_cause_that_was_not_named_had_no_chance() -> None:
    found = decision_score(decision(RULES), "gone")
    assert found is not None
    assert found.log_loss == pytest.approx(-log(FLOOR))
    assert found.brier > 1
    assert set(found.rules.values()) == {0}
    assert decision_score({"causes": []}, "gone") is None
