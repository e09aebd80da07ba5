"""Where a learner stands in a course when this home's record begins, or when a placement is taken: as facts.

What was worked before is no evidence: it is written as taken over, and no mark, no minute and no passed test is made
up for it. The gate of the earlier workbooks is passed with a reason that stays on the record.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from markstead.errors import InputError, Problem
from markstead.records import actions
from markstead.records.actions import Acting
from markstead.records.desk import Desk, Slip, at_the_desk
from markstead.records.models import Copy as CopyRow
from markstead.rules.programme import Programme, Workbook
from markstead.rules.standing import CopyStatus
from markstead.speech import later, say

REASON = later("The learner stood here when this record began.")


class Where(StrEnum):
    """What is there of the workbook in which a learner goes on."""

    NOTHING = "nothing"
    HAND = "in hand"
    HERE = "here"
    ORDERED = "ordered"
    FIND = "find out"


@dataclass(frozen=True, slots=True)
class Opening:
    """Where one learner stands in one course."""

    learner: str
    """By key or id."""
    course: str
    where: Where = Where.NOTHING
    workbook: str = ""
    """Its code; empty where nothing is begun, or where that is still to be found out."""
    page: int = 0
    """The last page that is done, in a workbook in hand; 0: none yet."""

    @property
    def writes(self) -> bool:
        """Whether it leaves anything on the record."""
        return self.where in (Where.HAND, Where.HERE, Where.ORDERED)


def opening_problems(opening: Opening, programme: Programme) -> list[Problem]:
    """What cannot be meant, in the order of the fields; its keys are `workbook` and `page`."""
    if not opening.writes:
        return []
    books = {book.code: book for book in programme.course(opening.course).workbooks}
    book = books.get(opening.workbook)
    if book is None:
        found = repr(opening.workbook) if opening.workbook else say("nothing")
        allowed = say("a workbook of {course}", course=programme.course(opening.course).title)
        return [Problem(say("workbook"), found, allowed, key="workbook")]
    most = book.pages if opening.where is Where.HAND else 0
    if not 0 <= opening.page <= most:
        allowed = say("a whole number from 0 to {most}, the last of this workbook", most=most)
        if opening.where is not Where.HAND:
            allowed = say("0, for a workbook that is not in hand")
        return [Problem(say("last page done"), str(opening.page), allowed, key="page")]
    return []


def write_openings(household: str, openings: Sequence[Opening], *, by: str, at: datetime) -> tuple[str, ...]:
    """Write where learners stand, all of it or nothing; the ids of the copies.

    Raises:
        InputError: an opening that cannot be meant, or a course in which there is a copy already.
        RefusedError: who acts is no educator.
    """

    def work(desk: Desk) -> tuple[str, ...]:
        problems = [p for opening in openings for p in opening_problems(opening, desk.home.programme)]
        if problems:
            raise InputError(problems)
        return tuple(_write(desk, opening, by, at) for opening in openings if opening.writes)

    return at_the_desk(household, work)


def _write(desk: Desk, opening: Opening, by: str, at: datetime) -> str:
    learner = desk.home.learner(opening.learner)
    book = desk.home.programme.workbook(opening.workbook)
    _check_bare(desk, learner.id, book)
    where = Acting(desk.row.id, desk)
    copy = actions.new_copy_id()
    slip = Slip(now=at)
    actions.order_copy(where, workbook=book.code, learner=learner.id, copy=copy, by=by, at=at, slip=slip)
    if opening.where is Where.ORDERED:
        return copy
    actions.receive_copy(where, copy=copy, by=by, at=at, slip=slip)
    if opening.where is Where.HERE:
        return copy
    # Only the earlier workbooks can bar it here; where none does, no reason is written down.
    actions.issue_copy(
        where, copy=copy, learner=learner.id, by=by, at=at, slip=Slip(now=at, override=say(REASON))
    )
    if opening.page:
        actions.take_over(where, copy=copy, last=opening.page, by=by, at=at, slip=slip)
    return copy


def _check_bare(desk: Desk, learner: str, book: Workbook) -> None:
    """Nobody begins twice in a course: what is on the record goes on from there."""
    programme = desk.home.programme
    rows = [*CopyRow.objects.filter(household=desk.row, learner=learner), *desk.copies.values()]
    others = [row for row in rows if row.learner == learner and row.status != CopyStatus.SPOILED]
    there = next((r.workbook for r in others if programme.workbook(r.workbook).course == book.course), None)
    if there is not None:
        found = say("a copy of {workbook} on the record already", workbook=there)
        do = say("Issue and work it in the plain way, or take its facts back first.")
        allowed = say("a course of which this learner has no copy yet")
        raise InputError([Problem(say("course"), found, allowed, do)])
