"""Dangers lifted: the words were misread, or the machine was made safe. Nothing else closes one.

A danger of spoiled product is made safe by the cleaning, whoever records it.
"""

from collections.abc import Iterable, Sequence

from triage.decide.dangers import facts_behind
from triage.inputs.heard import hear
from triage.records.caller import Caller
from triage.records.danger import QUOTES, Danger
from triage.records.payloads import CheckDone, DangerLifted, Decided, Lifting, Noted
from triage.records.ticket import Ticket
from triage.rulebook.model import Rulebook
from triage.service.changes import Change, change, decided_anew
from triage.service.service import Service
from triage.store import Work
from triage.values.errors import ConflictError, ForbiddenError, InputError, NotFoundError, Problem

WHO_MAY = "a technician of the ticket's contractor or an ops lead lifts it as made safe"
ANYONE_CLEANED = "record the cleaning, or lift it as made safe and say who cleaned"
MOST_WHY = 1000


def lift_danger(
    service: Service,
    ticket_id: str,
    caution: str,
    why: str,
    who: Caller,
    if_version: int | None = None,
    how: Lifting | None = None,
    quotes: Sequence[str] = (),
) -> Ticket:
    """The ticket without a danger; decided again where it is open. `caution` is its id, `why` a sentence.

    `misread` (agent, ops) takes back the words and answers that raised it on this ticket; with some of its
    `quotes` only the words in those places, and it stands by what else is known. `safe` (technician, ops,
    and an agent where cleaning takes it away) lifts it on the machine, whichever ticket it stands on.
    Without `how` an agent says misread, others safe. Raises NotFoundError for no such caution, ConflictError
    when it does not stand open here, and ForbiddenError with who may.
    """
    check_why(why, "/why")
    wanted = how or ("misread" if who.role == "agent" else "safe")

    def follows(work: Work, found: Ticket) -> Change:
        own = next((danger for danger in found.dangers.open if danger.caution == caution), None)
        beside = [one for one in found.dangers.elsewhere if one.caution == caution]
        if own is None and not beside and caution not in service.rulebook.cautions:
            raise NotFoundError(f'no danger "{caution[:64]}"')
        facts: tuple[str, ...] = ()
        some = _some(own, quotes if wanted == "misread" else ())
        if wanted == "misread":
            _refuse_misread(found, caution, own, beside, who)
            facts = _taken_back(service.rulebook, found, caution)
        else:
            _refuse_safe(service.rulebook, found, caution, own, beside, who)
        lifted = DangerLifted(caution, wanted, why.strip(), facts, some)
        if found.state == "closed":
            return Change([lifted], service.now())
        changed = decided_anew(service, work, found, lifted)
        if some is None:
            _refuse_raised_again(changed, caution)
        return changed

    return change(service, ticket_id, who, if_version, follows, may_be_closed=True)


def _some(own: Danger | None, quotes: Sequence[str]) -> tuple[str, ...] | None:
    """Those of the places of a danger that are named; None where that is all of them, or none is named."""
    places = (own.quote or "").split(QUOTES) if own is not None else []
    if unknown := [quote for quote in quotes if quote not in places]:
        message = f"not heard so: “{unknown[0][:80]}”; give places of the danger's quote as they stand"
        raise InputError([Problem(message, "/quotes")])
    return None if not quotes or set(places) <= set(quotes) else tuple(dict.fromkeys(quotes))


def noted(rulebook: Rulebook, ticket: Ticket, texts: Iterable[str]) -> list[Noted]:
    """Those of the texts in which a danger is heard, and that were not said on this ticket before."""
    before = (ticket.report.get("note"), *ticket.dangers.said)
    return [Noted(text) for text in dict.fromkeys(texts) if text not in before and hear(rulebook, text)]


def cleaned_away(rulebook: Rulebook, ticket: Ticket, done: CheckDone) -> list[DangerLifted]:
    """What a check that was done lifts: the dangers of spoiled product that wait for it and nothing more."""
    if done.result == "could_not_do":
        return []
    now = (done.check, *(done.together or ()))
    before = {each["check"] for each in ticket.report.get("checks") or () if each["result"] != "could_not_do"}
    standing = dict.fromkeys(danger.caution for danger in ticket.dangers.standing)
    return [
        DangerLifted(id_, "safe", f"{rulebook.checks[check].title}: done.")
        for id_ in standing
        if rulebook.cleans_away(id_)
        for check in [next((each for each in now if each in rulebook.cautions[id_].first), None)]
        if check is not None and before.issuperset(set(rulebook.cautions[id_].first) - {*now})
    ]


