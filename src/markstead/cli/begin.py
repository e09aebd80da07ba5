"""Commands by which a home begins: init and import."""

import re
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from markstead.cli import house, typed
from markstead.cli.keep import PASSWORD_FILE, ask_password
from markstead.cli.options import CLOCK, JSON, Asked, command
from markstead.errors import InputError, Problem, UnknownError
from markstead.speech import say

if TYPE_CHECKING:  # loaded when a home is made, not for --help
    from markstead.calendar import Term
    from markstead.records.importing import Report
    from markstead.rules.programme import Programme

T = TypeVar("T")
HOUSEHOLD = "home"
_LEARNER = "key:name:year:course,course"
_TERM = "name:2026-09-01:2026-12-18"


def sample(name: str) -> tuple[str, str]:
    """The two files of a sample programme."""
    # Plain files of the package: nothing needs to be imported to read them.
    samples = resources.files("markstead.rules") / "samples"
    known = sorted(
        entry.name for entry in samples.iterdir() if entry.is_dir() and not entry.name.startswith("_")
    )
    if name not in known:
        raise InputError([Problem("--sample", repr(name), say("one of {known}", known=", ".join(known)))])
    folder = samples / name
    rules, books = folder / "programme.toml", folder / "workbooks.csv"
    return rules.read_text(encoding="utf-8"), books.read_text(encoding="utf-8")


def key_of(name: str) -> str:
    """A short key for a person: the first word of the name in small letters."""
    words = re.findall(r"[^\W\d_]+", name.lower())
    return words[0] if words else "educator"


@dataclass(frozen=True, slots=True)
class Pupil:
    """A learner as typed on one line."""

    key: str
    name: str
    year: int
    courses: tuple[str, ...]


def read_learner(text: str) -> Pupil:
    """Read a learner: ``asa:Asa:6:maths-6,english-6``."""
    key, _, rest = text.partition(":")
    name, _, rest = rest.partition(":")
    year, _, courses = rest.partition(":")
    if not (key.strip() and name.strip() and year.strip().isdecimal()):
        raise InputError([Problem("--learner", repr(text), _LEARNER)])
    taken = tuple(c.strip() for c in courses.split(",") if c.strip())
    return Pupil(key.strip(), name.strip(), int(year), taken)


def read_term(text: str) -> "Term":
    """Read a term: ``autumn:2026-09-01:2026-12-18``."""
    from markstead.calendar import Term

    name, _, rest = text.partition(":")
    first, _, last = rest.partition(":")
    if not (name.strip() and first and last):
        raise InputError([Problem("--term", repr(text), _TERM)])
    return Term(
        name.strip(),
        typed.day(first, say("--term {name}, first day", name=name)),
        typed.day(last, say("--term {name}, last day", name=name)),
    )


@dataclass(slots=True)
class Answers:
    """What was given or asked for, one thing after the other; what nobody can be asked for is gathered."""

    missing: list[Problem]

    def one(self, given: str | None, option: str, question: str, default: str | None = None) -> str:
        if given is not None:
            return given
        if sys.stdin.isatty():
            return str(typer.prompt(question, default=default, err=True))
        if default is not None:
            return default
        self.missing.append(Problem(option, say("nothing"), question[:1].lower() + question[1:]))
        return ""

    def several(self, given: list[str] | None, option: str, question: str, *, needed: bool) -> list[str]:
        if given:
            return given
        if not sys.stdin.isatty():
            if needed:
                self.missing.append(Problem(option, say("nothing"), question[:1].lower() + question[1:]))
            return []
        found: list[str] = []
        while answer := str(
            typer.prompt(
                say("{question} (empty: no more)", question=question),
                default="",
                show_default=False,
                err=True,
            )
        ):
            found.append(answer)
        return found

    def check(self) -> None:
        if self.missing:
            raise InputError(self.missing)


def read_all(texts: list[str], read: Callable[[str], T]) -> list[T]:
    """Read each of these; every problem at once."""
    found: list[T] = []
    problems: list[Problem] = []
    for text in texts:
        try:
            found.append(read(text))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return found


