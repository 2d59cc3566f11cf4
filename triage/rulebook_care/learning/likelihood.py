"""The rulebook's numbers that make closed tickets likeliest, where most of them close without a cause.

What was seen of a ticket is its symptoms, what held, which checks cured and which did not, and often no
cause. Its likelihood is the sum over the causes of share × Π P(observed | cause) × Π P(result of a check |
cause); checks done together cured unless all of them failed. It is climbed by EM (A. P. Dempster, N. M. Laird
and D. B. Rubin, "Maximum likelihood from incomplete data via the EM algorithm", JRSS-B 39(1), 1977): the
chance of each cause by the numbers so far, then the numbers by these chances, the rulebook's own worth
`weight` tickets.

How much is known of a number is the information of complete tickets less what the hidden causes take (T. A.
Louis, "Finding the observed information matrix when using the EM algorithm", JRSS-B 44(2), 1982; both from
memory). With every cause confirmed all this is the plain Beta posterior.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from triage.decide.causes.ranking import ranking_tables
from triage.rulebook.model import OTHER_CAUSE, OTHERS, Rulebook

Array: TypeAlias = NDArray[np.float64]
Key: TypeAlias = tuple[str, str, str]
"""(share, seen_with or cure; symptom, rule or check; cause)."""

ROUNDS = 500
CLOSE = 1e-7  # no number moves further than this in the last round
BY_ITSELF = 0.002  # the chance of a cure that the rulebook does not know of; our estimate, no source
LEAST_CHANCE = 1e-9


class Seen(Protocol):
    """What is known of a closed ticket; see `ClosedTicket`."""

    @property
    def symptoms(self) -> tuple[str, ...]: ...
    @property
    def cause(self) -> str | None: ...
    @property
    def shown(self) -> Mapping[str, bool]: ...
    @property
    def cured(self) -> Mapping[str, bool]: ...
    @property
    def together(self) -> tuple[str, ...]: ...


@dataclass(frozen=True, slots=True)
class Fit:
    """By number: its mean, expected `hits` in `tickets`, and the tickets it is known from, `worth`.

    `worth` counts the rulebook's own weight as well; it is what a Beta of that mean and variance is worth.
    """

    mean: Array
    hits: Array
    tickets: Array
    worth: Array


@dataclass(frozen=True, slots=True)
class _Item:
    """Something seen: which numbers it hits and which it misses, by cause (−1: none), or a joint cure."""

    numbers: tuple[NDArray[np.intp], ...]  # each [cause]
    hit: int | None  # which of them; None: none
    joint: bool = False


def fit(
    rulebook: Rulebook, keys: Sequence[Key], chances: Array, tickets: Iterable[Seen], weight: float
) -> Fit:
    """Fits the numbers `keys`, whose rulebook's chances are `chances`, to the tickets."""
    return _Model(rulebook, keys, tickets).fit(chances, weight)