def made_safe(
    rulebook: Rulebook,
    standing: Sequence[str],
    named: Sequence[str] | bool,
    note: str,
    who: Caller,
) -> list[DangerLifted]:
    """What a close-out lifts of the cautions whose danger is `standing`: those `named`, or with True all.

    Its note says why. Raises ConflictError while another stands open, ForbiddenError where the caller may not
    lift any.
    """
    lifted = list(standing) if named is True else list(named or ())
    unknown = [caution for caution in lifted if caution not in standing]
    if unknown:
        message = f"no such danger stands open: {', '.join(unknown)}"
        raise InputError([Problem(message, "/made_safe")])
    left = [caution for caution in standing if caution not in lifted]
    if left:
        lifts = "; ".join(dict.fromkeys(_who_lifts(rulebook, caution) for caution in left))
        raise ConflictError(
            f"a danger stands open: {', '.join(left)}; {lifts}, before or with the closing (made_safe)"
        )
    if lifted:
        refused = [caution for caution in lifted if not may_lift(rulebook, caution, who)]
        if refused:
            raise ForbiddenError(f"{', '.join(refused)} cannot be lifted by this caller; {WHO_MAY}")
        check_why(note, "/note")
    return [DangerLifted(caution, "safe", note.strip()) for caution in lifted]


def may_lift(rulebook: Rulebook, caution: str, who: Caller) -> bool:
    """Whether the caller may lift a danger as made safe."""
    return who.role in ("technician", "ops") or (who.role == "agent" and rulebook.cleans_away(caution))


def _who_lifts(rulebook: Rulebook, caution: str) -> str:
    return ANYONE_CLEANED if rulebook.cleans_away(caution) else WHO_MAY


def check_why(why: str, pointer: str) -> None:
    """Raises InputError where `why` is no sentence, or too long to keep."""
    if len(why.split()) < 2:
        raise InputError([Problem("say in a sentence why the danger is gone", pointer)])
    if len(why) > MOST_WHY:
        raise InputError([Problem(f"at most {MOST_WHY} characters", pointer)])


def _refuse_misread(
    ticket: Ticket, caution: str, own: Danger | None, beside: Sequence[Danger], who: Caller
) -> None:
    if who.role not in ("agent", "ops"):
        raise ForbiddenError(f"only an agent or an ops lead says that words were misread; {WHO_MAY}")
    if own is None:
        _refuse_not_open(ticket, caution, beside)
    elif own.source not in ("words", "caller"):
        raise ForbiddenError(
            f"{caution} was not heard from a caller but comes from the {own.source}; {WHO_MAY}"
        )


def _refuse_safe(
    rulebook: Rulebook,
    ticket: Ticket,
    caution: str,
    own: Danger | None,
    beside: Sequence[Danger],
    who: Caller,
) -> None:
    if not may_lift(rulebook, caution, who):
        raise ForbiddenError(f"{caution} cannot be lifted as made safe by this caller; {WHO_MAY}")
    if own is None and not beside:
        _refuse_not_open(ticket, caution, beside)


def _refuse_not_open(ticket: Ticket, caution: str, beside: Sequence[Danger]) -> None:
    if beside:
        tickets = ", ".join(sorted({str(danger.ticket) for danger in beside}))
        raise ConflictError(f"{caution} was raised on ticket {tickets}; lift it there, or {WHO_MAY}")
    raise ConflictError(f"{caution} does not stand open on ticket {ticket.id}")


def _taken_back(rulebook: Rulebook, ticket: Ticket, caution: str) -> tuple[str, ...]:
    """The facts that raised it, as far as the caller or the words said them: dangers before any other."""
    answers, known = ticket.report.get("answers") or {}, ticket.decided.facts
    said = [
        fact
        for fact in sorted(facts_behind(rulebook).get(caution, ()))
        if fact in rulebook.facts and fact not in ticket.dangers.on_site
        if answers.get(fact, False) is not False or (fact in known and known[fact].source == "words")
    ]
    return tuple(fact for fact in said if rulebook.facts[fact].danger) or tuple(said)


def _refuse_raised_again(changed: Change, caution: str) -> None:
    decided = changed.news[-1]
    assert isinstance(decided, Decided)
    for danger in decided.decision["dangers"]:
        if danger["caution"] == caution and danger["ticket"] is None:
            raise ConflictError(
                f"{caution} is still raised on this ticket by what else is known (from the "
                f"{danger['from']}); {WHO_MAY}"
            )
