"""The doors for files that people upload: workbooks, sheets of a table, photos."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from zipfile import ZipFile

from openpyxl import Workbook
from PIL import Image

from tests.fuzz.door import Opened, door, refusing
from triage.inputs.photo import LONGEST_PIXELS, read_photo
from triage.loading.workbook import read_workbook
from triage.rulebook_care.forms.sheets import pasted, read_sheet

SHEET = "xl/worksheets/sheet1.xml"


def packed(parts: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with ZipFile(out, "w") as packing:
        for name, content in parts.items():
            packing.writestr(name, content)
    return out.getvalue()


def workbook() -> bytes:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "machines"
    sheet.append(["serial", "model", "shipped_on", "price"])
    sheet.append(["LH20-1", "LH-20", "2025-08-22", 3150.5])
    sheet.append(["LH20-2", "LH-20", None, True])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@door("workbooks", nightly=20_000, everyday=60)
def workbooks() -> Iterator[Opened]:
    """The fleet's records as XLSX: the XML of its sheet, or with another first byte the whole file."""
    with ZipFile(io.BytesIO(workbook())) as good:
        parts = {name: good.read(name) for name in good.namelist()}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "fleet.xlsx"

        def read(data: bytes) -> None:
            path.write_bytes(packed({**parts, SHEET: data}) if data[:1] == b"<" else data)
            read_workbook(path)

        yield Opened(refusing(read), [parts[SHEET], workbook()], [b"<sheetData>", b"<f>A1</f>", b"1e999"])


@door("sheets", nightly=100_000)
def sheets() -> Iterator[Opened]:
    """A table of the rulebook as CSV, as XLSX, or pasted, by the first byte."""

    def read(data: bytes) -> None:
        first, rest = data[:1], data[1:]
        if first == b"p":
            rows = pasted(rest.decode("utf-8", "replace"))
        else:
            rows = read_sheet("table.xlsx" if first == b"x" else "table.csv", rest)
        assert all(isinstance(cell, str) for row in rows for cell in row)

    seeds = [
        b"ccontractor;amount\nfogline;450.00\n",
        b"pcontractor\tamount\nfogline\t450.00\n",
        b"x" + workbook(),
    ]
    yield Opened(refusing(read), seeds, [b'"', b"\t", b";", b"\xef\xbb\xbf"])


@door("photos", nightly=20_000, everyday=20)
def photos() -> Iterator[Opened]:
    """What is kept is a JPEG, however it came."""
    seeds = []
    for kind in ("JPEG", "PNG", "WEBP"):
        out = io.BytesIO()
        Image.new("RGB", (24, 16), (200, 30, 30)).save(out, kind)
        seeds.append(out.getvalue())

    def read(data: bytes) -> None:
        with Image.open(io.BytesIO(read_photo(data))) as kept:
            assert kept.format == "JPEG"
            assert max(kept.size) <= LONGEST_PIXELS

    yield Opened(refusing(read), seeds, [b"Exif\x00\x00", b"IHDR", b"\xff\xd8\xff\xe1"])
