"""The what-if page of a ticket: change facts or, for ops, rules; see the decision before and after.

Facts stand in the address, so that a what-if can be linked; the text of an edited rule is sent by POST.
Nothing is stored.
"""

from dataclasses import replace
from itertools import groupby
from typing import Any, Literal
from urllib.parse import urlencode

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from api.desk.danger_view import danger_rows
from api.http.auth import caller, page_roles, service
from api.http.work_folder import MOST_FORM_BYTES, work_folder
from api.ops.what_if_form import Asked, asked_for, check_fields, fact_fields
from api.pages.choices import askable, store_checks
from api.pages.sign_in import DESK
from api.pages.words import unit_words
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.shapes import KINDS, SINGLES
from triage.rulebook_care.book.difference import yaml_text
from triage.service.rulebooks import files_of, kept_version, log
from triage.service.what_if import Rules, WhatIf, what_if
from triage.values.errors import InputError, NotFoundError, Problem
from triage.values.plain_data import canonical, plain
from triage.values.shown import N_, percent
from triage.values.yaml_source import read_yaml
from triage.what_if.changes import Changes, read_values
from triage.what_if.diff import outcome_said
from triage.what_if.turning_points import turning_words

blueprint = Blueprint("what_if_page", __name__)

TITLES = (
    *(N_("Outcome"), N_("Reasons"), N_("Cautions"), N_("Facts"), N_("Rules"), N_("Causes"), N_("Plan")),
    *(N_("Cost of the rest of the call"), N_("Limit"), N_("Warranty"), N_("Visit"), N_("Keep or swap")),
    *(N_("Questions"), N_("Computed facts"), N_("Notes")),
)
OPEN_PARTS = ("outcome", "reasons", "cautions", "facts", "rules", "causes", "plan")
MOST_VERSIONS = 20


@blueprint.get("/tickets/<ticket_id>/what-if")
@page_roles(*DESK)
def page(ticket_id: str) -> ResponseReturnValue:
    found = what_if(service(), ticket_id, Changes(), caller())
    asked = asked_for(request.args, service().rulebook, found.before, found.ticket.report)
    asked = _allowed(asked)
    if sorted(asked.query()) != sorted(request.args.items(multi=True)):
        address = url_for("what_if_page.page", ticket_id=found.ticket.id)
        query = urlencode(asked.query())
        return redirect(f"{address}?{query}" if query else address)
    return _shown(found, asked, None)


@blueprint.post("/tickets/<ticket_id>/what-if")
@page_roles("ops")
def edited(ticket_id: str) -> ResponseReturnValue:
    """With the text of one edited file."""
    request.max_content_length = MOST_FORM_BYTES
    request.max_form_memory_size = MOST_FORM_BYTES
    found = what_if(service(), ticket_id, Changes(), caller())
    fields = MultiDict(
        (name, value) for name, value in request.form.items(multi=True) if name not in ("text", "ticket")
    )
    asked = asked_for(fields, service().rulebook, found.before, found.ticket.report)
    return _shown(found, asked, request.form.get("text", "").replace("\r\n", "\n"))


def _allowed(asked: Asked) -> Asked:
    return asked if caller().role == "ops" else replace(asked, version="", rule="")


def _shown(unchanged: WhatIf, asked: Asked, text: str | None) -> ResponseReturnValue:
    rulebook = service().rulebook
    found: WhatIf | None = None
    problems: tuple[Problem, ...] = ()
    status = 200
    original: str | None = None
    try:
        original = _text_of(asked, unchanged) if asked.rule else None
        if asked.changes or asked.live or asked.turning or text is not None:
            found = _decided(unchanged, asked, text)
    except InputError as error:
        problems, status = _placed(error.told), 404 if isinstance(error, NotFoundError) else 422
    shown = found or unchanged
    return render_template(
        "what_if.html",
        dangers=danger_rows(service().rulebook, unchanged.ticket.dangers.standing, unchanged.ticket.id),
        ticket=unchanged.ticket,
        asked=asked,
        found=found,
        before=shown.before,
        after=shown.after,
        parts=[
            (_title_of(part), part in OPEN_PARTS, list(rows))
            for part, rows in groupby(shown.changed, key=lambda each: each.part)
        ],
        turning=None if shown.turning is None else list(turning_words(shown.turning)),
        left_out=() if shown.turning is None else shown.turning["left_out"],
        facts=fact_fields(asked, rulebook, unchanged.before, unit_words),
        checks=check_fields(asked, rulebook, unchanged.before, unchanged.ticket.report),
        askable=askable(rulebook),
        store_checks=store_checks(rulebook),
        problems=problems,
        original=original,
        text=original if text is None else text,
        mattered=_mattered(unchanged.before, rulebook) if caller().role == "ops" else (),
        all_files=_all_files(rulebook) if caller().role == "ops" else (),
        versions=_versions() if caller().role == "ops" else (),
        outcome_said=outcome_said,
        percent=percent,
    ), status


