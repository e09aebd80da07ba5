"""A small home with a fortnight of January behind it, in which every figure is another one: for the papers' tests.

Asa (year 5) takes Sums and Words. The home's two terms have 80 and 60 school days: sixteen weeks from 1 September 2025, twelve
from 5 January 2026, and no public holiday of England in them.
"""

from datetime import UTC, date, datetime
from typing import Any

import pypdfium2

from markstead.ledger.facts import Presence, Step
from markstead.records import actions as a
from markstead.records.desk import Slip
from markstead.records.home import Home
from tests.tools.homes import small_home

AS_OF = date(2026, 1, 23)


def at(day: int, hour: int = 10, minute: int = 0, month: int = 1) -> datetime:
    """An instant of 2026; the kitchen clock shows the same in winter."""
    return datetime(2026, month, day, hour, minute, tzinfo=UTC)


def copy_of(workbook: str, when: datetime, learner: str = "asa") -> str:
    """A copy in a learner's hands, its opening talk held."""
    done = a.order_copy("home", workbook=workbook, learner=learner, by="ruth", at=when)
    copy = str(getattr(done.entries[0].fact, "copy", ""))
    a.receive_copy("home", copy=copy, by="ruth", at=when)
    a.issue_copy("home", copy=copy, learner=learner, by="ruth", at=when)
    a.hold_opening_talk("home", copy=copy, by="ruth", at=when)
    return copy


def work(copy: str, pages: tuple[int, int], minutes: int | None, when: datetime, **given: Any) -> None:
    first, last = pages
    a.work_pages("home", copy=copy, first=first, last=last, minutes=minutes, by="ruth", at=when, **given)


def clear(copy: str, stop: str, when: datetime) -> None:
    """Mark a stop that is worked, with everything right."""
    a.ask_leave("home", copy=copy, step=Step.MARK, stop=stop, by="ruth", at=when)
    a.give_leave("home", copy=copy, step=Step.MARK, stop=stop, by="ruth", at=when)
    a.mark("home", copy=copy, stop=stop, wrong=(), by="ruth", at=when)


def to_the_unit_test(copy: str, day: int, right: int, minutes: int | None) -> None:
    """The check on a day, the practice test after it, and the unit test on the morning after."""
    a.open_check("home", copy=copy, stop="check-1", by="ruth", at=at(day))
    work(copy, (9, 9), None, at(day, 10, 20))
    clear(copy, "check-1", at(day, 10, 30))
    a.open_practice_test("home", copy=copy, by="ruth", at=at(day, 11))
    a.score_practice_test("home", copy=copy, right=17, by="ruth", at=at(day, 11, 40))
    a.decide_readiness("home", copy=copy, ready=True, by="ruth", at=at(day, 12))
    a.sit_unit_test("home", copy=copy, watcher="ruth", aids=("pencil",), by="ruth", at=at(day + 1, 9))
    a.score_unit_test("home", copy=copy, right=right, minutes=minutes, by="ruth", at=at(day + 1, 15))


def paper_home(*, sign_in: bool = False) -> tuple[Home, str, str]:
    """The home, and Asa's copies of Counting Boats and Names of Winds."""
    home = small_home(sign_in=sign_in)
    sums = copy_of("sums-5-01", at(9, 8))
    work(sums, (1, 4), 37, at(9))
    clear(sums, "section-1", at(9, 11))
    work(sums, (5, 8), 41, at(12))
    clear(sums, "section-2", at(12, 11))
    to_the_unit_test(sums, 13, 18, 29)
    words = copy_of("words-5-01", at(15, 8))
    work(words, (1, 2), 23, at(15))
    for day, presence, minutes in (
        (13, Presence.HALF, 125),
        (16, Presence.FULL, 200),
        (19, Presence.ABSENT, None),
    ):
        when = date(2026, 1, day)
        a.take_attendance(
            "home", learner="asa", day=when, presence=presence, minutes=minutes, by="ruth", at=at(20)
        )
    return home, sums, words


def write_late(words: str) -> a.Done:
    """On the 26th somebody writes down a page of the 15th that had been forgotten."""
    return a.work_pages(
        "home", copy=words, first=3, last=3, minutes=31, by="ruth", at=at(15, 14), slip=Slip(now=at(26))
    )


def pages_of(content: bytes) -> list[str]:
    """The text of each page of a PDF, with spaces as single ones."""
    document = pypdfium2.PdfDocument(content)
    try:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]
    finally:
        document.close()


def sizes_of(content: bytes) -> set[tuple[float, float]]:
    """Width and height of the pages of a PDF, in millimetres."""
    document = pypdfium2.PdfDocument(content)
    try:
        return {
            (round(w * 25.4 / 72, 1), round(h * 25.4 / 72, 1)) for w, h in (p.get_size() for p in document)
        }
    finally:
        document.close()


def made_on(content: bytes) -> str:
    """The day that a PDF says it was made on: 20260123."""
    document = pypdfium2.PdfDocument(content)
    try:
        return str(document.get_metadata_dict()["CreationDate"]).removeprefix("D:")[:8]
    finally:
        document.close()
