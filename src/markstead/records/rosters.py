"""A household as a OneRoster package, and people and enrolments out of one.

The household is a school, a course of the programme a course, a learner's course a class, the educator its teacher. Both
tests of a workbook are line items from 0 to their questions; of several attempts the last one counts, and how many there
were stands in ``metadata.attempt``.
"""

import re
import shutil
import tempfile
import unicodedata
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import partial
from hashlib import sha256
from pathlib import Path

from django.db import transaction

from markstead.calendar import SchoolCalendar, Term
from markstead.errors import InputError, Problem
from markstead.ledger import oneroster
from markstead.records.exporting import Result, copies_of, results
from markstead.records.home import Home, Somebody, latest_documents
from markstead.records.queries import home_of
from markstead.records.setup import Newcomer, Papers, set_up
from markstead.records.whole import PART, opened_package, package
from markstead.rules.ruling import Role
from markstead.speech import later, say

WHAT = later("OneRoster package")
BREAK = timedelta(days=28)
"""Between two terms so many days without school begin a new school year."""
NO_NAME = "-"
"""The family name of whoever has one name only: the standard wants one."""
_MOST = 50_000_000
"""Bytes of a file of a package that is read."""

Row = dict[str, str]


# --- out ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written."""

    rows: Mapping[str, int]
    """By file."""


def write_roster(household: str, path: Path, *, replace: bool = False) -> Exported:
    """Write the household as a OneRoster 1.2 bulk package, and check it before it gets its name.

    Raises:
        UnknownError: no such household.
        InputError: a file is there already.
        MarksteadError: the file could not be written.
    """
    tables = tables_of(home_of(household))
    rows: dict[str, int] = {}
    with (
        package(path, say(WHAT), replace=replace) as packed,
        tempfile.TemporaryDirectory(dir=path.parent, prefix=PART) as folder,
    ):
        files: dict[str, Path] = {}
        for name, lines in oneroster.written(tables, system="Markstead"):
            files[name] = Path(folder, name)
            with files[name].open("wb") as file:
                for line in lines:
                    file.write(line)
                    rows[name] = rows.get(name, -1) + 1  # the first line is the header
        problems = oneroster.problems_of({name: partial(file.open, "rb") for name, file in files.items()})
        if problems:
            raise InputError(problems)
        for name, file in files.items():
            with packed.member(name) as into, file.open("rb") as source:
                shutil.copyfileobj(source, into, 1 << 16)
    return Exported({name: rows[f"{name}.csv"] for name in tables if f"{name}.csv" in rows})


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows that are made anew whenever somebody goes through them: those of many years are never in memory at once."""

    make: Callable[[], Iterator[Row]]

    def __iter__(self) -> Iterator[Row]:
        return self.make()


def _guid(*parts: str) -> str:
    """An id that the standard allows: as it stands, or a digest of it where a letter of it is not allowed."""
    plain = ".".join(parts)
    if re.fullmatch(r"[0-9A-Za-z.\-_/@]{1,200}", plain):
        return plain
    return sha256("\n".join(parts).encode()).hexdigest()[:32]


def _grade(year: int | None) -> str:
    """A school year by the codes for grades that the standard's users share (from memory): KG, 01 to 13."""
    if year is None or year > 13:
        return ""
    return f"{year:02d}" if year else "KG"


@dataclass(slots=True)
class _Test:
    """A learner's test of a workbook: its last result, and which attempts there were."""

    last: Result
    sat: set[tuple[str, int]]


_Tests = Mapping[tuple[str, str, str], _Test]
"""By learner, workbook and kind of test."""


def _tests(home: Home, here: Mapping[str, Somebody]) -> _Tests:
    found: dict[tuple[str, str, str], _Test] = {}
    for result in results(home, copies_of(home.id)):
        if result.copy.learner in here:
            key = (str(result.copy.learner), result.copy.workbook, result.kind)
            test = found.setdefault(key, _Test(result, set()))
            test.last = result
            test.sat.add((result.copy.id, result.attempt))
    return found


