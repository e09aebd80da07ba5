"""Orders of a home: nothing is ordered that is there, an order is one act, and what is called for goes once it is ordered."""

import json
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from markstead.errors import InputError, UnknownError
from markstead.forecast.lead import Parcel, learn_lead
from markstead.forecast.orders import Order, OrderLine, plan_orders
from markstead.ledger.facts import CopyOrdered, CopyReceived, WorkbookReordered
from markstead.plan.wishes import SupplierWish
from markstead.records import actions as a
from markstead.records import ahead, ordering, outlooks, queries
from markstead.records.desk import Slip
from markstead.records.home import Home
from markstead.records.models import OrderCalls
from markstead.records.ordering import DueCall, OrderReading
from markstead.records.plan_asks import set_wishes
from markstead.records.setup import Newcomer
from markstead.rules.ruling import RefusedError, Role
from markstead.rules.steps import CallKind
from tests.records.house import BOOK, PAPERS, House, entries, standing
from tests.records.test_outlooks import house_with

pytestmark = pytest.mark.django_db
NEXT = "maths-5-02"
MATHS = "Quayside Books"
"""The supplier of mathematics in the sample programme."""
READING = "Tern & Daughters"
PEOPLE = (
    Newcomer("ruth", "Ruth", Role.EDUCATOR),
    Newcomer("asa", "Asa", Role.LEARNER, 5, ("maths-5",)),
    Newcomer("ben", "Ben", Role.LEARNER, 5, ("maths-5",)),
)


@pytest.fixture(autouse=True)
def forgetful() -> None:
    """Nothing is remembered from the test before."""
    ahead._AHEAD.clear()


@pytest.fixture
def two(db: None) -> House:
    """A house in which Asa and Ben take the same course."""
    return House(people=PEOPLE)


def home_now(house: House) -> Home:
    return queries.home_of(house.id)


def read(house: House) -> OrderReading:
    return ordering.order_reading(home_now(house), house.clock.date())


def ordered(reading: OrderReading) -> Counter[tuple[str, str | None]]:
    """Copies that are to be ordered, by workbook and learner."""
    return Counter(
        {(line.workbook, line.learner): line.quantity for kept in reading.orders for line in kept.order.lines}
    )


def order_of(*lines: tuple[str, str | None, int], supplier: str = MATHS) -> Order:
    """An order with these copies; all that placing it does not look at is made up."""
    day = date(2026, 1, 12)
    kept = tuple(OrderLine(code, learner, count, 420, day, 0.9, 0.01) for code, learner, count in lines)
    return Order(supplier, day, kept, 420, 0, 0, day, day)


def place(house: House, order: Order, **given: object):  # type: ignore[no-untyped-def]
    house.clock += timedelta(minutes=1)
    by = house.person(str(given.pop("by", house.teacher)))
    return ordering.place(house.id, order, by=by, at=house.clock, **given)  # type: ignore[arg-type]


def calls(house: House, days: int = 0) -> tuple[DueCall, ...]:
    return ordering.due_calls(home_now(house), house.clock.date() + timedelta(days))


def keep(house: House) -> None:
    ordering.keep_calls(home_now(house), read(house))


# --- the plan -----------------------------------------------------------------------------------------------------


