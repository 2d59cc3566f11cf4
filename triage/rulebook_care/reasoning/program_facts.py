"""What the program itself knows, computes and looks at, as far as reasoning about rules needs it.

These are statements about other modules (`facts`, `numbers`, `decision`, `calculations`, `commissioning`),
made once; the tests hold them against those modules.
"""

from collections.abc import Mapping
from decimal import Decimal

from triage.logic.conditions import AllOf, AnyOf, Compare, Condition, FactTest, Interval, Known, Not, Unknown
from triage.machine.measures import clearance, freeze, level, mix, supply
from triage.rulebook.built_in_facts import BUILTIN_FACTS, CLOCK_FACTS
from triage.rulebook.model import OTHER_CAUSE

ALWAYS_KNOWN = frozenset(
    {
        "machine_known", "top_cause", "component", "top_chance", "second_chance", "near_certain",
        "plan_starts_in_store", "plan_cost", "dispatch_cost", "plan_saves", "expected_repair", "cover_parts",
        "cover_labor", "cover_known", "cover_chance", "cover_at_risk", "after_hours", "nte",
        "spent_on_ticket", "headroom", "chance_over", "over_limit", "estimate_given", "stop_use",
        "caution_fired", "solved", "checks_tried", "swap_cost", "amount", "limit_day",
    }
)  # fmt: skip
"""Built-in facts that are never unknown where they may be looked at."""

GUARDS = CLOCK_FACTS | {"symptom", "model", "contractor", "machine_known", "open_around_the_clock"}
"""Built-in facts that say where a rule applies; the symptom is the ranking's prior already."""

COMPUTED = frozenset(
    {
        "supply_drop_pct", "supply_drop_calculated_pct", "supply_drop_excess_pct", "supply_start_volts",
        "supply_idle_off_band", "circuit_headroom_amps", "circuit_overloaded", "cord_replaces_wiring",
        "supply_explains_weak_start", "freezing_point_c", "ice_share_pct", "serving_temperature_c",
        "heat_to_remove_kj", "servable_after_min", "servable_after_min_low", "servable_after_min_high",
        "servable_error_pct",
        "minutes_until_servable", "too_early", "slope_back_pct", "tilted_back", "slope_right_pct",
        "leg_twist_in", "rocks", "clearance_short", "clearance_short_in", "clearance_short_side",
        "brix_expected", "brix_gap", "mix_too_thin", "mix_too_rich", "brix_off_label", "mix_water_short_l",
        "filter_days", "filter_overdue_days", "full_clean_days", "full_clean_overdue_days",
        "commissioning_missing", "commissioning_failed", "training_missing", "training_due_days",
    }
)  # fmt: skip
"""Facts that calculations, the care log and commissioning give where the rulebook has them."""

SET_UP = frozenset(
    {
        "dedicated_circuit", "circuit_amps", "extension_cord", "clearance_behind_in", "clearance_left_in",
        "clearance_right_in", "slope_back_pct", "tilted_back", "bolt_removed", "seal_style", "seal_mounting",
        "night_mode_hours", "night_mode_open_hours",
    }
)  # fmt: skip
"""Facts that the record keeps of a machine's commissioning."""

_DROP = frozenset({"idle_volts", "running_volts", "nominal_volts"})
_BATCH = frozenset({"water_jugs", "jug_l", "pouches", "pouch_brix"})
_FREEZE = frozenset({"refill_volume_l", "refill_temp_c", "refill_temp", "cooling_watts"})
COMPUTED_FROM: Mapping[str, frozenset[str]] = {
    "filter_overdue_days": frozenset({"filter_days"}),
    "full_clean_overdue_days": frozenset({"full_clean_days"}),
    **dict.fromkeys(
        (
            *("supply_drop_pct", "supply_drop_calculated_pct", "supply_drop_excess_pct"),
            *("supply_start_volts", "supply_explains_weak_start"),
        ),
        _DROP,
    ),
    "supply_idle_off_band": frozenset({"idle_volts", "nominal_volts"}),
    **dict.fromkeys(
        ("circuit_headroom_amps", "circuit_overloaded"),
        frozenset({"circuit_amps", "running_amps", "other_load_amps"}),
    ),
    "cord_replaces_wiring": frozenset({"extension_cord"}),
    "brix_expected": _BATCH,
    **dict.fromkeys(
        ("brix_gap", "brix_off_label", "mix_too_thin", "mix_too_rich", "mix_water_short_l"),
        frozenset({"brix_measured", "label_brix", *_BATCH}),
    ),
    "tilted_back": frozenset({"slope_back_pct"}),
    "rocks": frozenset({"leg_twist_in"}),
    **dict.fromkeys(
        (
            *("heat_to_remove_kj", "servable_after_min", "servable_after_min_low"),
            *("servable_after_min_high", "servable_error_pct"),
        ),
        _FREEZE,
    ),
    **dict.fromkeys(
        ("minutes_until_servable", "too_early"), _FREEZE | {"minutes_since_refill", "minutes_since_start"}
    ),
}
"""Computed fact -> facts that sway it. Four legs give slope and twist, which say nothing of each other."""

