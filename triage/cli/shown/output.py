"""Where output goes: answers to standard output, messages to standard error."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, time
from decimal import Decimal

import click
import simplejson
from rich.console import Console

from triage.values.errors import Problem

AS_JSON = click.option("--json", "as_data", is_flag=True, help="Print it as JSON.")


def print_json(value: object, *, line: bool = False) -> None:
    """JSON alone on standard output, numbers exact; on one line where it is one of several."""
    indent = None if line else 2
    text = _dumps(value, indent, ascii_only=False)
    if any("\ud800" <= sign <= "\udfff" for sign in text):  # half a pair is JSON, but cannot be printed
        text = _dumps(value, indent, ascii_only=True)
    click.echo(text)


def print_done(as_data: bool, data: Mapping[str, object], words: str, *, answer: bool = False) -> None:
    """What was done: as JSON, or in words on standard error (standard output where they are the answer)."""
    if as_data:
        print_json(data)
    else:
        click.echo(words, err=not answer)


def _dumps(value: object, indent: int | None, *, ascii_only: bool) -> str:
    return simplejson.dumps(
        value, use_decimal=True, indent=indent, ensure_ascii=ascii_only, allow_nan=False, default=_date_text
    )


def _date_text(value: object) -> object:
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    raise TypeError(f"{type(value).__name__} is not JSON data")


def problem_as_data(problem: Problem) -> dict[str, object]:
    """What is wrong and where, without what is not known."""
    return {name: value for name, value in asdict(problem).items() if value is not None}


def console() -> Console:
    """For people; plain text when it is not a terminal."""
    return Console(soft_wrap=False, highlight=False, width=None)


def messages() -> Console:
    return Console(stderr=True, highlight=False)
