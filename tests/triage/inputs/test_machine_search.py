"""A machine is found by what a caller can read or say, typing errors forgiven."""

from __future__ import annotations

import pytest

from triage.inputs.machine_search import ListedMachine, find_machines, index_machines

TOWNS = ("Alder", "Birch", "Cedar", "Willow", "Hazelford")
MACHINES = [
    ListedMachine(
        f"LH20-{10001 + n}",
        "LH-20",
        f"LW-{n + 1:04}",
        f"halt-{n // 2 + 1:03}",
        f"Lanternway {TOWNS[n // 2 % 5]} {'Quay' if n % 4 < 2 else 'Halt'}",
        TOWNS[n // 2 % 5],
        f"555-01{n // 2:02}",
    )
    for n in range(40)
]
INDEX = index_machines(MACHINES)


def serials(query: str) -> list[str]:
    return [found.machine.serial for found in find_machines(INDEX, query)]


@pytest.mark.parametrize(
    "query",
    [
        "LH20-10007",
        "lh20 10007",
        "lh2010007",
        "10007",
        "LH20-1O007",  # the letter O for the digit
        "LH20-100O7",
        "HL20-10007",  # two letters exchanged
        "lw-0007",
        "LW0007",
    ],
)
def test_serial_and_asset_tag_are_found_as_read_out(query: str) -> None:
    assert serials(query)[0] == "LH20-10007"


@pytest.mark.parametrize("query", ["halt-004", "halt 4", "004", "555-0103", "5550103", "555 0103"])
def test_a_store_is_found_by_number_and_phone(query: str) -> None:
    assert set(serials(query)[:2]) == {"LH20-10007", "LH20-10008"}


@pytest.mark.parametrize("query", ["willow", "Willow", "wilow", "willlow", "the willow"])
def test_a_town_is_found_with_typing_errors(query: str) -> None:
    found = find_machines(INDEX, query)
    assert found
    assert {each.machine.town for each in found} == {"Willow"}


def test_more_words_narrow_the_search() -> None:
    best = find_machines(INDEX, "willow quay")[0].machine
    assert (best.town, best.site_name.endswith("Quay")) == ("Willow", True)


def test_every_find_says_what_fitted() -> None:
    assert find_machines(INDEX, "555-0103")[0].by == ("phone",)
    assert find_machines(INDEX, "LW-0007")[0].by == ("asset tag",)


@pytest.mark.parametrize("query", ["", "   ", "-", "zzzzzzzz", "x" * 5000])
def test_what_fits_nothing_finds_nothing(query: str) -> None:
    assert serials(query) == []


def test_a_beginning_is_enough_while_typing() -> None:
    assert serials("LH20-1000")[:3] == ["LH20-10001", "LH20-10002", "LH20-10003"]
