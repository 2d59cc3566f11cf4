"""The world that a simulation plays in: how often what breaks, what the clerk sees of it, what fixes it.

All of it is the rulebook's own numbers: causes as often as their mean share over the symptoms, symptoms by
`P(symptom | cause)`, answers so that every rule of evidence on that fact alone holds as often as it says
(iterative proportional fitting; given the cause, facts are independent), checks by `resolves`. `off` leaves
each of them wrong by up to that factor, rates as they are and chances by their odds, log-uniform.

Every draw is named and comes from the seed and its name alone, never from the draws before it: two rulebooks
played on one world meet the same fault, the same clerk and the same luck.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from hashlib import blake2b
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from triage.decide.causes.inference import CompiledRules, compile_rulebook, infer
from triage.decide.causes.symptoms import symptom_tables
from triage.logic.conditions import FactValue, Scalar, evaluate, facts_in
from triage.rulebook.model import Rulebook
from triage.rulebook_care.reasoning.space import Reasoning

Array = NDArray[np.float64]
T = TypeVar("T")

FITTING_STEPS = 60


@dataclass(frozen=True, slots=True)
class Luck:
    """Numbers in [0, 1) by name: the same name gives the same number."""

    key: str

    def of(self, name: str) -> float:
        digest = blake2b(f"{self.key}/{name}".encode(), digest_size=8).digest()
        return (int.from_bytes(digest) >> 11) / 2**53

    def pick(self, name: str, choices: Sequence[T], weights: Array | None = None) -> T:
        """One of the choices, each as likely as its weight (summing to 1), or all alike."""
        if weights is None:
            return choices[int(self.of(name) * len(choices))]
        place = int(np.searchsorted(np.cumsum(weights), self.of(name), side="right"))
        return choices[min(place, len(choices) - 1)]


@dataclass(frozen=True, slots=True)
class Errors:
    """Shares of what goes wrong on the way from the machine to the program. Our estimates, no source."""

    off: float = 1.0  # the rulebook's numbers are wrong by up to this factor
    two_faults: float = 0.0  # calls with a second fault
    mishear: float = 0.02  # answers, symptoms and checks that the clerk gets wrong
    cannot_tell: float = 0.05  # questions without an answer, checks that cannot be done
    dangers: float = 0.02  # calls with a danger that has nothing to do with the cause
    danger_told: float = 0.7  # dangers that the caller tells unasked


WORLDS: Mapping[str, Errors] = {
    "as_written": Errors(),
    "numbers_off": Errors(off=2.0),
    "two_faults": Errors(two_faults=0.10),
    "mishearing": Errors(mishear=0.10),
}
"""Name -> in what the world is another than the rulebook says, or the clerk mishears."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a machine at one call: its true causes, what the caller says, and dangers there."""

    causes: tuple[str, ...]
    symptoms: tuple[str, ...]
    dangers: frozenset[str]  # facts
    luck: Luck