LOOKED_AT = frozenset(
    {
        *(name for module in (supply, freeze, level, clearance, mix) for name in module.INPUTS),
        "extension_cord", "fastened_in_place", "shares_circuit", "refill_temp",
    }
)  # fmt: skip
"""Facts that calculations take."""

_MAY_BE_BELOW_ZERO = frozenset({"plan_saves", "swap_saves_year"})
_CHANCES = frozenset(
    {"top_chance", "second_chance", "cover_chance", "chance_over", "outside_agreement_share"}
)
_OF_ESTIMATE = (
    "estimate_total",
    "estimate_beyond_cover",
    "outside_agreement",
    "outside_agreement_amount",
    "outside_agreement_share",
)
_MOST = Decimal(10_000_000)


def range_of(fact: str) -> Interval | None:
    """What a built-in number may be; None for other facts."""
    built_in = BUILTIN_FACTS.get(fact)
    if built_in is None or built_in.type != "number":
        return None
    if fact in _CHANCES:
        return Interval(Decimal(0), Decimal(1), True, True)
    if fact == "hour":
        return Interval(Decimal(0), Decimal(23), True, True)
    low = -_MOST if fact in _MAY_BE_BELOW_ZERO else Decimal(0)
    return Interval(low, _MOST, True, True)


def _is(fact: str, value: bool) -> Condition:
    return FactTest(fact, Compare("=", value))


def _above_zero(fact: str) -> Condition:
    return FactTest(fact, Compare(">", Decimal(0)))


ALWAYS_SO: tuple[Condition, ...] = (
    AnyOf(
        (
            AllOf((_is("estimate_given", True), *map(Known, _OF_ESTIMATE))),
            AllOf((_is("estimate_given", False), *map(Unknown, _OF_ESTIMATE))),
        )
    ),
    AnyOf(
        (
            Unknown("outside_agreement"),
            AllOf((_is("outside_agreement", True), _above_zero("outside_agreement_amount"))),
            AllOf(
                (
                    _is("outside_agreement", False),
                    FactTest("outside_agreement_amount", Compare("=", Decimal(0))),
                    FactTest("outside_agreement_share", Compare("=", Decimal(0))),
                )
            ),
        )
    ),
    # With an estimate, what the program pays of it is what is likely to be spent.
    AnyOf(
        (
            Unknown("estimate_beyond_cover"),
            _above_zero("estimate_beyond_cover"),
            _is("over_limit", False),
        )
    ),
    AnyOf((_is("near_certain", False), FactTest("top_cause", Not((Compare("=", OTHER_CAUSE),))))),
    # Where a check cured it, policy is asked only when a caution still says to stop.
    AnyOf((_is("solved", False), _is("stop_use", True))),
    AnyOf((_is("stop_use", False), _is("caution_fired", True))),
    AnyOf((_is("stop_use", False), _is("plan_starts_in_store", False))),
    AnyOf((_is("cover_parts", False), _is("machine_known", True))),
    AnyOf((_is("cover_labor", False), _is("machine_known", True))),
    AnyOf((_is("machine_known", True), AllOf((Unknown("model"), Unknown("contractor"))))),
    AnyOf((Unknown("spent_share_of_value"), Known("value_now"))),
)
"""What holds among built-in facts in every report."""
