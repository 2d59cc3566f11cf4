"""Sixty further faults of meaning to be planted: slips of people who edit many texts."""

from __future__ import annotations

from tests.triage.rulebook_care.lint.planted import (
    Edit,
    Files,
    both,
    grown,
    inside,
    put,
    reworded,
    same,
    without,
)

RINSE, SMELL, FILTER = "checks/rinse-filter.yml", "cautions/burning-smell.yml", "facts/filter_days.yml"
COMPRESSOR, NTE, LADDER = "causes/compressor_worn.yml", "limits/nte.yml", "limits/authority.yml"
WHERE, JUST, KNOWN = "facts/leak_where.yml", "cases/just-broken.yml", "policy/known-repair-in-limit.yml"


def english_left(file: str, key: str, *path: str) -> Edit:
    def edit(files: Files) -> None:
        part = inside(files, file, path)
        part[f"{key}_es"] = part[key]

    return edit


def cut_short(file: str, key: str, *path: str) -> Edit:
    """Only the first sentence is left."""

    def edit(files: Files) -> None:
        part = inside(files, file, path)
        part[key] = part[key].split(". ")[0] + "."

    return edit


def row_first(files: Files) -> None:
    table = files[NTE]
    table["hit_policy"] = "FIRST"
    table["rows"].insert(
        0, {"when": {"after_hours": False}, "then": {"amount": table["rows"][0]["then"]["amount"]}}
    )


def moved_step(before: int, after: int, *keys: str) -> Edit:
    def edit(files: Files) -> None:
        for key in keys:
            files[RINSE][key].insert(after, files[RINSE][key].pop(before))

    return edit


