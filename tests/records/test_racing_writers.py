"""Many writers at one home at once: every act is written, each once, in one unbroken chain."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Barrier
from typing import TypeVar

import pytest
from django.db import connection

from markstead.ledger.serial import read_body
from markstead.records import actions
from markstead.records.desk import Done, Slip
from markstead.records.models import Copy, Entry, Household, Words
from markstead.records.upkeep import verify
from tests.tools.homes import small_home

T = TypeVar("T")
WRITERS = 8
ACTS = 12
AT = datetime(2025, 9, 8, 9, tzinfo=UTC)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def boats() -> None:
    """Asa has the first workbook in hand."""
    small_home()
    actions.order_copy("home", workbook="sums-5-01", copy="boats", by="ruth", at=AT)
    actions.receive_copy("home", copy="boats", by="ruth", at=AT)
    actions.issue_copy("home", copy="boats", learner="asa", by="ruth", at=AT)


def all_at_once(work: Callable[[int], T]) -> list[T]:
    """Do this in eight threads that begin together, each with its own connection."""
    start = Barrier(WRITERS)

    def one(number: int) -> T:
        try:
            start.wait(timeout=120)
            return work(number)
        finally:
            connection.close()

    with ThreadPoolExecutor(WRITERS) as pool:
        return list(pool.map(one, range(WRITERS)))


def test_no_act_of_eight_racing_writers_is_lost() -> None:
    before = Entry.objects.count()

    def write(number: int) -> list[str]:
        acts = [f"writer{number}-{turn}" for turn in range(ACTS)]
        for page, act in enumerate(acts, start=1):
            slip = Slip(act=act)
            actions.set_goal("home", copy="boats", first=1, last=min(page, 9), by="asa", at=AT, slip=slip)
        return acts

    told = [act for acts in all_at_once(write) for act in acts]

    rows = list(Entry.objects.order_by("seq").values_list("seq", "act"))
    assert [seq for seq, _ in rows] == list(range(1, before + WRITERS * ACTS + 1))
    assert sorted(act for _, act in rows[before:]) == sorted(told)
    verdict = verify("home")
    assert verdict.problem is None
    assert verdict.facts == before + WRITERS * ACTS
    # Each writer's own acts stand in the order in which it did them.
    for number in range(WRITERS):
        mine = [act for _, act in rows if act.startswith(f"writer{number}-")]
        assert mine == [f"writer{number}-{turn}" for turn in range(ACTS)]


def test_one_form_sent_eight_times_at_once_is_written_once() -> None:
    before = Entry.objects.count()

    def send(_: int) -> Done:
        slip = Slip(act="one-form")
        return actions.set_goal("home", copy="boats", first=1, last=4, by="asa", at=AT, slip=slip)

    answers = all_at_once(send)

    assert Entry.objects.count() == before + 1
    assert sorted(answer.again for answer in answers) == [False] + [True] * (WRITERS - 1)
    assert {entry.seq for answer in answers for entry in answer.entries} == {before + 1}
    assert verify("home").problem is None


def test_eight_who_order_at_once_get_eight_copies_with_eight_numbers() -> None:
    all_at_once(lambda number: actions.order_copy("home", workbook="words-5-01", by="ruth", at=AT))

    rows = Copy.objects.filter(workbook="words-5-01").order_by("ordinal")
    assert [row.ordinal for row in rows] == list(range(1, WRITERS + 1))
    assert verify("home").problem is None


def test_of_eight_who_refuse_the_same_leave_one_is_written_with_its_words() -> None:
    """The other seven find the leave answered: their reasons are not kept either."""
    from markstead.ledger.facts import Step
    from markstead.rules.ruling import RefusedError

    actions.hold_opening_talk("home", copy="boats", by="ruth", at=AT)
    actions.work_pages("home", copy="boats", first=1, last=4, by="asa", at=AT)
    leave = {"copy": "boats", "step": Step.MARK, "stop": "section-1", "at": AT}
    actions.ask_leave("home", by="asa", **leave)
    before = Household.objects.get(id="home").head_seq

    def refuse(number: int) -> bool:
        try:
            actions.refuse_leave("home", by="ruth", reason=f"blank, says {number}", **leave)
        except RefusedError:
            return False
        return True

    answers = all_at_once(refuse)

    assert sum(answers) == 1
    bodies = Entry.objects.filter(seq__gt=before).values_list("body", flat=True)
    assert [read_body(body).fact.KIND for body in bodies] == ["leave refused"]
    assert [words.text for words in Words.objects.all()] == [f"blank, says {answers.index(True)}"]
    assert verify("home").problem is None
