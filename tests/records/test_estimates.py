"""Estimates read from the database: remembered as long as they hold, and asked of it no oftener than needed."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from markstead.errors import InputError, UnknownError
from markstead.ledger.facts import PRACTICE
from markstead.measure.evidence import books
from markstead.measure.marks import CopyMarks, marks_of
from markstead.measure.readiness import Readiness, follow, predict, work_through
from markstead.measure.readings import subjects_of
from markstead.records import actions as a
from markstead.records import estimates, queries, quizzes, upkeep
from markstead.records.desk import MARKS, Slip
from markstead.records.models import Copy as CopyRow
from markstead.records.quizzes import UnderWay
from markstead.records.setup import Papers, set_costs, set_up
from markstead.rules.standing import CopyStatus
from tests.records.house import BOOK, CAST, PAPERS, House, entries

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def forgetful(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is remembered from the test before."""
    MARKS.clear()
    for name in ("_STATES", "_SETTLED", "_READ", "_SPOTS", "_TODAY"):
        monkeypatch.setattr(estimates, name, type(getattr(estimates, name))())


def from_the_record(house: House, copy: str) -> Readiness:
    """Readiness straight from every fact on the record, by the filter alone and with nothing remembered."""
    learner = CopyRow.objects.get(id=copy).learner
    names = CopyRow.objects.filter(household=house.id, learner=learner).values_list("id", flat=True)
    home = queries.home_of(house.id)
    known = books([marks_of(name, entries(house.id, name)) for name in names], home.programme)
    state = follow([b.evidence for b in known if b.finished], subjects_of(home.programme))
    for book in known:
        if not book.finished:
            state = work_through(state, book.evidence)
    workbook = home.programme.workbook(next(b for b in known if b.copy == copy).evidence.workbook)
    needed = home.programme.marks.unit_needed(workbook.unit_questions)
    return predict(state, workbook.subject, workbook.unit_questions, needed)


def readings(house: House) -> dict[str, estimates.CopyReading]:
    rows = CopyRow.objects.filter(household=house.id, status=CopyStatus.ISSUED)
    return estimates.readings_of(queries.home_of(house.id), list(rows))


def holds(house: House) -> dict[str, Readiness]:
    """Readiness as it is read now, after seeing that it is that of the record."""
    found = {copy: reading.readiness for copy, reading in readings(house).items()}
    assert found == {copy: from_the_record(house, copy) for copy in found}
    return found


def today(house: House, answer: queries.Today | None = None) -> estimates.TodayEstimates:
    """What today's page is told, while Asa waits."""
    answer = answer or house.page()
    held = [estimates.InHand(v.id, day.learner.id, v.link) for day in answer.learners for v in day.copies]
    return estimates.for_today(answer.home, answer.link, answer.settled, held, [house.person("asa")])


def asked(work: Any) -> int:
    with CaptureQueriesContext(connection) as caught:
        work()
    return len(caught)


