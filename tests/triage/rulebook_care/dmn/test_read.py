"""Reading DMN: the work grows with the file and not faster."""

from __future__ import annotations

from lxml import etree

from triage.rulebook_care.dmn.read import _Reader

SPACE = "https://www.omg.org/spec/DMN/20230324/MODEL/"


class Types(dict[str, str]):
    """Counts how often a type is followed."""

    asked = 0

    def get(self, name: str, default: str = "") -> str:  # type: ignore[override]
        self.asked += 1
        return super().get(name, default)


def test_a_chain_of_types_is_followed_once_however_many_cells_name_it() -> None:
    root = etree.Element(f"{{{SPACE}}}definitions", nsmap={None: SPACE})
    reader = _Reader(root, "tables.dmn")
    reader.types = types = Types(
        {f"t{index}": f"t{index + 1}" for index in range(500)} | {"t500": "amount_EUR"}
    )
    for _ in range(1000):
        reader.note_currency(root, "t0")
    assert set(reader.currencies) == {"EUR"}
    assert types.asked < 600


def test_a_circle_of_types_leads_to_no_currency() -> None:
    root = etree.Element(f"{{{SPACE}}}definitions", nsmap={None: SPACE})
    reader = _Reader(root, "tables.dmn")
    reader.types = {"a": "b", "b": "a"}
    reader.note_currency(root, "a")
    assert reader.currencies == {}