def tables_of(home: Home) -> dict[str, Iterable[Row]]:
    """Every file's rows; they may be gone through more than once."""
    org = _guid("household", home.id)
    here = {p.id: p for p in home.people.values() if not p.erased}
    tests = _tests(home, here)
    taken = _classes(home, tests)
    sessions = list(_sessions(home.calendar))
    terms = [row["sourcedId"] for row in sessions if row["type"] == "term"]
    kinds = {kind for _, _, kind in tests}
    return {
        "academicSessions": sessions,
        "orgs": [{"sourcedId": org, "name": home.name or home.id, "type": "school", "identifier": home.id}],
        "courses": list(_courses(home, org, taken)),
        "classes": list(_class_rows(home, org, taken, terms)),
        "users": [_user(p, org) for p in here.values()],
        "roles": [_role(p, org) for p in here.values()],
        "enrollments": list(_enrolments(home, org, taken)),
        "categories": [
            {"sourcedId": _category(kind), "title": title}
            for kind, title in (("practice test", say("Practice tests")), ("unit test", say("Unit tests")))
            if kind in kinds
        ],
        "lineItems": _Rows(partial(_line_items, home, org, tests, sessions)),
        "results": _Rows(partial(_results, home, tests)),
    }


def _classes(home: Home, tests: _Tests) -> list[tuple[Somebody, str]]:
    """Every learner with every course that they take or have a result in."""
    pairs = {(p.id, course): None for p in home.learners for course in p.courses}
    pairs |= {(learner, home.programme.workbook(code).course): None for learner, code, _ in tests}
    return [(home.people[learner], course) for learner, course in pairs]


def _sessions(calendar: SchoolCalendar) -> Iterator[Row]:
    for year, terms in _years(calendar):
        yield _session(year, "schoolYear", terms[0].first, terms[-1].last, terms[-1].last.year)
        for term in terms:
            row = _session(
                f"{year}.{term.first.isoformat()}",
                "term",
                term.first,
                term.last,
                terms[-1].last.year,
                title=term.name,
            )
            yield row | {"parentSourcedId": year}


def _years(calendar: SchoolCalendar) -> list[tuple[str, list[Term]]]:
    """Terms by school year: a long break begins a new one."""
    years: list[list[Term]] = []
    for term in sorted(calendar.terms, key=lambda term: term.first):
        if not years or term.first - years[-1][-1].last > BREAK:
            years.append([])
        years[-1].append(term)
    return [(f"year.{terms[0].first.isoformat()}", terms) for terms in years]


def _session(guid: str, kind: str, first: date, last: date, year: int, title: str = "") -> Row:
    return {
        "sourcedId": guid,
        "title": title or _year_title(first.year, last.year),
        "type": kind,
        "startDate": first.isoformat(),
        "endDate": (last + timedelta(days=1)).isoformat(),  # the standard's end is the day after the last
        "schoolYear": str(year),
    }


def _year_title(first: int, last: int) -> str:
    if last > first:
        return say("School year {first} to {last}", first=str(first), last=str(last))
    return say("School year {year}", year=str(first))


def _subject(home: Home, course: str) -> str:
    found = home.programme.course(course)
    return oneroster.in_list([found.subject])


def _courses(home: Home, org: str, taken: Iterable[tuple[Somebody, str]]) -> Iterator[Row]:
    for course in dict.fromkeys(course for _, course in taken):
        found = home.programme.course(course)
        yield {
            "sourcedId": _guid("course", course),
            "title": found.title,
            "courseCode": course,
            "grades": _grade(found.level),
            "orgSourcedId": org,
            "subjects": _subject(home, course),
        }


def _class(learner: str, course: str) -> str:
    return _guid("class", learner, course)


