"""The rules of a home's programme, changed from inside the house: tried on values first, kept as a new version of its file."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from markstead.errors import InputError, Problem, StaleError
from markstead.records import sittings
from markstead.records.desk import household_row
from markstead.records.home import Home, latest_documents, load_home
from markstead.records.models import Document
from markstead.records.plans import in_force
from markstead.records.setup import add_document, new_stamp
from markstead.rules.programme import Programme
from markstead.speech import and_words, counted, day_short, later, say

Key = tuple[str, str]
"""Table and key of a rule in the programme's file."""
Aids = Sequence[tuple[object, Sequence[str]]]
"""From which school year on which aids are allowed."""

# Table, key, and what the file says beside it.
_LINES: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    ("programme", (("id", ""), ("title", ""), ("currency", ""))),
    (
        "marks",
        (
            ("practice_test_percent", ""),
            ("unit_test_percent", ""),
            ("exact_mark_passes", later("whether exactly the pass mark passes")),
        ),
    ),
    (
        "unit_test",
        (
            (
                "school_days_after_practice",
                later("school days between practice test and unit test, at least"),
            ),
            ("morning_from", ""),
            ("morning_until", ""),
            ("most_a_learner_a_day", ""),
            ("most_watched_a_morning", ""),
            ("readiness_decision", later("whether an educator decides before a unit test is sat")),
        ),
    ),
    (
        "marking",
        (
            (
                "quiz_when_wrong_percent",
                later("from this share wrong on, an oral quiz or teaching comes first"),
            ),
            ("sections_ahead", later("sections that may be begun beyond the first that is not cleared")),
        ),
    ),
    ("dispatch", (("day", later("day of the month on which test papers go to the school")),)),
    ("rework", (("after_failed_unit_test", ""),)),
    (
        "transcript",
        (
            ("workbooks_a_credit", later("passed workbooks that make one credit")),
            ("smallest_credit", later("credits are rounded down to whole multiples of this")),
            ("result_of", ""),
            ("weigh_by", later("what a course weighs in the mean")),
        ),
    ),
)
_OPTIONAL = ("transcript", "grade")
"""Tables that a programme may do without."""
_IN_THE_FILE = ("programme", "transcript")
"""Tables that are changed in the file alone."""
MOST_PLANNED = 6
"""Planned tests that are told one by one."""
RULES: tuple[Key, ...] = tuple(
    (table, key) for table, lines in _LINES if table not in _IN_THE_FILE for key, _ in lines
)
"""The rules that can be changed one by one; aids apart."""


def _value(value: object) -> str:
    from markstead.calendar.load import quoted

    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(one) for one in value)}]"
    return str(value) if isinstance(value, int | float) else quoted(str(value))


def write_rules(rules: Mapping[str, Any]) -> str:
    """Write a programme's rules, as the file was read, so that they read back equal."""
    lines: list[str] = []
    for table, keys in _LINES:
        if table in _OPTIONAL and table not in rules:
            continue
        lines += ["", f"[{table}]"]
        for key, says in keys:
            if key in rules[table]:
                lines.append(f"{key} = {_value(rules[table][key])}{f'  # {say(says)}' if says else ''}")
    for table in ("aids", "subject", "grade"):
        for row in rules.get(table, ()):
            lines += ["", f"[[{table}]]", *(f"{key} = {_value(value)}" for key, value in row.items())]
    return "\n".join(lines[1:]) + "\n"


@dataclass(frozen=True, slots=True)
class Tried:
    """Rules as they would be, and the file that says so."""

    text: str
    """The same text as before where nothing changes."""
    programme: Programme
    changed: bool


def _texts(household: str) -> tuple[str, str]:
    kept = latest_documents(household)
    return kept["programme"].text, kept["workbooks"].text


def rules_of(household: str) -> dict[str, Any]:
    """The rules of a home's programme, table by table, as its file has them."""
    # Reading files needs pydantic; pages that need none of it do not load it.
    from markstead.calendar.load import parse_toml

    return parse_toml(_texts(household)[0], "programme.toml")


def try_rules(household: str, values: Mapping[Key, object], aids: Aids | None = None) -> Tried:
    """See what a programme would be with some rules changed; nothing is written.

    Raises:
        InputError: every value that cannot be, with its place, what was found and what is allowed.
    """
    from markstead.calendar.load import parse_toml
    from markstead.rules.load import read_programme

    text, workbooks = _texts(household)
    before = parse_toml(text, "programme.toml")
    after = {table: dict(row) if isinstance(row, dict) else row for table, row in before.items()}
    for (table, key), value in values.items():
        if (table, key) not in RULES:
            raise InputError([Problem(f"{table}, {key}", say("a rule"), say("one that can be changed here"))])
        after[table][key] = value
    if aids is not None:
        after["aids"] = [{"from_year": year, "allowed": list(allowed)} for year, allowed in aids]
    same = _plain(after) == _plain(before)
    new = text if same else write_rules(after)
    return Tried(new, read_programme(new, workbooks), changed=not same)


def _plain(rules: Mapping[str, Any]) -> str:
    return write_rules(rules)


