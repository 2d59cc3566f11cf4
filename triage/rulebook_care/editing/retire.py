"""Retires an entry of a rulebook: all that names it is changed so that nothing hangs on it, or told.

What is retired keeps its file, so that records which name it keep its title; it only applies no longer. What
cannot hold any more without it is retired with it.
"""

from collections.abc import Iterator, Mapping, Set
from copy import deepcopy
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial
from typing import Any, TypeAlias

from triage.rulebook.built_in_facts import VALUES_OF
from triage.rulebook.model import OTHER_CAUSE, OTHERS
from triage.rulebook_care.editing.pruned import facts_of, left_of, names, pruned
from triage.values.errors import InputError, NotFoundError, Problem
from triage.values.plain_data import Path
from triage.values.shown import hint
from triage.values.yaml_source import Source

Data: TypeAlias = dict[str, Any]
KINDS = (
    *("causes", "checks", "symptoms", "facts", "evidence", "derive"),
    *("cautions", "policy", "words", "cases"),
)
"""The kinds whose files have a status."""
_NEVER = "cannot hold without it"


@dataclass(frozen=True, slots=True)
class Touched:
    """A place that names what is retired, and what is done about it, or is to be done by hand."""

    file: str
    line: int | None
    says: str
    by_hand: bool = False

    def __str__(self) -> str:
        where = self.file if self.line is None else f"{self.file}:{self.line}"
        return f"{where}: {'BY HAND: ' if self.by_hand else ''}{self.says}"


@dataclass(frozen=True, slots=True)
class Retirement:
    """The files that change, whole, as plain data; every place, by file; and what would be wrong after it."""

    files: Mapping[str, Data]
    touched: tuple[Touched, ...]
    problems: tuple[Problem, ...] = ()

    @property
    def by_hand(self) -> tuple[Touched, ...]:
        return tuple(each for each in self.touched if each.by_hand)


def retire(sources: Mapping[str, Source], kind: str, name: str) -> Retirement:
    """What retiring `kind`/`name` takes. Raises NotFoundError where there is no such file, InputError where
    the kind has no status or it is retired already."""
    if kind not in KINDS:
        known = f"; kinds are {', '.join(KINDS)}"
        raise InputError(f'"{kind[:40]}" cannot be retired{hint(kind, KINDS, known)}')
    file = f"{kind}/{name}.yml"
    source = sources.get(file)
    if source is None or not isinstance(source.data, dict):
        names = [
            path.rpartition("/")[2].removesuffix(".yml") for path in sources if path.startswith(f"{kind}/")
        ]
        raise NotFoundError([Problem(f"there is no such file{hint(name, names)}", file=file)])
    if source.data.get("status") == "retired":
        raise InputError([Problem("it is retired already", file=file)])
    if (kind, name) == ("causes", OTHER_CAUSE):
        raise InputError([Problem("it stands for all that is not named, so it stays", file=file)])
    work = _Work(sources)
    work.retire(kind, name, "it applies no longer")
    while work.waiting:
        work.follow(*work.waiting.pop(0))
    return Retirement(
        {path: data for path, data in work.files.items() if data != sources[path].data},
        tuple(sorted(work.touched, key=lambda each: (each.by_hand, each.file, each.line or 0))),
    )