def _class_rows(
    home: Home, org: str, taken: Iterable[tuple[Somebody, str]], terms: Sequence[str]
) -> Iterator[Row]:
    for learner, course in taken:
        yield {
            "sourcedId": _class(learner.id, course),
            "title": f"{home.programme.course(course).title}: {learner.name}",
            "grades": _grade(learner.year),
            "courseSourcedId": _guid("course", course),
            "classType": "scheduled",
            "schoolSourcedId": org,
            "termSourcedIds": oneroster.in_list(terms),
            "subjects": _subject(home, course),
        }


def _user(person: Somebody, org: str) -> Row:
    given, _, family = person.name.partition(" ")
    return {
        "sourcedId": _guid(person.id),
        "enabledUser": "false" if person.role is Role.LEFT else "true",
        "username": person.key,
        "givenName": given or person.key,
        "familyName": family or NO_NAME,
        "identifier": person.key,
        "grades": _grade(person.year),
        "primaryOrgSourcedId": org,
    }


_ROLES = {
    Role.EDUCATOR: "teacher",
    Role.HELPER: "aide",
    Role.COORDINATOR: "siteAdministrator",
    Role.LEARNER: "student",
}


def _role(person: Somebody, org: str) -> Row:
    left = "student" if person.year is not None else "teacher"
    return {
        "sourcedId": _guid("role", person.id),
        "userSourcedId": _guid(person.id),
        "roleType": "primary",
        "role": _ROLES.get(person.role, left),
        "orgSourcedId": org,
    }


def _enrolments(home: Home, org: str, taken: Iterable[tuple[Somebody, str]]) -> Iterator[Row]:
    educators = [p for p in home.people.values() if p.role is Role.EDUCATOR]
    for learner, course in taken:
        group = _class(learner.id, course)
        for who, role in ((learner, "student"), *((one, "teacher") for one in educators)):
            yield {
                "sourcedId": _guid("enrolment", who.id, learner.id, course),
                "classSourcedId": group,
                "schoolSourcedId": org,
                "userSourcedId": _guid(who.id),
                "role": role,
                "primary": "true" if who is educators[0] else "false",
            }


def _category(kind: str) -> str:
    return _guid("category", kind.replace(" ", "-"))


def _item(learner: str, workbook: str, kind: str) -> str:
    return _guid("item", learner, workbook, kind.replace(" ", "-"))


def _line_items(home: Home, org: str, tests: _Tests, sessions: Sequence[Row]) -> Iterator[Row]:
    """A line item for each learner, workbook and kind of test."""
    for (learner, workbook, kind), test in tests.items():
        book = home.programme.workbook(workbook)
        day = test.last.day.isoformat()
        yield {
            "sourcedId": _item(learner, workbook, kind),
            "title": f"{book.title}: {say(kind)}",
            "assignDate": day,
            "dueDate": day,
            "classSourcedId": _class(learner, book.course),
            "categorySourcedId": _category(kind),
            "academicSessionSourcedId": _term_of(test.last.day, sessions),
            "resultValueMin": "0",
            "resultValueMax": str(test.last.asked),
            "schoolSourcedId": org,
        }


def _results(home: Home, tests: _Tests) -> Iterator[Row]:
    """The one result of each line item: the last attempt counts."""
    for (learner, workbook, kind), test in tests.items():
        yield {
            "sourcedId": _guid("result", learner, workbook, kind.replace(" ", "-")),
            "lineItemSourcedId": _item(learner, workbook, kind),
            "studentSourcedId": _guid(learner),
            "scoreStatus": "fully graded",
            "score": str(test.last.right),
            "scoreDate": home.calendar.day_of(test.last.scored).isoformat(),
            "textScore": "passed" if test.last.passed else "not passed",
            "classSourcedId": _class(learner, home.programme.workbook(workbook).course),
            "inProgress": "false",
            "incomplete": "false",
            "late": "false",
            "missing": "false",
            "metadata.attempt": str(len(test.sat)),
            "metadata.needed": str(test.last.needed),
        }