class _Model:
    def __init__(self, rulebook: Rulebook, keys: Sequence[Key], tickets: Iterable[Seen]) -> None:
        self._tables = ranking_tables(rulebook)
        self._causes = self._tables.causes
        self._place = {key: place for place, key in enumerate(keys)}
        self._count = len(keys)
        self._items: dict[object, int] = {}
        self._made: list[_Item] = []
        alike = Counter(
            (each.symptoms, each.cause, frozenset(each.shown.items()), frozenset(each.cured.items()),
             frozenset(each.together))
            for each in tickets
        )  # fmt: skip
        rows = [
            self._seen(dict(shown), dict(cured), tuple(sorted(joint))) for _, _, shown, cured, joint in alike
        ]
        self._times = np.array([*alike.values()], dtype=float)
        where = [(row, item) for row, items in enumerate(rows) for item in items]
        shape = (len(rows), len(self._made))
        index = np.array(where, dtype=np.intp).reshape(-1, 2).T
        self._shown = sparse.csr_array((np.ones(len(where)), (index[0], index[1])), shape=shape)
        self._known = np.array([self._at(cause) for _, cause, *_ in alike], dtype=np.intp)
        kinds = {symptoms: place for place, symptoms in enumerate(dict.fromkeys(each[0] for each in alike))}
        self._kind = np.array([kinds[symptoms] for symptoms, *_ in alike], dtype=np.intp)
        self._shares = [self._share_numbers(symptoms) for symptoms in kinds]

    def _at(self, cause: str | None) -> int:
        if cause is None:
            return -1
        return self._causes.index(cause if cause in self._causes else OTHER_CAUSE)

    def _seen(
        self, shown: Mapping[str, bool], cured: Mapping[str, bool], joint: tuple[str, ...]
    ) -> list[int]:
        """The items of a ticket."""
        found = []
        for place, observation in enumerate(self._tables.observations):
            if observation.rules[0] in shown:
                held = (index for index, rule in enumerate(observation.rules) if shown.get(rule))
                state = next(held, None)
                numbers = tuple(self._numbers("seen_with", rule, OTHERS) for rule in observation.rules)
                found.append(self._item(("seen", place, state), _Item(numbers, state)))
        for check, did in cured.items():
            if check in self._tables.not_cured:
                item = _Item((self._numbers("cure", check),), 0 if did else None)
                found.append(self._item(("check", check, did), item))
        together = tuple(check for check in joint if check in self._tables.not_cured)
        if together:
            numbers = tuple(self._numbers("cure", check) for check in together)
            found.append(self._item(("joint", together), _Item(numbers, None, joint=True)))
        return found

    def _item(self, name: object, item: _Item) -> int:
        if name not in self._items:
            self._items[name] = len(self._made)
            self._made.append(item)
        return self._items[name]

    def _numbers(self, kind: str, of: str, otherwise: str | None = None) -> NDArray[np.intp]:
        rest = -1 if otherwise is None else self._place[kind, of, otherwise]
        return np.array([self._place.get((kind, of, cause), rest) for cause in self._causes], dtype=np.intp)

    def _share_numbers(self, symptoms: tuple[str, ...]) -> NDArray[np.intp] | Array:
        """The numbers of a symptom's shares by cause, or of several symptoms the causes' chances."""
        known = tuple(each for each in symptoms if each in self._tables.symptoms.shares)
        if len(symptoms) == len(known) == 1:
            return self._numbers("share", known[0])
        if known:
            return self._tables.symptoms.prior(known)
        return np.full(len(self._causes), 1.0 / len(self._causes))

    def fit(self, chances: Array, weight: float) -> Fit:
        mean = chances
        for _ in range(ROUNDS):
            causes = self._posterior(mean)
            hits, tickets = self._counts(mean, causes)
            before, mean = mean, (weight * chances + hits) / (weight + tickets)
            if np.abs(mean - before).max(initial=0.0) < CLOSE:
                break
        causes = self._posterior(mean)
        hits, tickets = self._counts(mean, causes)
        return Fit(mean, hits, tickets, self._worth(mean, causes, tickets, weight))

    def _chances(self, item: _Item, mean: Array) -> Array:
        """[number, cause] of the item's numbers."""
        return np.array([np.where(at >= 0, mean[at], BY_ITSELF) for at in item.numbers])

    def _posterior(self, mean: Array) -> Array:
        """[ticket, cause]: the chance of each cause; a confirmed one has 1."""
        logs = np.empty((len(self._made), len(self._causes)))
        for place, item in enumerate(self._made):
            each = self._chances(item, mean)
            if item.joint:
                seen = 1.0 - np.prod(1.0 - each, axis=0)
            else:
                seen = 1.0 - each.sum(axis=0) if item.hit is None else each[item.hit]
            logs[place] = np.log(np.maximum(seen, LEAST_CHANCE))
        priors = [
            shares if shares.dtype == np.float64 else np.where(shares >= 0, mean[shares], 0.0)
            for shares in self._shares
        ]
        with np.errstate(divide="ignore"):
            found = self._shown @ logs + np.log(np.reshape(priors, (-1, len(self._causes))))[self._kind]
        told = np.flatnonzero(self._known >= 0)
        found[told] = -np.inf
        found[told, self._known[told]] = 0.0
        found = np.exp(found - found.max(axis=1, keepdims=True))
        chances: Array = found / found.sum(axis=1, keepdims=True)
        return chances

    def _counts(self, mean: Array, causes: Array) -> tuple[Array, Array]:
        """Expected hits and tickets of every number."""
        hits, tickets = np.zeros(self._count + 1), np.zeros(self._count + 1)  # the last for those not known
        weighed = causes * self._times[:, None]
        counted = self._shown.T @ weighed
        for item, count in zip(self._made, counted, strict=True):
            part = self._part_in_cure(item, mean) if item.joint else None
            for place, at in enumerate(item.numbers):
                np.add.at(tickets, at, count)
                if part is not None:
                    np.add.at(hits, at, count * part[place])
                elif place == item.hit:
                    np.add.at(hits, at, count)
        other = self._causes.index(OTHER_CAUSE)
        by_kind = np.zeros((len(self._shares), len(self._causes)))
        np.add.at(by_kind, self._kind, weighed)
        for row, shares in zip(by_kind, self._shares, strict=True):
            if shares.dtype != np.float64:
                listed = np.where(shares >= 0, shares, shares[other]).astype(np.intp)
                np.add.at(hits, listed, row)
                tickets[listed] += row.sum()
        return hits[:-1], tickets[:-1]

    def _part_in_cure(self, item: _Item, mean: Array) -> Array:
        """[check, cause]: the chance that each of the checks cured, given that together they did."""
        each = self._chances(item, mean)
        part: Array = each / np.maximum(1.0 - np.prod(1.0 - each, axis=0), LEAST_CHANCE)
        return part

    def _worth(self, mean: Array, causes: Array, tickets: Array, weight: float) -> Array:
        """How many tickets each number is known from, by the inverse of the information in logits."""
        spread = mean * (1.0 - mean)
        info = np.diag((weight + tickets) * spread)
        to_share = np.diag(spread)
        blocks: dict[str, list[int]] = {}
        for (kind, of, _), place in self._place.items():
            if kind == "share":
                blocks.setdefault(of, []).append(place)
        for block in blocks.values():
            at = np.ix_(block, block)
            shares = mean[block]
            to_share[at] = np.diag(shares) - np.outer(shares, shares)
            info[at] = (weight + tickets[block][0]) * to_share[at]
            info[at] += weight  # along all alike, which moves no share
        info -= self._hidden(mean, causes)
        try:
            around = to_share @ np.linalg.inv(info) @ to_share.T
        except np.linalg.LinAlgError:
            return np.full(self._count, weight)
        variance = np.diag(around)
        with np.errstate(divide="ignore", invalid="ignore"):
            worth = np.where(variance > 0, spread / variance, weight)
        found: Array = np.clip(worth, weight, weight + tickets)
        return found

    def _hidden(self, mean: Array, causes: Array) -> Array:
        """The information that the hidden causes, and hidden parts in joint cures, take away."""
        hidden = self._known < 0
        shown, chances, times = self._shown[hidden], causes[hidden], self._times[hidden]
        lost = np.zeros((self._count, self._count))
        summed = sparse.csr_array((len(times), self._count))
        for cause in range(len(self._causes)):
            if not chances[:, cause].any():
                continue
            scores = shown @ self._scores(mean, cause) + self._share_scores(hidden, cause)
            part = sparse.diags_array(chances[:, cause]) @ scores
            lost += (scores.T @ sparse.diags_array(times) @ part).toarray()
            summed = summed + part
        lost -= (summed.T @ sparse.diags_array(times) @ summed).toarray()
        counted = self._shown.T @ (causes * self._times[:, None])
        for item, count in zip(self._made, counted, strict=True):
            if item.joint:
                self._lost_in_joint(item, mean, count, lost)
        return lost

    def _scores(self, mean: Array, cause: int) -> sparse.csr_array:
        """[item, number]: how much each item speaks for a higher number, were this the cause."""
        found = sparse.lil_array((len(self._made), self._count))
        for row, item in enumerate(self._made):
            part = self._part_in_cure(item, mean)[:, cause] if item.joint else None
            for place, at in enumerate(item.numbers):
                number = at[cause]
                if number >= 0:
                    was = float(place == item.hit) if part is None else part[place]
                    found[row, number] = was - mean[number]
        return found.tocsr()

    def _share_scores(self, rows: NDArray[np.bool_], cause: int) -> sparse.csr_array:
        of_kind = [-1 if each.dtype == np.float64 else int(each[cause]) for each in self._shares]
        numbers = np.array(of_kind, dtype=np.intp)[self._kind[rows]]
        listed = np.flatnonzero(numbers >= 0)
        shape = (len(numbers), self._count)
        return sparse.csr_array((np.ones(len(listed)), (listed, numbers[listed])), shape=shape)

    def _lost_in_joint(self, item: _Item, mean: Array, count: Array, lost: Array) -> None:
        each, part = self._chances(item, mean), self._part_in_cure(item, mean)
        cured = np.maximum(1.0 - np.prod(1.0 - each, axis=0), LEAST_CHANCE)
        for one, at in enumerate(item.numbers):
            for other, beside in enumerate(item.numbers):
                both = part[one] if one == other else each[one] * each[other] / cured
                known = (at >= 0) & (beside >= 0)
                spread = count * (both - part[one] * part[other])
                np.add.at(lost, (at[known], beside[known]), spread[known])
