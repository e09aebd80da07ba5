"""Setting up a home: its people, courses and the files it goes by. None of this is on the record."""

import secrets
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Max

from markstead.errors import InputError, Problem
from markstead.records.desk import household_row
from markstead.records.home import Home, load_home
from markstead.records.models import Copy, Document, Enrolment, Entry, Household, Person
from markstead.records.passwords import problems_of
from markstead.rules.programme import Programme
from markstead.rules.ruling import Role
from markstead.speech import LANGUAGES, figure, say


@dataclass(frozen=True, slots=True)
class Newcomer:
    """A person as a home writes them down: a short key, a name, a role; year and courses for a learner."""

    key: str
    name: str
    role: Role
    year: int | None = None
    courses: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Papers:
    """The files that a home goes by, as text."""

    programme: str
    workbooks: str
    calendar: str

    def items(self) -> Iterable[tuple[str, str]]:
        return (("programme", self.programme), ("workbooks", self.workbooks), ("calendar", self.calendar))


def new_stamp() -> str:
    return uuid.uuid4().hex


def check_people(people: Sequence[Newcomer], programme: Programme | None) -> list[Problem]:
    """Everything that is wrong with these people, in the order given; without a programme, courses apart."""
    problems: list[Problem] = []
    seen: set[str] = set()
    for person in people:
        if person.key in seen:
            problems.append(
                Problem(
                    say("person {key!r}, key", key=person.key), person.key, say("a key that nobody else has")
                )
            )
        seen.add(person.key)
        if person.role is Role.LEARNER and person.year is None:
            problems.append(
                Problem(
                    say("person {key!r}, year", key=person.key),
                    say("nothing"),
                    say("the school year of the learner, such as 5"),
                )
            )
        if programme is None:
            continue
        for course in person.courses:
            if course not in programme.courses:
                known = ", ".join(programme.courses)
                problems.append(
                    Problem(
                        say("person {key!r}, courses", key=person.key),
                        repr(course),
                        say("courses of the programme: {courses}", courses=known),
                    )
                )
    if not any(p.role is Role.EDUCATOR for p in people):
        problems.append(Problem(say("people"), say("no educator"), say("at least one educator")))
    return problems


def set_up(
    household: str,
    *,
    name: str,
    papers: Papers,
    people: Sequence[Newcomer],
    at: datetime,
    demo_shift: int | None = None,
) -> Home:
    """Make a home, or bring one that is there up to these people and files. The same again changes nothing.

    Raises:
        InputError: anything at all is wrong; nothing is written then.
    """
    # Reading files needs pydantic, which no page does: it is loaded here only.
    from markstead.calendar.load import read_calendar
    from markstead.rules.load import read_programme

    programme: Programme | None = None
    problems: list[Problem] = []
    try:
        programme = read_programme(papers.programme, papers.workbooks)
    except InputError as error:
        problems += error.problems
    try:
        read_calendar(papers.calendar)
    except InputError as error:
        problems += error.problems
    problems += check_people(people, programme)
    if programme is not None:
        problems += _check_copies(household, programme)
    if problems:
        raise InputError(problems)
    with transaction.atomic():
        row, made = Household.objects.get_or_create(
            id=household, defaults={"name": name, "stamp": new_stamp(), "demo_shift": demo_shift}
        )
        changed = made
        if name and row.name != name:
            row.name, changed = name, True
        changed = _take_papers(row, papers, at) or changed
        for person in people:
            changed = _take_person(row, person) or changed
        if changed:
            row.stamp = new_stamp()
            row.save(update_fields=["name", "stamp"])
    return load_home(household_row(household))


def _check_copies(household: str, programme: Programme) -> list[Problem]:
    """A programme keeps every workbook of which the home has a copy: its record speaks of them."""
    there = Copy.objects.filter(household=household).exclude(workbook="")
    codes = set(there.values_list("workbook", flat=True).distinct())
    allowed = say("every workbook of which this home has a copy")
    return [
        Problem(say("workbooks"), say("no {workbook}", workbook=code), allowed)
        for code in sorted(codes - set(programme.workbooks))
    ]


def _take_papers(row: Household, papers: Papers, at: datetime) -> bool:
    """Add a new version of each file whose text has changed."""
    changed = [add_document(row, kind, text, at) for kind, text in papers.items()]
    return any(changed)


def add_document(row: Household, kind: str, text: str, at: datetime) -> bool:
    """Add a new version of a file if its text has changed; whether it has."""
    kept = Document.objects.filter(household=row, kind=kind).order_by("-version").first()
    if kept is not None and kept.text == text:
        return False
    version = kept.version + 1 if kept is not None else 1
    Document.objects.create(household=row, kind=kind, version=version, text=text, taken=at)
    return True


