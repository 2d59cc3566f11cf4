"""What the calculations take and give agrees with the default vocabulary and with their docstrings."""

from decimal import Decimal

import pint
import pytest
from ruamel.yaml import YAML

from tests import RULES
from triage.machine import commissioning
from triage.machine.measures import clearance, freeze, level, mix, supply, upkeep
from triage.records.installs.training import StoreTraining
from triage.rulebook.reading.reader import read_rulebook

CALCULATIONS = [supply, freeze, level, clearance, mix]
VOCABULARY = RULES / "facts"
INPUTS = {name: span for module in CALCULATIONS for name, span in module.INPUTS.items()}
units = pint.UnitRegistry()

EVERYTHING = {
    supply: {
        "conductor_awg": Decimal(12), "wire_run_ft": Decimal(60), "idle_volts": Decimal(119),
        "running_volts": Decimal(115), "running_amps": Decimal(12), "start_amps": Decimal(40),
        "circuit_amps": Decimal(20), "extension_cord": False,
    },
    freeze: {
        "label_brix": Decimal(13), "refill_volume_l": Decimal(8), "refill_temp": "hot",
        "room_temp_f": Decimal(80), "cooling_watts": Decimal(800), "minutes_since_refill": Decimal(30),
    },
    level: dict.fromkeys(level.LEGS, Decimal(4)) | {"leg_depth_in": Decimal(20), "leg_width_in": Decimal(16)},
    clearance: {"clearance_behind_in": Decimal(3), "clearance_need_behind_in": Decimal(6)},
    mix: {
        "water_jugs": Decimal(2), "jug_l": Decimal(5), "pouches": Decimal(1), "pouch_kg": Decimal("1.5"),
        "pouch_brix": Decimal(100), "label_brix": Decimal(13), "brix_measured": Decimal(12),
    },
}  # fmt: skip


def vocabulary_entry(name):
    path = VOCABULARY / f"{name}.yml"
    return YAML(typ="safe").load(path) if path.exists() else None


@pytest.mark.parametrize("name", [name for name in INPUTS if vocabulary_entry(name)])
def test_an_input_that_is_in_the_vocabulary_has_the_same_unit_and_no_wider_range(name):
    entry, span = vocabulary_entry(name), INPUTS[name]
    assert entry["type"] == "number"
    assert units.Unit(entry.get("unit") or "") == units.Unit(span.unit)
    low, high = (float(end) for end in entry["range"].strip("[]").split(".."))
    assert span.low <= low <= high <= span.high


def test_the_vocabulary_and_the_calculations_meet():
    shared = {name for name in INPUTS if vocabulary_entry(name)}
    assert {"room_temp_f", "clearance_behind_in", "minutes_since_refill"} <= shared


@pytest.mark.parametrize("module", CALCULATIONS, ids=lambda module: module.__name__)
def test_every_fact_a_calculation_gives_is_named_in_its_docstring(module):
    found = module.facts(EVERYTHING[module])
    assert len(found) >= 3
    assert [name for name in found if f"`{name}`" not in module.__doc__] == []


@pytest.mark.parametrize("module", CALCULATIONS, ids=lambda module: module.__name__)
def test_no_calculation_gives_a_fact_that_it_takes(module):
    assert set(module.facts(EVERYTHING[module])).isdisjoint(EVERYTHING[module])


@pytest.mark.parametrize("module", CALCULATIONS, ids=lambda module: module.__name__)
def test_computed_facts_of_the_vocabulary_have_the_type_and_range_computed(module):
    for name, value in module.facts(EVERYTHING[module]).items():
        entry = vocabulary_entry(name)
        if entry is None:
            continue
        kinds = {bool: "flag", str: "choice", Decimal: "number"}
        assert entry["type"] == kinds[type(value)]
        if isinstance(value, str):
            assert value in entry["choices"]
        if entry["type"] == "number":
            low, high = (float(end) for end in entry["range"].strip("[]").split(".."))
            assert low <= float(value) <= high


def test_every_computed_fact_of_the_vocabulary_is_computed_somewhere():
    rulebook = read_rulebook(VOCABULARY.parent)
    computed = {fact.id for fact in rulebook.facts.values() if fact.asked_of == "computed"}
    checklist = commissioning.read_checklist({})
    made = {name for rule in rulebook.derive.values() for name in (*rule.sets, *rule.otherwise)}
    made |= upkeep.overdue_facts({"filter_days": Decimal(1), "full_clean_days": Decimal(1)}).keys()
    made |= commissioning.facts(checklist, commissioning.findings(checklist)).keys()
    for name in computed - made:
        assert any(
            f"`{name}`" in (made_by.__doc__ or "") for made_by in (*CALCULATIONS, StoreTraining.facts)
        ), name
