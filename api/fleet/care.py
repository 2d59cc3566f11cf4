"""Care of the fleet: what is due where, as a list, letters, a calendar and a spreadsheet; the signed log."""

from collections.abc import Mapping

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.fleet.overview import filters_asked, offset_asked, refuse_unknown
from api.http.auth import caller, page_roles, service
from api.http.json_bodies import as_text, body_up_to
from api.pages.sign_in import DESK
from api.pages.texts import gettext
from triage.inputs.photo import MOST_BYTES
from triage.repairs.exports import as_csv
from triage.service import machines
from triage.service.fleet import care
from triage.service.installs.guide import CARE_CHECKS
from triage.values.errors import InputError, Problem

blueprint = Blueprint("care", __name__)
PAGE = 50
MOST_LETTERS = 500
FILTERS = {"site": 64, "contractor": 64, "task": 16}


@blueprint.get("/care")
@page_roles(*DESK)
def due() -> ResponseReturnValue:
    return _page()


def _page(problems: tuple[Problem, ...] = ()) -> ResponseReturnValue:
    filters, view, offset = _filters(), view_asked(), offset_asked()
    found = care.page(service(), view, filters, offset, PAGE + 1)
    page = render_template(
        "fleet/care.html",
        found=found,
        view=view,
        views={"overdue": gettext("Overdue"), "due": gettext("Due within 7 days"), "all": gettext("All")},
        filters=filters,
        contractors=machines.contractors(service()),
        task_title=task_title,
        more=offset + PAGE if len(found.rows) > PAGE else None,
        page_size=PAGE,
        told=request.args.get("told", "")[:10],
        problems=problems,
    )
    return (page, 422) if problems else page


@blueprint.get("/care.csv")
@page_roles(*DESK)
def as_sheet() -> ResponseReturnValue:
    rows = (one.cells() for one in care.every(service(), view_asked(), _filters()))
    answer = as_text(as_csv(care.COLUMNS, rows), "text/csv")
    answer.headers["Content-Disposition"] = 'attachment; filename="care.csv"'
    return answer


@blueprint.get("/care.ics")
@page_roles(*DESK)
def as_calendar() -> ResponseReturnValue:
    answer = Response(care.calendar(service(), _filters()), content_type="text/calendar; charset=utf-8")
    answer.headers["Content-Disposition"] = 'attachment; filename="care.ics"'
    return answer


@blueprint.get("/care/letters")
@page_roles(*DESK)
def letters() -> ResponseReturnValue:
    """A letter to each store, on a page of its own when printed."""
    found = care.letters(service(), view_asked(), _filters())
    return render_template(
        "fleet/letters.html",
        letters=found[:MOST_LETTERS],
        cut=len(found) > MOST_LETTERS,
        today=service().now().date(),
        task_title=task_title,
    )


@blueprint.post("/care/remind")
@page_roles(*DESK)
def remind() -> ResponseReturnValue:
    """An e-mail to one store, with its link."""
    site = request.form.get("site", "")
    try:
        until = care.remind(service(), site, caller())
    except InputError as error:
        return _page(error.told)
    return redirect(url_for("care.due", site=site, view="due", told=until.date()), 303)


@blueprint.get("/care/kept")
@page_roles("ops")
def kept() -> ResponseReturnValue:
    return render_template("fleet/kept.html", months=care.kept_by_month(service()))


@blueprint.get("/machines/<serial>/care")
@page_roles(*DESK)
def log(serial: str) -> ResponseReturnValue:
    """The cleaning log of one machine, newest first, with who signed it."""
    view = machines.machine(service(), serial, caller())
    site = view.machine.site
    return render_template(
        "fleet/care_log.html", view=view, zone=machines.zone_of(service(), site), kinds=kind_titles()
    )


@blueprint.get("/care/photos/<digest>.jpg")
@page_roles(*DESK)
def photo(digest: str) -> ResponseReturnValue:
    return Response(care.photo(service(), digest), content_type="image/jpeg")


@blueprint.get("/care/store/<held>")
def store(held: str) -> ResponseReturnValue:
    """A store's own page: what is due, and a form to say that it is done. Nobody signs in."""
    return _store(held)


@blueprint.post("/care/store/<held>")
@body_up_to(MOST_BYTES)
def done(held: str) -> ResponseReturnValue:
    form = request.form
    task, _, side = form.get("task", "").partition(":")
    sent = request.files.get("photo")
    try:
        care.done_by_link(
            service(),
            held,
            form.get("machine", ""),
            task,
            side,
            form.get("name", ""),
            sent.read() if sent is not None else b"",
        )
    except InputError as error:
        return _store(held, error.told)
    return redirect(url_for("care.store", held=held, done="1"), 303)


def _store(held: str, problems: tuple[Problem, ...] = ()) -> ResponseReturnValue:
    try:
        site, rows = care.of_link(service(), held)
    except InputError:
        text = gettext("This link is not valid, or no longer. Ask to be sent a new one.")
        return render_template("field/over.html", text=text, done=False), 404
    checks = service().rulebook.checks
    by_machine: dict[str, list[care.Due]] = {}
    for one in rows:
        by_machine.setdefault(one.row.serial, []).append(one)
    page = render_template(
        "fleet/store.html",
        site=site,
        machines=by_machine,
        done="done" in request.args,
        steps={task: checks[id_] for task, id_ in CARE_CHECKS.items() if id_ in checks},
        cautions=service().rulebook.cautions,
        task_title=task_title,
        problems=problems,
        form=request.form,
    )
    return (page, 422) if problems else page


def task_title(task: str, side: str) -> str:
    title = gettext("Rinse the air filter") if task == "filter" else gettext("Clean and sanitize")
    sides: Mapping[str, str] = {"left": gettext("left side"), "right": gettext("right side")}
    return f"{title}, {sides[side]}" if side in sides else title


def kind_titles() -> Mapping[str, str]:
    return {
        "filter_cleaned": gettext("Air filter rinsed"),
        "fully_cleaned": gettext("Cleaned and sanitized"),
        "commissioned": gettext("Commissioned"),
    }


def view_asked() -> str:
    """Raises InputError for a view that there is not."""
    asked = request.args.get("view", "overdue")
    if asked not in care.VIEWS:
        refuse_unknown("view", f'there is no view "{asked[:20]}"', care.VIEWS)
    return asked


def _filters() -> dict[str, str]:
    return {name: said for name, said in filters_asked(FILTERS).items() if said}