def programme_texts(
    sample_name: str, programme: Path | None, workbooks: Path | None
) -> tuple[str, str, "Programme"]:
    """The programme's two files as text, and what they say."""
    from markstead.rules.load import read_programme

    if (programme is None) != (workbooks is None):
        raise InputError(
            [Problem(say("--programme and --workbooks"), say("one of them"), say("both or neither"))]
        )
    if programme is not None and workbooks is not None:
        rules, books = typed.text_of(programme, "--programme"), typed.text_of(workbooks, "--workbooks")
    else:
        rules, books = sample(sample_name)
    return rules, books, read_programme(rules, books)


def calendar_text(
    answers: Answers,
    calendar: Path | None,
    zone: str | None,
    country: str | None,
    region: str | None,
    terms: list[str] | None,
) -> str:
    """The calendar as text: the file that was named, or one made from a few answers."""
    if calendar is not None:
        if zone or country or region or terms:
            found = say("beside it --zone, --country, --region or --term")
            raise InputError([Problem("--calendar", found, say("the file alone, or the options alone"))])
        return typed.text_of(calendar, "--calendar")
    from markstead.calendar import SchoolCalendar
    from markstead.calendar.load import write_calendar

    where = answers.one(zone, "--zone", say("The time zone of the home, such as Europe/London"))
    land = answers.one(country, "--country", say("The country by its two letters, for its public holidays"))
    spans = answers.several(terms, "--term", say("A term as {term}", term=_TERM), needed=True)
    answers.check()
    read = tuple(read_all(spans, read_term))
    return write_calendar(SchoolCalendar(where, land, region, read, frozenset(range(5))))


def report_words(report: "Report", *, dry_run: bool) -> str:
    counts = say(
        "{people} people, {copies} copies, {facts} facts read",
        people=report.people,
        copies=report.copies,
        facts=report.facts,
    )
    if dry_run:
        return say(
            "All is well: {counts}; {written} would be written, {unchanged} are there already.",
            counts=counts,
            written=report.written,
            unchanged=report.unchanged,
        )
    return say(
        "{counts}: {written} written, {unchanged} were there already.",
        counts=counts,
        written=report.written,
        unchanged=report.unchanged,
    )


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @command(app, "init", CLOCK)
    def init(
        asked: Asked,
        *,
        name: Annotated[str | None, typer.Option("--name", help="What the household is called.")] = None,
        educator: Annotated[
            str | None, typer.Option("--educator", metavar="NAME", help="The educator's name.")
        ] = None,
        sign_in: Annotated[
            str | None,
            typer.Option("--sign-in", metavar="NAME", help="The name to sign in with. Default: the key."),
        ] = None,
        password_file: PASSWORD_FILE = None,
        learner: Annotated[
            list[str] | None,
            typer.Option("--learner", metavar="LEARNER", help=f"A learner as {_LEARNER}; again for each."),
        ] = None,
        sample: Annotated[
            str, typer.Option("--sample", metavar="NAME", help="The sample programme to follow.")
        ] = "harbour",
        programme: Annotated[
            Path | None,
            typer.Option("--programme", metavar="FILE", help="Your own programme: its rules (TOML)."),
        ] = None,
        workbooks: Annotated[
            Path | None,
            typer.Option("--workbooks", metavar="FILE", help="Your own programme: its workbooks (CSV)."),
        ] = None,
        calendar: Annotated[
            Path | None, typer.Option("--calendar", metavar="FILE", help="Your own calendar (TOML).")
        ] = None,
        zone: Annotated[
            str | None, typer.Option("--zone", metavar="ZONE", help="The time zone, such as Europe/London.")
        ] = None,
        country: Annotated[
            str | None,
            typer.Option("--country", metavar="CODE", help="The country, by its two letters (ISO 3166)."),
        ] = None,
        region: Annotated[
            str | None,
            typer.Option("--region", metavar="CODE", help="The part of the country, where holidays differ."),
        ] = None,
        term: Annotated[
            list[str] | None,
            typer.Option("--term", metavar="TERM", help=f"A term as {_TERM}; again for each."),
        ] = None,
    ) -> None:
        """Make a home: its folder, its record, the educator and the learners.

        Whatever is not given is asked for. School is held from Monday to Friday without public holidays,
        unless --calendar says otherwise.
        """
        answers = Answers([])
        rules, books, read = programme_texts(sample, programme, workbooks)
        called = answers.one(name, "--name", say("What the household is called"))
        grown_up = answers.one(educator, "--educator", say("The educator's name"))
        enter = answers.one(sign_in, "--sign-in", say("The name to sign in with"), key_of(grown_up))
        if learner is None and sys.stdin.isatty():
            print(
                say("Courses of {title}: {courses}", title=read.title, courses=", ".join(read.courses)),
                file=sys.stderr,
            )
        pupils = read_all(
            answers.several(
                learner, "--learner", say("A learner as {learner}", learner=_LEARNER), needed=False
            ),
            read_learner,
        )
        days = calendar_text(answers, calendar, zone, country, region, term)
        answers.check()
        make_home(asked, called, grown_up, enter, ask_password(password_file), pupils, (rules, books, days))

    @command(app, "import", CLOCK)
    def import_(
        asked: Asked,
        *,
        folder: Annotated[
            Path,
            typer.Argument(
                metavar="FROM",
                help="A folder with the files of a home; the archive of a household; or a OneRoster package.",
            ),
        ],
        dry_run: Annotated[
            bool, typer.Option("--dry-run", help="Name every problem, and write nothing at all.")
        ] = False,
        as_json: JSON = False,
    ) -> None:
        """Take over a home from a folder of plain files: all of it or nothing. The same again changes nothing.

        An archive goes into a home folder without that household. Of a OneRoster package people and enrolments are taken
        into the home that is there; nobody gets a way in.
        """
        place = house.folder_of(asked)
        if _is_package(folder):
            take_package(asked, place, folder, dry_run=dry_run, as_json=as_json)
            return
        if not folder.is_dir():
            allowed = say("a folder with the files of a home, an archive, or a OneRoster package")
            found = (
                say("{folder}, which is none of them", folder=folder)
                if folder.exists()
                else say("nothing at {folder}", folder=folder)
            )
            raise InputError([Problem("FROM", found, allowed)])
        if dry_run and not place.is_dir():
            # There is no home yet, and a dry run makes none: it looks on in one that is thrown away.
            with tempfile.TemporaryDirectory() as passing:
                report = run_import(asked, Path(passing), folder, dry_run=True)
        else:
            report = run_import(asked, place, folder, dry_run=dry_run)
        if as_json:
            from markstead.cli import render

            keys = ("written", "unchanged", "people", "copies", "facts")
            print(render.text({key: getattr(report, key) for key in keys} | {"dry_run": dry_run}))
        else:
            print(report_words(report, dry_run=dry_run))