def set_rules(
    household: str, values: Mapping[Key, object], aids: Aids | None = None, *, stamp: str, at: datetime
) -> Home:
    """Change rules of the programme for good: a new version of its file, the old ones kept.

    Args:
        household: whose programme.
        values: the new values by table and key.
        aids: all aids anew; None leaves them as they are.
        stamp: of the home as it was when the change was looked at.
        at: when it is written down.

    Raises:
        InputError: as `try_rules`; nothing is written then.
        StaleError: the home was changed since.
    """
    with transaction.atomic():
        row = household_row(household, lock=True)
        check_stamp(row.stamp, stamp)
        tried = try_rules(household, values, aids)
        if tried.changed and add_document(row, "programme", tried.text, at):
            row.stamp = new_stamp()
            row.save(update_fields=["stamp"])
    return load_home(household_row(household))


def check_stamp(now: str, seen: str) -> None:
    """Refuse a change that was looked at before another one was made.

    Raises:
        StaleError: the home is not as it was then.
    """
    if now != seen:
        raise StaleError(
            say(
                "People, calendar or rules of this home were changed since this page was opened. "
                "Nothing was saved: look at what it would change now, and save it again."
            )
        )


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a file that the home goes by."""

    number: int
    taken: datetime


def versions(household: str, kind: str, *, limit: int = 5) -> tuple[Version, ...]:
    """The latest versions of a file, newest first."""
    rows = Document.objects.filter(household=household, kind=kind).order_by("-version")
    return tuple(Version(number, taken) for number, taken in rows.values_list("version", "taken")[:limit])


# --- what it changes ------------------------------------------------------------------------------------------


def effects(home: Home, programme: Programme, now: datetime) -> tuple[str, ...]:
    """What other rules would change today and in the plan in force, in sentences. The record itself never changes."""
    after = replace(home, programme=programme)
    planned = _planned(after, home, now)
    more = len(planned) - MOST_PLANNED
    return (
        *_gates(home, after, now),
        *_marks(home, after),
        *(
            say("Planned and no longer within the rules: {line}.", line=line)
            for line in planned[:MOST_PLANNED]
        ),
        *(
            [
                counted(
                    more,
                    "And {n} more planned test like that. Re-plan once it is saved.",
                    "And {n} more planned tests like that. Re-plan once it is saved.",
                )
            ]
            if more > 0
            else []
        ),
    )


def _gates(home: Home, after: Home, now: datetime) -> list[str]:
    before, then = (sittings.morning(home.id, now=now, home=one) for one in (home, after))
    may = {one.copy: one for one in before.candidates if one.allowed}
    could = {one.copy: one for one in then.candidates if one.allowed}
    lost, won = [may[c] for c in may if c not in could], [could[c] for c in could if c not in may]
    said = []
    if lost:
        said.append(
            counted(
                len(lost),
                "{learners} may no longer sit this morning.",
                "{learners} may no longer sit this morning.",
                learners=_sitters(lost),
            )
        )
    if won:
        said.append(
            counted(
                len(won),
                "{learners} may sit this morning.",
                "{learners} may sit this morning.",
                learners=_sitters(won),
            )
        )
    return said


def _sitters(some: Sequence[sittings.Candidate]) -> str:
    return and_words(f"{one.learner.name} ({one.workbook.title})" for one in some)


def _marks(home: Home, after: Home) -> list[str]:
    """What the tests of one workbook need then, as an example."""
    book = next(iter(home.programme.workbooks.values()), None)
    if book is None:
        return []
    said = []
    for example, asked, was, will in (
        (
            later(
                "For example, the practice test of {title} needs {will} of {questions} right answers instead of {was}."
            ),
            book.practice_questions,
            home.programme.marks.practice_needed(book.practice_questions),
            after.programme.marks.practice_needed(book.practice_questions),
        ),
        (
            later(
                "For example, the unit test of {title} needs {will} of {questions} right answers instead of {was}."
            ),
            book.unit_questions,
            home.programme.marks.unit_needed(book.unit_questions),
            after.programme.marks.unit_needed(book.unit_questions),
        ),
    ):
        if was != will:
            said.append(say(example, title=book.title, will=will, questions=asked, was=was))
    if said:
        said.append(say("Tests that are marked already keep the mark that was needed on their day."))
    return said


def _planned(after: Home, home: Home, now: datetime) -> list[str]:
    """Unit tests of the plan in force that the rules would not allow on their day."""
    plan = in_force(home)
    if plan is None or plan.answer is None:
        return []
    rules, today = after.programme.unit_test, home.calendar.day_of(now)
    days = plan.problem.days
    practised: dict[tuple[str, str], date] = {}
    mornings: dict[date, list[str]] = {}
    said: list[str] = []
    for goal in plan.answer.goals:
        day = days[goal.day]
        key = (goal.learner, goal.workbook)
        if goal.practice:
            practised[key] = day
        if not goal.unit or day < today or goal.workbook not in home.programme.workbooks:
            continue
        who = home.people[goal.learner].name if goal.learner in home.people else say("somebody")
        title = home.programme.workbook(goal.workbook).title
        mornings.setdefault(day, []).append(goal.learner)
        held = mornings[day]
        test = {"day": day_short(day), "learner": who, "title": title}
        if len(held) > rules.most_watched_a_morning or held.count(goal.learner) > rules.most_a_learner_a_day:
            said.append(
                say("{day}, the unit test of {learner} in {title} ({n} on that morning)", n=len(held), **test)
            )
        elif key in practised and _between(home, practised[key], day, goal.learner) < (
            rules.school_days_after_practice
        ):
            said.append(
                say("{day}, the unit test of {learner} in {title} (too soon after its practice test)", **test)
            )
    return said


def _between(home: Home, first: date, last: date, learner: str) -> int:
    """School days of a learner after one day, up to another."""
    return len(home.calendar.school_days(first + timedelta(days=1), last, learner))
