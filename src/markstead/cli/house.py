"""The home folder: finding it, making it, and opening its record. The clock is read here and nowhere else."""

import os
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from markstead.cli import typed
from markstead.cli.options import Asked
from markstead.errors import DamagedRecordError, InputError, Problem
from markstead.speech import say, speak

if TYPE_CHECKING:  # Django is loaded when a home is opened, not for --help
    from markstead.calendar import SchoolCalendar
    from markstead.records.home import Home, Somebody

DATABASE = "markstead.sqlite3"
SECRET = "secret.key"  # noqa: S105  # the name of a file
LOG = "markstead.log"


def folder_of(asked: Asked) -> Path:
    """The home folder that is meant."""
    named = asked.home or os.environ.get("MARKSTEAD_HOME")
    if named:
        return Path(named)
    from platformdirs import user_data_dir

    return Path(user_data_dir("markstead"))


def make_folder(folder: Path) -> None:
    """Make the home folder and the key by which its pages trust their own cookies."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        key = folder / SECRET
        if not key.exists():
            with os.fdopen(os.open(key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
                file.write(secrets.token_hex(32) + "\n")
    except OSError as error:
        problem = Problem(
            say("home folder"), f"{folder} ({error.strerror})", say("a folder that can be written")
        )
        raise InputError([problem]) from error


def wake(folder: Path) -> None:
    """Set Django up for the home in this folder."""
    os.environ["MARKSTEAD_HOME"] = str(folder.resolve())
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "markstead.web.settings")
    import django

    django.setup()


def migrate() -> None:
    """Bring the tables up to date."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0)


def real_now() -> datetime:
    """The instant of the machine, or the one that `MARKSTEAD_NOW` holds still for tests."""
    fixed = os.environ.get("MARKSTEAD_NOW")
    return typed.moment(fixed, "MARKSTEAD_NOW") if fixed else datetime.now(UTC).replace(microsecond=0)


def moment_of(text: str, where: str, calendar: "SchoolCalendar | None") -> datetime:
    """An instant, or a minute on the kitchen clock of this calendar's home."""
    read = typed.moment(text, where)
    if read.tzinfo is not None:
        return read.astimezone(UTC).replace(microsecond=0)
    if calendar is None:
        allowed = say(
            "an instant with its offset, such as 2026-01-27T10:15+00:00: there is no home yet "
            "whose clock it is"
        )
        raise InputError([Problem(where, repr(text), allowed)])
    return calendar.instant_of(read.date(), read.time()).astimezone(UTC).replace(microsecond=0)


def present(asked: Asked, calendar: "SchoolCalendar | None" = None, shift: int | None = None) -> datetime:
    """The present moment: the one that was named, or the clock's, less the shift of a demonstration."""
    if asked.now and asked.today:
        raise InputError([Problem(say("--now and --today"), say("both"), say("one of the two"))])
    if asked.now:
        return moment_of(asked.now, "--now", calendar)
    now = real_now() - timedelta(seconds=shift or 0)
    if asked.today:
        day = typed.day(asked.today, "--today")
        if calendar is None:
            return now.replace(year=day.year, month=day.month, day=day.day)
        return calendar.instant_of(day, calendar.at_home(now).time().replace(tzinfo=None)).astimezone(UTC)
    return now


@dataclass(frozen=True, slots=True)
class House:
    """An open home: its folder, its settings and the moment it is there."""

    folder: Path
    home: "Home"
    now: datetime

    @property
    def household(self) -> str:
        return self.home.id

    def actor(self, asked: Asked) -> "Somebody":
        """Who acts: the person named, or the only educator."""
        if asked.by:
            return self.home.person(asked.by)
        educators = [p for p in self.home.people.values() if p.role == "educator"]
        if len(educators) != 1:
            keys = ", ".join(p.key for p in educators) or say("nobody yet")
            raise InputError(
                [
                    Problem(
                        "--by", say("nothing"), say("the key of who acts; educators are: {keys}", keys=keys)
                    )
                ]
            )
        return educators[0]

    def at(self, asked: Asked) -> datetime:
        """When the act happened."""
        if not asked.at:
            return self.now
        time = typed.clock_time(asked.at)
        if time is None:
            return moment_of(asked.at, "--at", self.home.calendar)
        return self.home.calendar.instant_of(self.home.calendar.day_of(self.now), time).astimezone(UTC)


def open_record(folder: Path) -> None:
    """Open the record of a home that must be there."""
    problem = Problem(
        say("home folder"),
        say("no home at {folder}", folder=folder),
        say("the folder of a home"),
        say("Name it with --home, or make one with `markstead init`."),
    )
    if not folder.is_dir():
        raise InputError([problem])
    wake(folder)
    from django.db import connection

    # Opening a SQLite file that is not there would make an empty one.
    if connection.vendor == "sqlite" and not Path(str(connection.settings_dict["NAME"])).exists():
        raise InputError([problem])


def open_house(asked: Asked) -> House:
    """Open the home that is meant.

    Raises:
        InputError: there is none, or nothing says which.
        DamagedRecordError: the file is no database any more.
    """
    folder = folder_of(asked)
    open_record(folder)
    from django.db import DatabaseError, OperationalError, ProgrammingError

    from markstead.records import queries
    from markstead.records.whole import no_room, nothing_noted

    try:
        household = queries.the_household(asked.household)
    except (OperationalError, ProgrammingError) as error:
        if no_room(error):
            raise nothing_noted(error) from error
        found = say(
            "tables that are missing or older than this Markstead in {folder} ({error})",
            folder=folder,
            error=error,
        )
        do = say("`markstead serve` brings the tables of an older home up to date.")
        raise InputError([Problem(say("home folder"), found, say("the folder of a home"), do)]) from error
    except DatabaseError as error:
        raise DamagedRecordError(
            say(
                "The database in {folder} cannot be read ({error}); restore a backup.",
                folder=folder,
                error=error,
            )
        ) from error
    home = queries.home_of(household)
    if home.language and not os.environ.get("MARKSTEAD_LANGUAGE"):
        speak(home.language)
    return House(folder, home, present(asked, home.calendar, home.demo_shift))
