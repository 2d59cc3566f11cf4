from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from tests.triage.builders import minimal_rulebook
from triage.decide.spending.limits import authority_for, limit_for, standing_limit
from triage.decide.spending.spread import CostDistribution, PossibleCost
from triage.logic.conditions import Compare, Interval, Not, OneOf, Scalar, UnaryTest
from triage.rulebook.decision_tables import TableError, evaluate_table
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import Authority, HitPolicy, LimitRow, LimitTable

LOW, HIGH = Compare("<=", Decimal(600)), Compare(">", Decimal(600))
NOBODY = Decimal(0)


def row(line: int, amount: object, **when: UnaryTest) -> LimitRow:
    return LimitRow(when, {"amount": _scalar(amount)}, line)


def _scalar(value: object) -> Scalar:
    return Decimal(str(value)) if isinstance(value, int | float) else value  # type: ignore[return-value]


def table(policy: HitPolicy, *rows: LimitRow, **more: object) -> LimitTable:
    given: dict[str, object] = {
        "id": "standing",
        "title": "Standing",
        "kind": "nte",
        "hit_policy": policy,
        "inputs": ("contractor", "after_hours"),
        "outputs": ("amount",),
        "rows": rows,
        "output_order": (),
        "collect": None,
        "source": "invented",
        **more,
    }
    return LimitTable(**given)  # type: ignore[arg-type]


def book(*tables: LimitTable, authorities: tuple[Authority, ...] = ()) -> Rulebook:
    return replace(
        minimal_rulebook(),
        limits={each.id: each for each in tables},
        authorities={each.id: each for each in authorities},
    )


FOG, DAY = Compare("=", "fogline"), Compare("=", False)
OTHERS = Not((FOG,))


def test_a_unique_table_gives_its_one_row() -> None:
    unique = table("UNIQUE", row(8, 450, contractor=FOG), row(9, 300, contractor=OTHERS))

    assert evaluate_table(unique, {"contractor": "fogline"}).outputs == {"amount": Decimal(450)}
    assert evaluate_table(unique, {"contractor": "brightwater"}).row.line == 9


def test_overlapping_rows_of_a_unique_table_are_named_with_their_inputs() -> None:
    overlapping = table("UNIQUE", row(8, 450, contractor=FOG), row(9, 300, after_hours=DAY))

    with pytest.raises(TableError) as caught:
        evaluate_table(overlapping, {"contractor": "fogline", "after_hours": False})

    (problem,) = caught.value.problems
    assert problem.file == "limits/standing.yml"
    assert "row 1 (line 8) and row 2 (line 9) overlap" in problem.message
    assert "contractor = 'fogline', after_hours = False" in problem.message


@pytest.mark.parametrize("policy", ["UNIQUE", "FIRST", "PRIORITY", "COLLECT"])
def test_a_missing_row_is_an_error_that_names_the_table_and_the_inputs(policy: HitPolicy) -> None:
    lacking = table(policy, row(8, 450, contractor=FOG), collect="SUM")

    with pytest.raises(TableError, match=r"limits/standing\.yml: no row .* after_hours unknown"):
        evaluate_table(lacking, {"contractor": "brightwater"})


def test_an_unknown_input_fails_a_test_on_it() -> None:
    unique = table("UNIQUE", row(8, 450, contractor=OTHERS), row(9, 300))

    assert evaluate_table(unique, {}).outputs["amount"] == Decimal(300)


def test_first_takes_the_first_row_in_order() -> None:
    first = table("FIRST", row(8, 100, after_hours=DAY), row(9, 450, contractor=FOG))

    assert evaluate_table(first, {"contractor": "fogline", "after_hours": False}).row.line == 8
    assert evaluate_table(first, {"contractor": "fogline", "after_hours": True}).row.line == 9


def test_priority_takes_the_output_that_stands_first_in_the_order() -> None:
    order = (Decimal(900), Decimal(450), Decimal(100))
    priority = table("PRIORITY", row(8, 100), row(9, 450), output_order=order)

    assert evaluate_table(priority, {}).outputs["amount"] == Decimal(450)


@pytest.mark.parametrize(("collect", "amount"), [("SUM", 550), ("MIN", 100), ("MAX", 450)])
def test_collect_sums_or_takes_the_least_or_the_greatest(collect: str, amount: int) -> None:
    collecting = table("COLLECT", row(8, 100), row(9, 450), row(10, 9, contractor=FOG), collect=collect)

    assert evaluate_table(collecting, {"contractor": "x"}).outputs["amount"] == Decimal(amount)


def test_headroom_is_the_limit_less_what_the_ticket_has_cost_and_never_below_zero() -> None:
    rulebook = book(table("UNIQUE", row(8, 400)))

    assert standing_limit(rulebook, {}, Decimal("150.25"), NOBODY).headroom == Decimal("249.75")
    over = standing_limit(rulebook, {}, Decimal(401), NOBODY)
    assert (over.headroom, over.nte, over.table, over.row_line) == (0, 400, "standing", 8)


def test_a_limit_for_twelve_months_counts_what_the_machine_has_cost() -> None:
    rows = (LimitRow({}, {"amount": Decimal(400), "amount_12_months": Decimal(1000)}, 8),)
    rulebook = book(table("UNIQUE", *rows, outputs=("amount", "amount_12_months")))

    assert standing_limit(rulebook, {}, NOBODY, Decimal(600)).headroom == 400
    tight = standing_limit(rulebook, {}, NOBODY, Decimal(900))
    assert tight.headroom == 100
    assert "12 months" in tight.notes[0]
    assert standing_limit(rulebook, {}, NOBODY, Decimal(1200)).headroom == 0