def _title_of(part: str) -> str:
    return "Cost of the rest of the call" if part == "cost" else part.replace("_", " ").capitalize()


def _decided(unchanged: WhatIf, asked: Asked, text: str | None) -> WhatIf:
    values = read_values(service().rulebook, asked.facts, service().now().date())
    changes = Changes(values, asked.forget, asked.checks, asked.at or None, asked.spent or None)
    texts = {} if text is None or not asked.rule else {asked.rule: text}
    rules = Rules(asked.version or None, texts)
    base: Literal["own", "live"] = "live" if asked.live else "own"
    return what_if(service(), unchanged.ticket.id, changes, caller(), base, rules, asked.turning)


def _placed(problems: tuple[Problem, ...]) -> tuple[Problem, ...]:
    """Problems as the page lists them: the place stands before the message."""
    return tuple(Problem(str(problem) if problem.file else problem.message) for problem in problems)


def _text_of(asked: Asked, unchanged: WhatIf) -> str:
    """The edited file as it stands in the rulebook it is laid over: from the folder where that says so.

    Raises NotFoundError where the rulebook has no such file.
    """
    base = service().rulebook.version if asked.live else unchanged.before["rulebook"]
    version = kept_version(service(), asked.version) if asked.version else base
    files = files_of(service(), version)
    if asked.rule not in files:
        raise NotFoundError(f'the rulebook has no file "{asked.rule[:80]}"')
    kept = plain(files[asked.rule])
    try:
        text = work_folder().read(asked.rule).text
        if canonical(read_yaml(text.encode(), asked.rule).data) == canonical(kept):
            return text
    except InputError:
        pass
    return yaml_text(_in_order(kept, asked.rule))


def _in_order(data: object, file: str) -> object:
    """A file's keys in the order in which its kind is written."""
    kind = file.rpartition("/")[0]
    shape = KINDS.get(kind) if kind else SINGLES.get(file)
    if shape is None or not isinstance(data, dict):
        return data
    keys = [field.alias or name for name, field in shape.model_fields.items()]
    return {
        key: data[key] for key in (*(key for key in keys if key in data), *(k for k in data if k not in keys))
    }


def _mattered(decision: Any, rulebook: Rulebook) -> list[tuple[str, str]]:
    """(file, title) of the rules that fired or weighed in the three likeliest causes."""
    weighed = [factor["rule"] for cause in decision["causes"][:3] for factor in cause["factors"]]
    argued = [reason["rule"] for reason in (*decision["reasons"], *decision["overruled"])]
    files = {
        head.id: (head.file, head.title)
        for kind in (rulebook.derive, rulebook.evidence, rulebook.cautions, rulebook.policy)
        for head in (rule.head for rule in kind.values())
    }
    checks = [step["check"] for step in decision["plan"]]
    found = [files[rule] for rule in dict.fromkeys((*argued, *decision["fired"], *weighed)) if rule in files]
    steps = [rulebook.checks[check] for check in checks if check in rulebook.checks]
    found += [(f"checks/{step.id}.yml", step.title) for step in steps]
    return sorted(found)


def _all_files(rulebook: Rulebook) -> list[str]:
    try:
        files = files_of(service(), rulebook.version)
    except NotFoundError:
        return []
    return [file for file in sorted(files) if file in SINGLES or file.rpartition("/")[0] in KINDS]


def _versions() -> list[tuple[str, str]]:
    """Kept rulebooks, newest first, with what the log says of each first."""
    found: dict[str, str] = {}
    for line in log(service()):
        found.setdefault(line.version, f"{line.stage} {line.at:%Y-%m-%d} by {line.who}: {line.note}"[:90])
    return list(found.items())[:MOST_VERSIONS]