@dataclass(slots=True)
class _Work:
    sources: Mapping[str, Source]
    files: dict[str, Data] = field(init=False)
    waiting: list[tuple[str, str]] = field(default_factory=list)
    touched: list[Touched] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.files = {
            file: deepcopy(source.data)
            for file, source in self.sources.items()
            if isinstance(source.data, dict)
        }

    def retire(self, kind: str, name: str, why: str) -> None:
        file = f"{kind}/{name}.yml"
        data = self.files[file]
        if data.get("status") == "retired":
            return
        data["status"] = "retired"
        self.say(file, ("status",), f"retired: {why}")
        self.waiting.append((kind, name))

    def say(self, file: str, path: Path, says: str, by_hand: bool = False) -> None:
        source = self.sources[file]
        place = source.keys.get(path) or source.values.get(path)
        while place is None and path:
            path = path[:-1]
            place = source.values.get(path)
        self.touched.append(Touched(file, None if place is None else place.line, says, by_hand))

    def live(self, *kinds: str) -> Iterator[tuple[str, str, Data]]:
        """Id, file and data of what is not retired."""
        for file, data in list(self.files.items()):
            kind, _, name = file.rpartition("/")
            if kind in kinds and data.get("status") != "retired":
                yield name.removesuffix(".yml"), file, data

    def follow(self, kind: str, name: str) -> None:
        """Everything that names it."""
        follower = {
            "causes": self._cause,
            "checks": self._check,
            "symptoms": self._symptom,
            "facts": self._fact,
            "cautions": self._caution,
        }.get(kind)
        if follower is not None:
            follower(name)
        self._cases(kind, name)

    def _cause(self, cause: str) -> None:
        for symptom, file, data in self.live("symptoms"):
            shares = data["shares"]
            if cause in shares and shares.keys() <= {cause, OTHER_CAUSE}:
                self.retire("symptoms", symptom, f"no other cause is left but `{OTHER_CAUSE}`")
            elif (calls := shares.pop(cause, None)) is not None:
                shares[OTHER_CAUSE] = shares.get(OTHER_CAUSE, Decimal(0)) + calls
                self.say(file, ("shares", cause), f"its {calls} calls are counted to `{OTHER_CAUSE}`")
            for pair in data.get("together_with", {}).values():
                if (calls := pair.pop(cause, None)) is not None:
                    pair[OTHER_CAUSE] = pair.get(OTHER_CAUSE, Decimal(0)) + calls
                    self.say(file, ("together_with",), f"its {calls} calls are counted to `{OTHER_CAUSE}`")
        for rule, file, _ in self.live("evidence"):
            self._take(file, ("then", "seen_with"), cause, rule, "it speaks of no other cause", {OTHERS})
        for check, file, _ in self.live("checks"):
            self._take(file, ("resolves",), cause, check, "it fixes nothing else")
        self._conditions("causes", cause)

    def _take(
        self, file: str, path: tuple[str, ...], key: str, id_: str, why: str, besides: Set[str] = frozenset()
    ) -> None:
        """Takes a key out of a mapping; where nothing is left but `besides`, the file is retired as it is."""
        inside = self.files[file]
        for part in path:
            inside = inside.get(part, {})
        if key not in inside:
            return
        if inside.keys() <= {key, *besides}:
            self.retire(file.partition("/")[0], id_, why)
        else:
            del inside[key]
            self.say(file, (*path, key), f"{key} is taken out")

    def _check(self, check: str) -> None:
        for _, file, data in self.live("cautions"):
            for key in ("forbids", "first"):
                if isinstance(listed := data["then"].get(key), list) and check in listed:
                    listed.remove(check)
                    self.say(file, ("then", key), f"{check} is taken out of `{key}`")
        manifest = self.files.get("rulebook.yml", {})
        groups = manifest.get("together", [])
        if any(check in group for group in groups):
            left = [[each for each in group if each != check] for group in groups]
            manifest["together"] = [group for group in left if len(group) > 1]
            self.say("rulebook.yml", ("together",), f"{check} is taken out of what is done together")

    def _symptom(self, symptom: str) -> None:
        self._conditions("symptoms", symptom)
        for _, file, data in self.live("symptoms"):
            if data.get("together_with", {}).pop(symptom, None) is not None:
                self.say(file, ("together_with", symptom), "its shares with it are taken out")
        for words, _, data in self.live("words"):
            if data.get("symptom") == symptom:
                self.retire("words", words, "they point to nothing else")

    def _caution(self, caution: str) -> None:
        for _, file, data in self.live("checks"):
            if caution in data.get("cautions", ()):
                data["cautions"].remove(caution)
                self.say(file, ("cautions",), f"{caution} is no longer said with it")

    def _fact(self, fact: str) -> None:
        self._conditions("facts", fact)
        for _, file, data in self.live("symptoms"):
            if fact in data.get("ask_first", ()):
                data["ask_first"].remove(fact)
                self.say(file, ("ask_first",), f"{fact} is no longer asked first")
        for rule, file, _ in self.live("derive"):
            self._take(file, ("then", "set"), fact, rule, "it sets nothing else")
        for words, _, data in self.live("words"):
            if data.get("danger") == fact:
                self.retire("words", words, "they raise nothing else")
        for model in self.files.get("models.yml", {}).get("models", {}):
            if self.files["models.yml"]["models"][model]["facts"].pop(fact, None) is not None:
                self.say("models.yml", ("models", model, "facts", fact), "its number is taken out")
        for _, file, data in self.live("limits"):
            if fact in data["inputs"]:
                says = "rows of this table decide by it; write them without it, then take it out of `inputs`"
                self.say(file, ("inputs",), says, by_hand=True)
        for _, file, data in self.live("policy", "cautions"):
            if f"{{{fact}}}" in data["then"]["text"]:
                self.say(file, ("then", "text"), f"the text names {{{fact}}}; word it without", by_hand=True)
        for _, file, data in self.live("warranty"):
            for index, risk in enumerate(data.get("at_risk", ())):
                if fact in facts_of(risk["when"]):
                    self.say(file, ("at_risk", index), "this risk looks at it; take it out", by_hand=True)

    def _conditions(self, kind: str, name: str) -> None:
        """Rules and checks that look at it: without a branch that can no longer hold, or retired."""
        facts = frozenset(
            {name} if kind == "facts" else (fact for fact, of in VALUES_OF.items() if of == kind)
        )
        for kind_of_rule in ("derive", "evidence", "cautions", "policy", "checks"):
            for rule, file, data in self.live(kind_of_rule):
                if not data.get("when") or not facts & facts_of(data["when"]):
                    continue
                left = pruned(data["when"], partial(left_of, kind, name))
                if left == data["when"]:
                    continue
                if left is None:
                    self.retire(kind_of_rule, rule, f"its condition {_NEVER}")
                elif not left:
                    says = "its condition would always hold without it; write another, or retire it"
                    self.say(file, ("when",), says, by_hand=True)
                else:
                    excepted = kind == "facts" and name in facts_of(data["when"], "none_of")
                    data["when"] = left
                    self.say(file, ("when",), f"what {_NEVER} is taken out of the condition")
                    if excepted:
                        says = "it was an exception (`none_of`): without it the rule holds more often"
                        self.say(file, ("when",), says, by_hand=True)
                    cases = [case for case in data.get("cases", ()) if not names(case["facts"], kind, name)]
                    if len(cases) < len(data.get("cases", ())):
                        data["cases"] = cases
                        self.say(file, ("cases",), "the cases that name it are taken out")

    def _cases(self, kind: str, name: str) -> None:
        for case, file, data in self.live("cases"):
            report, expect = data["report"], data["expect"]
            if kind == "symptoms" and report.get("symptoms") == [name]:
                self.retire("cases", case, "it reports nothing else")
                continue
            if kind == "symptoms" and name in report.get("symptoms", ()):
                report["symptoms"].remove(name)
                self.say(file, ("report", "symptoms"), f"{name} is taken out of the report")
            for place in (report.get("answers"), (data.get("machine") or {}).get("facts")):
                if kind == "facts" and place and place.pop(name, None) is not None:
                    self.say(file, ("report",), f"{name} is taken out")
            if kind == "checks" and any(done.get("check") == name for done in report.get("checks", ())):
                self.retire("cases", case, "it tells of that check")
            key = {"causes": "top_cause", "checks": "first_check", "cautions": "cautions"}.get(kind, "")
            wanted = expect.get(key)
            if isinstance(wanted, list) and name in wanted and len(wanted) > 1:
                wanted.remove(name)
                self.say(file, ("expect", key), f"{name} is no longer expected")
            elif wanted in (name, [name]) and len(expect) == 1:
                self.retire("cases", case, "it expects nothing else")
            elif wanted in (name, [name]):
                del expect[key]
                self.say(file, ("expect", key), f"`{key}` is taken out; say there what is right now")
