"""What stands in a candidate's way: cases of danger, too narrow a replay, losses, one person alone."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from types import MappingProxyType

from triage.config import TwoPeople
from triage.decide.causes.inference import compile_rulebook
from triage.rulebook_care.release.losses import joined, kept_rulebook, losses_between
from triage.rulebook_care.safety.danger_cases import binding, failed_danger_cases
from triage.rulebook_care.safety.loss import Loss, loss_from_data
from triage.store import Store, Work
from triage.store.tables.rulebooks import Stage
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem, RulebookError

ENOUGH_TICKETS = 200
"""Of a replay, for publishing on it where there are more."""

FRESH_FOR = timedelta(hours=24)
"""Tickets decided this shortly before publishing need not be in the replay."""


MOST_NOTE = 1000
MOST_NAME = 64
NOTHING: Mapping[str, str] = MappingProxyType({})


def bound_by_live(store: Store) -> frozenset[str]:
    """The danger cases that the live rulebook knows: whatever takes its place must pass them."""
    with store.read() as work:
        live = work.rulebooks.live()
    return frozenset() if live is None else binding(kept_rulebook(store, live.version))


def failed_danger_cases_of(store: Store, version: str) -> list[str]:
    """How a kept version fails the danger cases that it or the live one knows, in words."""
    rulebook = kept_rulebook(store, version)
    return failed_danger_cases(rulebook, compile_rulebook(rulebook, "plain"), bound_by_live(store))


def refuse_dangerous(store: Store, version: str) -> None:
    """Raises ConflictError where a kept version fails a danger case."""
    failures = failed_danger_cases_of(store, version)
    if failures:
        raise ConflictError([Problem(failure) for failure in failures])


def refuse_unkept(work: Work, version: str) -> None:
    if work.rulebooks.files(version) is None:
        raise NotFoundError(f"no rulebook {version} is kept; check it first")


def refuse_unready(work: Work, version: str, at: datetime) -> str | None:
    """The live version that a candidate may take the place of; None where none is live."""
    refuse_unkept(work, version)
    now = work.rulebooks.live()
    if now is not None and now.version == version:
        raise ConflictError(f"{version} is live already")
    if stage_of(work, version, "checked") is None:
        raise ConflictError(f"{version} was not checked; check it first")
    if now is None:
        return None
    _refuse_narrow(work, _replays(work, version, now.version), version, now.version, at)
    return now.version


def _replays(work: Work, version: str, baseline: str) -> tuple[Stage, ...]:
    """The replays of a version against the live one, newest first, whatever part of the log they saw."""
    return tuple(
        one
        for one in work.rulebooks.stages(version)
        if one.stage == "replayed" and one.details["baseline"] == baseline and "losses" in one.details
    )


def _refuse_narrow(work: Work, replays: tuple[Stage, ...], version: str, baseline: str, at: datetime) -> None:
    """A replay counts when it saw all tickets there are, or ENOUGH_TICKETS of them.

    Those decided within the last day need not be among them, lest a busy program never publishes; those that
    were there when it was made do.
    """
    if not replays:
        raise ConflictError(
            f"{version} was not replayed against the live version, {baseline}; replay it first"
        )
    for one in replays:
        until = max(datetime.fromisoformat(one.details["until"]), at - FRESH_FOR)
        there = work.recorded.tickets(until)
        if one.details["tickets"] >= min(there, ENOUGH_TICKETS):
            return
    raise ConflictError(
        f"the replay saw {replays[0].details['tickets']} of {there} decided tickets: too few to publish on; "
        f"replay all of them, or the newest {ENOUGH_TICKETS}"
    )


def seen_before(work: Work, version: str, baseline: str | None) -> Iterator[tuple[Loss, ...]]:
    """What each replay against the live version lost, the narrow ones too."""
    for one in () if baseline is None else _replays(work, version, baseline):
        yield tuple(map(loss_from_data, one.details["losses"]))


def known_losses(store: Store, before: str, after: str) -> tuple[Loss, ...]:
    """All that the kept version `after` takes away from `before`, as far as it is known now."""
    with store.read() as work:
        replayed = tuple(seen_before(work, after, before))
    try:
        return joined([losses_between(store, before, after), *replayed])
    except RulebookError:  # a version of long ago
        return joined(replayed)


def refuse_unaccepted(losses: Sequence[Loss], accepted: Mapping[str, str], how_to_accept: str) -> None:
    known = {loss.id for loss in losses}
    unknown = [Problem(f"{id_} is no loss of this candidate", f"/accept/{id_}") for id_ in accepted]
    if problems := [each for each, id_ in zip(unknown, accepted, strict=True) if id_ not in known]:
        raise InputError(problems)
    left = [loss for loss in losses if loss.id not in accepted]
    if left:
        count = "1 safety loss is" if len(left) == 1 else f"{len(left)} safety losses are"
        said = f"{count} not accepted; read each, and {how_to_accept} only if it is meant"
        raise ConflictError([Problem(said), *(Problem(str(loss)) for loss in left)])


def stage_of(work: Work, version: str, stage: str, baseline: str | None = None) -> Stage | None:
    """The newest such step of a version, against `baseline` where one is given."""
    for one in work.rulebooks.stages(version):
        if one.stage == stage and baseline in (None, one.details.get("baseline")):
            return one
    return None


def refuse_nameless(by: str, note: str, accepted: Mapping[str, str] = NOTHING) -> None:
    problems = []
    said = [("/by", "who publishes it", by, MOST_NAME), ("/note", "why it is published", note, MOST_NOTE)]
    said += [(f"/accept/{id_}", f"why {id_} is accepted", why, MOST_NOTE) for id_, why in accepted.items()]
    for pointer, what, value, most in said:
        if not value.strip() or len(value) > most or not value.isprintable():
            problems.append(Problem(f"say {what}, in 1 to {most} printable characters", pointer))
    if problems:
        raise InputError(problems)


def needs_second(work: Work, two_people: TwoPeople, now: datetime) -> bool:
    """Whether one person alone cannot publish; by default where more than one token of ops is valid."""
    ops = [one for one in work.tokens.all() if one.role == "ops" and one.is_valid(now)]
    return two_people == "yes" or (two_people == "auto" and len(ops) > 1)


def refuse_alone(work: Work, version: str, by: str, two_people: TwoPeople, now: datetime) -> None:
    """Raises ConflictError where nobody but who proposed a version (by its check) wants it published.

    A yes that was said before the newest replay does not count: it was not said knowing what that found.
    """
    if not needs_second(work, two_people, now):
        return
    stages = work.rulebooks.stages(version)
    replayed = max((one.at for one in stages if one.stage == "replayed"), default=None)
    agreed = [one for one in stages if one.stage == "agreed" and (replayed is None or one.at >= replayed)]
    proposed = {person(one.who) for one in stages if one.stage == "checked"}
    if not {person(by), *(person(one.who) for one in agreed)} - proposed:
        who = ", ".join(sorted({one.who for one in stages if one.stage == "checked"}))
        raise ConflictError(
            f"{version} was proposed by {who}; somebody else has to say yes to it, or publish it"
        )


def person(name: str) -> str:
    """What tells whether two names are one person's."""
    return " ".join(name.split()).casefold()


def agree(store: Store, version: str, by: str, note: str, at: datetime) -> None:
    """Notes that a person says yes to a kept candidate. Raises InputError without a name or a reason,
    NotFoundError for a version that is not kept, ConflictError for who proposed it."""
    refuse_nameless(by, note)
    with store.write() as work:
        refuse_unkept(work, version)
        proposed = [one for one in work.rulebooks.stages(version) if one.stage == "checked"]
        if not proposed:
            raise ConflictError(f"{version} was not checked; check it first")
        if any(person(one.who) == person(by) for one in proposed):
            raise ConflictError(f"{by} proposed this version; the second yes is another person's")
        work.rulebooks.add_stage(Stage(version, "agreed", at, by, {"note": note}))