class TestThePlan:
    def test_it_is_that_of_the_forecast_for_the_home_s_problem(self, house: House) -> None:
        house.bring("worked")
        home, today = home_now(house), house.clock.date()
        problem, others = ordering.order_problems(home, today)
        assert others.needs == ()
        assert read(house).plan == plan_orders(problem, today)

    def test_a_workbook_is_needed_on_the_day_after_the_one_before_it_is_passed(self, house: House) -> None:
        house.bring("worked")
        home, today = home_now(house), house.clock.date()
        problem, _ = ordering.order_problems(home, today)
        years = next(y for y in outlooks.home_years(home, today) if y.year.learner == house.person("asa"))
        wanted = next(n for n in problem.needs if n.workbook == NEXT)
        days = years.year.days
        # Row 0 is the workbook in hand; passed on the last known day or later, none is needed within the calendar.
        by_hand = [
            (days[passed] - today).days if passed < len(days) else np.inf for passed in years.finished[0]
        ]
        assert wanted.days.tolist() == by_hand

    @pytest.mark.parametrize("place_", ["on order", "in the house", "begun"])
    def test_a_copy_that_is_there_is_not_ordered(self, house: House, place_: str) -> None:
        house.bring(place_)
        assert ordered(read(house))[BOOK, house.person("asa")] == 0

    def test_a_workbook_that_nobody_has_is_ordered_today(self, house: House) -> None:
        reading = read(house)
        (due,) = [line for line in reading.due if line.order.supplier == MATHS]
        assert (BOOK, house.person("asa")) in {(line.workbook, line.learner) for line in due.order.lines}
        assert due.sentence.startswith(f"Order today from {MATHS}: Large Numbers for Asa")

    def test_one_copy_for_anybody_leaves_one_of_two_learners_to_be_ordered_for(self, two: House) -> None:
        two.bring("in the house")
        assert sum(ordered(read(two))[BOOK, two.person(key)] for key in ("asa", "ben")) == 1

    def test_a_copy_kept_for_a_learner_is_that_learner_s(self, two: House) -> None:
        two.do(a.order_copy, workbook=BOOK, learner="ben", copy="c1")
        two.do(a.receive_copy, copy="c1")
        found = ordered(read(two))
        assert (found[BOOK, two.person("asa")], found[BOOK, two.person("ben")]) == (1, 0)

    def test_the_budget_is_what_the_orders_come_to(self, house: House) -> None:
        wish = SupplierWish(MATHS, postage=395)
        set_wishes(house.id, lambda wishes: wishes.with_supplier(wish), at=house.clock)
        reading = read(house)
        prices = home_now(house).programme.workbooks
        paid = sum(
            (prices[line.workbook].price or 0) * line.quantity
            for kept in reading.orders
            for line in kept.order.lines
        )
        parcels = sum(kept.order.supplier == MATHS for kept in reading.orders)
        assert sum(month.amount for month in reading.months) == paid + 395 * parcels

    def test_a_failed_unit_test_wants_its_new_copy_now(self, house: House) -> None:
        house.fail()
        line = next(
            line
            for kept in read(house).due
            for line in kept.order.lines
            if (line.workbook, line.learner) == (BOOK, house.person("asa"))
        )
        assert line.needed == house.clock.date()

    def test_a_late_copy_is_to_be_asked_for_at_its_supplier(self, house: House) -> None:
        house.do(a.order_copy, workbook=BOOK, learner="asa", expected=date(2026, 1, 14))
        house.until("2026-01-19 08:00")
        reading = read(house)
        assert [coming.order.workbook for coming in reading.late] == [BOOK]
        assert reading.sentences[0].startswith(
            f"Call {MATHS}: Large Numbers for Asa, ordered on 12 January 2026"
        )

    def test_spares_are_those_for_the_failures_of_the_forecast(self, house: House) -> None:
        house.bring("worked")
        home, today = home_now(house), house.clock.date()
        problem, _ = ordering.order_problems(home, today)
        found = {f.workbook: int(np.isfinite(f.days).sum()) for f in problem.failures}
        wanted: Counter[str] = Counter()
        for years in outlooks.home_years(home, today):
            for row in years.failed_book:
                wanted[years.books[row].code] += 1
        assert {code: count for code, count in found.items() if count} == wanted
        assert {line.spare.workbook for line in read(house).spares} <= set(wanted)
        assert read(house).spares

    def test_where_the_same_copy_is_worked_again_no_spare_is_kept(self, db: None) -> None:
        rules = PAPERS.programme.replace(
            'after_failed_unit_test = "new copy"', 'after_failed_unit_test = "same copy"'
        )
        house = house_with(replace(PAPERS, programme=rules), PEOPLE)
        assert read(house).spares == ()

    def test_with_all_workbooks_passed_nothing_is_to_be_ordered(self, db: None) -> None:
        head, *rows = PAPERS.workbooks.splitlines()
        first = next(row for row in rows if row.startswith("maths,5,1,"))
        house = house_with(replace(PAPERS, workbooks=f"{head}\n{first}\n"), PEOPLE[:2])
        house.bring("passed")
        assert read(house).sentences == ("Nothing is to be ordered.",)

    def test_after_the_last_term_nothing_is_to_be_ordered(self, house: House) -> None:
        house.until("2026-04-13 08:00")
        assert read(house).sentences == ("Nothing is to be ordered.",)

    def test_asked_again_only_the_end_of_the_record_is_looked_up(self, house: House) -> None:
        home = home_now(house)
        ordering.order_reading(home, house.clock.date())
        with CaptureQueriesContext(connection) as caught:
            ordering.order_reading(home, house.clock.date())
        assert len(caught) == 1


# --- without a supplier or a price --------------------------------------------------------------------------------


