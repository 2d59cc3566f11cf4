"""Checks that cure nothing or may never be done, and cautions that leave nothing safe to do."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import TypeAlias

from triage.decide.causes.check_lattice import check_cost
from triage.decide.spending.costs import repair_estimates
from triage.decide.spending.repair_costs import sales_lost
from triage.rulebook.model import OTHER_CAUSE, Caution, Check, Rulebook, Symptom
from triage.rulebook_care.lint.findings import Finding, finding, too_hard
from triage.rulebook_care.reasoning.formulas import NO, YES, Formula, Situation, TooHard
from triage.rulebook_care.reasoning.space import Reasoning

Reports: TypeAlias = tuple[Mapping[str, Situation], Mapping[str, Situation]]


def check_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes check-*, no-safe-action, too-hard."""
    rulebook = reason.rulebook
    reports = _reports(rulebook)
    for _, check in sorted(rulebook.checks.items()):
        try:
            yield from _one_check(reason, rulebook, check, reports)
        except TooHard:
            yield too_hard(check.id, _file(check), "it fixes anything")
    yield from _never_pays(rulebook)
    for _, caution in sorted(rulebook.cautions.items()):
        if caution.head.status == "live":
            yield from _one_caution(caution)


def _one_check(reason: Reasoning, rulebook: Rulebook, check: Check, reports: Reports) -> Iterator[Finding]:
    applies = reason.true(check.when)
    if reason.together([applies]) is None:
        return  # never-fires says so
    symptoms = _symptoms(reason, rulebook, applies, reports)
    possible = {cause for symptom in symptoms for cause in symptom.shares}
    out_of_reach = sorted(check.resolves.keys() - possible - {OTHER_CAUSE})
    if not check.resolves.keys() & possible:
        causes = ", ".join(sorted(check.resolves))
        message = f"{check.id} fixes {causes}, but applies only with symptoms that never have these causes"
        fix = "Fix its `when`, or the shares of the symptoms"
        yield finding("check-resolves-nothing", check.id, _file(check), message, fix, ("resolves",))
    else:
        for cause in out_of_reach:
            message = f"{check.id} fixes {cause}, which none of the symptoms it applies with can have"
            fix = "Take the line out, or give the cause a share"
            path = ("resolves", cause)
            yield finding("check-cause-unreachable", check.id, _file(check), message, fix, path)
    for index, name in enumerate(check.cautions):
        if rulebook.cautions[name].head.status != "live":
            message = f"{check.id} is to be said with {name}, which is {rulebook.cautions[name].head.status}"
            fix = "Make the caution live, or take it out here if nobody can be hurt"
            yield finding("check-caution-silent", check.id, _file(check), message, fix, ("cautions", index))
    forbidding = [caution for caution in rulebook.cautions.values() if _forbids(caution, check)]
    allowed = [reason.not_true(caution.head.when) for caution in forbidding]
    if forbidding and reason.together([applies, *allowed]) is None:
        names = ", ".join(caution.head.id for caution in forbidding)
        message = f"whenever {check.id} applies, a caution forbids it ({names})"
        fix = "Narrow the caution, or take the check out"
        yield finding("check-always-forbidden", check.id, _file(check), message, fix, ("when",))


def _never_pays(rulebook: Rulebook) -> Iterator[Finding]:
    """Clerk checks that cost more than they save where their best cause is certain and a visit is dearest."""
    store, rates = rulebook.rates.store, rulebook.rates
    causes = {cause for check in rulebook.checks.values() for cause in check.resolves}
    visits: dict[str, Decimal] = dict.fromkeys(causes, Decimal(0))
    for contractor, agreement in ((party, one) for party in rates.parties for one in rates.of(party)):
        farthest = agreement.distance_bands[-1].up_to_km if agreement.distance_bands else None
        on = agreement.valid.first
        for cause, estimate in repair_estimates(rulebook, causes, on, contractor, True, farthest).items():
            visits[cause] = max(visits[cause], estimate.total + sales_lost(rulebook, cause, "both"))
    first = {name for caution in rulebook.cautions.values() for name in caution.first}
    for check in rulebook.checks.values():
        cost = check_cost(check, store)
        most = max(Decimal(str(chance)) * visits[cause] for cause, chance in check.resolves.items())
        if check.who == "clerk" and check.id not in first and cost > most:
            message = f"{check.id} costs the store {cost:.2f} and saves {most:.2f} at most"
            fix = "It is never planned: look at minutes, wait, materials and `resolves`, or retire it"
            yield finding("check-never-pays", check.id, _file(check), message, fix, ("resolves",))


def _reports(rulebook: Rulebook) -> Reports:
    """Each symptom alone, and each among others."""
    members = rulebook.symptoms.keys()
    alone = {
        name: {("symptom", other): YES if other == name else NO for other in members} for name in members
    }
    return alone, {name: {("symptom", name): YES} for name in members}


def _symptoms(reason: Reasoning, rulebook: Rulebook, applies: Formula, reports: Reports) -> list[Symptom]:
    """The symptoms with which it applies: each alone; where it needs several at once, each among others."""
    for wanted in reports:
        found = [
            symptom
            for symptom in rulebook.symptoms.values()
            if reason.together([applies], wanted[symptom.id]) is not None
        ]
        if found:
            return found
    return []


def _forbids(caution: Caution, check: Check) -> bool:
    if caution.head.status != "live":
        return False
    stops = caution.stop_use and not caution.only_with_checks
    return stops or caution.forbids_all_checks or check.id in caution.forbids


def _one_caution(caution: Caution) -> Iterator[Finding]:
    takes_all = caution.stop_use or caution.forbids_all_checks
    goes_on = caution.defers_to or caution.visit_skill or caution.visit_priority is not None
    if takes_all and not goes_on:
        head = caution.head
        message = f"{head.id} leaves the store nothing to do, and names nobody who may do anything"
        fix = "Say whom it defers to (`defers_to`), or who is sent (`visit_skill`, `visit_priority`)"
        yield finding("no-safe-action", head.id, head.file, message, fix, ("then",))


def _file(check: Check) -> str:
    return f"checks/{check.id}.yml"