def _term_of(day: date, sessions: Sequence[Row]) -> str:
    """The term in which a day lies; the one before it, or the first, where it lies in none."""
    terms = [row for row in sessions if row["type"] == "term"]
    before = [row for row in terms if row["startDate"] <= day.isoformat()]
    return (before or terms[:1])[-1]["sourcedId"]


# --- in -----------------------------------------------------------------------------------------------------------


def is_roster(path: Path) -> bool:
    """Whether a file or a folder looks like a OneRoster package."""
    if path.is_dir():
        return (path / "manifest.csv").is_file()
    try:
        with zipfile.ZipFile(path) as found:
            return "manifest.csv" in found.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


def read_files(path: Path) -> dict[str, bytes]:
    """The members of a package: a zip file, or a folder with the files.

    Raises:
        InputError: no such file, no zip package, or a member that is too large.
    """
    if path.is_dir():
        return {
            file.name: _limited(file.name, file.stat().st_size, file.read_bytes)
            for file in sorted(path.iterdir())
            if file.is_file() and not file.name.startswith(".")
        }
    with opened_package(path, say(WHAT)) as found:
        return {
            info.filename: _limited(
                info.filename, info.file_size, lambda name=info.filename: _read(found, name)
            )
            for info in found.infolist()
            if not info.is_dir()
        }


def _read(found: zipfile.ZipFile, name: str) -> bytes:
    try:
        return found.read(name)
    except (zipfile.BadZipFile, EOFError, RuntimeError) as error:
        raise InputError(
            [
                Problem(
                    f"{say(WHAT)}, {name}", say("bytes that cannot be read"), say("a file as it was packed")
                )
            ]
        ) from error


def _limited(name: str, size: int, read: Callable[[], bytes]) -> bytes:
    if size > _MOST:
        raise InputError(
            [Problem(f"{say(WHAT)}, {name}", say("{n} bytes", n=size), say("at most {most}", most=_MOST))]
        )
    return read()


@dataclass(slots=True)
class Taken:
    """What came of a package of people and enrolments."""

    people: int = 0
    new: tuple[str, ...] = ()
    """Names of those who were not here before."""
    enrolments: int = 0
    left_out: list[str] = field(default_factory=list)
    """What could not be taken, a sentence each."""


_ROLE_OF = {
    "student": Role.LEARNER,
    "teacher": Role.EDUCATOR,
    "aide": Role.HELPER,
    "proctor": Role.HELPER,
    "guardian": Role.HELPER,
    "parent": Role.HELPER,
    "relative": Role.HELPER,
    "counselor": Role.HELPER,
    "principal": Role.COORDINATOR,
    "siteAdministrator": Role.COORDINATOR,
    "districtAdministrator": Role.COORDINATOR,
    "systemAdministrator": Role.COORDINATOR,
}


def take_roster(household: str, path: Path, *, at: datetime, dry_run: bool = False) -> Taken:
    """Take people and enrolments of a package into a home: all or nothing. The same again changes nothing.

    Whoever is here keeps part and courses; courses are added. Nobody gets a way in.

    Raises:
        UnknownError: no such household.
        InputError: every rule of the standard that the package breaks, or a learner without a school year.
    """
    found = oneroster.check(read_files(path))
    if found.problems:
        raise InputError(found.problems)
    home = home_of(household)
    taken = Taken()
    people = list(_newcomers(home, found.rows, taken))
    documents = latest_documents(household)
    papers = Papers(*(documents[kind].text for kind in ("programme", "workbooks", "calendar")))
    with transaction.atomic():
        everybody = [Newcomer(p.key, p.name, p.role, p.year, p.courses) for p in home.people.values()]
        coming = {p.key for p in people}
        set_up(
            household,
            name=home.name,
            papers=papers,
            people=[*(p for p in everybody if p.key not in coming), *people],
            at=at,
        )
        if dry_run:
            transaction.set_rollback(True)
    known = {p.key for p in home.people.values()}
    taken.people, taken.new = len(people), tuple(p.name for p in people if p.key not in known)
    return taken


