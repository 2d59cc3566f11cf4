"""Every cause's chance is the exact posterior, and the factors shown multiply to it.

Source: exact inference by variable elimination on the same star-shaped network, 250 random rulebooks
Status: computed with pgmpy
"""

from __future__ import annotations

import math
import random
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.small_rulebooks import check_of, evidence_rule, small_rulebook
from triage.decide.causes.ranking import rank
from triage.logic.conditions import Truth
from triage.records.decision import CauseChance
from triage.rulebook.model import EvidenceRule, Rulebook
from triage.values.errors import InputError

with warnings.catch_warnings():
    # The library imports its own deprecated module when it is loaded.
    warnings.filterwarnings("ignore", r"`pgmpy\.", FutureWarning)
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork


def _random_rulebook(rng: random.Random) -> Rulebook:
    causes = [f"c{index}" for index in range(rng.randint(2, 6))]
    symptoms = {
        f"s{index}": {
            cause: rng.randint(1, 40) for cause in [*rng.sample(causes, rng.randint(1, len(causes))), "other"]
        }
        for index in range(rng.randint(1, 3))
    }
    evidence: list[EvidenceRule] = []
    for index in range(rng.randint(0, 4)):
        seen = {cause: round(rng.uniform(0.01, 0.99), 3) for cause in rng.sample(causes, rng.randint(1, 2))}
        evidence.append(evidence_rule(f"e{index}", round(rng.uniform(0.01, 0.99), 3), **seen))
    for index in range(rng.randint(0, 2)):
        bands = rng.randint(2, 4)
        seen = {
            cause: [round(rng.uniform(0.01, 0.95 / bands), 4) for _ in range(bands)] for cause in causes[:2]
        }
        order = rng.sample(range(bands), bands)  # the files' order is not the bands' order
        for band in order:
            others = round(rng.uniform(0.01, 0.95 / bands), 4)
            given_cause = {cause: values[band] for cause, values in seen.items()}
            evidence.append(evidence_rule(f"g{index}-{band}", others, f"g{index}", band, **given_cause))
    checks = [
        check_of(
            f"k{index}", 1, {cause: round(rng.uniform(0.05, 0.99), 3) for cause in rng.sample(causes, 1)}
        )
        for index in range(rng.randint(0, 3))
    ]
    return small_rulebook(symptoms, evidence, checks)


def _star_posterior(
    rulebook: Rulebook, symptom: str, truths: dict[str, Truth], not_cured: list[str]
) -> dict[str, float]:
    """The same network, built from the rules themselves and solved by the library."""
    causes = sorted(rulebook.causes)
    shares = rulebook.symptoms[symptom].shares
    prior = np.array([float(shares.get(cause, 0) / sum(shares.values())) for cause in causes])
    network = DiscreteBayesianNetwork()
    network.add_node("cause")
    network.add_cpds(TabularCPD("cause", len(causes), prior.reshape(-1, 1)))
    seen: dict[str, int] = {}

    def observe(name: str, states: list[list[float]], state: int | None) -> None:
        network.add_edge("cause", name)
        network.add_cpds(
            TabularCPD(name, len(states), states, evidence=["cause"], evidence_card=[len(causes)])
        )
        if state is not None:
            seen[name] = state

    groups: dict[str, list[EvidenceRule]] = {}
    for rule in rulebook.evidence.values():
        groups.setdefault(rule.group or rule.head.id, []).append(rule)
    for name, rules in groups.items():
        rules = sorted(rules, key=lambda rule: rule.band)
        states = [[rule.seen_with.get(cause, rule.others) for cause in causes] for rule in rules]
        states.append([1 - sum(column) for column in zip(*states, strict=True)])
        state: int | None = len(rules)
        for index, rule in enumerate(rules):
            if truths[rule.head.id] is not False:
                state = index if truths[rule.head.id] else None
                break
        observe(name, states, state)
    for check in rulebook.checks.values():
        cured = [check.resolves.get(cause, 0.0) for cause in causes]
        states = [[1 - chance for chance in cured], cured]
        observe(f"check {check.id}", states, 0 if check.id in not_cured else None)
    answer = VariableElimination(network).query(["cause"], evidence=seen, show_progress=False)
    return dict(zip(causes, answer.values.tolist(), strict=True))


