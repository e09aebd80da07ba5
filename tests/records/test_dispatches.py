"""The month's parcel: what goes, what is missing and why, what went before; and the calls of today's page."""

from datetime import date

import pytest

from markstead.errors import InputError
from markstead.records import actions as a
from markstead.records import dispatch_words, dispatches, queries
from markstead.records.dispatches import Pack
from markstead.records.home import Home
from markstead.rules.steps import CallKind
from tests.records.paper_home import (
    at,
    clear,
    copy_of,
    pages_of,
    paper_home,
    sizes_of,
    to_the_unit_test,
    work,
)

FEBRUARY = date(2026, 2, 1)


@pytest.fixture
def home(db: None) -> Home:
    """Asa's Counting Boats was sat on 14 January and marked that day: 18 of 20."""
    return paper_home()[0]


def ready_for_check(day: int) -> str:
    """A second copy, of Noa's, worked up to its check."""
    copy = copy_of("sums-5-01", at(day, 7), "noa")
    for n, pages in ((1, (1, 4)), (2, (5, 8))):
        work(copy, pages, 10 + n, at(day, 7 + n))
        clear(copy, f"section-{n}", at(day, 7 + n, 30))
    return copy


def pack(today: date, month: date | None = None) -> Pack:
    home = queries.home_of("home")
    return dispatches.pack(home, month or dispatches.month_of(home, today), today)


def call(day: date) -> str:
    """What today's page calls for of the dispatch at ten on a day."""
    found = queries.today("home", now=at(day.day, month=day.month))
    return "; ".join(c.what for c in found.calls if c.kind is CallKind.DISPATCH)


def test_the_parcel_goes_on_the_next_school_day(home: Home) -> None:
    """1 February 2026 is a Sunday."""
    found = pack(date(2026, 2, 2))

    assert (found.nominal, found.day) == (FEBRUARY, date(2026, 2, 2))
    assert [(p.learner.key if p.learner else "", p.label, p.right, p.sat.day) for p in found.going] == [
        ("asa", "sums-5-01", 18, 14)
    ]
    assert dispatch_words.dispatch_view(found).headline == "1 paper goes today."
    assert [p.key for p in found.nothing_from] == ["noa"]


def test_today_calls_from_the_day_on_and_says_when_it_is_late(home: Home) -> None:
    assert call(date(2026, 1, 31)) == ""
    assert call(FEBRUARY) == ""
    assert call(date(2026, 2, 2)) == "Send 1 test paper of before 1 February"
    assert call(date(2026, 2, 4)) == "Send 1 test paper of before 1 February; they were to go on 2 February"


def test_a_test_that_is_not_marked_is_missing_and_says_why(home: Home) -> None:
    copy = ready_for_check(26)
    to_the_unit_test(copy, 28, 19, None)
    a.undo("home", act=queries.latest_act("home") or "", by="ruth", at=at(30))

    (held,) = pack(date(2026, 2, 2)).held

    assert held.blocks
    assert held.why == "sat on 29 January and not marked yet: mark it, and it goes along"
    assert call(date(2026, 2, 2)).endswith("1 paper of before it is missing: sat and not marked")


def test_a_test_since_the_day_goes_with_the_next_one(home: Home) -> None:
    copy = ready_for_check(30)
    a.open_check("home", copy=copy, stop="check-1", by="ruth", at=at(2, 8, month=2))
    work(copy, (9, 9), 7, at(2, 9, month=2))
    clear(copy, "check-1", at(2, 9, 30, month=2))
    a.open_practice_test("home", copy=copy, by="ruth", at=at(2, 10, month=2))
    a.score_practice_test("home", copy=copy, right=16, by="ruth", at=at(2, 11, month=2))
    a.decide_readiness("home", copy=copy, ready=True, by="ruth", at=at(2, 12, month=2))
    a.sit_unit_test("home", copy=copy, watcher="ruth", aids=(), by="ruth", at=at(3, 9, month=2))
    a.score_unit_test("home", copy=copy, right=15, by="ruth", at=at(3, 15, month=2))

    found = pack(date(2026, 2, 4))

    assert [(h.why, h.blocks) for h in found.held] == [("marked on 3 February: it goes on 2 March", False)]
    assert [p.right for p in found.going] == [18]


def test_what_went_is_told_with_its_tracking_and_next_month_as_what_went_before(home: Home) -> None:
    copy = pack(date(2026, 2, 2)).going[0].copy
    a.send_dispatch("home", copies=[copy], tracking="QX 4711", by="ruth", at=at(2, 16, month=2))

    now, later = pack(date(2026, 2, 3)), pack(date(2026, 3, 2))

    for sent in (*now.sent, *later.before):
        assert (sent.day, sent.tracking, [p.right for p in sent.papers]) == (
            date(2026, 2, 2),
            "QX 4711",
            [18],
        )
    assert len(now.sent) == len(later.before) == 1
    assert call(date(2026, 2, 4)) == ""


def test_a_dispatch_that_was_taken_back_is_to_be_sent_again(home: Home) -> None:
    copy = pack(date(2026, 2, 2)).going[0].copy
    done = a.send_dispatch("home", copies=[copy], by="ruth", at=at(2, 16, month=2))
    a.undo("home", act=done.act, by="ruth", at=at(2, 17, month=2))

    found = pack(date(2026, 2, 3))

    assert (len(found.going), found.sent, found.is_late) == (1, (), True)


def test_a_paper_left_behind_is_late_of_an_earlier_month(home: Home) -> None:
    (paper,) = pack(date(2026, 3, 2)).going

    assert paper.late


def test_a_month_far_away_is_refused(home: Home) -> None:
    with pytest.raises(InputError, match="month: found 1066-10; allowed is a month from 1990-01"):
        pack(date(2026, 2, 2), date(1066, 10, 1))


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("us-letter", (215.9, 279.4))])
def test_the_cover_sheet_lists_papers_and_checks(home: Home, paper: str, size: tuple[float, float]) -> None:
    """ISO 216 and ANSI/ASME Y14.1 (8 1/2 by 11 inches)."""
    today = date(2026, 2, 2)
    content = dispatch_words.as_pdf(dispatch_words.dispatch_view(pack(today)), day=today, paper=paper)

    (text,) = pages_of(content)

    assert sizes_of(content) == {size}
    for words in (
        "Test papers for the school",
        "Monday 2 February 2026",
        "Counting Boats",
        "18 of 20",
        "90 %",
        "1 paper",
    ):
        assert words in text, words
    assert "No paper from Noa: no unit test was marked." in text
    assert "A copy or a photograph of each paper stays in the house." in text
