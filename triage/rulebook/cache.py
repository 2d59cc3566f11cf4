"""What is worked out once per rulebook: arrays and indexes that every report of that rulebook uses again.

Kept for the few rulebooks in use last. The key is the rulebook object itself, which the entry keeps alive:
two rulebooks never share an entry, whatever version they state.
"""

from collections import OrderedDict
from collections.abc import Callable
from functools import wraps
from threading import Lock
from typing import TypeVar

from triage.rulebook.model import Rulebook

T = TypeVar("T")

RULEBOOKS_KEPT = 8


def once_per_rulebook(build: Callable[[Rulebook], T]) -> Callable[[Rulebook], T]:
    """`build`, remembering its result for the `RULEBOOKS_KEPT` rulebooks used last. Safe between threads."""
    kept: OrderedDict[int, tuple[Rulebook, T]] = OrderedDict()
    lock = Lock()

    @wraps(build)
    def built(rulebook: Rulebook) -> T:
        with lock:
            entry = kept.get(id(rulebook))
            if entry is not None:
                kept.move_to_end(id(rulebook))
                return entry[1]
        value = build(rulebook)
        with lock:
            kept[id(rulebook)] = (rulebook, value)
            while len(kept) > RULEBOOKS_KEPT:
                kept.popitem(last=False)
        return value

    return built
