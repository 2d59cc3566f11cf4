"""Everything a candidate takes away from people's safety: seen in the rulebooks, and in a replay."""

from collections import OrderedDict
from collections.abc import Collection, Iterable, Mapping
from threading import Lock

from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.release.outcome_view import LostSafety
from triage.rulebook_care.release.tally import Lost
from triage.rulebook_care.safety.loss import MOST_TICKETS, Loss
from triage.rulebook_care.safety.weakening import weakened
from triage.store import Store
from triage.values.errors import NotFoundError

SEVERAL = "the edits together"
"""Stands for the file where no one edit can be named."""

MOST_KEPT = 16

_kept: OrderedDict[tuple[str, str], tuple[Loss, ...]] = OrderedDict()
_lock = Lock()


def kept_rulebook(store: Store, version: str) -> Rulebook:
    """A rulebook that is stored. Raises NotFoundError, RulebookError where it can no longer be read."""
    with store.read() as work:
        files = work.rulebooks.files(version)
    if files is None:
        raise NotFoundError(f"no rulebook {version} is stored")
    return rulebook_from_data(files, version)


def losses_between(store: Store, before: str, after: str) -> tuple[Loss, ...]:
    """What the kept version `after` takes away from `before`, whether or not a recorded ticket shows it.

    Worked out once for two versions: a version never changes.
    """
    key = before, after
    with _lock:
        if key in _kept:
            return _kept[key]
    found = weakened(kept_rulebook(store, before), kept_rulebook(store, after))
    with _lock:
        _kept[key] = found
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return found


def losses_against_live(store: Store, version: str) -> tuple[Loss, ...]:
    """What a kept version takes away from the live one; nothing where none is live."""
    with store.read() as work:
        live = work.rulebooks.live()
    return () if live is None else losses_between(store, live.version, version)


def seen_in_replay(lost: Iterable[Lost], edited: Collection[str]) -> tuple[Loss, ...]:
    """The losses of single decisions, one for each thing that is lost.

    Each is laid to an edit, by file; `edited` are the files that are known to lose something.
    """
    found: dict[tuple[str, str], list[str]] = {}
    for each in lost:
        what = f"in decisions that were made before: {each.loss.kind}: {each.loss.what}"
        found.setdefault((_edit(each.loss, edited), what), []).append(each.key[0])
    return tuple(
        Loss(edit, what, len(tickets), tuple(dict.fromkeys(tickets))[:MOST_TICKETS])
        for (edit, what), tickets in sorted(found.items())
    )


def joined(several: Iterable[Iterable[Loss]]) -> tuple[Loss, ...]:
    """Each loss once, by edit, with the most decisions that were seen of it."""
    found: dict[str, Loss] = {}
    for losses in several:
        for loss in losses:
            known = found.get(loss.id)
            if known is None or known.decisions < loss.decisions:
                found[loss.id] = loss
    return tuple(sorted(found.values(), key=lambda loss: loss.edit))


def with_reasons(losses: Iterable[Loss], reasons: Mapping[str, str]) -> list[dict[str, object]]:
    """The accepted ones as they are kept in the log."""
    return [{**loss.as_data(), "reason": reasons[loss.id]} for loss in losses if loss.id in reasons]


def _edit(loss: LostSafety, edited: Collection[str]) -> str:
    match loss.kind:
        case "caution no longer said":
            return f"cautions/{loss.what}.yml"
        case "use no longer stopped":
            files = [f"cautions/{rule}.yml" for rule in loss.what.split(", ")]
            return next((file for file in files if file in edited), files[0])
        case "check without its caution":
            check, _, rule = loss.what.partition(": ")
            file = f"checks/{check}.yml"
            return file if file in edited else f"cautions/{rule}.yml"
        case _:
            return SEVERAL
