"""What closed tickets teach: counts, posteriors, drift; and intervals that warranty a known truth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import pytest
from numpy.random import Generator

from tests.triage.builders import evidence, minimal_files, minimal_rulebook
from triage.rulebook.model import OTHERS, Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.learning.learning import ClosedTicket, Learned, learn, numbers

BASE = minimal_rulebook()


def ticket(cause: str, symptom: str = "not_freezing", **more: object) -> ClosedTicket:
    return ClosedTicket((symptom,), cause, more.get("shown", {}), more.get("cured", {}))  # type: ignore[arg-type]


def one(found: tuple[Learned, ...], kind: str, of: str, cause: str) -> Learned:
    return next(
        each for each in found if (each.number.kind, each.number.of, each.number.cause) == (kind, of, cause)
    )


def test_without_tickets_every_number_stays_as_it_is() -> None:
    found = learn(BASE, [])
    assert len(found) == len(list(numbers(BASE)))
    assert {each.proposed for each in found} == {None}
    assert not any(each.drifts for each in found)
    assert all(each.mean == pytest.approx(each.number.chance) for each in found)


def test_shares_move_towards_what_was_confirmed_and_keep_their_total() -> None:
    found = learn(BASE, [ticket("low_fill")] * 66, weight=66)
    learned = one(found, "share", "not_freezing", "low_fill")
    assert (learned.hits, learned.tickets) == (66, 66)
    assert learned.mean == pytest.approx((14 + 66) / 132)
    assert learned.proposed == Decimal("40.0")
    assert learned.drifts
    proposed = [each.proposed for each in found if each.number.of == "not_freezing"]
    assert sum(proposed) == 66  # type: ignore[arg-type]


def test_a_cause_the_symptom_does_not_list_counts_as_other() -> None:
    found = learn(BASE, [ticket("seal_wrong")] * 30)
    assert one(found, "share", "not_freezing", "other").hits == 30


def test_tickets_with_several_symptoms_teach_nothing_about_shares() -> None:
    several = ClosedTicket(("not_freezing", "leaking"), "low_fill", {"filter-overdue": False}, {})
    found = learn(BASE, [several] * 30)
    assert one(found, "share", "not_freezing", "low_fill").tickets == 0
    assert one(found, "seen_with", "filter-overdue", OTHERS).tickets == 30


def test_a_seen_with_pair_learns_from_its_own_cause_and_others_from_all_the_rest() -> None:
    tickets = [ticket("dirty_filter", shown={"filter-overdue": True})] * 25
    tickets += [ticket("low_fill", shown={"filter-overdue": False})] * 15
    tickets += [ticket("other", shown={"filter-overdue": True})] * 5
    tickets += [ticket("dirty_filter")] * 9  # not known: teaches nothing here
    found = learn(BASE, tickets, weight=10)
    named, others = (one(found, "seen_with", "filter-overdue", cause) for cause in ("dirty_filter", OTHERS))
    assert (named.hits, named.tickets, others.hits, others.tickets) == (25, 25, 5, 20)
    assert named.mean == pytest.approx((8 + 25) / 35)
    assert named.proposed == Decimal("0.94")
    assert others.proposed == Decimal("0.27")


def test_a_cure_chance_learns_from_checks_that_were_done() -> None:
    tickets = [ticket("low_fill", cured={"fill-hopper": True})] * 12
    tickets += [ticket("low_fill", cured={"fill-hopper": False, "gone-check": True})] * 12
    learned = one(learn(BASE, tickets, weight=24), "cure", "fill-hopper", "low_fill")
    assert (learned.hits, learned.tickets, learned.proposed) == (12, 24, Decimal("0.70"))
    assert learned.drifts  # 12 of 24 where 9 in 10 are said


def test_from_few_tickets_nothing_is_proposed_and_nothing_drifts() -> None:
    tickets = [ticket("low_fill", cured={"fill-hopper": False})] * 19
    few, enough = (
        one(learn(BASE, found), "cure", "fill-hopper", "low_fill")
        for found in (tickets, [*tickets, tickets[0]])
    )
    assert (few.proposed, few.drifts) == (None, False)
    assert (enough.proposed is not None, enough.drifts) == (True, True)


def test_the_weight_says_how_much_the_rulebook_is_worth() -> None:
    tickets = [ticket("low_fill", cured={"fill-hopper": False})] * 50
    light, heavy = (
        one(learn(BASE, tickets, weight), "cure", "fill-hopper", "low_fill").mean for weight in (10.0, 1000.0)
    )
    assert light == pytest.approx(9 / 60)
    assert heavy == pytest.approx(900 / 1050)


def test_numbers_that_are_as_said_do_not_drift() -> None:
    tickets = [ticket("dirty_filter", shown={"filter-overdue": number % 5 != 0}) for number in range(500)]
    learned = one(learn(BASE, tickets), "seen_with", "filter-overdue", "dirty_filter")
    assert (learned.hits, learned.drifts, learned.proposed) == (400, False, None)


def test_bands_of_a_group_never_fill_up_a_causes_chances() -> None:
    band = evidence(
        "fill-other", {"fill_level": ">= 50"}, {"fill_level": 60}, {"fill_level": 5},
        {"compressor_fault": 0.50, "others": 0.04}, group="fill", band=3,
    )  # fmt: skip
    rulebook = rulebook_from_data(minimal_files({"evidence/fill-other.yml": band}))
    # The causes that `fill-low` and `fill-half` do not name show them always or never, the compressor both.
    tickets = [ticket("other", shown={"fill-low": True, "fill-half": False, "fill-other": False})] * 400
    tickets += [
        ticket("compressor_fault", shown={"fill-low": False, "fill-half": False, "fill-other": True})
    ] * 40
    found = learn(rulebook, tickets, weight=5)
    assert one(found, "seen_with", "fill-other", "compressor_fault").mean > 0.9
    assert {each.proposed for each in found if each.number.of in ("fill-low", "fill-half", "fill-other")} == {
        None
    }


@dataclass
class Truth:
    """A world whose numbers are drawn from the rulebook's own, taken as worth `weight` tickets."""

    rulebook: Rulebook
    chances: dict[tuple[str, str, str], float]
    random: Generator

    @classmethod
    def drawn(cls, rulebook: Rulebook, weight: float, random: Generator) -> Truth:
        chances: dict[tuple[str, str, str], float] = {}
        for symptom in rulebook.symptoms.values():
            causes = [
                number for number in numbers(rulebook) if number.kind == "share" and number.of == symptom.id
            ]
            shares = random.dirichlet([weight * number.chance for number in causes])
            chances |= {
                ("share", symptom.id, number.cause): share
                for number, share in zip(causes, shares, strict=True)
            }
        for number in numbers(rulebook):
            if number.kind != "share":
                p = number.chance
                chances[number.kind, number.of, number.cause] = random.beta(weight * p, weight * (1 - p))
        return cls(rulebook, chances, random)

    def tickets(self, count: int) -> Iterator[ClosedTicket]:
        shares = {
            cause: p
            for (kind, of, cause), p in self.chances.items()
            if (kind, of) == ("share", "not_freezing")
        }
        causes = self.random.choice(list(shares), size=count, p=np.array(list(shares.values())))
        for cause in map(str, causes):
            shown = {"filter-overdue": self._happens("seen_with", "filter-overdue", cause, OTHERS)}
            cured = {
                check: self._happens("cure", check, cause, None) for check in ("rinse-filter", "fill-hopper")
            }
            yield ClosedTicket(("not_freezing",), cause, shown, cured)

    def _happens(self, kind: str, of: str, cause: str, otherwise: str | None) -> bool:
        chance = self.chances.get((kind, of, cause))
        if chance is None:
            chance = 0.0 if otherwise is None else self.chances[kind, of, otherwise]
        return bool(self.random.random() < chance)

    def covered(self, found: tuple[Learned, ...]) -> list[bool]:
        return [
            each.low <= self.chances[each.number.kind, each.number.of, each.number.cause] <= each.high
            for each in found
            if each.tickets
        ]