def bare_house(lacks: str) -> House:
    """A house whose first workbook of mathematics has no supplier, or no price."""
    head, *rows = PAPERS.workbooks.splitlines()
    kept = [row for row in rows if row.startswith("maths,5,")]
    assert f",4.20,{MATHS}," in kept[0]
    kept[0] = kept[0].replace(f",4.20,{MATHS},", {"supplier": ",4.20,,", "price": f",,{MATHS},"}[lacks])
    return house_with(replace(PAPERS, workbooks="\n".join([head, *kept, ""])), PEOPLE[:2])


@pytest.mark.parametrize("lacks", ["supplier", "price"])
def test_a_workbook_that_cannot_be_planned_is_told_apart(db: None, lacks: str) -> None:
    reading = read(bare_house(lacks))
    (line,) = reading.without_offer
    assert (line.workbook, line.lacks) == (BOOK, lacks)
    assert line.sentence.startswith(
        f"Large Numbers (Mathematics 5) for Asa is needed now and cannot be planned: no {lacks} is entered."
    )
    assert BOOK not in {code for code, _ in ordered(reading)}


def test_a_workbook_that_cannot_be_planned_is_still_called_for_on_todays_page(db: None) -> None:
    house = bare_house("supplier")
    ordering.look(queries.home_of(house.id), house.clock.date())
    assert "Order Large Numbers" in {call.what for call in house.page().calls}


def test_of_a_workbook_without_a_supplier_a_copy_that_is_there_is_enough(db: None) -> None:
    house = bare_house("supplier")
    house.bring("in the house")
    assert read(house).without_offer == ()


def test_a_copy_on_order_without_a_supplier_is_looked_out_for_all_the_same(db: None) -> None:
    house = bare_house("supplier")
    house.do(a.order_copy, workbook=BOOK, learner="asa", expected=date(2026, 1, 14))
    house.until("2026-01-19 08:00")
    reading = read(house)
    assert reading.without_offer == ()
    assert reading.sentences[0].startswith("Call the supplier: Large Numbers for Asa")


# --- what is learnt of a supplier ---------------------------------------------------------------------------------


def parcel(house: House, copies: list[str], ordered_on: str, came_on: str | None, code: str = BOOK) -> None:
    house.until(f"{ordered_on} 09:00")
    for copy in copies:
        house.do(a.order_copy, workbook=code, copy=copy)
    if came_on is not None:
        house.until(f"{came_on} 09:00")
        for copy in copies:
            house.do(a.receive_copy, copy=copy)


def believed(house: House, supplier: str = MATHS):  # type: ignore[no-untyped-def]
    return next(line for line in read(house).suppliers if line.name == supplier)


class TestWhatIsLearntOfASupplier:
    def test_copies_ordered_and_come_together_are_one_parcel(self, house: House) -> None:
        parcel(house, ["c1", "c2"], "2026-01-12", "2026-01-17")
        parcel(house, ["c3"], "2026-01-19", "2026-01-25")
        by_hand = [
            Parcel(date(2026, 1, 12), date(2026, 1, 17)),
            Parcel(date(2026, 1, 19), date(2026, 1, 25)),
        ]
        assert believed(house).lead == learn_lead(by_hand, date(2026, 1, 25))

    def test_the_copies_of_another_supplier_do_not_count(self, house: House) -> None:
        parcel(house, ["c1"], "2026-01-12", "2026-01-31", "reading-5-01")
        assert believed(house).lead.received == 0
        assert believed(house, READING).lead.received == 1

    def test_an_order_that_was_taken_back_does_not_count(self, house: House) -> None:
        done = house.do(a.order_copy, workbook=BOOK, copy="c1")
        house.do(a.undo, act=done.act)
        assert believed(house).lead.waiting == 0

    def test_a_copy_ordered_again_after_that_waits_since_the_second_order(self, house: House) -> None:
        done = house.do(a.order_copy, workbook=BOOK, copy="c1")
        house.do(a.undo, act=done.act)
        parcel(house, ["c1"], "2026-01-19", None)
        assert believed(house).lead == learn_lead([Parcel(date(2026, 1, 19))], date(2026, 1, 19))

    def test_a_coming_that_was_taken_back_leaves_the_copy_waiting(self, house: House) -> None:
        house.do(a.order_copy, workbook=BOOK, copy="c1")
        done = house.do(a.receive_copy, copy="c1")
        house.do(a.undo, act=done.act)
        assert (believed(house).lead.received, believed(house).lead.waiting) == (0, 1)

    def test_the_days_that_a_home_states_are_believed_until_parcels_come(self, house: House) -> None:
        wish = SupplierWish(MATHS, days=3)
        set_wishes(house.id, lambda wishes: wishes.with_supplier(wish), at=house.clock)
        assert believed(house).lead.median_days == 3

    def test_it_is_told_with_how_many_parcels_it_rests_on(self, house: House) -> None:
        parcel(house, ["c1"], "2026-01-12", "2026-01-17")
        parcel(house, ["c2"], "2026-01-19", None)
        assert believed(house).sentence.endswith(
            "It rests on 1 parcel that came, and on 1 that has not come yet."
        )