def _newcomers(
    home: Home, rows: Mapping[str, Sequence[Mapping[str, str]]], taken: Taken
) -> Iterator[Newcomer]:
    roles = {r["userSourcedId"]: r["role"] for r in rows.get("roles", ()) if r["roleType"] == "primary"}
    for row in rows.get("enrollments", ()):
        roles.setdefault(row["userSourcedId"], {"administrator": "principal"}.get(row["role"], row["role"]))
    courses = _courses_of(home, rows, taken)
    by_key = {p.key: p for p in home.people.values()}
    keys: dict[str, str] = {}
    problems = []
    for number, row in enumerate(rows.get("users", ()), 2):
        role = _ROLE_OF.get(roles.get(row["sourcedId"], ""))
        name = " ".join(
            (f"{row['givenName']} {'' if row['familyName'] == NO_NAME else row['familyName']}").split()
        )
        if row["enabledUser"] != "true" or role is None:
            taken.left_out.append(
                say("{name} has no part that this home knows.", name=name)
                if row["enabledUser"] == "true"
                else say("{name} is not enabled.", name=name)
            )
            continue
        key = _key(row["username"])
        if key in keys:
            problems.append(
                Problem(
                    say("users.csv, row {number}, field username", number=number),
                    row["username"],
                    say("another than that of {name}", name=keys[key]),
                )
            )
            continue
        keys[key] = name
        here = by_key.get(key)
        wanted = courses.get(row["sourcedId"], [])
        year = _year(row["grades"])
        if here is not None:
            role, year = here.role, here.year if here.year is not None else year
            wanted = list(dict.fromkeys([*here.courses, *wanted]))
        if role is Role.LEARNER and year is None:
            found = row["grades"] or say("nothing")
            problems.append(
                Problem(
                    say("users.csv, row {number}, field grades", number=number),
                    found,
                    say("a grade such as 05, or KG"),
                )
            )
            continue
        learner = role is Role.LEARNER
        taken.enrolments += len(wanted) if learner else 0
        yield Newcomer(
            key,
            name,
            role,
            year if learner else here.year if here else None,
            tuple(wanted) if learner else (),
        )
    if problems:
        raise InputError(problems)


def _key(username: str) -> str:
    plain = unicodedata.normalize("NFKD", username.casefold()).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.partition("@")[0]).strip("-")[:40] or "person"


def _year(grades: str) -> int | None:
    for grade in grades.split(","):
        if grade.strip().isdecimal() and int(grade) <= 20:
            return int(grade)
        if grade.strip().upper() in ("KG", "PK", "TK"):
            return 0
    return None


def _courses_of(
    home: Home, rows: Mapping[str, Sequence[Mapping[str, str]]], taken: Taken
) -> dict[str, list[str]]:
    """The courses of the programme that each student is enrolled in, by code or by title."""
    titles = {course.title.casefold(): course.id for course in home.programme.courses.values()}
    codes = {row["sourcedId"]: (row["courseCode"], row["title"]) for row in rows.get("courses", ())}
    classes = {
        row["sourcedId"]: codes.get(row["courseSourcedId"], ("", "")) for row in rows.get("classes", ())
    }
    found: dict[str, list[str]] = {}
    unknown: dict[str, None] = {}
    for row in rows.get("enrollments", ()):
        if row["role"] != "student":
            continue
        code, title = classes.get(row["classSourcedId"], ("", ""))
        course = code if code in home.programme.courses else titles.get(title.casefold())
        if course is None:
            unknown[title or code] = None
        elif course not in found.setdefault(row["userSourcedId"], []):
            found[row["userSourcedId"]].append(course)
    taken.left_out += [
        say("The course {title} is none of the programme's, so nobody takes it here.", title=title)
        for title in unknown
    ]
    return found
