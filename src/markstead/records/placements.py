"""Placements under way: the short tests of each learner in each course, kept as a document of the home.

Nothing of it is on the record: it is advice. Only where the educator takes the result is something written: where the
learner stands (see `openings`). The document names learners by their ids.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction

from markstead.errors import InputError, Problem
from markstead.measure import placement
from markstead.measure.placement import Advice, Belief, NextTest, Result
from markstead.records import setup
from markstead.records.desk import household_row
from markstead.records.home import Home, Somebody
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Document
from markstead.records.openings import Opening, write_openings
from markstead.rules.programme import Course
from markstead.rules.standing import CopyStatus
from markstead.speech import say

KIND = "placements"
VERSION = 1


@dataclass(frozen=True, slots=True)
class Placement:
    """What was asked of one learner in one course."""

    learner: str
    course: str
    guess: int | None = None
    """The workbook, counted from 1, at which the educator would begin today."""
    results: tuple[Result, ...] = ()
    taken: str = ""
    """The code of the workbook with which the learner was let begin; empty while nothing is taken."""

    def belief(self, workbooks: int) -> Belief:
        """What is believed after all results; those of workbooks that the course no longer has are left out."""
        guess = self.guess if self.guess is not None and self.guess <= workbooks + 1 else None
        found = placement.begin(workbooks, guess)
        for result in self.results:
            if result.workbook <= workbooks:
                found = placement.answered(found, result.workbook, result.right, result.asked)
        return found


@dataclass(frozen=True, slots=True)
class PlacementNow:
    """A placement as a page shows it."""

    home: Home
    learner: Somebody
    course: Course
    kept: Placement
    belief: Belief
    spread: tuple[float, ...]
    """The probability of each place: so many workbooks behind the learner, from 0 on."""
    advice: Advice
    next: NextTest | None
    """None: enough was asked."""


def kept_placements(household: str) -> tuple[Placement, ...]:
    """Every placement of a home."""
    text = (
        Document.objects.filter(household=household, kind=KIND)
        .order_by("-version")
        .values_list("text", flat=True)
        .first()
    )
    return _read(text) if text else ()


def begun_courses(home: Home) -> frozenset[tuple[str, str]]:
    """Learner and course of every copy that is somebody's and not spoiled: there a placement has nothing to say."""
    rows = CopyRow.objects.filter(household=home.id, learner__isnull=False).exclude(status=CopyStatus.SPOILED)
    books = home.programme.workbooks
    return frozenset(
        (str(learner), books[code].course)
        for learner, code in rows.values_list("learner", "workbook")
        if code in books
    )


def find(home: Home, learner: str, course: str) -> PlacementNow:
    """The placement of a learner in a course, begun or not.

    Raises:
        UnknownError: nobody here has that id, or there is no such course.
        InputError: somebody who is no learner, or does not take the course.
    """
    who = home.learner(learner)
    subject = home.programme.course(course)
    if course not in who.courses:
        allowed = say("a course that {learner} takes", learner=who.name)
        raise InputError([Problem(say("course"), repr(course), allowed)])
    kept = next(
        (p for p in kept_placements(home.id) if (p.learner, p.course) == (who.id, course)),
        Placement(who.id, course),
    )
    belief = kept.belief(len(subject.workbooks))
    return PlacementNow(
        home,
        who,
        subject,
        kept,
        belief,
        tuple(float(p) for p in placement.spread(belief)),
        placement.advice(belief, names=[f"{book.number}, {book.title}" for book in subject.workbooks]),
        placement.next_test(belief),
    )


def _read(text: str) -> tuple[Placement, ...]:
    whole = json.loads(text)
    return tuple(
        Placement(
            row["learner"],
            row["course"],
            row["guess"],
            tuple(Result(*one) for one in row["results"]),
            row["taken"],
        )
        for row in whole["placements"]
    )


def _write(placements: tuple[Placement, ...]) -> str:
    rows = [
        {
            "learner": p.learner,
            "course": p.course,
            "guess": p.guess,
            "results": [[r.workbook, r.right, r.asked] for r in p.results],
            "taken": p.taken,
        }
        for p in placements
    ]
    return json.dumps({"v": VERSION, "placements": rows}, sort_keys=True, ensure_ascii=False)


Change = Callable[[Placement], Placement]


def _change(household: str, learner: str, course: str, change: Change, at: datetime) -> None:
    with transaction.atomic():
        row = household_row(household, lock=True)
        everything = {(p.learner, p.course): p for p in kept_placements(household)}
        old = everything.get((learner, course), Placement(learner, course))
        everything[learner, course] = change(old)
        setup.add_document(row, KIND, _write(tuple(everything.values())), at)


def want(household: str, wanted: Sequence[tuple[str, str]], *, at: datetime) -> None:
    """Note in which courses, by learner, the educator asked for help to find the place."""
    for learner, course in wanted:
        _change(household, learner, course, lambda kept: kept, at)


def answer(now: PlacementNow, *, workbook: int, right: int, asked: int, seen: int, at: datetime) -> None:
    """Take in one short test. `seen` is the number of results that the person saw: a test sent twice counts once.

    Raises:
        InputError: the course has no such workbook, the score cannot be, or the page was old.
    """
    placement.answered(now.belief, workbook, right, asked)  # refuses what cannot be

    def change(kept: Placement) -> Placement:
        if len(kept.results) != seen:
            found = say(
                "{n} results, where your page showed {seen}",
                n=len(kept.results),
                seen=seen,
            )
            raise InputError(
                [
                    Problem(
                        say("placement"),
                        found,
                        say("the page as it is now"),
                        say("Look, and enter it again."),
                    )
                ]
            )
        return replace(kept, results=(*kept.results, Result(workbook, right, asked)))

    _change(now.home.id, now.learner.id, now.course.id, change, at)


def take_back(now: PlacementNow, *, seen: int, at: datetime) -> None:
    """Strike the latest result; nothing where the page was old."""

    def change(kept: Placement) -> Placement:
        return replace(kept, results=kept.results[:-1]) if len(kept.results) == seen else kept

    _change(now.home.id, now.learner.id, now.course.id, change, at)


def guess(now: PlacementNow, workbook: int | None, *, at: datetime) -> None:
    """Say where the educator would begin today; None: no idea.

    Raises:
        InputError: the course has no such workbook.
    """
    placement.begin(len(now.course.workbooks), workbook)
    _change(now.home.id, now.learner.id, now.course.id, lambda kept: replace(kept, guess=workbook), at)


def take(now: PlacementNow, opening: Opening, *, by: str, at: datetime) -> None:
    """Let the learner begin where the educator says, which need not be where the advice is.

    Raises:
        InputError: an opening that cannot be meant, or a copy of the course is on the record already.
        RefusedError: who acts is no educator.
    """
    with transaction.atomic():
        write_openings(now.home.id, [opening], by=by, at=at)
        book = opening.workbook
        _change(now.home.id, now.learner.id, now.course.id, lambda kept: replace(kept, taken=book), at)
