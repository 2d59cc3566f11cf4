"""Keep or swap in words."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from tests.triage.machine.lifecycle.test_life_numbers import STEADY, WEARING, numbers
from triage.machine.lifecycle.keep_or_swap import keep_or_swap
from triage.machine.lifecycle.life_numbers import explain


def test_keeping_is_explained_with_its_cost_its_time_and_what_would_turn_it():
    lines = explain(numbers(STEADY), "USD")
    assert lines == (
        "Keeping it costs 747.84 USD a year at best (over 6 years), "
        "swapping it 1052.49 USD (over 8 years): keep it.",
        "By the forecast it is worth keeping for 8 years; then ask again.",
        "It depends most on the price of the swap: it changes at 3475.59 USD (now 4600.00 USD).",
        "With all else alike, these would change it too: "
        "the machine's running costs at 182 % of the forecast, "
        "what the machine is worth now at 3323.22 USD (now 1638.40 USD), "
        "the repair due now at 1934.82 USD (now 250.00 USD).",
        "Of its failures: steady failures would look like this too "
        "(Laplace z 0.16, MIL-HDBK-189 chi-square 8.8 on 10 degrees of freedom).",
    )


def test_the_price_named_is_the_one_at_which_the_choice_turns():
    now = numbers(STEADY)
    for price, choice in (("3475.58", "swap"), ("3475.60", "keep")):
        challenger = replace(now.challenger, paid=Decimal(price))
        assert keep_or_swap(now.defender, challenger, now.rate).choice == choice


def test_a_swap_says_nothing_of_keeping_on_and_names_the_trend():
    lines = explain(numbers(WEARING), "USD")
    assert lines[0].endswith(": swap it.")
    assert not any("worth keeping" in line for line in lines)
    assert "both tests say that failures come faster" in lines[-1]


def test_a_repair_just_over_its_limit_turns_back_at_that_limit():
    lines = explain(numbers(STEADY, repair_now=1950), "USD")  # 15.18 over, spread over 8 years like the price
    assert (
        lines[1] == "It depends most on the price of the swap: it changes at 4615.18 USD (now 4600.00 USD)."
    )
    assert "the repair due now at 1934.82 USD (now 1950.00 USD)" in lines[2]