def coverage(worlds: int, tickets: int, seed: int) -> tuple[float, int]:
    """The part of all learned intervals that hold the truth, and how many there were."""
    random = np.random.default_rng(seed)
    held: list[bool] = []
    for _ in range(worlds):
        truth = Truth.drawn(BASE, 50.0, random)
        held += truth.covered(learn(BASE, truth.tickets(tickets), weight=50.0))
    return float(np.mean(held)), len(held)


def test_intervals_cover_a_known_truth_at_the_stated_rate() -> None:
    rate, intervals = coverage(worlds=60, tickets=150, seed=11)
    assert intervals == 60 * 8
    assert rate == pytest.approx(0.95, abs=0.03)  # three standard errors of 480 intervals


@pytest.mark.nightly
def test_intervals_from_twenty_thousand_tickets_cover_a_known_truth_at_the_stated_rate() -> None:
    rate, intervals = coverage(worlds=60, tickets=20_000, seed=12)
    assert intervals == 60 * 8
    assert rate == pytest.approx(0.95, abs=0.03)


def test_shares_that_are_written_as_fractions_are_not_rounded_to_tenths() -> None:
    symptom = {
        "id": "leaking",
        "title": "Leaking",
        "shares": {"seal_wrong": 0.62, "other": 0.38},
        "source": "common practice, no source",
    }
    rulebook = rulebook_from_data(minimal_files({"symptoms/leaking.yml": symptom}))
    tickets = [ticket("seal_wrong", "leaking")] * 30 + [ticket("other", "leaking")] * 70
    found = learn(rulebook, tickets, weight=50)
    proposed = [one(found, "share", "leaking", cause).proposed for cause in ("seal_wrong", "other")]
    assert proposed == [Decimal("0.407"), Decimal("0.593")]  # (50 × .62 + 30) / 150
