"""Caller, store and machine heard in the words of a call."""

from __future__ import annotations

import pytest

from triage.inputs.machine_search import ListedMachine, index_machines
from triage.intake.places import Place, heard_place

ALDER = ("halt-001", "Lanternway Alder Quay", "Alder", "555-0101")
GULL = ("halt-007", "Lanternway Gull Point", "Gull", "555-0107")
ONE = ListedMachine("LH20-10001", "LH-20", "LW-0001", *ALDER)
TWO = ListedMachine("LH30-10002", "LH-30", "LW-0002", *ALDER)
THREE = ListedMachine("LH30-10019", "LH-30", "LW-0019", *GULL)
INDEX = index_machines([ONE, TWO, THREE])


@pytest.mark.parametrize(
    ("said", "place"),
    [
        ("10001 it is all liquid", Place((ONE,), True, "halt-001")),
        ("lh20 10001", Place((ONE,), True, "halt-001")),
        ("tag LW-0002", Place((TWO,), True, "halt-001")),
        ("alder quay, it leaks", Place((ONE, TWO), False, "halt-001")),
        ("Gull, it leaks", Place((THREE,), True, "halt-007")),
        ("I do not see the point", Place()),
        ("call 555-0107", Place((THREE,), True, "halt-007", phone="555-0107")),
        ("5550107", Place((THREE,), True, "halt-007", phone="5550107")),
        ("call me on (555) 555-0177", Place(phone="(555) 555-0177")),
        ("halt-001 and 10002", Place((TWO,), True, "halt-001")),
        ("plate says LH20-99999", Place(serial_said="LH20-99999")),
        ("alder, LH20-99999", Place((ONE, TWO), False, "halt-001", serial_said="LH20-99999")),
        ("10001 or 10019", Place((ONE, THREE), False)),
        ("This is Rosa Lopez. It leaks", Place(caller="Rosa Lopez")),
        ("soy Ana, no enfría", Place(caller="Ana")),
        ("Dana here, since 11", Place(caller="Dana")),
        ("Dana from Gull Point, it leaks", Place((THREE,), True, "halt-007", caller="Dana")),
        ("Water from the back", Place()),
        ("this is bad", Place()),
        ("", Place()),
    ],
)
def test_who_where_and_which_machine_are_heard(said: str, place: Place) -> None:
    assert heard_place(INDEX, said) == place


def test_the_words_that_tell_it_are_quoted_as_they_were_said() -> None:
    said = heard_place(INDEX, "Alder QUAY, clerk Dana on 555-0107, 10001, not LH20-99999. It leaks").said
    assert set(said) == {"Alder", "QUAY", "555-0107", "10001", "LH20-99999", "Dana"}