# --- calls for today's page ---------------------------------------------------------------------------------------


class TestCalls:
    def test_what_is_due_is_called_for(self, house: House) -> None:
        keep(house)
        wanted = {
            (line.workbook, line.learner)
            for kept in read(house).orders
            for line in kept.order.lines
            if kept.order.by <= house.clock.date() + timedelta(3)
        }
        assert {(call.workbook, call.learner) for call in calls(house)} == wanted
        assert wanted

    def test_an_order_is_called_for_three_days_before_its_last_day(self, house: House) -> None:
        house.bring("begun")
        keep(house)
        order = next(k.order for k in read(house).orders if k.order.by > house.clock.date() + timedelta(4))
        line, away = order.lines[0], (order.by - house.clock.date()).days

        def called(days: int) -> bool:
            return (line.workbook, line.learner) in {(c.workbook, c.learner) for c in calls(house, days)}

        assert (called(away - 4), called(away - 3), called(away + 9)) == (False, True, True)

    def test_an_order_that_is_placed_takes_its_calls_away(self, house: House) -> None:
        keep(house)
        order = next(k.order for k in read(house).due if k.order.supplier == MATHS)
        assert any(call.supplier == MATHS for call in calls(house))
        place(house, order)
        here = {(line.workbook, line.learner) for line in order.lines}
        assert not here & {(call.workbook, call.learner) for call in calls(house)}

    def test_the_copy_of_another_learner_takes_no_call_away(self, two: House) -> None:
        keep(two)
        two.do(a.order_copy, workbook=BOOK, learner="ben")
        mine = [call for call in calls(two) if (call.workbook, call.learner) == (BOOK, two.person("asa"))]
        assert len(mine) == 1

    def test_a_copy_for_anybody_takes_one_call_away(self, two: House) -> None:
        keep(two)

        def called() -> int:
            return sum(call.workbook == BOOK and call.learner is not None for call in calls(two))

        assert called() == 2
        spare = sum(call.workbook == BOOK and call.learner is None for call in calls(two))
        for _ in range(spare + 1):
            two.do(a.order_copy, workbook=BOOK)
        assert called() == 1

    def test_a_copy_that_the_plan_has_counted_on_takes_no_call_away(self, two: House) -> None:
        two.bring("in the house")
        keep(two)
        mine = [call for call in calls(two) if call.workbook == BOOK and call.learner is not None]
        assert len(mine) == 1

    def test_they_are_two_queries(self, house: House) -> None:
        keep(house)
        home = home_now(house)
        with CaptureQueriesContext(connection) as caught:
            ordering.due_calls(home, house.clock.date())
        assert len(caught) == 2

    def test_an_order_plan_that_says_the_same_again_is_not_written_again(self, house: House) -> None:
        keep(house)
        with CaptureQueriesContext(connection) as caught:
            keep(house)
        assert [q["sql"] for q in caught if not q["sql"].startswith("SELECT")] == []

    def test_a_home_without_any_order_plan_has_none(self, house: House) -> None:
        assert calls(house) == ()

    def test_the_latest_plan_is_the_only_one_that_is_kept(self, house: House) -> None:
        keep(house)
        house.until("2026-04-13 08:00")
        keep(house)
        (row,) = OrderCalls.objects.filter(household=house.id)
        assert (row.made_on, json.loads(row.lines)["lines"]) == (date(2026, 4, 13), [])


# --- placing and receiving ----------------------------------------------------------------------------------------