@dataclass(frozen=True, eq=False)
class World:
    """`rulebook` is the one whose numbers hold in it, whatever rulebook is played."""

    rulebook: Rulebook
    seed: int
    errors: Errors = Errors()

    @cached_property
    def causes(self) -> tuple[str, ...]:
        return tuple(sorted({cause for one in self.rulebook.symptoms.values() for cause in one.shares}))

    @cached_property
    def symptoms(self) -> tuple[str, ...]:
        return tuple(one.id for one in self.rulebook.symptoms.values() if sum(one.shares.values()) > 0)

    @cached_property
    def often(self) -> Array:
        """How often each cause is, summing to 1."""
        rates = symptom_tables(self.rulebook, self.causes).overall * np.array(
            [self._factor(f"cause {cause}") for cause in self.causes]
        )
        often: Array = rates / rates.sum()
        return often

    @cached_property
    def _told(self) -> Mapping[str, Array]:
        """Cause -> how often a call for it names each symptom."""
        shares = symptom_tables(self.rulebook, self.causes).shares
        made = np.array([shares[symptom] for symptom in self.symptoms])
        return {cause: made[:, place] / made[:, place].sum() for place, cause in enumerate(self.causes)}

    def fault(self, key: str) -> Fault:
        """The fault of one call, by its name."""
        luck, errors = Luck(f"{self.seed}/{key}"), self.errors
        causes = [luck.pick("cause", self.causes, self.often)]
        if luck.of("two faults") < errors.two_faults:
            causes.append(luck.pick("second cause", self.causes, self.often))
        causes = list(dict.fromkeys(causes))
        symptoms = []
        for cause in causes:
            told = luck.pick(f"symptom of {cause}", self.symptoms, self._told[cause])
            misheard = luck.of(f"mishears {cause}") < errors.mishear
            symptoms.append(luck.pick("wrong symptom", self.symptoms) if misheard else told)
        dangers = {fact for fact in self._dangers if self._made(fact, causes, luck)}
        if self._dangers and luck.of("danger") < errors.dangers:
            dangers.add(luck.pick("which danger", self._dangers))
        return Fault(tuple(causes), tuple(dict.fromkeys(symptoms)), frozenset(dangers), luck)

    def answer(self, fault: Fault, fact: str) -> Scalar | None:
        """What the clerk says when asked; None for what the clerk cannot tell."""
        luck, known = fault.luck, self.rulebook.facts.get(fact)
        if known is None or luck.of(f"cannot tell {fact}") < self.errors.cannot_tell:
            return None
        true = fact in fault.dangers if known.danger else self.value(fault.causes, fact, luck)
        if luck.of(f"mishears {fact}") >= self.errors.mishear:
            return true
        others = [value for value in self._values(fact) if value != true]
        return luck.pick(f"wrong {fact}", others) if others else true

    def told(self, fault: Fault) -> dict[str, bool]:
        """The dangers that the caller tells unasked."""
        told = (fact for fact in fault.dangers if fault.luck.of(f"tells {fact}") < self.errors.danger_told)
        return dict.fromkeys(told, True)

    def fixed(self, fault: Fault, check: str, otherwise: Mapping[str, float]) -> frozenset[str] | None:
        """The causes that this clerk's check fixes; None where it cannot be done.

        `otherwise` are the chances of a check that this rulebook has not.
        """
        luck = fault.luck
        if luck.of(f"cannot do {check}") < self.errors.cannot_tell:
            return None
        if luck.of(f"botches {check}") < self.errors.mishear:
            return frozenset()
        return frozenset(
            cause
            for cause in fault.causes
            if luck.of(f"{check} on {cause}") < self.cures(check, cause, otherwise.get(cause, 0.0))
        )

    def value(self, causes: Sequence[str], fact: str, luck: Luck) -> Scalar | None:
        """What a fact is on a machine with these causes; None for one that has no values to choose from."""
        values = self._values(fact)
        if not values:
            return None
        tables = [self._table(fact, cause) for cause in causes]
        # Of two faults, the one that tells more of this fact shows.
        table = max(tables, key=lambda each: float(np.abs(each - 1 / len(values)).sum()))
        return luck.pick(f"value of {fact}", values, table)

    def cures(self, check: str, cause: str, otherwise: float = 0.0) -> float:
        """The chance that a check fixes a cause; `otherwise` for a check that this rulebook has not."""
        known = self.rulebook.checks.get(check)
        chance = otherwise if known is None else float(known.resolves.get(cause, 0.0))
        return self._wrong(chance, f"{check} cures {cause}")

    def keeps_away(self, fault: Fault) -> bool:
        """Whether nobody is to go near this machine, for one who knows every danger there."""
        known: dict[str, FactValue] = {
            "symptom": frozenset(fault.symptoms),
            **dict.fromkeys(fault.dangers, True),
        }
        fired = infer(self.rulebook, self._engine, known).cautions if fault.dangers else ()
        return any(self.rulebook.cautions[id_].keeps_all_back for id_ in fired)

    @cached_property
    def _engine(self) -> CompiledRules:
        return compile_rulebook(self.rulebook, "plain")

    def _factor(self, name: str) -> float:
        spread = math.log(self.errors.off)
        return math.exp(spread * (2 * Luck(f"{self.seed}/off").of(name) - 1))

    def _wrong(self, chance: float, name: str) -> float:
        """The chance with its odds off by a factor; 0 and 1 stay."""
        odds = chance * self._factor(name)
        return odds / (odds + 1 - chance)

    def _made(self, danger: str, causes: Sequence[str], luck: Luck) -> bool:
        """Whether one of the causes, by a rule that names it, brings a danger with it."""
        named = {cause for id_ in self._rules(danger) for cause in self.rulebook.evidence[id_].seen_with}
        making = [cause for cause in causes if cause in named]
        return bool(making) and self.value(making, danger, luck) is True

    @cached_property
    def _dangers(self) -> tuple[str, ...]:
        facts = self.rulebook.facts.values()
        return tuple(fact.id for fact in facts if fact.danger and fact.asked_of == "clerk")

    @cached_property
    def _reasoning(self) -> Reasoning:
        return Reasoning(self.rulebook)

    @cache  # noqa: B019 - a world lives as long as its run
    def _values(self, fact: str) -> tuple[Scalar, ...]:
        """A value out of every piece into which the rules cut the fact's values."""
        known = self.rulebook.facts[fact]
        return () if known.type in ("text", "date", "time") else self._reasoning.pieces(fact).values

    @cache  # noqa: B019
    def _rules(self, fact: str) -> tuple[str, ...]:
        """The live rules of evidence that look at this fact alone."""
        return tuple(
            id_
            for id_, rule in self.rulebook.evidence.items()
            if rule.head.status == "live" and set(facts_in(rule.head.when)) == {fact}
        )

    @cache  # noqa: B019
    def _table(self, fact: str, cause: str) -> Array:
        """P(value | cause) over `_values`, so that each rule holds as often as it says with this cause."""
        values = self._values(fact)
        table = np.full(len(values), 1 / len(values))
        wanted = []
        for id_ in self._rules(fact):
            rule = self.rulebook.evidence[id_]
            held = np.array([evaluate(rule.head.when, {fact: value}) is True for value in values])
            if held.any() and not held.all():
                chance = self._wrong(rule.chance_given(cause), f"{id_} with {cause}")
                wanted.append((held, min(max(chance, 1e-9), 1 - 1e-9)))
        for _ in range(FITTING_STEPS):
            for held, chance in wanted:
                inside = table[held].sum()
                table = np.where(held, table * chance / inside, table * (1 - chance) / (1 - inside))
        summed: Array = table / table.sum()
        return summed