class TestWhatIsRemembered:
    def test_a_reading_follows_every_act(self, house: House) -> None:
        copy = None
        road = house.road("c1", "asa", BOOK)
        for place in road:
            if place in ("marked", "section cleared", "stops cleared", "practice passed"):
                copy = holds(house)["c1"]
        assert copy is not None

    def test_a_finished_workbook_tells_of_the_next_one(self, house: House) -> None:
        house.bring("passed")
        copy = house.bring("begun", workbook="maths-5-02")
        house.do(a.set_goal, copy=copy, day=house.clock.date(), first=1, last=2, by="asa")

        assert holds(house)[copy].spread < estimates_of_nobody(house, copy).spread

    def test_a_unit_test_taken_back_is_forgotten(self, house: House) -> None:
        copy = house.bring("sat")
        before = holds(house)[copy]
        done = house.do(a.score_unit_test, copy=copy, right=house.needed() + 2)
        assert holds(house) == {}

        house.do(a.undo, act=done.act)

        assert holds(house)[copy] == before

    def test_a_unit_test_scored_anew_is_read_anew(self, house: House) -> None:
        copy = house.bring("sat")
        other = house.bring("section cleared", workbook="reading-5-01")
        first = house.do(a.score_unit_test, copy=copy, right=house.needed() + 3)
        better = holds(house)[other]
        house.do(a.undo, act=first.act)
        holds(house)

        house.do(a.score_unit_test, copy=copy, right=2)

        assert holds(house)[other].chance < better.chance

    def test_a_new_copy_after_a_failed_test_begins_where_the_failed_one_ended(self, house: House) -> None:
        failed = house.fail()
        house.do(a.reorder_workbook, copy=failed)
        copy = house.bring("section cleared")

        assert holds(house)[copy].asked > 0

    def test_a_spoiled_copy_is_not_lost_for_the_estimate(self, house: House) -> None:
        wet = house.bring("section cleared")
        house.do(a.spoil_copy, copy=wet, reason="fell into the sea")
        copy = house.bring("section cleared")

        assert holds(house)[copy].asked > 0

    def test_another_programme_is_another_pass_mark(self, house: House) -> None:
        copy = house.bring("section cleared")
        before = readings(house)[copy].readiness
        rules = PAPERS.programme.replace("unit_test_percent = 80", "unit_test_percent = 95")

        set_up(
            "home",
            name="Tarn End",
            papers=Papers(rules, PAPERS.workbooks, PAPERS.calendar),
            people=CAST,
            at=house.clock,
        )

        after = readings(house)[copy].readiness
        assert (before.needed, after.needed) == (24, 29)  # of 30: 80 and 95 in the hundred, rounded up
        assert after.chance < before.chance

    def test_two_homes_are_read_apart(self, house: House, next_door: House) -> None:
        ours, theirs = house.bring("marked"), next_door.bring("section cleared", learner="trent")

        assert list(readings(house)) == [ours]
        assert list(readings(next_door)) == [theirs]
        assert estimates.close(queries.home_of("home"), theirs) is None

    def test_what_was_remembered_is_what_is_read_after_a_rebuild(self, house: House) -> None:
        house.bring("passed")
        house.bring("stops cleared", workbook="maths-5-02")
        before = holds(house)

        upkeep.rebuild("home")

        assert holds(house) == before

    def test_a_programme_that_works_the_same_copy_again_reads_on_in_it(self, house: House) -> None:
        rules = PAPERS.programme.replace(
            'after_failed_unit_test = "new copy"', 'after_failed_unit_test = "same copy"'
        )
        assert rules != PAPERS.programme
        house.home = set_up(
            "home",
            name="Tarn End",
            papers=Papers(rules, PAPERS.workbooks, PAPERS.calendar),
            people=CAST,
            at=house.clock,
        )
        copy = house.fail()
        house.do(a.open_practice_test, copy=copy)
        house.do(a.score_practice_test, copy=copy, wrong=(4,))

        assert holds(house)[copy].asked == 30


def estimates_of_nobody(house: House, copy: str) -> Readiness:
    """What would be read of a learner of whom nothing is known, in this copy."""
    home = queries.home_of(house.id)
    (book,) = books([marks_of(copy, entries(house.id, copy))], home.programme)
    workbook = home.programme.workbook(book.evidence.workbook)
    state = work_through(follow([], subjects_of(home.programme)), book.evidence)
    needed = home.programme.marks.unit_needed(workbook.unit_questions)
    return predict(state, workbook.subject, workbook.unit_questions, needed)


