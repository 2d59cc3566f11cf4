"""XLSX workbooks from anybody, opened with care: bounded in size, and whatever is broken in them is said."""

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import ZipFile

from triage.values.errors import InputError, Problem


@contextmanager
def opened_workbook(
    source: Path | BytesIO, most_bytes: int, too_large: str, unreadable: str, file: str | None = None
) -> Iterator[Callable[..., Any]]:
    """Gives what loads the workbook, `openpyxl.load_workbook` for reading only; its options go on to that.

    Rows are read within. Raises InputError (about `file`) where its parts unpack to more than `most_bytes`,
    or for whatever the libraries raise of a broken file, whose kind stands for `{kind}` in `unreadable`.
    """
    from openpyxl import load_workbook  # slow to import

    try:
        with ZipFile(source) as parts:
            if sum(part.file_size for part in parts.infolist()) > most_bytes:
                raise InputError([Problem(too_large, file=file)])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and checks of input that are not kept
            yield partial(load_workbook, source, read_only=True)
    except InputError:
        raise
    except Exception as error:
        kind = type(error).__name__
        raise InputError([Problem(unreadable.format(kind=kind), file=file)]) from None
