"""Faults of meaning planted into the default rulebook, and by what each is found: seventy, and sixty more.

A fault is found by reading, by the lint, by what is lost of people's safety, or by a case that fails, in that
order. Four stay silent, each with the reason why nothing in the rulebook could tell.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from tests.triage.rulebook_care.lint import more_faults
from tests.triage.rulebook_care.lint.planted import (
    Edit,
    both,
    found_by,
    grown,
    put,
    reworded,
    same,
    swapped_chances,
    swapped_languages,
    without,
)

RINSE, HOT, OVER = "checks/rinse-filter.yml", "cautions/hot-plug.yml", "policy/estimate-over-limit.yml"
OVERDUE, NTE, LADDER = "evidence/filter-overdue.yml", "limits/nte.yml", "limits/authority.yml"
ROOM, FLOW, STANDARD = "facts/room_temp_f.yml", "facts/tap_flow.yml", "warranty/maker_standard.yml"
COMPRESSOR, JUST = "causes/compressor_worn.yml", "cases/just-broken.yml"
CHOICES = {"trickel": "A trickle", "none": "Nothing", "by_itself": "By itself"}
PANEL = "Take the rear panel off and look."


def step(english: str, spanish: str) -> Edit:
    return both(grown(RINSE, english, "steps"), grown(RINSE, spanish, "steps_es"))


FAULTS: dict[str, tuple[str, Edit]] = {
    "a share with a zero too many": (
        "whole case", put("symptoms/leaking.yml", 200, "shares", "hopper_seal_pinched")),
    "the share of a cause forgotten": (
        "whole case", without("symptoms/not_freezing.yml", "shares", "dirty_filter")),
    "a chance a tenth of itself": ("whole case", put(OVERDUE, 0.027, "then", "seen_with", "dirty_filter")),
    "chances of a pair swapped": ("whole case", swapped_chances),
    "a group misspelled": ("counted-twice", put(OVERDUE, "filter-ages", "group")),
    "evidence left a draft": ("whole case", put("evidence/leak-at-crack.yml", "draft", "status")),
    "a bound reversed": (
        "band-overlap", put("evidence/filter-twice-overdue.yml", "< 30", "when", "filter_days")),
    "a check of four hours": ("absurd-number", put(RINSE, 240, "minutes")),
    "a check that waits two days": ("whole case", put(RINSE, 2880, "wait_minutes")),
    "a check that always helps": ("absurd-number", put(RINSE, 1, "resolves", "dirty_filter")),
    "a check left to the technician": ("refused", put(RINSE, "technician", "who")),
    "a check for another cause": (
        "check-resolves-nothing", put(RINSE, {"legs_uneven": Decimal("0.85")}, "resolves")),
    "a check for another symptom": (
        "check-resolves-nothing", put("checks/empty-tray.yml", {"symptom": '"noisy"'}, "when")),
    "a step twice": ("said-twice", step("Switch both sides off.", "Apague los dos lados.")),
    "a step that opens the back": ("opens-panel", step(PANEL, "Mire detrás de la máquina.")),
    "a check without its caution": ("loss", put(RINSE, ["covers-stay-on"], "cautions")),
    "a caution beside checks left a draft": (
        "check-caution-silent", put("cautions/unplug-first.yml", "draft", "status")),
    "a caution for one symptom only": (
        "loss", put(HOT, {"symptom": '"hot_to_touch"', "plug_hot": True}, "when")),
    "a caution less urgent": ("loss", put(HOT, 4, "then", "visit_priority")),
    "the not of a caution lost": ("languages-differ", reworded(HOT, "Do not grasp", "Grasp")),
    "a caution that sends nobody": (
        "no-safe-action",
        both(*(without(HOT, "then", key) for key in ("visit_skill", "visit_priority", "defers_to")))),
    "a policy priority a tenth": ("whole case", put(OVER, 88, "then", "priority")),
    "a policy outcome wrong": ("always-overruled", put(OVER, "approve", "then", "outcome")),
    "an urgency other than its text": (
        "says-otherwise", put("policy/nothing-to-sell.yml", 4, "then", "visit_priority")),
    "a percent for a chance": (
        "never-fires", put("policy/known-repair-in-limit.yml", {"top_chance": "> 90"}, "when")),
    "a placeholder that is no fact": (
        "refused", put("policy/came-back.yml", "Came back {repeat_visits} times.", "then", "text")),
    "two symptoms of one title": (
        "said-twice", same("symptoms", "title", "leaking_tap", "leaking")),
    "two causes of one title": (
        "said-twice", same("causes", "title", "start_parts_weak", "compressor_worn")),
    "one question for two facts": ("said-twice", same("facts", "ask", "mix_age_days", "filter_days")),
    "days given in hours": ("unit-differs", put("facts/mix_age_days.yml", "h", "unit")),
    "fahrenheit for celsius": ("unit-differs", put("facts/refill_temp_c.yml", "degF", "unit")),
    "a range too narrow": ("refused", put(ROOM, "[0..80]", "range")),
    "a number without a range": ("no-range", without(ROOM, "range")),
    "a fact that nobody is asked": (
        "never-set", both(put(FLOW, "computed", "asked_of"), without(FLOW, "ask"), without(FLOW, "ask_es"))),
    "a danger that is none any more": ("refused", without("facts/plug_hot.yml", "danger")),
    "a choice renamed": ("refused", put(FLOW, CHOICES, "choices")),
    "a question of fifty minutes": ("absurd-number", put(FLOW, 3000, "ask_seconds")),
    "a limit with a digit lost": ("out-of-line", put(NTE, 40, "rows", 0, "then", "amount")),
    "a contractor misspelled": ("name-unknown", reworded(NTE, '"brightwater"', '"brigthwater"')),
    "a limit row twice": (
        "limit-overlap", lambda files: files[NTE]["rows"].append(files[NTE]["rows"][0])),
    "a limit row lost": ("limit-gap", without(NTE, "rows", 3)),
    "an authority asked beyond its ceiling": (
        "ceiling-below-row",
        both(put(LADDER, "<= 900", "rows", 0, "when", "amount"),
             put(LADDER, "(900..1500]", "rows", 1, "when", "amount"))),
    "ops approve more than anyone": ("authority-short", put("rulebook.yml", 6000, "ops_up_to")),
    "the owner is never asked": (
        "ceiling-below-row", put(LADDER, "area_manager", "rows", 2, "then", "authority")),
    "a tax on nothing": ("terms-contradict", put("rates.yml", [], "contractors", "fogline", "tax_on")),
    "a tax of 70 percent": ("absurd-number", put("rates.yml", 0.7, "contractors", "fogline", "tax")),
    "an hour at 9.20": ("out-of-line", put("rates.yml", 9.20, "contractors", "brightwater", "labor_hour")),
    "a van that takes half a kilogram": (
        "terms-contradict", put("rates.yml", 0.6, "contractors", "brightwater", "van_kg")),
    "a part a thousand times dearer": ("out-of-line", put("parts.yml", 14500, "parts", "FLT-020", "price")),
    "a repair that forgets its part": ("unused", put(COMPRESSOR, {}, "repair", "parts")),
    "a component misspelled": ("lookalike", put(COMPRESSOR, "compresor", "component")),
    "a repair of 40 hours": ("absurd-number", put(COMPRESSOR, 40, "repair", "labor_hours")),
    "warranty capped before it ends": ("terms-contradict", put(STANDARD, 6, "cap_months_from_ship")),
    "years for months": ("whole case", put(STANDARD, 2, "periods", "default", "parts_months")),
    "every visit most urgent": ("response-order", put("service_hours.yml", 1, "default_priority")),
    "a certainty of .09": ("absurd-number", put("rulebook.yml", 0.09, "near_certain")),
    "a question worth 100": ("absurd-number", put("rulebook.yml", 100, "question_worth")),
    "a Cyrillic letter in a phrase": (
        "invisible-character", reworded("words/shock.yml", "shocked", "sh\u043ecked")),
    "a no-break space in a phrase": (
        "invisible-character", reworded("words/shock.yml", "pins needles", "pins\u00a0needles")),
    "phrases in the wrong language": ("rule case", swapped_languages),
    "an excuse that takes all back": (
        "rule case", grown("words/leaking.yml", "leak|leaking|drip", "unless")),
    "a whole report that expects nothing": ("says-nothing", put(JUST, {}, "expect")),
    "a whole report years too early": (
        "whole case", put(JUST, "2019-07-01T10:00:00-05:00", "report", "reported_at")),
    "a derived value reversed": (
        "never-set", put("derive/care-let-slide.yml", {"care_slack": False}, "then", "set")),
    "two derive rules that contradict": (
        "derive-contradicts",
        put("derive/too-early-after-start.yml", {"fresh_start": True, "warm_refill": False}, "then", "set")),
    "a model with ten times the current": (
        "out-of-line", put("models.yml", 420, "models", "LH-20", "facts", "start_amps")),
    "a care interval changed alone": ("care-band", put("rulebook.yml", 10, "care", "filter_days")),
}  # fmt: skip

SILENT: dict[str, tuple[str, Edit]] = {
    "two policy rules of one priority, outcome and urgency": (
        "which of them is named as the reason changes nothing that is done",
        put("policy/came-back.yml", 280, "then", "priority"),
    ),
    "a Saturday forgotten": (
        "when the contractors work is known to nobody but the program",
        without("service_hours.yml", "week", "sat"),
    ),
    "the holidays of another country": (
        "it is a country with holidays; which one it is stands nowhere else",
        put("service_hours.yml", "UY", "holidays_country"),
    ),
}


assert FAULTS.keys().isdisjoint(more_faults.FAULTS)
EVERY = FAULTS | more_faults.FAULTS
NEVER = SILENT | more_faults.SILENT


@pytest.mark.nightly
@pytest.mark.parametrize("name", EVERY)
def test_the_planted_fault_is_found(name):
    expected, edit = EVERY[name]
    assert expected in found_by(edit)


@pytest.mark.nightly
@pytest.mark.parametrize("name", NEVER)
def test_what_is_not_found_is_known(name):
    assert found_by(NEVER[name][1]) == set()


def test_there_are_over_a_hundred_and_hardly_any_is_silent():
    assert len(EVERY) + len(NEVER) >= 130
    assert len(NEVER) <= 5