class TestToday:
    def test_nothing_is_asked_of_the_database_while_nothing_is_new(self, house: House) -> None:
        house.bring("asked")
        answer = house.page()
        today(house, answer)

        assert asked(lambda: today(house, answer)) == 0

    def test_after_a_page_is_worked_elsewhere_only_that_copys_marks_are_read(self, house: House) -> None:
        """One query for one copy: what was finished and marked before is still what it was."""
        house.bring("passed")
        copy = house.bring("section cleared", workbook="maths-5-02")
        today(house)

        house.do(a.work_pages, copy=copy, first=9, last=9, minutes=5, by="asa")
        MARKS.popitem()  # another process wrote it

        answer = house.page()
        assert asked(lambda: today(house, answer)) == 1
        assert today(house, answer).readings[copy].readiness == from_the_record(house, copy)

    def test_after_an_act_of_this_process_nothing_is_read(self, house: House) -> None:
        copy = house.bring("section cleared", workbook="maths-5-01")
        today(house)

        house.do(a.work_pages, copy=copy, first=5, last=5, minutes=5, by="asa")

        answer = house.page()
        assert asked(lambda: today(house, answer)) == 0
        assert today(house, answer).readings[copy].readiness == from_the_record(house, copy)

    def test_who_begins_to_wait_is_told_of_ticks_to_look_at(self, house: House) -> None:
        """Nothing new is on the record, but another learner is asked about."""
        house.bring("marked")
        answer, asa = house.page(), house.person("asa")

        nobody, waits = (
            estimates.for_today(answer.home, answer.link, answer.settled, [], who) for who in ([], [asa])
        )

        assert nobody.spots == {}
        assert set(waits.spots) == {asa}

    def test_a_spot_check_of_a_finished_workbook_is_not_asked_again(self, house: House) -> None:
        copy = house.bring("passed")
        other = house.bring("asked", workbook="maths-5-02")
        line = today(house).spots[house.person("asa")]
        assert {tick.copy for tick in line.ticks} == {copy}

        looked = [(t.copy, t.stop, t.question, True) for t in line.ticks]
        house.do(a.hold_spot_checks, looked=looked)

        assert today(house).spots == {}
        assert other in today(house).readings

    def test_after_an_act_it_says_what_holds_now(self, house: House) -> None:
        copy = house.bring("may mark")
        before = today(house)

        house.do(a.mark, copy=copy, stop="section-1", wrong=(7, 3), by="asa")

        after = today(house)
        assert before.spots == {}
        assert after.readings[copy].readiness == from_the_record(house, copy)
        assert after.spots[house.person("asa")].sentence.startswith("Mark ")

    def test_the_number_of_queries_does_not_grow_with_the_history(self, house: House) -> None:
        def after_an_act() -> int:
            house.do(a.give_help, copy=house.bring("marked"), minutes=3)
            today(house)
            copy = CopyRow.objects.filter(status=CopyStatus.ISSUED).values_list("id", flat=True)[0]
            house.do(a.give_help, copy=copy, minutes=2)
            answer = house.page()
            return asked(lambda: today(house, answer))

        few = after_an_act()
        house.do(a.spoil_copy, copy=next(iter(readings(house))), reason="ink")
        for number in range(1, 4):
            house.bring("passed", workbook=f"maths-5-{number:02}")
        house.bring("passed", workbook="reading-5-01")

        def with_a_history() -> int:
            copy = house.bring("marked", workbook="maths-5-04")
            today(house)
            house.do(a.give_help, copy=copy, minutes=2)
            answer = house.page()
            return asked(lambda: today(house, answer))

        assert with_a_history() <= few

    def test_what_a_failed_test_costs_changes_the_advice(self, house: House) -> None:
        copy = house.bring("practice open")
        house.do(a.score_practice_test, copy=copy, wrong=(2, 11, 19, 20))
        found = []

        for days in (60, 0.5):
            set_costs("home", failed_test_costs=days)
            advice = today(house).readings[copy].advice
            assert advice is not None
            found.append(str(advice.advice))

        assert found == ["hold", "sit"]


class TestOneCopy:
    def test_a_copy_in_hand_has_everything(self, house: House) -> None:
        copy = house.bring("practice passed")

        found = estimates.close(queries.home_of("home"), copy)

        assert found is not None
        assert found.reading.readiness == from_the_record(house, copy)
        assert found.history[-1].readiness == found.reading.readiness
        assert found.reading.advice is not None
        assert sum(line.asked for line in found.objectives) == sum(
            stop.questions for stop in house.home.programme.workbook(BOOK).stops
        )

    @pytest.mark.parametrize("place", ["on order", "in the house", "passed"])
    def test_a_copy_in_nobodys_hands_has_none(self, house: House, place: str) -> None:
        assert estimates.close(queries.home_of("home"), house.bring(place)) is None

    def test_an_unknown_copy_has_none(self, house: House) -> None:
        assert estimates.close(queries.home_of("home"), "nowhere") is None


