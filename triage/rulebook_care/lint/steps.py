"""What clerks are told to do, step by step: in an order that is safe, and with time to wait for it.

Only what can be read off a few words is looked at: in both languages whether something is switched on, off or
unplugged, and how many minutes are named. Words and the third are our own, common practice, no source.
"""

import re
from collections.abc import Iterator, Sequence

from triage.rulebook.model import Check
from triage.rulebook_care.lint.findings import Finding, finding
from triage.rulebook_care.reasoning.space import Reasoning

LEAST_SHARE = 3
"""A check that names a time waits at least this fraction of it."""

_ON = re.compile(
    r"\bplug (?:(?:it|the machine) )?(?:back )?in\b|\bswitch (?:\w+ ){0,3}?on\b|\bconecte\b|\bencienda\b",
    re.I,
)
_OFF = re.compile(r"\bswitch (?:\w+ ){0,3}?off\b|\b(?<!se )apague\b", re.I)
_UNPLUG = re.compile(r"\bunplug (?:it|the machine)\b|\bpull the plug\b|\bdesconecte\b(?! otros)", re.I)
_BEFORE = re.compile(r"\b(?:empty|discard|if|vac[ií]e|deseche|tire|si)\b", re.I)
"""What may be done to a machine that has its plug in."""

_NUMBERS = {"a": 1, "an": 1, "the": 1, "two": 2, "five": 5, "ten": 10, "twenty": 20, "half an": 0.5}
_TIME = re.compile(rf"\b(\d+|{'|'.join(_NUMBERS)}) (minute|hour)s?\b", re.I)
_WAITING = re.compile(r"\bwait\b", re.I)


def step_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes unsafe-order, says-otherwise."""
    rulebook = reason.rulebook
    for check in rulebook.checks.values():
        file = f"checks/{check.id}.yml"
        spanish = [rulebook.spanish.get(step, "") for step in check.steps]
        for key, steps in (("steps", check.steps), ("steps_es", spanish)):
            wrong = _out_of_order(steps)
            if wrong is not None:
                message = f"{check.id} tells “{steps[wrong][:80]}” as step {wrong + 1}, in an unsafe order"
                fix = "First switch off, then unplug, then work on it, then plug in and switch on"
                yield finding("unsafe-order", check.id, file, message, fix, (key, wrong))
        told = max(_minutes(check), default=0)
        given = check.minutes + check.wait_minutes
        if given * LEAST_SHARE < told:
            message = f"{check.id} is given {given} minutes with its wait, and its texts name {told:g}"
            fix = "Write the minutes until the result can be seen"
            yield finding("says-otherwise", check.id, file, message, fix, ("wait_minutes",))


def _out_of_order(steps: Sequence[str]) -> int | None:
    """The step that comes too late or too early for somebody's hands, if there is one."""
    on = [index for index, step in enumerate(steps) if _ON.search(step)]
    unplug = next((index for index, step in enumerate(steps) if _UNPLUG.search(step)), None)
    off = [index for index, step in enumerate(steps) if _OFF.search(step) or index == unplug]
    if on and off and on[-1] < off[-1]:
        return off[-1]
    early = [
        index for index, step in enumerate(steps[:unplug]) if index not in off and not _BEFORE.search(step)
    ]
    return unplug if early else None


def _minutes(check: Check) -> Iterator[float]:
    """The times that a check's texts name for its result, in minutes."""
    for text in (check.look_for, *filter(_WAITING.search, check.steps)):
        for number, unit in _TIME.findall(text):
            count = _NUMBERS.get(number.lower()) or float(number)
            yield count * (60 if unit.lower() == "hour" else 1)
