"""The group of commands, and the one place where errors become messages and an exit status."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import click

from triage.cli.lazy import LazyGroup
from triage.values.errors import InputError, Problem, UnavailableError

WRONG_INPUT = 2
JSON = "--json"
FAILED = 70  # EX_SOFTWARE of sysexits.h: a fault of the program, not of the input
TRY_AGAIN = 75  # EX_TEMPFAIL of sysexits.h


COMMANDS = {
    "triage": "triage.cli.commands.triage:triage",
    "commission": "triage.cli.commands.commission:commission",
    "install": "triage.cli.commands.installs:install",
    "training": "triage.cli.commands.training:training",
    "serve": "triage.cli.commands.serve:serve",
    "load": "triage.cli.commands.load:load",
    "explain": "triage.cli.commands.explain:explain",
    "what-if": "triage.cli.commands.what_if:what_if_command",
    "webhook": "triage.cli.commands.outgoing:webhook",
    "deliver": "triage.cli.commands.outgoing:deliver",
    "backup": "triage.cli.commands.backup:backup",
    "restore": "triage.cli.commands.backup:restore_command",
    "copy": "triage.cli.commands.backup:copy_command",
    "verify": "triage.cli.commands.backup:verify",
    "forget": "triage.cli.commands.forget:forget",
    "token": "triage.cli.commands.token:token",
    "report": "triage.cli.commands.report:report",
    "simulate": "triage.cli.commands.simulate:simulate_command",
    "rulebook": "triage.cli.main:rulebook",
}
RULEBOOK_COMMANDS = {
    "schema": "triage.cli.rulebook.pages:schema",
    "check": "triage.cli.rulebook.check:check",
    "cases": "triage.cli.rulebook.cases:cases",
    "table": "triage.cli.rulebook.pages:table",
    "new": "triage.cli.rulebook.pages:new",
    "copy": "triage.cli.rulebook.pages:copy",
    "retire": "triage.cli.rulebook.retire:retire",
    "diff": "triage.cli.rulebook.diff:diff",
    "replay": "triage.cli.rulebook.replay:replay_command",
    "publish": "triage.cli.rulebook.publish:publish",
    "agree": "triage.cli.rulebook.publish:agree",
    "rollback": "triage.cli.rulebook.publish:rollback",
    "log": "triage.cli.rulebook.publish:log",
    "learn": "triage.cli.rulebook.learn:learn_command",
    "tables-out": "triage.cli.rulebook.dmn:tables_out",
    "tables-in": "triage.cli.rulebook.dmn:tables_in",
}


@click.group(cls=LazyGroup, places=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="barrelwise", message="%(prog)s %(version)s")
def barrelwise() -> None:
    """Triage for trouble reports on frozen-drink dispensers: one report in, one decision out."""


@click.group(cls=LazyGroup, places=RULEBOOK_COMMANDS)
def rulebook() -> None:
    """Check the rulebook and help write it."""


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Runs one command and exits with its status. Never shows a traceback."""
    sys.exit(run(arguments))


def run(arguments: Sequence[str] | None = None) -> int:
    """Runs one command and gives its exit status."""
    given = sys.argv[1:] if arguments is None else list(arguments)
    try:
        status = barrelwise.main(given, prog_name="barrelwise", standalone_mode=False)
        return status if isinstance(status, int) else 0
    except InputError as error:
        return _told(given, WRONG_INPUT, error.told)
    except UnavailableError as error:
        return _told(given, TRY_AGAIN, [Problem(str(error))])
    except click.ClickException as error:
        if JSON in given:
            return _told(given, WRONG_INPUT, [Problem(error.format_message())])
        error.show()
        return WRONG_INPUT
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        return 130
    except BrokenPipeError:
        # Whoever read our output has seen enough; keep the interpreter from complaining at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        message = f"Internal error, not your input: {type(error).__name__}: {error}"
        return _told(given, FAILED, [Problem(message)])


def _told(given: Sequence[str], status: int, problems: Sequence[Problem]) -> int:
    """Says what is wrong: to people on standard error, with --json as JSON where the answer would stand."""
    if JSON in given:
        from triage.cli.shown.output import print_json, problem_as_data

        print_json({"status": status, "problems": [problem_as_data(problem) for problem in problems]})
    else:
        for problem in problems:
            click.echo(str(problem), err=True)
    return status