def _take_person(row: Household, person: Newcomer) -> bool:
    """Add a person, or bring one up to date by the key."""
    kept, made = Person.objects.get_or_create(
        household=row,
        key=person.key,
        defaults={
            "id": "p" + secrets.token_hex(6),
            "name": person.name,
            "role": str(person.role),
            "year": person.year,
        },
    )
    wanted = (person.name, str(person.role), person.year)
    changed = made
    if (kept.name, kept.role, kept.year) != wanted:
        kept.name, kept.role, kept.year = wanted
        kept.save(update_fields=["name", "role", "year"])
        changed = True
    return set_courses(kept, person.courses) or changed


def set_courses(person: Person, wanted: Sequence[str]) -> bool:
    """Let a learner take these courses, in this order; whether anything changed."""
    courses = list(Enrolment.objects.filter(learner=person).order_by("id").values_list("course", flat=True))
    if courses == list(wanted):
        return False
    Enrolment.objects.filter(learner=person).delete()
    Enrolment.objects.bulk_create(Enrolment(learner=person, course=c) for c in wanted)
    return True


def give_password(household: str, *, person: str, username: str, password: str) -> None:
    """Let a grown-up sign in.

    Raises:
        InputError: a learner, a name that is taken, or a password that is too weak.
    """
    home = load_home(household_row(household))
    somebody = home.person(person)
    problems = []
    if somebody.role is Role.LEARNER:
        problems.append(
            Problem(
                say("person"), say("{name}, a learner", name=somebody.key), say("an educator or a helper")
            )
        )
    taken = User.objects.filter(username=username).exclude(person__id=somebody.id).exists()
    if taken or not username.strip():
        allowed = say("a name that nobody else signs in with")
        problems.append(Problem(say("sign-in name"), repr(username), allowed, key="username"))
    problems += problems_of(password, username=username, name=somebody.name, home=home.name)
    if problems:
        raise InputError(problems)
    with transaction.atomic():
        row = Person.objects.select_related("user").get(id=somebody.id)
        user = row.user or User(username=username)
        user.username = username
        user.set_password(password)
        user.save()
        row.user, row.password_made = user, None
        row.save(update_fields=["user", "password_made"])


def set_costs(
    household: str, *, failed_test_costs: float | None = None, hold_day_costs: float | None = None
) -> Home:
    """Say what a failed unit test and a day of review cost this home, in school days; None leaves one as it is.

    Raises:
        InputError: a cost that cannot be.
    """
    problems = []
    for key, name, value, most in (
        ("failed_test_costs", say("days a failed test costs"), failed_test_costs, 60),
        ("hold_day_costs", say("days a hold day costs"), hold_day_costs, 5),
    ):
        if value is not None and not 0 < value <= most:
            allowed = say("more than 0 and at most {most} school days", most=most)
            problems.append(Problem(name, figure(f"{value:g}"), allowed, key=key))
    if problems:
        raise InputError(problems)
    with transaction.atomic():
        row = household_row(household, lock=True)
        row.failed_test_costs = row.failed_test_costs if failed_test_costs is None else failed_test_costs
        row.hold_day_costs = row.hold_day_costs if hold_day_costs is None else hold_day_costs
        row.stamp = new_stamp()
        row.save(update_fields=["failed_test_costs", "hold_day_costs", "stamp"])
    return load_home(row)


def set_language(household: str, code: str) -> Home:
    """Say in which language the home is spoken to; nothing: as each browser asks, and English elsewhere.

    Raises:
        InputError: a language that there is none of.
    """
    if code and code not in LANGUAGES:
        allowed = ", ".join(f"{one.code} ({one.name})" for one in LANGUAGES.values())
        raise InputError([Problem(say("language"), repr(code), say("one of {allowed}", allowed=allowed))])
    with transaction.atomic():
        row = household_row(household, lock=True)
        row.language, row.stamp = code, new_stamp()
        row.save(update_fields=["language", "stamp"])
    return load_home(row)


def put_demo_clock_forward(household: str, *, by: timedelta) -> None:
    """Let a demonstration's clock run ahead; a real home has none to move."""
    with transaction.atomic():
        row = household_row(household, lock=True)
        if row.demo_shift is None:
            raise InputError([Problem(say("household"), household, say("a demonstration home"))])
        row.demo_shift -= int(by.total_seconds())
        row.stamp = new_stamp()
        row.save(update_fields=["demo_shift", "stamp"])


def take_up_demo_clock(household: str, *, real_now: datetime) -> None:
    """Let a demonstration's clock go on from its latest fact."""
    with transaction.atomic():
        row = household_row(household, lock=True)
        latest = Entry.objects.filter(household=row).aggregate(at=Max("at"))["at"]
        if row.demo_shift is None or latest is None:
            raise InputError([Problem(say("household"), household, say("a demonstration home"))])
        row.demo_shift = int((real_now - latest).total_seconds())
        row.stamp = new_stamp()
        row.save(update_fields=["demo_shift", "stamp"])
