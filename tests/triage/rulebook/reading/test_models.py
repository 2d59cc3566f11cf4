"""models.yml and the care intervals of rulebook.yml: what a rulebook says of a machine before anyone asks."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from tests import RULES
from tests.triage.builders import fact, minimal_files, minimal_rulebook
from triage.machine.measures import clearance, freeze
from triage.rulebook.model import CareIntervals
from triage.rulebook.reading.reader import read_rulebook
from triage.values.errors import RulebookError

WATTS = {
    "facts/cooling_watts.yml": fact(
        "cooling_watts", "number", asked_of="record", unit="watt", range="[50..5000]"
    )
}


def models(**facts: object) -> dict[str, object]:
    return {"models": {"LH-20": {"title": "Two barrels", "facts": facts, "source": "invented"}}}


def problem_with(file: object) -> str:
    with pytest.raises(RulebookError) as caught:
        minimal_rulebook({**WATTS, "models.yml": file})
    assert len(caught.value.problems) == 1
    return str(caught.value.problems[0])


def test_a_rulebook_may_do_without_models() -> None:
    assert minimal_rulebook().models == {}


def test_a_models_numbers_are_read_in_the_facts_own_unit() -> None:
    rulebook = minimal_rulebook({**WATTS, "models.yml": models(cooling_watts="0.62 kW")})
    assert rulebook.models["LH-20"].facts == {"cooling_watts": Decimal(620)}
    assert rulebook.models["LH-20"].source == "invented"


def test_a_model_is_part_of_the_rulebooks_version() -> None:
    one, other = (
        minimal_rulebook({**WATTS, "models.yml": models(cooling_watts=watts)}).version for watts in (620, 630)
    )
    assert one != other


@pytest.mark.parametrize(
    ("file", "place", "said"),
    [
        (models(cooling_wats=620), "models.LH-20.facts", 'no fact "cooling_wats"; did you mean'),
        (models(cooling_watts=9000), "models.LH-20.facts.cooling_watts", "out of range"),
        (models(cooling_watts=True), "models.LH-20.facts.cooling_watts", "true"),
        (models(filter_days=3), "models.LH-20.facts", "is not a fact of a model"),
        (models(age_months=3), "models.LH-20.facts", "is not a fact of a model"),
        (models(), "models.LH-20", "facts"),
        ({"models": {}}, "models.yml", "models"),
        ({"modles": {}, "models": models(cooling_watts=620)["models"]}, "models.yml", "modles"),
    ],
)
def test_what_is_no_number_of_a_model_is_refused_with_its_place(file: object, place: str, said: str) -> None:
    problem = problem_with(file)
    assert problem.startswith("models.yml")
    assert place in problem
    assert said in problem


def test_a_problem_in_the_file_has_its_line_and_column(tmp_path: Path) -> None:
    from tests.triage.rulebook.reading.test_reader import write

    text = "models:\n  LH-20:\n    title: Two\n    source: invented\n    facts:\n      cooling_watts: 6\n"
    folder = write(tmp_path, minimal_files({**WATTS, "models.yml": text}))
    with pytest.raises(RulebookError) as caught:
        read_rulebook(folder)
    (problem,) = caught.value.problems
    assert (problem.file, problem.line, problem.column) == ("models.yml", 6, 22)


def test_the_default_models_give_what_the_calculations_take() -> None:
    for model in read_rulebook(RULES).models.values():
        assert {"cooling_watts", "cooling_rated_at_c", "serving_temp_c"} <= set(model.facts) & set(
            freeze.INPUTS
        )
        assert {"clearance_need_behind_in"} <= set(model.facts) & set(clearance.INPUTS)


def test_care_intervals_are_the_rulebooks_own() -> None:
    assert minimal_rulebook().care == CareIntervals(15, 30)
    manifest = minimal_files()["rulebook.yml"]
    assert isinstance(manifest, dict)
    changed = {**manifest, "care": {"filter_days": 10}}
    assert minimal_rulebook({"rulebook.yml": changed}).care == CareIntervals(10, 30)
    for wrong in ({"filter_days": 0}, {"filter_day": 10}, {"filter_days": 1.5}):
        with pytest.raises(RulebookError, match="care"):
            minimal_rulebook({"rulebook.yml": {**manifest, "care": wrong}})