def _is_package(file: Path) -> bool:
    """Whether it is an archive or a OneRoster package, as far as its list of members tells."""
    import zipfile

    if file.is_dir():
        return (file / "manifest.csv").is_file() and not (file / "household.toml").is_file()
    if not file.is_file():
        return False
    try:
        _refuse_backup(file)
        with zipfile.ZipFile(file) as found:
            return bool({"archive.json", "manifest.csv"} & set(found.namelist()))
    except (OSError, zipfile.BadZipFile) as error:
        do = say("Fetch it again, or write it again with `markstead export archive`.")
        problem = Problem(
            "FROM",
            say("{name}, which is no whole package", name=file.name),
            say("an archive as it was written"),
            do,
        )
        raise InputError([problem]) from error


def _refuse_backup(file: Path) -> None:
    """Say of a backup how it is brought back.

    Raises:
        InputError: it is one.
        OSError: it cannot be read.
    """
    from markstead.records.locked import is_locked
    from markstead.records.whole import SQLITE

    with file.open("rb") as opened:
        locked = is_locked(opened)
        opened.seek(0)
        if not locked and opened.read(len(SQLITE)) != SQLITE:
            return
    if locked:
        found = say("{file}, an encrypted backup", file=file.name)
        do = say("`markstead restore {file}` opens it with the passphrase.", file=quote(str(file)))
    else:
        found = say("{file}, a database", file=file.name)
        do = say("If it is a backup, `markstead restore {file}` brings it back.", file=quote(str(file)))
    allowed = say("a folder with the files of a home, an archive, or a OneRoster package")
    raise InputError([Problem("FROM", found, allowed, do)])


