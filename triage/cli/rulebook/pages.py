"""`barrelwise rulebook table|new|copy|schema`: a document, a new rule's file, a folder to edit, schemas."""

import json
import shutil
from pathlib import Path

import click

from triage.cli.shown.files import now
from triage.cli.shown.output import AS_JSON, print_done, print_json
from triage.config import read_settings
from triage.rulebook.reading.json_schema import schemas
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.book.book import as_html, as_markdown
from triage.rulebook_care.editing.scaffold import KINDS, scaffold
from triage.values.errors import InputError, Problem

FOLDER = click.Path(path_type=Path)
FILE = click.Path(dir_okay=False, path_type=Path)


@click.command()
@click.argument("folder", type=FOLDER, required=False)
@click.option("--html", "html", is_flag=True, help="HTML instead of Markdown.")
@click.option("--language", type=click.Choice(("en", "es")), default="en", help="Of the document.")
@click.option("--out", type=FILE, help="Write into this file (.html means --html).")
@click.option("--check", "written", type=FILE, help="Only say whether this file is fresh; status 1: stale.")
@AS_JSON
def table(
    folder: Path | None, html: bool, language: str, out: Path | None, written: Path | None, as_data: bool
) -> int:
    """Print the rulebook in FOLDER as a document in which every name is a link."""
    rules = read_rulebook(folder or read_settings().rulebook)
    target = written or out
    wants_html = html or (target is not None and target.suffix.lower() in (".html", ".htm"))
    from api.pages.texts import sayer  # the API imports the core, so the core names it only here

    say = sayer(rules, language)
    document = as_html(rules, say, language) if wants_html else as_markdown(rules, say)
    if written is not None:
        fresh = written.is_file() and written.read_text(encoding="utf-8") == document
        words = f"{written} is {'fresh' if fresh else 'stale; write it again with --out'}"
        print_done(as_data, {"file": str(written), "fresh": fresh}, words)
        return 0 if fresh else 1
    if out is None:
        print_json({"document": document}) if as_data else click.echo(document, nl=False)
        return 0
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(document, encoding="utf-8")
    print_done(as_data, {"file": str(out)}, f"{out} is written")
    return 0


@click.command()
@click.argument("kind", type=click.Choice(KINDS))
@click.argument("name", metavar="ID")
@click.option("--rulebook", "folder", type=FOLDER, help="The rulebook's folder.")
@AS_JSON
def new(kind: str, name: str, folder: Path | None, as_data: bool) -> None:
    """Start a file of KIND named ID: a draft with its cases, and TODO where you have to think."""
    folder = folder or read_settings().rulebook
    file, text = scaffold(read_rulebook(folder), kind, name, now().date())
    path = folder / file
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        with path.open("x", encoding="utf-8") as stream:
            stream.write(text)
    except FileExistsError:
        raise InputError([Problem("this file is there already; choose another id", file=str(path))]) from None
    print_done(as_data, {"file": str(path)}, str(path), answer=True)


@click.command()
@click.argument("folder", type=FOLDER)
@AS_JSON
def copy(folder: Path, as_data: bool) -> None:
    """Copy the rulebook at hand into FOLDER, a new one, to be edited there."""
    try:
        shutil.copytree(read_settings().rulebook, folder)
    except FileExistsError:
        raise InputError([Problem("it is there already; name a new folder", file=str(folder))]) from None
    except (OSError, shutil.Error) as error:
        raise InputError([Problem(f"it cannot be copied ({error})", file=str(folder))]) from None
    print_done(as_data, {"folder": str(folder)}, f"BARRELWISE_RULEBOOK={folder} makes it the one at hand")


@click.command()
@click.option("--out", type=FOLDER, help="Write one file a kind into this folder instead.")
@AS_JSON
def schema(out: Path | None, as_data: bool) -> None:
    """Print the JSON Schema of each kind of file, for editors."""
    found = schemas()
    if out is None:
        print_json(found)
        return
    out.mkdir(parents=True, exist_ok=True)
    for name, one in found.items():
        target = out / f"{name.removesuffix('.yml')}.schema.json"
        target.write_text(json.dumps(one, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    print_done(as_data, {"folder": str(out), "files": len(found)}, f"{len(found)} schemas in {out}")
