"""Several symptoms as joint evidence, from the book's own shares.

    chance(cause | symptoms) ∝ P(cause) × Π over symptoms P(symptom | cause)
    P(symptom | cause) ∝ (1 − stray) × share(cause | symptom) / P(cause) + stray

P(cause) is its mean share over all symptoms: every symptom is taken to be called in as often as any other.
`stray` (`stray_symptom` in rulebook.yml) is the leak: the share of the symptoms told with a fault that
something else makes, a second fault among them; so no cause is out because a caller named one symptom too
many. Given the cause, symptoms are taken as independent, but for a pair whose shares together a lead has
written: it counts as one symptom. One symptom alone has its own shares, as they stand.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from triage.rulebook.model import OTHER_CAUSE, Rulebook

Array = NDArray[np.float64]
Pair = frozenset[str]


@dataclass(frozen=True, slots=True)
class SymptomTables:
    """Normalized shares over `causes`: of each symptom, of each pair written together, and on the whole."""

    causes: tuple[str, ...]
    shares: Mapping[str, Array]
    pairs: Mapping[Pair, Array]
    overall: Array
    stray: float

    def listed(self, symptoms: Sequence[str]) -> NDArray[np.bool_]:
        """The causes that a symptom names, and `other`."""
        units = [shares for _, shares in self._units(symptoms)]
        other = np.array([cause == OTHER_CAUSE for cause in self.causes])
        listed: NDArray[np.bool_] = np.any([other, *(shares > 0 for shares in units)], axis=0)
        return listed

    def prior(self, symptoms: Sequence[str]) -> Array:
        """The chance of each cause by the symptoms (at least one, each once) alone; 0 for one not listed."""
        units = [shares for _, shares in self._units(symptoms)]
        if len(units) == 1:
            return units[0]
        weights = np.where(self.listed(symptoms), self.overall, 0.0)
        base = np.where(self.overall > 0, self.overall, 1.0)
        for shares in units:
            weights = weights * ((1.0 - self.stray) * shares / base + self.stray)
        chances: Array = weights / weights.sum()
        return chances

    def explained(self, symptoms: Sequence[str], cause: str) -> frozenset[str]:
        """Those of the symptoms that the cause makes by the book."""
        place = self.causes.index(cause)
        return frozenset[str]().union(*(unit for unit, shares in self._units(symptoms) if shares[place] > 0))

    def _units(self, symptoms: Sequence[str]) -> Iterator[tuple[Pair, Array]]:
        """The symptoms, those written together as one; a symptom goes into the first of its pairs."""
        left = list(symptoms)
        while left:
            first = left.pop(0)
            pair = next((pair for each in left if (pair := frozenset({first, each})) in self.pairs), None)
            if pair is None:
                yield frozenset({first}), self.shares[first]
            else:
                left = [each for each in left if each not in pair]
                yield pair, self.pairs[pair]


def symptom_tables(rulebook: Rulebook, causes: Sequence[str]) -> SymptomTables:
    """The tables of a rulebook over `causes`; a symptom without any share is left out."""

    def normalized(counts: Mapping[str, Decimal]) -> Array:
        numbers = np.array([float(counts.get(cause, 0)) for cause in causes])
        shares: Array = numbers / numbers.sum()
        return shares

    symptoms = [symptom for symptom in rulebook.symptoms.values() if sum(symptom.shares.values()) > 0]
    shares = {symptom.id: normalized(symptom.shares) for symptom in symptoms}
    pairs = {
        frozenset({symptom.id, other}): normalized(counts)
        for symptom in symptoms
        for other, counts in symptom.together_with.items()
    }
    overall: Array = np.mean([*shares.values()], axis=0) if shares else np.zeros(len(causes))
    return SymptomTables(tuple(causes), shares, pairs, overall, rulebook.tolerances.stray_symptom)


def telling(rulebook: Rulebook, symptoms: Iterable[str]) -> tuple[str, ...]:
    """The symptoms, each once; beside others, one that only says that something is wrong adds nothing."""
    once = tuple(dict.fromkeys(symptoms))
    known = rulebook.symptoms
    return tuple(each for each in once if each not in known or not known[each].says_little) or once
