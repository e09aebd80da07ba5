"""Today's page calls for orders as the order plan has them, and by the plain rule where no order plan is kept."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from markstead.records import actions as a
from markstead.records import ahead, order_calls, ordering, queries
from markstead.records.order_calls import Awaited, DueCall, KeptCalls
from markstead.records.queries import Call
from markstead.rules.steps import CallKind
from tests.records.house import BOOK, House

pytestmark = pytest.mark.django_db
MATHS = "Quayside Books"
READING = "Tern & Daughters"


@pytest.fixture(autouse=True)
def forgetful() -> None:
    """Nothing is remembered from the test before."""
    ahead._AHEAD.clear()
    queries._SIGHTS.clear()


def keep(house: House) -> ordering.OrderReading:
    return ordering.look(queries.home_of(house.id), house.clock.date())


def calls(house: House, kind: CallKind) -> list[Call]:
    return [call for call in house.page().calls if call.kind is kind]


# --- to order -----------------------------------------------------------------------------------------------------


def test_without_an_order_plan_the_plain_rule_calls_book_by_book(house: House) -> None:
    found = calls(house, CallKind.ORDER)
    assert "Order Large Numbers" in {call.what for call in found}
    assert {call.supplier for call in found} == {None}


def test_with_one_there_is_one_call_for_each_supplier_with_everything_due(house: House) -> None:
    reading = keep(house)
    due: dict[str, int] = {}
    for line in reading.orders:
        if line.order.by <= house.clock.date() + order_calls.SOON:
            count = sum(row.quantity for row in line.order.lines)
            due[line.order.supplier] = due.get(line.order.supplier, 0) + count
    found = calls(house, CallKind.ORDER)
    assert {call.supplier: call.what.rpartition(": ")[2] for call in found} == {
        name: "1 copy" if count == 1 else f"{count} copies" for name, count in due.items()
    }
    assert len(found) == len(due) >= 2


def test_what_is_late_already_is_to_be_ordered_today(house: House) -> None:
    keep(house)
    (call,) = [call for call in calls(house, CallKind.ORDER) if call.supplier == MATHS]
    assert call.what.startswith(f"Order today from {MATHS}: ")
    assert call.blocks.endswith("will need them")
    assert "Asa" in call.blocks


def test_once_ordered_the_call_goes_at_the_next_look_at_the_page(house: House) -> None:
    reading = keep(house)
    for line in reading.due:
        house.clock += timedelta(minutes=1)
        ordering.place(house.id, line.order, by=house.person("ruth"), at=house.clock)
    assert not [call for call in calls(house, CallKind.ORDER) if "today" in call.what]


def test_a_new_order_plan_is_seen_though_nothing_is_new_on_the_record(house: House) -> None:
    assert {call.supplier for call in calls(house, CallKind.ORDER)} == {None}
    keep(house)
    assert MATHS in {call.supplier for call in calls(house, CallKind.ORDER)}


def test_the_page_asks_the_database_no_more_with_an_order_plan_than_without(house: House) -> None:
    def asked() -> int:
        house.page()
        queries._SIGHTS.clear()
        with CaptureQueriesContext(connection) as caught:
            house.page()
        return len(caught)

    without = asked()
    keep(house)
    assert asked() == without


def test_issuing_what_lies_ready_is_called_for_all_the_same(house: House) -> None:
    house.bring("in the house")
    keep(house)
    assert [call.workbook.code for call in calls(house, CallKind.ISSUE) if call.workbook] == [BOOK]


# --- its age ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "told"), [(7, False), (8, True), (28, True)])
def test_an_order_plan_of_more_than_a_week_ago_says_its_age(house: House, days: int, told: bool) -> None:
    made_on = house.clock.date()
    keep(house)
    house.clock += timedelta(days)
    found = [call.what for call in calls(house, CallKind.ORDER)]
    age = f"(by the order plan of {made_on.day} {made_on:%B %Y})"
    assert found
    assert {age in what for what in found} == {told}


def test_one_of_more_than_four_weeks_ago_gives_way_to_the_plain_rule(house: House) -> None:
    keep(house)
    house.clock += timedelta(29)
    found = calls(house, CallKind.ORDER)
    assert {call.supplier for call in found} == {None}
    assert "Order Large Numbers" in {call.what for call in found}


# --- late ---------------------------------------------------------------------------------------------------------


def two_on_order(house: House, expected: date | None) -> None:
    for copy in ("c1", "c2"):
        house.do(
            a.order_copy, workbook=BOOK, learner="asa" if copy == "c1" else None, expected=expected, copy=copy
        )


def test_a_late_parcel_is_one_call_however_many_copies_it_holds(house: House) -> None:
    two_on_order(house, date(2026, 1, 14))
    keep(house)
    house.until("2026-01-16 08:00")
    (call,) = calls(house, CallKind.LATE_COPY)
    assert (
        call.what == f"2 copies ordered on 12 January 2026 from {MATHS} should have come by 14 January 2026"
    )
    assert (call.supplier, call.copies, call.blocks) == (MATHS, ("c1", "c2"), "Asa waits for it")


def test_without_a_named_day_it_is_late_once_9_of_10_parcels_would_have_come(house: House) -> None:
    two_on_order(house, None)
    reading = keep(house)
    due = reading.on_the_way[0].due
    supplier = next(line for line in reading.suppliers if line.name == MATHS)
    assert (due - house.clock.date()).days == supplier.lead.days_for(0.9)
    house.clock += due - house.clock.date()
    assert calls(house, CallKind.LATE_COPY) == []
    house.clock += timedelta(1)
    assert len(calls(house, CallKind.LATE_COPY)) == 1


def test_a_parcel_that_came_is_late_no_more(house: House) -> None:
    two_on_order(house, date(2026, 1, 14))
    keep(house)
    house.until("2026-01-16 08:00")
    house.do(a.receive_copy, copy="c1")
    (call,) = calls(house, CallKind.LATE_COPY)
    assert call.copies == ("c2",)
    assert (
        call.what == f"The copy ordered on 12 January 2026 from {MATHS} should have come by 14 January 2026"
    )
    assert (call.copy.id if call.copy else None, call.blocks) == ("c2", "waits for it")
    house.do(a.receive_copy, copy="c2")
    assert calls(house, CallKind.LATE_COPY) == []


def test_a_copy_that_was_ordered_after_the_plan_is_looked_out_for_by_its_named_day(house: House) -> None:
    keep(house)
    two_on_order(house, date(2026, 1, 14))
    house.until("2026-01-16 08:00")
    assert [call.what for call in calls(house, CallKind.LATE_COPY)] == [
        "The copy was expected on 14 January"
    ] * 2


# --- what is kept -------------------------------------------------------------------------------------------------


def test_what_is_kept_reads_back_as_it_was(house: House) -> None:
    day = date(2026, 1, 12)
    line = DueCall(BOOK, "asa", MATHS, date(2026, 1, 15), date(2026, 1, 27), day)
    awaited = {"c9": Awaited(READING, date(2026, 1, 5), date(2026, 1, 19))}
    order_calls.keep(house.id, day, ["c9"], [line, line], awaited)
    found = order_calls.read_kept(order_calls.kept_text(house.id))
    assert found == KeptCalls(day, frozenset({"c9"}), (line, line), awaited)


def test_of_a_home_without_any_nothing_is_read(house: House) -> None:
    assert order_calls.read_kept(order_calls.kept_text(house.id)) is None
