"""The demonstration home: a real record, built by the gates, that ends on a morning on which much is to be decided."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.contrib.auth import authenticate
from django.contrib.auth.models import User
from django.db import transaction
from django.test import RequestFactory
from pytest_django import DjangoDbBlocker

from markstead.calendar import DayKind
from markstead.errors import InputError
from markstead.ledger.facts import (
    AttendanceTaken,
    CopySpoiled,
    DispatchSent,
    FactReversed,
    GateOverridden,
    GoalSet,
    LeaveRefused,
    PagesWorked,
    PracticeTestScored,
    Presence,
    UnitTestSat,
    UnitTestScored,
    WorkbookReordered,
)
from markstead.ledger.serial import Entry
from markstead.records import demo, estimates, queries, upkeep
from markstead.records.demo import DemoReport
from markstead.records.home import Home
from markstead.records.queries import Call, CopyView, Today
from markstead.records.setup import Newcomer, Papers, set_up
from markstead.rules.bars import BarKind
from markstead.rules.ruling import Role
from markstead.rules.samples import sample_texts
from markstead.rules.steps import CallKind
from tests.records.house import entries

pytestmark = pytest.mark.django_db
REAL = datetime(2026, 9, 1, 19, 30, 12, 400, tzinfo=UTC)
"""When somebody builds the demonstration; any instant will do."""


@dataclass(frozen=True, slots=True)
class Built:
    """A demonstration as it was built, and the record of one that was built before and thrown away."""

    report: DemoReport
    home: Home
    record: list[Entry]
    today: Today
    steps: list[tuple[int, int]]
    head: str
    earlier_head: str

    def calls(self, kind: CallKind) -> list[Call]:
        return [call for call in self.today.calls if call.kind is kind]

    def facts(self, *kinds: type) -> list[Entry]:
        return [entry for entry in self.record if isinstance(entry.fact, kinds)]


@pytest.fixture(scope="module")
def built(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Built]:
    """Build it once for all tests of this file, which only read; then give the database back as it was."""
    steps: list[tuple[int, int]] = []
    with django_db_blocker.unblock():
        with transaction.atomic():
            demo.build(real_now=REAL - timedelta(days=3), planned=False)
            earlier_head = upkeep.verify("home").head
            transaction.set_rollback(True)
        with transaction.atomic():
            report = demo.build(real_now=REAL, progress=lambda done, total: steps.append((done, total)))
            home = queries.home_of("home")
            today = queries.today("home", now=report.now)
            head = upkeep.verify("home").head
            yield Built(report, home, entries(), today, steps, head, earlier_head)
            transaction.set_rollback(True)


# --- the record ------------------------------------------------------------------------------------------


def test_the_record_is_long_and_holds(built: Built) -> None:
    verdict = upkeep.verify("home")
    assert verdict.problem is None
    assert built.report.facts == verdict.facts == len(built.record) >= 8000
    assert built.report.copies == verdict.copies


def test_two_builds_are_the_same_to_the_last_link(built: Built) -> None:
    assert built.head == built.earlier_head


def test_another_seed_gives_another_record(built: Built) -> None:
    with transaction.atomic():
        demo.build("next-door", seed=1, real_now=REAL, planned=False)
        verdict = upkeep.verify("next-door")
        kinds = {call.kind for call in queries.today("next-door", now=built.report.now).calls}
        transaction.set_rollback(True)
    assert verdict.holds
    assert verdict.head != built.head
    assert kinds == {call.kind for call in built.today.calls}, "the last morning is steered for any seed"


def test_some_ninety_school_days_have_gone_by(built: Built) -> None:
    days = {entry.fact.day for entry in built.facts(AttendanceTaken)}
    # The last morning is a school day too; attendance is taken in the evening.
    assert built.report.school_days == len(days) + 1
    assert 85 <= built.report.school_days <= 95
    assert built.steps == [(n, built.report.school_days) for n in range(1, built.report.school_days + 1)]


def test_it_ends_on_a_tuesday_at_twenty_past_ten(built: Built) -> None:
    assert built.today.now.strftime("%A %d %B %Y %H:%M %Z") == "Tuesday 27 January 2026 10:20 GMT"
    assert built.today.day_is is None


def test_no_fact_lies_in_the_future_or_outside_its_day(built: Built) -> None:
    calendar = built.home.calendar
    assert max(entry.at for entry in built.record) <= built.report.now
    for entry in built.facts(PagesWorked, GoalSet, AttendanceTaken, UnitTestSat, DispatchSent):
        assert entry.fact.day == calendar.day_of(entry.at), entry
    for before, after in zip(built.record, built.record[1:], strict=False):
        assert before.at <= after.at, after
        assert after.written == after.at


def test_learners_work_on_school_days_in_waking_hours(built: Built) -> None:
    calendar = built.home.calendar
    learners = {learner.id for learner in built.home.learners}
    worked = [entry for entry in built.record if entry.by in learners]
    assert worked
    for entry in worked:
        at = calendar.at_home(entry.at)
        assert calendar.is_school_day(at.date(), entry.by), entry
        assert time(8, 30) <= at.time() <= time(17), entry


def test_whoever_is_ill_is_absent_and_does_nothing(built: Built) -> None:
    absences = built.home.calendar.absences
    assert len(absences) >= 4
    for absence in absences:
        days = [absence.first + timedelta(days=n) for n in range((absence.last - absence.first).days + 1)]
        for day in days:
            assert built.home.calendar.kind(day, absence.learner) is DayKind.ABSENT
            noted = [
                e.fact.presence
                for e in built.facts(AttendanceTaken)
                if (e.fact.learner, e.fact.day) == (absence.learner, day)
            ]
            assert noted == [Presence.ABSENT]


def test_the_days_are_not_all_smooth(built: Built) -> None:
    """Refusals, failed tests, overrides, slips of the pen and a spoiled copy are on the record, each now and then."""
    counts = Counter(type(entry.fact) for entry in built.record)
    assert counts[LeaveRefused] >= 20
    assert 2 <= counts[GateOverridden] <= 8
    assert 2 <= counts[FactReversed] <= 20
    assert counts[CopySpoiled] == 1
    practice = [entry.fact for entry in built.facts(PracticeTestScored)]
    unit = [entry.fact for entry in built.facts(UnitTestScored)]
    assert 3 <= sum(test.right < test.needed for test in practice) < len(practice) / 4
    failed = sum(test.right < test.needed for test in unit)
    assert 3 <= failed < len(unit) / 4
    assert counts[WorkbookReordered] == failed


def test_papers_went_out_once_a_month(built: Built) -> None:
    assert [entry.fact.day for entry in built.facts(DispatchSent)] == [
        date(2025, 10, 1),
        date(2025, 11, 3),
        date(2025, 12, 1),
        date(2026, 1, 5),
    ]


def test_the_courses_move_on(built: Built) -> None:
    """After some eighteen weeks each learner is somewhere in the middle of each course of twelve workbooks."""
    held = {(copy.learner, copy.workbook.course): copy.workbook.number for copy in all_in_hand(built)}
    assert len(held) >= 17
    assert all(3 <= number <= 9 for number in held.values()), held


# --- the morning on which a visitor arrives ---------------------------------------------------------------


def all_in_hand(built: Built) -> list[CopyView]:
    return [copy for day in built.today.learners for copy in day.copies]


def test_the_page_is_that_of_a_real_morning(built: Built) -> None:
    assert 8 <= len(built.today.calls) <= 14
    assert [day.learner.key for day in built.today.learners] == ["asa", "noa", "ilse"]
    assert [day.learner.year for day in built.today.learners] == [2, 5, 9]
    assert all(len(day.learner.courses) == 6 for day in built.today.learners)


@pytest.mark.parametrize(
    "kind",
    [
        CallKind.SITTING,
        CallKind.LEAVE_TO_REMARK,
        CallKind.HELP,
        CallKind.QUIZ,
        CallKind.CHECK,
        CallKind.MARK_UNIT_TEST,
        CallKind.LATE_COPY,
        CallKind.DISPATCH,
    ],
    ids=str,
)
def test_one_call_of_each_kind_waits(built: Built, kind: CallKind) -> None:
    assert len(built.calls(kind)) == 1


def test_what_is_to_be_ordered_is_called_for_once_for_each_supplier(built: Built) -> None:
    suppliers = [call.supplier for call in built.calls(CallKind.ORDER)]
    assert suppliers
    assert len(set(suppliers)) == len(suppliers)
    assert set(suppliers) <= {book.supplier for book in built.home.programme.workbooks.values()}


def test_readiness_is_to_be_decided_twice_and_once_it_pays_to_hold(built: Built) -> None:
    """One learner's practice test passed after weak sections, another's after sound ones."""
    answer = built.today
    held = [estimates.InHand(v.id, d.learner.id, v.link) for d in answer.learners for v in d.copies]
    readings = estimates.readings_of(answer.home, held)
    asked = [call.copy.id for call in built.calls(CallKind.READINESS) if call.copy is not None]

    advised = [readings[copy].advice for copy in asked]

    assert sorted(str(a.advice) for a in advised if a is not None) == ["hold", "sit"]
    assert not any(a.below_gate for a in advised if a is not None)


def test_two_learners_wait_for_leave_to_mark_one_longer_than_the_other(built: Built) -> None:
    first, second = built.calls(CallKind.LEAVE_TO_MARK)
    assert first.learner != second.learner
    assert first.since is not None
    assert second.since is not None
    assert timedelta() < built.report.now - second.since < built.report.now - first.since < timedelta(hours=1)


def test_one_test_is_sat_this_morning_and_another_may_be(built: Built) -> None:
    (to_mark,) = built.calls(CallKind.MARK_UNIT_TEST)
    (may_sit,) = built.calls(CallKind.SITTING)
    assert to_mark.copy is not None
    assert may_sit.copy is not None
    assert to_mark.learner != may_sit.learner
    assert to_mark.copy.standing.unit is not None
    assert to_mark.copy.standing.unit.day == built.today.now.date()
    assert may_sit.copy.ruling.allowed


def test_one_who_passed_the_practice_test_today_is_too_early(built: Built) -> None:
    (barred,) = [copy for copy in all_in_hand(built) if copy.standing.ready and not copy.ruling.allowed]
    assert [bar.kind for bar in barred.ruling.bars] == [BarKind.TOO_SOON]
    attempt = barred.standing.attempt
    assert attempt is not None
    assert attempt.scored is not None
    assert built.home.calendar.day_of(attempt.scored) == built.today.now.date()


def test_the_late_copy_replaces_one_whose_test_was_failed(built: Built) -> None:
    (late,) = built.calls(CallKind.LATE_COPY)
    assert late.copy is not None
    assert late.copy.ordinal > 1
    reordered = [entry.fact.new_copy for entry in built.facts(WorkbookReordered)]
    assert late.copy.id in reordered


def test_every_workbook_that_is_being_worked_has_a_goal_for_today(built: Built) -> None:
    goals = [copy.standing.goal for copy in all_in_hand(built)]
    today = [goal for goal in goals if goal is not None and goal.day == built.today.now.date()]
    assert len(today) >= 10


# --- the door and the clock -------------------------------------------------------------------------------


def test_the_clock_starts_at_twenty_past_ten_and_runs_on(built: Built) -> None:
    assert built.home.demo_shift is not None
    shown = REAL.replace(microsecond=0) - timedelta(seconds=built.home.demo_shift)
    assert shown == built.report.now


def test_the_educator_signs_in_as_the_report_says(built: Built) -> None:
    request = RequestFactory().post("/")
    user = authenticate(request, username=built.report.username, password=built.report.password)
    assert isinstance(user, User)
    assert queries.person_of_user(user.pk) == ("home", built.home.person("ruth").id)


def test_the_household_says_that_it_is_invented(built: Built) -> None:
    assert "invented" in built.home.name


def test_a_home_that_is_there_is_not_built_upon(built: Built) -> None:
    papers = Papers(*sample_texts(), demo.calendar_text())
    with transaction.atomic():
        set_up("ours", name="Ours", papers=papers, people=[Newcomer("ruth", "Ruth", Role.EDUCATOR)], at=REAL)
        with pytest.raises(InputError, match="a home that is not there yet"):
            demo.build("ours", real_now=REAL)
        assert queries.count_facts("ours") == 0
        assert queries.home_of("ours").name == "Ours"
        transaction.set_rollback(True)
