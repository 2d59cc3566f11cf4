"""The changes from one decision to another, part by part, as data and in words.

Both are decisions as JSON data (`decision_json.as_json`). Between two equal decisions nothing changes; how
they were made (engine, rulebook, the line of a limit's row) is no part of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from triage.rulebook.built_in_facts import SOLVED, title_of
from triage.values.shown import percent, shown

Part: TypeAlias = Literal[
    "outcome", "reasons", "cautions", "facts", "rules", "causes", "factors", "plan", "cost", "limit",
    "warranty", "visit", "keep_or_swap", "questions", "computed_facts", "notes",
]  # fmt: skip


Data: TypeAlias = Mapping[str, Any]

UNCHANGED = 1e-12
"""Chances nearer than this are the same."""


@dataclass(frozen=True, slots=True)
class DecisionChange:
    """One change between two decisions. `before` and `after` are JSON data, None where there is none.

    For rules they say whether the rule fires, for the plan they are the step's number; `factors` are those of
    a cause that changed.
    """

    part: Part
    id: str
    title: str
    before: Any
    after: Any
    words: str
    factors: tuple[DecisionChange, ...] = ()

    def as_data(self) -> dict[str, Any]:
        data = {name: getattr(self, name) for name in ("part", "id", "title", "before", "after", "words")}
        return data | (
            {"factors": [each.as_data() for each in self.factors]} if self.part == "causes" else {}
        )


def decision_changes(before: Data, after: Data, titles: Mapping[str, str]) -> tuple[DecisionChange, ...]:
    """Everything that changed: the outcome first, then what led to it in the order it was worked out.

    `titles` names rules, facts and checks, as "rule/<id>", "fact/<id>", "check/<id>".
    """

    def called(kind: str, id_: str) -> str:
        return titles.get(f"{kind}/{id_}", id_)

    return tuple(
        change
        for part in (
            _outcome(before, after),
            _listed("reasons", before, after, "rule", "text", "a reason"),
            _cautions(before, after, called),
            _values("facts", _known(before), _known(after), called),
            _rules(before, after, called),
            _causes(before, after, titles),
            _plan(before, after),
            _amounts("cost", "expected_cost", _COSTS, before, after),
            _amounts("limit", "limit", _LIMITS, before, after),
            _warranty(before, after),
            _visit(before, after),
            _keep_or_swap(before, after),
            _listed("questions", before, after, "fact", "ask", "asked"),
            _values("computed_facts", before["computed_facts"], after["computed_facts"], called),
            _said("notes", "note", before["notes"], after["notes"], "Now said", "No longer said"),
        )
        for change in part
    )


_COSTS = {"plan": "the rest of the call by the best plan", "dispatch_now": "sending a technician now"}
_LIMITS = {
    "nte": "the limit",
    "spent": "spent on this ticket",
    "spent_12_months": "spent in 12 months",
    "headroom": "left of the limit",
    "expected_repair": "the expected repair",
    "chance_over": "the chance to run over",
    "authority_title": "who may approve more",
}
_VISIT = {"priority": "priority", "due": "due", "skill": "skill", "kit": "what is brought"}


def outcome_said(decision: Data) -> str:
    """The outcome as people read it, with the amount approved."""
    if decision["solved"]:
        return SOLVED
    amount = decision["approved_up_to"]
    limit = "" if amount is None else f" up to {amount} {decision['currency']}"
    by = (decision.get("visit") or {}).get("by", "contractor")
    return title_of(decision["outcome"], by) + limit


def _outcome(before: Data, after: Data) -> Iterator[DecisionChange]:
    was, now = outcome_said(before), outcome_said(after)
    if was != now:
        yield DecisionChange("outcome", "outcome", "Outcome", was, now, f"Outcome: {was} → {now}.")


def _listed(
    part: Part, before: Data, after: Data, key: str, text: str, verb: str
) -> Iterator[DecisionChange]:
    old, new = ({str(item[key]): str(item[text]) for item in side[part]} for side in (before, after))
    for id_ in dict.fromkeys((*new, *old)):
        was, now = old.get(id_), new.get(id_)
        if was is None and now is not None:
            yield DecisionChange(part, id_, now, None, now, f"Now {verb}: {now}")
        elif now is None and was is not None:
            yield DecisionChange(part, id_, was, was, None, f"No longer {verb}: {was}")
        elif was != now:
            yield DecisionChange(part, id_, str(now), was, now, f"It now reads: {now}")


def _cautions(before: Data, after: Data, called: Callable[[str, str], str]) -> Iterator[DecisionChange]:
    old = {item["rule"]: item for item in before["cautions"]}
    new = {item["rule"]: item for item in after["cautions"]}
    for rule in dict.fromkeys((*new, *old)):
        was, now = old.get(rule), new.get(rule)
        if was == now:
            continue
        title = called("rule", rule)
        stops = (now or was or {}).get("stop_use")
        what = f"{title}, which stops use" if stops else title
        if was is None:
            words = f"A caution comes in: {what}."
        elif now is None:
            words = f"A caution goes: {what}."
        else:
            words = f"A caution reads otherwise: {what}."
        yield DecisionChange("cautions", rule, title, was and was["text"], now and now["text"], words)


def _known(decision: Data) -> Data:
    return {fact: known["value"] for fact, known in decision["facts"].items()}


def _values(part: Part, old: Data, new: Data, called: Callable[[str, str], str]) -> Iterator[DecisionChange]:
    for fact in sorted({*old, *new}):
        was, now = old.get(fact), new.get(fact)
        if was != now:
            title = called("fact", fact)
            yield DecisionChange(part, fact, title, was, now, f"{title}: {shown(was)} → {shown(now)}.")


def _rules(before: Data, after: Data, called: Callable[[str, str], str]) -> Iterator[DecisionChange]:
    old, new = set(before["fired"]), set(after["fired"])
    for rule in (rule for rule in after["fired"] if rule not in old):
        title = called("rule", rule)
        yield DecisionChange("rules", rule, title, False, True, f"The rule “{title}” now fires.")
    for rule in (rule for rule in before["fired"] if rule not in new):
        title = called("rule", rule)
        yield DecisionChange("rules", rule, title, True, False, f"The rule “{title}” no longer fires.")


def _causes(before: Data, after: Data, titles: Mapping[str, str]) -> Iterator[DecisionChange]:
    old = {cause["cause"]: cause for cause in before["causes"]}
    new = {cause["cause"]: cause for cause in after["causes"]}
    found = []
    for id_ in {*old, *new}:
        was, now = old.get(id_), new.get(id_)
        factors = tuple(_factors(was, now, titles))
        chances = [None if side is None else float(side["chance"]) for side in (was, now)]
        if not factors and abs((chances[0] or 0.0) - (chances[1] or 0.0)) <= UNCHANGED:
            continue
        title = str((now or was or {})["title"])
        said = " → ".join(
            "not considered" if chance is None else percent(chance, fine=True) for chance in chances
        )
        found.append(
            DecisionChange("causes", id_, title, chances[0], chances[1], f"{title}: {said}.", factors)
        )
    yield from sorted(found, key=lambda each: (-abs((each.after or 0) - (each.before or 0)), each.id))


def _factors(was: Data | None, now: Data | None, titles: Mapping[str, str]) -> Iterator[DecisionChange]:
    """What is seen otherwise, or is seen with this cause at another rate.

    A factor that changes only because others did, through the mean it is divided by, is left out.
    """

    def of(cause: Data | None) -> dict[tuple[str, bool], Data]:
        rows = () if cause is None else cause["factors"]
        return {(row["rule"], row["held"]): row for row in rows}

    old, new = of(was), of(now)
    for key in dict.fromkeys((*old, *new)):
        rows = [old.get(key), new.get(key)]
        factors = [None if row is None else float(row["factor"]) for row in rows]
        numbers = [None if row is None else float(row["probability"]) for row in rows]
        if _same(*numbers):
            continue
        row = rows[1] or rows[0]
        assert row is not None
        # A group none of whose bands holds, and a check, say so themselves; only a single rule is negated.
        negated = not row["held"] and f"rule/{row['rule']}" in titles
        text = f"not: {row['text']}" if negated else str(row["text"])
        said = " → ".join("–" if factor is None else f"× {factor:.2f}" for factor in factors)
        yield DecisionChange("factors", key[0], text, factors[0], factors[1], f"{text}: {said}")


def _same(was: float | None, now: float | None) -> bool:
    return was is now if was is None or now is None else abs(was - now) <= UNCHANGED


def _plan(before: Data, after: Data) -> Iterator[DecisionChange]:
    old = {step["check"]: number for number, step in enumerate(before["plan"], 1)}
    new = {step["check"]: number for number, step in enumerate(after["plan"], 1)}
    titles = {step["check"]: step["title"] for step in (*before["plan"], *after["plan"])}
    kept_before = [check for check in old if check in new]
    kept_after = [check for check in new if check in old]
    for check in dict.fromkeys((*new, *old)):
        was, now, title = old.get(check), new.get(check), titles[check]
        if was is None:
            yield DecisionChange(
                "plan", check, title, None, now, f"A step comes in as number {now}: {title}."
            )
        elif now is None:
            yield DecisionChange("plan", check, title, was, None, f"A step is dropped: {title}.")
        elif kept_before.index(check) != kept_after.index(check):
            yield DecisionChange("plan", check, title, was, now, f"{title}: from step {was} to step {now}.")


def _amounts(
    part: Part, key: str, names: Mapping[str, str], before: Data, after: Data
) -> Iterator[DecisionChange]:
    for field, title in names.items():
        was, now = before[key][field], after[key][field]
        if was == now:
            continue
        chance = field == "chance_over" and None not in (was, now)
        said = [
            percent(value, fine=True) if chance and value is not None else shown(value)
            for value in (was, now)
        ]
        yield DecisionChange(
            part, field, title, was, now, f"{title[0].upper()}{title[1:]}: {said[0]} → {said[1]}."
        )


def _warranty(before: Data, after: Data) -> Iterator[DecisionChange]:
    for side in ("parts", "labor"):
        was, now = _covered(before["warranty"][side]), _covered(after["warranty"][side])
        if was != now:
            title = side.capitalize()
            yield DecisionChange("warranty", side, title, was, now, f"{title}: {was} → {now}.")
    old, new = before["warranty"]["at_risk"], after["warranty"]["at_risk"]
    risk = "at risk"
    yield from _said(
        "warranty", "at_risk", old, new, f"Warranty is now {risk}", f"Warranty is no longer {risk}"
    )


def _covered(side: Data) -> str:
    return f"{'covered' if side['covered'] else 'not covered'} ({side['component']})"


def _visit(before: Data, after: Data) -> Iterator[DecisionChange]:
    was, now = before["visit"], after["visit"]
    if was is None or now is None:
        if was != now:
            words = "Now somebody is sent" if was is None else "Now nobody is sent"
            due = "" if now is None else f", due {now['due']}"
            yield DecisionChange("visit", "visit", "Visit", was, now, f"{words}{due}.")
        return
    for field, title in _VISIT.items():
        if was[field] != now[field]:
            words = f"Visit, {title}: {shown(was[field])} → {shown(now[field])}."
            yield DecisionChange("visit", field, title, was[field], now[field], words)


def _keep_or_swap(before: Data, after: Data) -> Iterator[DecisionChange]:
    was, now = (
        None if side is None else side["choice"] for side in (before["keep_or_swap"], after["keep_or_swap"])
    )
    if was != now:
        words = f"Keep or swap: {was or 'not asked'} → {now or 'not asked'}."
        yield DecisionChange("keep_or_swap", "choice", "Keep or swap", was, now, words)


def _said(
    part: Part, id_: str, old: Sequence[str], new: Sequence[str], comes: str, goes: str
) -> Iterator[DecisionChange]:
    """Texts that are said on one side only."""
    for text in (text for text in new if text not in old):
        yield DecisionChange(part, id_, text, None, text, f"{comes}: {text}")
    for text in (text for text in old if text not in new):
        yield DecisionChange(part, id_, text, text, None, f"{goes}: {text}")
