"""Keep or swap in words: what was compared, on which number it hangs most, what number would turn it."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from triage.machine.lifecycle.keep_or_swap import Number, TurningPoint
from triage.machine.lifecycle.life_numbers import LifeNumbers
from triage.values.money import as_money

_NAMES: dict[Number, str] = {
    "repair_now": "the repair due now",
    "value_now": "what the machine is worth now",
    "running_costs": "the machine's running costs",
    "swap_price": "the price of the swap",
    "rate": "the yearly interest",
}


def numbers_that_turn(numbers: LifeNumbers) -> tuple[TurningPoint, ...]:
    """The numbers of which some number turns the choice, the one that does it by the least change first.

    The change is taken relative to the number itself; the first is the one the choice hangs most on.
    """
    points = (point for point in numbers.turning_points() if point.turns_at is not None)
    return tuple(sorted(points, key=_relative_change))


def explain(
    numbers: LifeNumbers, currency: str, points: Sequence[TurningPoint] | None = None
) -> tuple[str, ...]:
    """Sentences: the comparison, the number it hangs most on, what number of each would turn it, the trend.

    `points` are those of `numbers_that_turn`, where they are worked out already.
    """
    choice = numbers.choice
    keep, swap = (as_money(life.annual_cost, currency) for life in (choice.keep, choice.swap))
    lines = [
        f"Keeping it costs {keep.amount} {currency} a year at best (over {_years(choice.keep.years)}), "
        f"swapping it {swap.amount} {currency} (over {_years(choice.swap.years)}): {choice.choice} it."
    ]
    if choice.keep_years:
        lines.append(f"By the forecast it is worth keeping for {_years(choice.keep_years)}; then ask again.")
    points = numbers_that_turn(numbers) if points is None else points
    if points:
        lines.append(
            f"It depends most on {_NAMES[points[0].number]}: it changes at {_turn(points[0], currency)}."
        )
    if len(points) > 1:
        others = (f"{_NAMES[point.number]} at {_turn(point, currency)}" for point in points[1:])
        lines.append(f"With all else alike, these would change it too: {', '.join(others)}.")
    if not points:
        lines.append("No single number could have changed it.")
    if numbers.trend is not None:
        lines.append(f"Of its failures: {numbers.trend.why}.")
    return tuple(lines)


def _turn(point: TurningPoint, currency: str) -> str:
    now, turns_at = (_shown(point.number, value, currency) for value in (point.now, point.turns_at))
    if point.number == "running_costs":
        return f"{turns_at} of the forecast"
    return f"{turns_at} (now {now})"


def _shown(number: Number, value: Decimal | None, currency: str) -> str:
    amount = Decimal(0) if value is None else value
    if number == "rate":
        return f"{(amount * 100).quantize(Decimal('0.01')).normalize():f} %"
    if number == "running_costs":
        return f"{round(amount * 100)} %"
    return f"{as_money(amount, currency).amount} {currency}"


def _relative_change(point: TurningPoint) -> tuple[Decimal, str]:
    turns_at = Decimal(0) if point.turns_at is None else point.turns_at
    change = abs(turns_at - point.now)
    return (change / point.now if point.now else Decimal("Infinity"), point.number)


def _years(count: int) -> str:
    return "1 year" if count == 1 else f"{count} years"