def _by_cause(ranked: tuple[CauseChance, ...]) -> dict[str, float]:
    return {each.cause: each.chance for each in ranked}


def test_chances_agree_with_exact_inference_on_250_random_rulebooks() -> None:
    rng = random.Random(1988)
    compared = 0
    for _ in range(250):
        rulebook = _random_rulebook(rng)
        symptom = rng.choice(sorted(rulebook.symptoms))
        truths: dict[str, Truth] = {
            rule: rng.choice([True, False, False, None]) for rule in rulebook.evidence
        }
        not_cured = [check for check in rulebook.checks if rng.random() < 0.5]
        expected = _star_posterior(rulebook, symptom, truths, not_cured)
        chances = _by_cause(rank(rulebook, [symptom], truths, not_cured))
        for cause, chance in expected.items():
            assert chances.get(cause, 0.0) == pytest.approx(chance, abs=1e-9)
            compared += 1
    assert compared > 750


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.integers(0, 10**9))
def test_chances_sum_to_one_and_are_share_times_factors(seed: int) -> None:
    rng = random.Random(seed)
    rulebook = _random_rulebook(rng)
    truths: dict[str, Truth] = {rule: rng.choice([True, False, None]) for rule in rulebook.evidence}
    ranked = rank(rulebook, rulebook.symptoms, truths, list(rulebook.checks))
    assert abs(math.fsum(each.chance for each in ranked) - 1) < 1e-12
    assert [each.chance for each in ranked] == sorted((each.chance for each in ranked), reverse=True)
    for each in ranked:
        product = each.share * math.prod(factor.factor for factor in each.factors)
        assert each.chance == pytest.approx(product, rel=1e-9, abs=1e-15)


def test_a_hundred_small_chances_multiply_without_vanishing() -> None:
    rules = [evidence_rule(f"e{index}", 1e-6, a=2e-6) for index in range(100)]
    rulebook = small_rulebook({"s": {"a": 1, "other": 1}}, rules)
    chances = _by_cause(rank(rulebook, ["s"], dict.fromkeys(rulebook.evidence, True)))
    assert chances["a"] == pytest.approx(1.0)
    assert chances["other"] == pytest.approx(2.0**-100, rel=1e-9)


def test_one_rule_that_holds_weighs_by_its_own_number_pair() -> None:
    rulebook = small_rulebook(
        {"not_freezing": {"dirty_filter": 30, "other": 70}}, [evidence_rule("overdue", 0.3, dirty_filter=0.8)]
    )
    (first, second) = rank(rulebook, ["not_freezing"], {"overdue": True})
    assert (first.cause, second.cause) == ("dirty_filter", "other")
    assert first.chance == pytest.approx(0.3 * 0.8 / (0.3 * 0.8 + 0.7 * 0.3))
    (factor,) = first.factors
    assert (factor.rule, factor.held, factor.probability) == ("overdue", True, 0.8)
    assert factor.factor == pytest.approx(0.8 / (0.3 * 0.8 + 0.7 * 0.3))


def test_a_false_rule_counts_one_minus_p_and_an_unknown_one_nothing() -> None:
    rulebook = small_rulebook({"s": {"a": 50, "other": 50}}, [evidence_rule("e", 0.25, a=0.75)])
    assert _by_cause(rank(rulebook, ["s"], {"e": False}))["a"] == pytest.approx(0.25)
    for truths in ({"e": None}, {}):
        (first, _) = rank(rulebook, ["s"], truths)
        assert (first.chance, first.factors) == (0.5, ())