FAULTS: dict[str, tuple[str, Edit]] = {
    "plugged in before it is unplugged": ("unsafe-order", moved_step(6, 1, "steps", "steps_es")),
    "the filter out before it is unplugged": ("unsafe-order", moved_step(2, 1, "steps", "steps_es")),
    "unplugged last, in Spanish only": ("languages-differ", moved_step(1, 6, "steps_es")),
    "a step of one letter": ("odd-text", both(put(RINSE, "R", "steps", 3), put(RINSE, "E", "steps_es", 3))),
    "a question of one letter": ("odd-text", put(FILTER, "?", "ask")),
    "no wait where the text says 40": ("says-otherwise", put(RINSE, 0, "wait_minutes")),
    "a wait with a digit lost": ("says-otherwise", put(RINSE, 4, "wait_minutes")),
    "no sales lost by a dead compressor": ("absurd-number", put(COMPRESSOR, 0, "sales_lost")),
    "English left in a question": ("language-left", english_left(FILTER, "ask")),
    "English left in a caution": ("language-left", english_left(SMELL, "text", "then")),
    "English left in one step": (
        "language-left",
        lambda files: files[RINSE]["steps_es"].__setitem__(3, files[RINSE]["steps"][3]),
    ),
    "English left in what to look for": ("language-left", english_left(RINSE, "look_for")),
    "English left in a title": ("language-left", english_left(RINSE, "title")),
    "English left in choices": (
        "language-left",
        lambda files: files[WHERE].__setitem__("choices_es", dict(files[WHERE]["choices"])),
    ),
    "Spanish in the English question": (
        "language-left",
        lambda files: files[FILTER].__setitem__("ask", files[FILTER]["ask_es"]),
    ),
    "a caution in Spanish cut short": ("languages-differ", cut_short(SMELL, "text_es", "then")),
    "a caution in English cut short": ("languages-differ", cut_short(SMELL, "text", "then")),
    "a question in Spanish of another fact": (
        "said-twice",
        same("facts", "ask_es", "filter_days", "room_temp_f"),
    ),
    "steps in Spanish with one fewer": ("refused", without(RINSE, "steps_es", 1)),
    "a step in Spanish twice": (
        "languages-differ",
        lambda files: files[RINSE]["steps_es"].__setitem__(1, files[RINSE]["steps_es"][0]),
    ),
    "the unplugging left out of the steps": (
        "loss",
        both(without(RINSE, "steps", 1), without(RINSE, "steps_es", 1)),
    ),
    "a not left out in English": ("languages-differ", reworded("cautions/no-force.yml", "Do not ", "")),
    "a not left out in Spanish": ("loss", reworded("cautions/damaged-cord.yml", "No ", "")),
    "a placeholder misspelled": ("refused", reworded("policy/store-fix-first.yml", "{", "{x")),
    "a tag of HTML in a text": (
        "odd-text",
        reworded(RINSE, "Unplug the machine.", "<b>Unplug</b> the machine."),
    ),
    "a link in a text for clerks": (
        "odd-text",
        reworded(RINSE, "Unplug the machine.", "See https://example.com/x."),
    ),
    "a question of a thousand letters": ("odd-text", put(FILTER, "When was it cleaned, " * 60 + "?", "ask")),
    "what to look for is the title again": (
        "says-otherwise",
        lambda files: files[RINSE].update(look_for=files[RINSE]["title"]),
    ),
    "two choices worded alike": ("said-twice", put(WHERE, "at the tap", "choices", "tray")),
    "a choice without Spanish": ("refused", without(WHERE, "choices_es", "tray")),
    "one minute for seven steps": ("absurd-number", put(RINSE, 1, "minutes")),
    "a repair of no hours": ("absurd-number", put(COMPRESSOR, 0, "repair", "labor_hours")),
    "a repair of forty hours": ("absurd-number", put(COMPRESSOR, 40, "repair", "labor_hours")),
    "a hundred pieces of a part": (
        "refused",
        lambda files: files[COMPRESSOR]["repair"]["parts"].update(
            dict.fromkeys(files[COMPRESSOR]["repair"]["parts"], 100)
        ),
    ),
    "a repair without its part": ("unused", put(COMPRESSOR, {}, "repair", "parts")),
    "a question answered in no time": ("refused", put(FILTER, 0, "ask_seconds")),
    "a limit under the price of the trip": ("out-of-line", put(NTE, 30, "rows", 0, "then", "amount")),
    "an authority with less than the one below": (
        "ceiling-below-row",
        put(LADDER, 500, "authorities", "area_manager", "up_to"),
    ),
    "an authority who is reached nowhere": (
        "refused",
        put(LADDER, "", "authorities", "area_manager", "reach"),
    ),
    "a deputy of himself": (
        "refused",
        put(LADDER, ["area_manager"], "authorities", "area_manager", "deputies"),
    ),
    "labor covered longer than parts": (
        "whole case",
        put("warranty/maker_standard.yml", 36, "periods", "default", "labor_months"),
    ),
    "a range that shuts out what is usual": ("refused", put(FILTER, "[0..9]", "range")),
    "days counted in hours": ("unit-differs", put(FILTER, "h", "unit")),
    "a filter cleaned every year": ("absurd-number", put("rulebook.yml", 365, "care", "filter_days")),
    "valid from a year far off": ("loss", put(SMELL, "2206-01-01", "valid_from")),
    "valid until last year": ("loss", put(SMELL, "2025-12-31", "valid_to")),
    "closing before opening": ("refused", put("service_hours.yml", ["17:00", "08:00"], "week", "mon")),
    "a day of ten minutes": ("absurd-number", put("service_hours.yml", ["08:00", "08:10"], "week", "mon")),
    "another currency, the same amounts": ("whole case", put("rulebook.yml", "EUR", "currency")),
    "a caution back to draft": ("loss", put(SMELL, "draft", "status")),
    "a caution that wants both": (
        "loss",
        lambda files: files[SMELL].__setitem__(
            "when", {key: test for each in files[SMELL]["when"]["any_of"] for key, test in each.items()}
        ),
    ),
    "a caution that no longer stops use": ("loss", without(SMELL, "then", "stop_use")),
    "a weaker skill": ("loss", put(SMELL, "general", "then", "visit_skill")),
    "a less urgent danger": ("loss", put(SMELL, 4, "then", "visit_priority")),
    "nobody deferred to": ("loss", put(SMELL, [], "then", "defers_to")),
    "a caution taken off a check": ("loss", put(RINSE, [], "cautions")),
    "a technician's check given to clerks": ("spanish-missing", put("checks/swap-relay.yml", "clerk", "who")),
    "a danger asked of technicians": ("loss", put("facts/burning_smell.yml", "technician", "asked_of")),
    "a danger that is none": ("refused", without("facts/burning_smell.yml", "danger")),
    "a phrase that hears everything": ("rule case", grown("words/gas.yml", "the|a|it|is", "en")),
    "words that raise another danger": ("danger-without-words", put("words/gas.yml", "mold_seen", "danger")),
    "an excuse that swallows a danger": ("loss", grown("words/gas.yml", "smell|smells gas", "unless")),
    "a flammable refrigerant denied": (
        "whole case",
        put("models.yml", False, "models", "LH-30", "facts", "refrigerant_flammable"),
    ),
    "a row put first that takes all": ("row-never-reached", row_first),
    "an approval made a dispatch": ("whole case", put(KNOWN, "dispatch", "then", "outcome")),
    "a policy rule above danger": ("whole case", put(KNOWN, 960, "then", "priority")),
    "an outcome turned round": (
        "always-overruled",
        put("policy/estimate-over-limit.yml", "approve", "then", "outcome"),
    ),
    "a check for a symptom that it never helps": (
        "whole case",
        reworded(RINSE, '"not_freezing",', '"noisy",'),
    ),
    "a symptom nobody can say": (
        "refused",
        both(
            put("symptoms/tray_overflow.yml", [], "callers_say"),
            without("words/tray-overflow.yml", "symptom"),
        ),
    ),
}

SILENT: dict[str, tuple[str, Edit]] = {
    "degrees Celsius said for Fahrenheit": (
        "both languages agree, and how warm is too warm stands in no number of the rulebook",
        reworded("facts/product_warm_hours.yml", "°F", "°C"),
    ),
}