def take_package(asked: Asked, place: Path, file: Path, *, dry_run: bool, as_json: bool) -> None:
    """Take an archive or a OneRoster package, whole or not at all."""
    if not file.is_dir():
        house.make_folder(place)
    house.wake(place)
    from markstead.records.archive import is_archive

    if not is_archive(file):
        take_people(asked, file, dry_run=dry_run, as_json=as_json)
        return
    house.migrate()
    from markstead.cli import render
    from markstead.records.archive import take_archive

    taken = take_archive(file, dry_run=dry_run)
    said = {"household": taken.household, "facts": taken.facts, "people": taken.people, "link": taken.link}
    if as_json:
        print(render.text(said | {"dry_run": dry_run}))
        return
    counts = say(
        "{name}: {facts} facts, {people} people", name=taken.name, facts=taken.facts, people=taken.people
    )
    if dry_run:
        print(say("All is well: {counts}; nothing was written.", counts=counts))
    else:
        print(
            say(
                "{counts} taken and verified. Nobody can sign in yet: `markstead password PERSON` "
                "lets one in.",
                counts=counts,
            )
        )


def take_people(asked: Asked, file: Path, *, dry_run: bool, as_json: bool) -> None:
    """Take people and enrolments of a OneRoster package."""
    opened = house.open_house(asked)
    from markstead.cli import render
    from markstead.records.rosters import take_roster

    taken = take_roster(opened.household, file, at=opened.now, dry_run=dry_run)
    if as_json:
        keys = ("people", "new", "enrolments", "left_out")
        print(render.text({key: getattr(taken, key) for key in keys} | {"dry_run": dry_run}))
        return
    counts = {"people": taken.people, "enrolments": taken.enrolments}
    counts["new"] = ", ".join(taken.new) or say("nobody")
    print(
        say("{people} people with {enrolments} enrolments would be taken; new: {new}.", **counts)
        if dry_run
        else say("{people} people with {enrolments} enrolments taken; new: {new}.", **counts)
    )
    for line in taken.left_out:
        print(line, file=sys.stderr)


def run_import(asked: Asked, place: Path, folder: Path, *, dry_run: bool) -> "Report":
    """Import into the home of this folder, which is made where there is none."""
    house.make_folder(place)
    house.wake(place)
    house.migrate()
    from markstead.records import importing, queries

    household = asked.household or HOUSEHOLD
    calendar, shift = None, None
    try:
        home = queries.home_of(household)
        calendar, shift = home.calendar, home.demo_shift
    except UnknownError:
        pass  # the import makes it
    at = house.present(asked, calendar, shift)
    try:
        return importing.import_folder(household, folder, at=at, dry_run=dry_run)
    finally:
        from django.db import connections

        if dry_run:
            connections.close_all()


def make_home(
    asked: Asked,
    name: str,
    educator: str,
    sign_in: str,
    password: str,
    learners: list[Pupil],
    texts: tuple[str, str, str],
) -> None:
    """Write the home: all of it or nothing."""
    from markstead.calendar.load import read_calendar

    rules, books, days = texts
    at = house.present(asked, read_calendar(days))
    place, household = house.folder_of(asked), asked.household or HOUSEHOLD
    house.make_folder(place)
    house.wake(place)
    house.migrate()
    from django.db import transaction

    from markstead.records import queries, setup
    from markstead.rules.ruling import Role

    try:
        there = queries.home_of(household)
    except UnknownError:
        there = None
    if there is not None:
        found = say("the home {name!r} already", name=there.name)
        do = say(
            "Name another folder with --home; people and files of this one are changed by `markstead import`."
        )
        raise InputError([Problem(say("home folder"), found, say("a folder without a home"), do)])
    people = [
        setup.Newcomer(key_of(educator), educator, Role.EDUCATOR),
        *(setup.Newcomer(p.key, p.name, Role.LEARNER, p.year, p.courses) for p in learners),
    ]
    papers = setup.Papers(programme=rules, workbooks=books, calendar=days)
    with transaction.atomic():
        setup.set_up(household, name=name, papers=papers, people=people, at=at)
        setup.give_password(household, person=key_of(educator), username=sign_in, password=password)
    print(
        say(
            "{name} is ready in {place}. {educator} signs in as {sign_in}.",
            name=name,
            place=place,
            educator=educator,
            sign_in=sign_in,
        )
    )
    print(
        say(
            "Next: `markstead act order WORKBOOK --learner KEY`, or `markstead serve` and go on "
            "in the browser."
        )
    )