def test_the_first_true_band_of_a_group_counts_whatever_stands_behind_it() -> None:
    rules = [
        evidence_rule("near", 0.2, "fill", 1, a=0.6),
        evidence_rule("far", 0.3, "fill", 2, a=0.1),
    ]
    rulebook = small_rulebook({"s": {"a": 50, "other": 50}}, rules)
    chances = {
        truths: _by_cause(rank(rulebook, ["s"], dict(zip(("near", "far"), truths, strict=True))))["a"]
        for truths in ((True, True), (True, None), (False, True), (False, False), (None, True), (False, None))
    }
    assert chances[True, True] == chances[True, None] == pytest.approx(0.6 / 0.8)
    assert chances[False, True] == pytest.approx(0.1 / 0.4)
    assert chances[False, False] == pytest.approx(0.3 / 0.8)
    assert chances[None, True] == chances[False, None] == pytest.approx(0.5)


def test_when_no_band_holds_the_factor_names_the_group() -> None:
    rules = [evidence_rule("near", 0.2, "fill", 1, a=0.6), evidence_rule("far", 0.3, "fill", 2, a=0.1)]
    rulebook = small_rulebook({"s": {"a": 50, "other": 50}}, rules)
    (factor,) = rank(rulebook, ["s"], {"near": False, "far": False})[0].factors
    assert (factor.rule, factor.held) == ("fill", False)


def test_drafts_and_retired_rules_do_not_count() -> None:
    rules = [evidence_rule("d", 0.1, a=0.9, status="draft"), evidence_rule("r", 0.1, a=0.9, status="retired")]
    rulebook = small_rulebook({"s": {"a": 50, "other": 50}}, rules)
    assert _by_cause(rank(rulebook, ["s"], {"d": True, "r": True})) == {"a": 0.5, "other": 0.5}


def test_a_check_that_did_not_cure_is_a_factor_with_the_checks_id_and_counts_once() -> None:
    rulebook = small_rulebook({"s": {"a": 50, "other": 50}}, checks=[check_of("rinse", 1, {"a": 0.8})])
    ranked = rank(rulebook, ["s"], {}, ["rinse", "rinse"])
    assert _by_cause(ranked)["a"] == pytest.approx(0.1 / 0.6)
    assert [(factor.rule, factor.held) for factor in ranked[1].factors] == [("rinse", False)]
    assert ranked[1].factors[0].probability == pytest.approx(0.2)


def test_a_check_that_always_cures_rules_its_cause_out() -> None:
    rulebook = small_rulebook({"s": {"a": 50, "other": 50}}, checks=[check_of("rinse", 1, {"a": 1.0})])
    ranked = rank(rulebook, ["s"], {}, ["rinse"])
    assert _by_cause(ranked) == {"other": 1.0, "a": 0.0}
    assert ranked[1].factors[0].factor == 0.0


def test_when_every_cause_is_ruled_out_the_chance_goes_to_other() -> None:
    rulebook = small_rulebook(
        {"s": {"a": 50, "b": 50}}, checks=[check_of("one", 1, {"a": 1.0}), check_of("two", 1, {"b": 1.0})]
    )
    ranked = rank(rulebook, ["s"], {}, ["one", "two"])
    assert _by_cause(ranked) == {"other": 1.0, "a": 0.0, "b": 0.0}


@pytest.mark.parametrize(
    ("symptoms", "checks", "message"),
    [
        ([], [], "at least one symptom"),
        (["smoking"], [], "smoking is no symptom of this rulebook; it knows s"),
        (["s"], ["kick"], "kick is no check of this rulebook"),
    ],
)
def test_what_the_rulebook_does_not_know_is_an_error_that_names_it(
    symptoms: list[str], checks: list[str], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        rank(small_rulebook({"s": {"a": 50, "other": 50}}), symptoms, {}, checks)