@pytest.mark.parametrize("order", [(1000, 700), (700, 1000)])
def test_of_two_limits_for_twelve_months_the_tighter_one_holds(order: tuple[int, int]) -> None:
    tables = [
        table("UNIQUE", LimitRow({}, {"amount_12_months": Decimal(limit)}, 8), id=id_)
        for id_, limit in zip("ab", order, strict=True)
    ]
    rulebook = book(table("UNIQUE", row(8, 400)), *tables)

    standing = standing_limit(rulebook, {}, NOBODY, Decimal(650))
    assert standing.headroom == 50
    assert standing.notes == ("The limit of 700.00 USD for 12 months leaves less than that for the ticket.",)
    assert standing_limit(rulebook, {}, NOBODY, Decimal(300)).notes == ()  # leaves just as much


def test_of_several_limit_tables_the_smallest_amount_holds() -> None:
    rulebook = book(table("UNIQUE", row(8, 400)), table("UNIQUE", row(5, 250), id="small"))

    standing = standing_limit(rulebook, {}, NOBODY, NOBODY)

    assert (standing.nte, standing.table) == (250, "small")


def test_a_machine_without_contractor_is_held_to_the_row_for_any_other() -> None:
    rulebook = book(table("UNIQUE", row(8, 450, contractor=FOG), row(9, 300, contractor=OTHERS)))

    assert standing_limit(rulebook, {}, NOBODY, NOBODY).nte == 300


def test_a_table_without_an_answer_lets_nothing_be_spent_and_says_so() -> None:
    rulebook = book(table("UNIQUE", row(8, 450, contractor=FOG)))

    standing = standing_limit(rulebook, {"contractor": "x"}, NOBODY, NOBODY)

    assert (standing.nte, standing.headroom) == (0, 0)
    assert "limits/standing.yml: no row" in standing.notes[0]
    assert standing_limit(book(), {}, NOBODY, NOBODY).headroom == 0


def ladder() -> Rulebook:
    rows = (
        LimitRow({"amount": LOW}, {"authority": "lead"}, 3),
        LimitRow({"amount": HIGH}, {"authority": "manager"}, 4),
    )
    return book(
        table("UNIQUE", row(8, 400)),
        table("UNIQUE", *rows, id="who", kind="authority", inputs=("amount",), outputs=("authority",)),
        authorities=(
            Authority("lead", "Desk lead", "555-0110", Decimal(600)),
            Authority("manager", "Area manager", "555-0111", Decimal(1500)),
            Authority("owner", "Program owner", "555-0112", None),
        ),
    )


@pytest.mark.parametrize(
    ("amount", "named"), [("600", "lead"), ("600.01", "manager"), ("1500", "manager"), ("1500.01", "owner")]
)
def test_the_ladder_names_who_may_say_yes_and_nobody_who_may_not(amount: str, named: str) -> None:
    authority = authority_for(ladder(), {}, Decimal(amount))

    assert authority is not None
    assert authority.id == named


def test_nobody_is_named_where_no_ceiling_reaches() -> None:
    rulebook = replace(ladder(), authorities={"lead": ladder().authorities["lead"]})

    assert authority_for(rulebook, {}, Decimal(700)) is None


def test_an_authority_is_named_only_when_the_likely_cost_is_above_the_headroom_or_one_is_asked_for() -> None:
    rulebook = ladder()
    standing = standing_limit(rulebook, {}, Decimal(100), NOBODY)
    costs = CostDistribution((PossibleCost(Decimal(200), 0.8), PossibleCost(Decimal(900), 0.2)))

    within = limit_for(rulebook, {}, standing, costs, Decimal(300))
    beyond = limit_for(rulebook, {}, standing, costs, Decimal("300.01"))
    asked = limit_for(rulebook, {}, standing, costs, Decimal(300), ask=True)

    already = standing_limit(rulebook, {}, Decimal("50.01"), NOBODY)
    with_spent = limit_for(rulebook, {}, already, costs, Decimal(550))

    assert within.authority is None
    assert with_spent.authority == "manager"  # 550 is the lead's, 600.01 is not
    assert (beyond.authority, beyond.reach) == ("lead", "555-0110")  # the ticket would come to 400.01
    assert asked.authority == "lead"
    assert within.chance_over == pytest.approx(0.2)
    assert str(within.headroom.amount) == "300.00"
    assert str(within.expected_repair.amount) == "340.00"


def test_intervals_and_disjunctions_stand_in_rows_too() -> None:
    some = OneOf((Compare("=", "a"), Compare("=", "b")))
    between = Interval(Decimal(10), Decimal(20), True, False)
    rows = (row(2, 1, contractor=some, age_months=between), row(3, 2, age_months=Compare(">=", Decimal(20))))

    assert (
        evaluate_table(table("UNIQUE", *rows), {"contractor": "b", "age_months": Decimal(10)}).row.line == 2
    )
    assert (
        evaluate_table(table("UNIQUE", *rows), {"contractor": "b", "age_months": Decimal(20)}).row.line == 3
    )