class TestSpotCheck:
    def test_the_draw_cannot_be_foreseen_without_the_key_and_is_the_same_for_who_has_it(
        self, house: House, settings: Any
    ) -> None:
        house.bring("marked")
        asa = house.person("asa")

        here, again = (estimates.spot(house.home, asa).ticks for _ in range(2))
        settings.SECRET_KEY = "another key of another installation, long enough to be one"
        elsewhere = estimates.spot(house.home, asa).ticks

        assert here == again
        assert here != elsewhere
        assert len(here) == len(elsewhere)

    def test_two_slips_ask_for_more(self, house: House) -> None:
        house.bring("marked")
        asa = house.person("asa")
        first = estimates.spot(house.home, asa).ticks
        looked = [(t.copy, t.stop, t.question, n > 1) for n, t in enumerate(first)]

        house.do(a.hold_spot_checks, looked=looked)

        more = estimates.spot(house.home, asa).ticks
        assert len(more) > 0
        assert not set(more) & set(first)

    def test_the_same_check_held_twice_does_not_break_the_page(self, house: House) -> None:
        copy = house.bring("marked")
        every = [(copy, "section-1", q, True) for q in range(1, 25) if q not in (3, 7)]

        for _ in range(2):
            house.do(a.hold_spot_checks, looked=every)

        page = estimates.learner_page(house.home, house.home.person("asa"), house.clock, 5)
        assert page.spot.ticks == ()
        assert page.spot.looked == f"{len(every)} looked at, 0 wrong"


def begun(house: House, copy: str, stop: str | None = None) -> UnderWay:
    return quizzes.begin("home", copy=copy, by=house.person("ruth"), at=house.clock, stop=stop)


def desk(house: House, quiz: UnderWay, skip: int = 0) -> estimates.QuizDesk:
    return estimates.quiz_desk(queries.home_of("home"), quizzes.find("home", quiz.id), skip=skip)


def ask(house: House, quiz: UnderWay, *, right: bool = True) -> tuple[str, int]:
    """Ask the next question, and note how it was answered."""
    found = desk(house, quiz)
    assert found.next is not None
    place = len(found.quiz.answers)
    at = (found.next.stop, found.next.question)
    quizzes.note("home", quiz.id, place=place, stop=at[0], question=at[1], right=right)
    return at


def record(house: House, quiz: UnderWay) -> None:
    house.clock += timedelta(minutes=1)
    quizzes.hold("home", quiz.id, by=house.person("ruth"), at=house.clock, slip=Slip(now=house.clock))