class TestPlacing:
    def test_all_copies_of_an_order_are_one_act(self, house: House) -> None:
        asa = house.person("asa")
        done = place(house, order_of((BOOK, asa, 1), (NEXT, None, 2)), expected=date(2026, 1, 21))
        facts = [entry.fact for entry in entries() if entry.act == done.act]
        assert [(f.workbook, f.learner, f.supplier, f.price, f.expected) for f in facts] == [  # type: ignore[union-attr]
            (BOOK, asa, MATHS, 420, date(2026, 1, 21)),
            (NEXT, None, MATHS, house.home.programme.workbook(NEXT).price, date(2026, 1, 21)),
            (NEXT, None, MATHS, house.home.programme.workbook(NEXT).price, date(2026, 1, 21)),
        ]
        assert len({f.copy for f in facts}) == 3  # type: ignore[union-attr]

    def test_what_was_placed_is_planned_no_more(self, house: House) -> None:
        order = next(k.order for k in read(house).due if k.order.supplier == MATHS)
        place(house, order)
        here = {(line.workbook, line.learner) for line in order.lines}
        assert not here & set(ordered(read(house)))

    def test_one_slip_given_twice_orders_once(self, house: House) -> None:
        order = order_of((BOOK, house.person("asa"), 1))
        first = place(house, order, slip=Slip(act="o1"))
        again = place(house, order, slip=Slip(act="o1"))
        assert (first.again, again.again) == (False, True)
        assert sum(isinstance(entry.fact, CopyOrdered) for entry in entries()) == 1

    def test_one_wrong_copy_leaves_nothing_ordered(self, house: House) -> None:
        with pytest.raises(UnknownError, match="maths-5-99"):
            place(house, order_of((BOOK, house.person("asa"), 1), ("maths-5-99", None, 1)))
        assert entries() == []

    def test_what_somebody_ordered_meanwhile_is_refused(self, house: House) -> None:
        order = order_of((BOOK, house.person("asa"), 1), (NEXT, None, 1))
        house.do(a.order_copy, workbook=BOOK, learner="asa")
        with pytest.raises(InputError, match=r"Large Numbers \(Mathematics 5\) for Asa"):
            place(house, order)
        assert len(entries()) == 1

    def test_an_order_of_nothing_is_refused(self, house: House) -> None:
        with pytest.raises(InputError, match="no copies"):
            place(house, order_of())

    def test_a_learner_may_not_order(self, house: House) -> None:
        with pytest.raises(RefusedError):
            place(house, order_of((BOOK, house.person("asa"), 1)), by="asa")
        assert entries() == []

    def test_after_a_failed_unit_test_its_copy_is_told_of_the_new_one(self, house: House) -> None:
        failed = house.fail()
        done = place(house, order_of((BOOK, house.person("asa"), 1)))
        told, fresh = (entry.fact for entry in done.entries)
        assert isinstance(told, WorkbookReordered)
        assert isinstance(fresh, CopyOrdered)
        assert standing(failed).replaced_by == fresh.copy

    def test_after_it_today_s_page_asks_for_no_other_copy(self, house: House) -> None:
        house.fail()
        assert CallKind.ORDER_AGAIN in {call.kind for call in house.page().calls}
        place(house, order_of((BOOK, house.person("asa"), 1)))
        assert CallKind.ORDER_AGAIN not in {call.kind for call in house.page().calls}


class TestReceiving:
    def two_on_order(self, house: House) -> None:
        for copy in ("c1", "c2"):
            house.do(a.order_copy, workbook=BOOK, copy=copy)

    def receive(self, house: House, *copies: str, **given: object):  # type: ignore[no-untyped-def]
        house.clock += timedelta(minutes=1)
        by = house.person("ruth")
        return ordering.receive_all(house.id, copies, by=by, at=house.clock, **given)  # type: ignore[arg-type]

    def test_a_parcel_is_one_act(self, house: House) -> None:
        self.two_on_order(house)
        done = self.receive(house, "c1", "c2")
        assert [entry.fact for entry in done.entries] == [CopyReceived("c1"), CopyReceived("c2")]

    def test_one_copy_that_is_not_on_order_leaves_all_of_them_open(self, house: House) -> None:
        self.two_on_order(house)
        house.do(a.receive_copy, copy="c2")
        before = len(entries())
        with pytest.raises(RefusedError):
            self.receive(house, "c1", "c2")
        assert len(entries()) == before

    def test_a_copy_that_is_named_twice_comes_once(self, house: House) -> None:
        self.two_on_order(house)
        assert len(self.receive(house, "c1", "c1").entries) == 1

    def test_a_parcel_of_nothing_is_refused(self, house: House) -> None:
        with pytest.raises(InputError, match="found none"):
            self.receive(house)

    def test_one_slip_given_twice_receives_once(self, house: House) -> None:
        self.two_on_order(house)
        self.receive(house, "c1", slip=Slip(act="r1"))
        assert self.receive(house, "c1", slip=Slip(act="r1")).again
