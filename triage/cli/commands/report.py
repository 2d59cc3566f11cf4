"""`barrelwise report`: a month at a glance as one HTML file that needs nothing else."""

from datetime import date
from pathlib import Path

import click

from triage.cli.shown.opened import opened_service
from triage.cli.shown.output import print_json
from triage.repairs.weeks import month_of
from triage.service.numbers import numbers


@click.command()
@click.option("--month", required=True, metavar="YYYY-MM", help="The month, such as 2026-10.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="The file to write.")
@click.option("--json", "as_json", is_flag=True, help="Print the numbers as JSON, as GET /v1/numbers does.")
def report(month: str, out: Path | None, as_json: bool) -> None:
    """Write the numbers of a month, with their pictures, to one HTML file to send or print."""
    from api.app import create_app  # the API imports the core, so the core names it only here
    from api.ops.numbers import as_file

    try:
        days = month_of(date.fromisoformat(f"{month}-01"))
    except ValueError:
        raise click.BadParameter("write a month, such as 2026-10", param_hint="--month") from None
    if out is None and not as_json:
        raise click.UsageError("name the file to write with --out, or print the numbers with --json")
    with opened_service() as service:
        period = days.first.isoformat(), days.last.isoformat()
        if as_json:
            print_json(numbers(service, *period))
        if out is None:
            return
        written = as_file(create_app(service), *period)
    try:
        out.write_text(written, encoding="utf-8")
    except OSError as error:
        raise click.BadParameter(f"{out} cannot be written: {error.strerror}", param_hint="--out") from None
    click.echo(f"wrote {out}", err=as_json)