class TestQuiz:
    def test_asked_again_it_asks_the_same_questions_in_the_same_order(self, house: House) -> None:
        quiz = begun(house, house.bring("marked"))

        plan = desk(house, quiz).ahead
        questions = [ask(house, quiz) for _ in range(5)]

        assert questions == [(c.stop, c.question) for c in plan[:5]]
        assert desk(house, quiz).ahead == plan[5:]

    def test_no_question_comes_twice_in_a_quiz(self, house: House) -> None:
        quiz = begun(house, house.bring("marked"))

        questions = [ask(house, quiz, right=n % 3 > 0) for n in range(12)]

        assert len(set(questions)) == 12

    def test_another_question_is_asked_instead_and_none_is_passed_over_for_good(self, house: House) -> None:
        quiz = begun(house, house.bring("marked"))
        others = desk(house, quiz).others

        seen = {desk(house, quiz, skip).next for skip in range(others + 1)}

        assert seen == set(desk(house, quiz).ahead)

    @pytest.mark.parametrize("days", [0, 1])
    def test_a_question_is_not_asked_again_within_two_days(self, house: House, days: int) -> None:
        copy = house.bring("marked")
        quiz = begun(house, copy)
        before = {ask(house, quiz) for _ in range(4)}
        record(house, quiz)
        house.clock += timedelta(days=days)

        later = begun(house, copy)

        assert not before & {(c.stop, c.question) for c in desk(house, later).ahead}

    def test_after_two_days_a_question_may_come_again(self, house: House) -> None:
        """The section has 24 questions, as many as are planned: rested ones are among them again."""
        copy = house.bring("marked")
        quiz = begun(house, copy)
        before = {ask(house, quiz) for _ in range(4)}
        record(house, quiz)
        house.clock += timedelta(days=2)

        later = begun(house, copy)

        assert before <= {(c.stop, c.question) for c in desk(house, later).ahead}

    def test_a_quiz_on_the_practice_test_asks_its_questions(self, house: House) -> None:
        copy = house.bring("practice passed")

        found = desk(house, begun(house, copy, PRACTICE))

        assert {c.stop for c in found.ahead} == {PRACTICE}
        assert {c.question for c in found.ahead} <= set(range(1, 31))
        assert len(found.ahead) == estimates.MOST_PLANNED
        assert {c.question for c in found.ahead if c.wrong_at_first} <= {2, 11, 19}
        assert found.ahead[0].wrong_at_first

    def test_a_quiz_on_one_stop_asks_of_no_other(self, house: House) -> None:
        copy = house.bring("stops cleared")

        assert {c.stop for c in desk(house, begun(house, copy, "section-2")).ahead} == {"section-2"}

    def test_a_finished_workbook_is_quizzed_without_prejudice(self, house: House) -> None:
        assert desk(house, begun(house, house.bring("passed"))).prior == 0.5

    @pytest.mark.parametrize(("stop", "question"), [("section-1", 0), ("section-1", 99), (PRACTICE, 31)])
    def test_a_question_that_the_workbook_does_not_have_is_refused(
        self, house: House, stop: str, question: int
    ) -> None:
        copy = house.bring("practice passed")

        with pytest.raises(InputError, match="a number from 1 to"):
            estimates.check_question(queries.home_of("home"), copy, stop, question)

    def test_a_quiz_on_another_homes_copy_is_not_found(self, house: House, next_door: House) -> None:
        theirs = next_door.bring("marked", learner="trent")

        with pytest.raises(UnknownError):
            estimates.quiz_scope(queries.home_of("home"), theirs, None)

    def test_a_stop_that_is_not_there_is_not_found(self, house: House) -> None:
        copy = house.bring("marked")

        with pytest.raises(UnknownError):
            estimates.quiz_scope(queries.home_of("home"), copy, "section-99")


class TestALearnersPage:
    def test_it_gathers_readiness_pace_spot_check_and_review(self, house: House) -> None:
        house.bring("passed")
        copy = house.bring("section cleared", workbook="maths-5-02")
        later = house.clock + timedelta(days=60)

        page = estimates.learner_page(house.home, house.home.person("asa"), later, 10)

        assert set(page.readings) == {copy}
        assert [course.course for course in page.paces] == ["maths-5"]
        assert page.spot.ticks != ()
        assert page.review != ()
        assert all(line.low <= line.predicted <= line.high for line in page.review)

    def test_a_learner_without_a_mark_has_an_empty_page(self, house: House) -> None:
        page = estimates.learner_page(house.home, house.home.person("noa"), house.clock, 5)

        assert (page.readings, page.paces, page.spot.ticks, page.review, page.notes) == ({}, (), (), (), ())

    def test_a_question_to_go_back_to_can_be_recorded_where_it_is_said_to_stand(self, house: House) -> None:
        """Also while a new copy of the same workbook is in hand of which little is worked yet."""
        failed = house.fail()
        house.do(a.reorder_workbook, copy=failed)
        house.bring("section cleared")
        later = house.clock + timedelta(days=40)
        page = estimates.learner_page(house.home, house.home.person("asa"), later, 60)

        for line in page.review:
            estimates.check_question(house.home, line.copy, line.stop, line.question)
            house.do(a.hold_oral_quiz, copy=line.copy, answers=[(line.question, True)], stop=line.stop)

        assert len(page.review) > 1

    def test_a_learners_marks_are_read_in_one_query_while_they_are_remembered(self, house: House) -> None:
        house.bring("passed")
        asa = house.person("asa")
        estimates.marks_of_learner("home", asa)

        assert asked(lambda: estimates.marks_of_learner("home", asa)) == 1

    def test_marks_of_a_row_are_those_of_the_facts(self, house: House) -> None:
        copy = house.bring("passed")

        row = estimates.marks_of_row(CopyRow.objects.get(id=copy))

        assert isinstance(row, CopyMarks)
        assert row == marks_of(copy, entries("home", copy))
