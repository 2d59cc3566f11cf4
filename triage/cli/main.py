"""The group of commands, and the one place where errors become messages and an exit status."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import click

from triage.cli.commands import commission as commission_command
from triage.cli.commands import explain as explain_command
from triage.cli.commands import load as load_command
from triage.cli.commands import serve as serve_command
from triage.cli.commands import token as token_commands
from triage.cli.commands.triage import triage
from triage.cli.commands.what_if import what_if_command
from triage.cli.rulebook import rulebook_group as rulebook_commands
from triage.cli.rulebook.diff import diff
from triage.cli.rulebook.dmn import tables_in, tables_out
from triage.cli.rulebook.learn import learn_command
from triage.cli.rulebook.publish import log, publish, rollback
from triage.cli.rulebook.replay import replay_command
from triage.values.errors import InputError

WRONG_INPUT = 2
FAILED = 70  # EX_SOFTWARE of sysexits.h: a fault of the program, not of the input


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def barrelwise() -> None:
    """Triage for trouble reports on frozen-drink dispensers: one report in, one decision out."""


barrelwise.add_command(triage)
barrelwise.add_command(commission_command.commission)
barrelwise.add_command(serve_command.serve)
barrelwise.add_command(load_command.load)
barrelwise.add_command(explain_command.explain)
barrelwise.add_command(what_if_command)
barrelwise.add_command(token_commands.token)
barrelwise.add_command(rulebook_commands.rulebook)
for command in (diff, replay_command, publish, rollback, log, learn_command, tables_out, tables_in):
    rulebook_commands.rulebook.add_command(command)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Runs one command and exits with its status. Never shows a traceback."""
    sys.exit(run(arguments))


def run(arguments: Sequence[str] | None = None) -> int:
    """Runs one command and gives its exit status."""
    try:
        status = barrelwise.main(
            None if arguments is None else list(arguments), prog_name="barrelwise", standalone_mode=False
        )
        return status if isinstance(status, int) else 0
    except InputError as error:
        for problem in error.told:
            click.echo(str(problem), err=True)
        return WRONG_INPUT
    except click.ClickException as error:
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
        click.echo(f"Internal error, not your input: {type(error).__name__}: {error}", err=True)
        return FAILED
