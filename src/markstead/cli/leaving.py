"""Commands for what leaves the house, comes back, or goes for good: export, backup, restore, erase, check."""

import os
import sys
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from markstead.cli import house, typed
from markstead.cli.house import DATABASE, House, open_house, real_now
from markstead.cli.options import BY, CLOCK, JSON, Asked, command
from markstead.errors import InputError, Problem
from markstead.speech import date_words, day_of_month

if TYPE_CHECKING:  # Django is loaded when a home is opened, not for --help
    from markstead.records.backups import Backup, Backups
    from markstead.records.erasing import Erased

FILE = Annotated[Path, typer.Argument(metavar="FILE", help="The file to write.")]
REPLACE = Annotated[bool, typer.Option("--replace", help="Write over a file of that name.")]
PASSPHRASE = Annotated[
    Path | None,
    typer.Option(
        "--passphrase-file",
        metavar="FILE",
        help="A file with the passphrase on its first line. Default: the one that MARKSTEAD_PASSPHRASE_FILE names.",
    ),
]

export = typer.Typer(no_args_is_help=True, help="Write what the home has into open formats.")
check = typer.Typer(no_args_is_help=True, help="Check a file of an open standard.")


def passphrase_of(file: Path | None) -> str | None:
    """The passphrase: from the file that was named, or the one that the environment names; None: no encryption."""
    named = file or os.environ.get("MARKSTEAD_PASSPHRASE_FILE")
    return typed.first_line(Path(named), "--passphrase-file") if named else None


def size_words(count: int) -> str:
    """A number of bytes as a person says it."""
    return f"{count / 1_000_000:.1f} MB" if count >= 100_000 else f"{max(1, round(count / 1000))} kB"


def backup_plain(found: "Backup") -> dict[str, Any]:
    """A backup as plain values."""
    return {
        "file": found.file,
        "made": found.made.isoformat(),
        "bytes": found.bytes,
        "sha256": found.sha256,
        "facts": found.facts,
        "households": list(found.households),
        "encrypted": found.encrypted,
        "by_itself": found.by_itself,
        "before_restore": found.before_restore,
        "whole": found.whole,
        "files": len(found.files),
        "missing": found.missing,
    }


def told(value: dict[str, Any], words: str, *, as_json: bool) -> None:
    """Print plain JSON, or the sentence."""
    from markstead.cli import render

    print(render.text(value) if as_json else words)


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    _add_exports()
    _add_checks()
    app.add_typer(export, name="export")
    app.add_typer(check, name="check")
    _add_backups(app)
    _add_erasure(app)


def _add_exports() -> None:
    @command(export, "archive")
    def archive(asked: Asked, *, file: FILE, replace: REPLACE = False, as_json: JSON = False) -> None:
        """The whole household in one package that can be read without Markstead, and taken into an empty home."""
        opened = open_house(asked)
        from markstead.records.archive import write_archive

        done = write_archive(opened.household, file, replace=replace)
        told(
            {
                "file": str(file),
                "bytes": done.bytes,
                "facts": done.facts,
                "link": done.link,
                "people": done.people,
            },
            f"{file}: {done.name}, {done.facts} facts, {done.people} people, {size_words(done.bytes)}. "
            "It holds names; keep it as you keep the record.",
            as_json=as_json,
        )

    @command(export, "csv")
    def csv(
        asked: Asked,
        *,
        file: FILE,
        no_names: Annotated[
            bool, typer.Option("--no-names", help="People as ids alone, and no words beside the facts.")
        ] = False,
        replace: REPLACE = False,
        as_json: JSON = False,
    ) -> None:
        """The record as tables for any spreadsheet, with CSV-on-the-Web metadata, in one zip package."""
        opened = open_house(asked)
        from markstead.records.tables import write_tables

        done = write_tables(opened.household, file, names=not no_names, replace=replace)
        _told_rows(file, done.rows, as_json=as_json)

    @command(export, "oneroster")
    def oneroster(asked: Asked, *, file: FILE, replace: REPLACE = False, as_json: JSON = False) -> None:
        """People, courses, enrolments and results as a OneRoster 1.2 CSV package, checked before it is kept."""
        opened = open_house(asked)
        from markstead.records.rosters import write_roster

        done = write_roster(opened.household, file, replace=replace)
        _told_rows(file, done.rows, as_json=as_json)

    @command(export, "calendar", CLOCK)
    def calendar(
        asked: Asked,
        *,
        file: FILE,
        names: Annotated[
            str,
            typer.Option("--names", metavar="HOW", help="How learners are named: none, initials or names."),
        ] = "none",
        learner: Annotated[
            str | None,
            typer.Option("--learner", metavar="LEARNER", help="Only this learner's goals and tests."),
        ] = None,
        replace: REPLACE = False,
        as_json: JSON = False,
    ) -> None:
        """Goals, sittings, orders and dispatch days as an iCalendar file. A calendar that renews itself: see Settings."""
        opened = open_house(asked)
        from markstead.records import feeds
        from markstead.records.whole import written_whole

        if names not in set(feeds.Naming):
            raise InputError([Problem("--names", repr(names), f"one of {', '.join(feeds.Naming)}")])
        only = opened.home.learner(learner).id if learner else ""
        today = opened.home.calendar.day_of(opened.now)
        found = feeds.events(
            opened.home, today, parts=tuple(feeds.Part), naming=feeds.Naming(names), learner=only
        )
        salt = " ".join(sorted(opened.home.people))
        data = feeds.calendar_bytes(found, name="School at home", salt=salt, now=opened.now)
        with written_whole(file, "calendar", replace=replace) as into:
            into.write(data)
        told({"file": str(file), "events": len(found)}, f"{file}: {len(found)} entries.", as_json=as_json)


def _told_rows(file: Path, rows: Mapping[str, int], *, as_json: bool) -> None:
    counted = ", ".join(f"{name} {count}" for name, count in rows.items())
    told({"file": str(file), "rows": dict(rows)}, f"{file}: rows of {counted}.", as_json=as_json)


def _add_checks() -> None:
    @command(check, "oneroster")
    def oneroster(
        asked: Asked,
        *,
        file: Annotated[
            Path, typer.Argument(metavar="FILE", help="A zip package, or a folder with its CSV files.")
        ],
        as_json: JSON = False,
    ) -> None:
        """Check a OneRoster 1.2 CSV package: every rule that it breaks is named. No home is needed.

        It leaves with status 1 where anything is wrong.
        """
        house.wake(house.folder_of(asked))
        from markstead.ledger.oneroster import check as check_files
        from markstead.records.rosters import read_files

        found = check_files(read_files(file))
        rows = {name: len(kept) for name, kept in found.rows.items()}
        problems = [{"where": p.where, "found": p.found, "allowed": p.allowed} for p in found.problems]
        if as_json:
            told({"problems": problems, "rows": rows, "unchecked": list(found.unchecked)}, "", as_json=True)
        elif not problems:
            print(f"{file} keeps every rule that is checked: {sum(rows.values())} rows in {len(rows)} files.")
        for name in found.unchecked:
            print(f"Not checked: the columns of {name}.csv are not known here.", file=sys.stderr)
        if problems:
            if not as_json:
                print("\n".join(map(str, found.problems)))
                print(f"{len(problems)} problems.", file=sys.stderr)
            raise typer.Exit(1)


def _clock(opened: House) -> Callable[[datetime], Any]:
    return opened.home.calendar.day_of


def _add_backups(app: typer.Typer) -> None:
    @command(app, "backup")
    def backup(
        asked: Asked,
        *,
        passphrase_file: PASSPHRASE = None,
        by_itself: Annotated[bool, typer.Option("--by-itself", hidden=True)] = False,
        as_json: JSON = False,
    ) -> None:
        """Make a backup now, prove it by restoring it into a scratch database, and drop those that are not needed.

        The running server makes one each day. They lie in the folder backups of the home, or where MARKSTEAD_BACKUPS
        says. On PostgreSQL the archive of the household is its backup.
        """
        opened = open_house(asked)
        from markstead.records import backups

        made = backups.make(
            real_now(),
            day_of=_clock(opened),
            passphrase=passphrase_of(passphrase_file),
            household=opened.household,
            by_itself=by_itself,
        )
        where = backups.folder()
        locked = " It opens with your passphrase alone." if made.encrypted else ""
        told(
            backup_plain(made) | {"folder": str(where)},
            f"{where}/{made.file}: {made.facts} facts, {size_words(made.bytes)}; restored and verified.{locked}"
            f"{_missing_words(made.missing)}",
            as_json=as_json,
        )

    @command(app, "backups")
    def listing(asked: Asked, *, as_json: JSON = False) -> None:
        """The backups there are, the newest first, and whether the last good one is old."""
        opened = open_house(asked)
        from markstead.records import backups, queries

        found = backups.state()
        old = backups.is_old(found, real_now(), queries.first_written(opened.household))
        if as_json:
            told(_backups_plain(found, old=old), "", as_json=True)
            return
        at_home = opened.home.calendar.at_home
        for one in found.kept:
            what = "before a restore" if one.before_restore else "by itself" if one.by_itself else "by hand"
            gone = "" if one.whole else "  its file is gone or was cut off"
            lock = "  encrypted" if one.encrypted else ""
            lock += f"  without {_samples(one.missing)}" if one.missing else ""
            print(
                f"{at_home(one.made):%Y-%m-%d %H:%M}  {one.file}  {size_words(one.bytes)}  {what}{lock}{gone}"
            )
        print(backups_words(found, opened, old=old))

    @command(app, "restore")
    def restore(
        asked: Asked,
        *,
        file: Annotated[
            Path,
            typer.Argument(
                metavar="FILE", help="A backup: its path, or its name in the folder of the backups."
            ),
        ],
        passphrase_file: PASSPHRASE = None,
        yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
        as_json: JSON = False,
    ) -> None:
        """Put a backup in the place of the database. It is verified first, and what was there is kept.

        It says what it does and asks; without somebody to ask it wants --yes. On PostgreSQL take the archive with
        `markstead import` instead.
        """
        place = house.folder_of(asked)
        house.make_folder(place)
        house.wake(place)
        from markstead.records import backups

        if backups.database() is None:
            do = "Take the archive with `markstead import` into an empty database."
            raise InputError(
                [Problem("restore", "a database that is no file of this home", "a home of its own", do)]
            )
        there = place / DATABASE
        folder = backups.folder()
        wanted = file if file.exists() or folder is None else folder / file.name
        if there.exists() and not yes:
            if not sys.stdin.isatty():
                raise InputError([Problem("--yes", "nothing", "--yes: nobody is here to be asked")])
            print(
                f"This takes the place of the record in {place}; a copy of it is kept in {folder}.",
                file=sys.stderr,
            )
            if not typer.confirm(f"Restore {wanted.name}?", err=True):
                print("Nothing was changed.", file=sys.stderr)
                return
        done = backups.restore(wanted, there, real_now(), passphrase=passphrase_of(passphrase_file))
        kept = f" What was here before is {done.kept}." if done.kept else ""
        files = f" Files that the home lacked and that came back: {done.files}." if done.files else ""
        told(
            {
                "restored": str(wanted),
                "facts": done.facts,
                "households": list(done.households),
                "kept": str(done.kept) if done.kept else None,
                "files": done.files,
                "missing": done.missing,
            },
            f"Restored from {wanted.name}: {done.facts} facts, verified.{kept}{files}{_missing_words(done.missing)}",
            as_json=as_json,
        )


def _missing_words(count: int) -> str:
    if not count:
        return ""
    return f" The file of {_samples(count)} of work on record is in no folder any more."


def _samples(count: int) -> str:
    return f"{count} sample{'s' if count > 1 else ''}"


def _backups_plain(found: "Backups", *, old: bool) -> dict[str, Any]:
    last = found.last_good
    return {
        "folder": str(found.folder) if found.folder else None,
        "last_good": backup_plain(last) if last else None,
        "old": old,
        "trouble": {"at": found.trouble.at.isoformat(), "says": found.trouble.says}
        if found.trouble
        else None,
        "backups": [backup_plain(one) for one in found.kept],
    }


def backups_words(found: "Backups", opened: House, *, old: bool) -> str:
    """How the home stands with its backups, in a sentence or two."""
    if found.folder is None:
        return "The database is no file of this home: back it up with its own tools, or with `markstead export archive`."
    at_home = opened.home.calendar.at_home
    last = found.last_good
    lines = [
        f"The last good backup is of {date_words(at_home(last.made))}, {at_home(last.made):%H:%M}, in {found.folder}."
        if last
        else f"There is no backup yet; `markstead backup` makes one in {found.folder}."
    ]
    if old:
        lines.append("That is old: make one now.")
    if found.trouble:
        lines.append(
            f"The latest try, {day_of_month(at_home(found.trouble.at))}, {at_home(found.trouble.at):%H:%M}, failed. {found.trouble.says}"
        )
    return " ".join(lines)


def _add_erasure(app: typer.Typer) -> None:
    @command(app, "erase", CLOCK, {"by": BY})
    def erase(
        asked: Asked,
        *,
        person: Annotated[
            str | None,
            typer.Argument(metavar="PERSON", help="Who is erased, by key; nobody with --everybody."),
        ] = None,
        everybody: Annotated[
            bool, typer.Option("--everybody", help="Erase the whole household: everybody in it, and you.")
        ] = False,
        archive: Annotated[
            Path | None,
            typer.Option("--archive", metavar="FILE", help="Write the archive of the household there first."),
        ] = None,
        no_archive: Annotated[bool, typer.Option("--no-archive", help="Erase without an archive.")] = False,
        confirm: Annotated[
            str | None,
            typer.Option(
                "--confirm", metavar="NAME", help="The name, typed as it stands. Default: ask for it."
            ),
        ] = None,
        delete_backups: Annotated[
            bool, typer.Option("--delete-backups", help="Delete the backups that were made before, too.")
        ] = False,
        sweep: Annotated[
            bool,
            typer.Option("--sweep", help="Only write the database anew without the leavings of an erasure."),
        ] = False,
        as_json: JSON = False,
    ) -> None:
        """Erase for good what is personal about somebody, or about the whole household; the chain still holds.

        Nothing brings it back but an archive or a backup made before. It says what goes, and wants the name typed.
        """
        opened = open_house(asked)
        from markstead.records import archive as archives
        from markstead.records import erasing

        if sweep:
            done = erasing.sweep()
            says = (
                "The database is written anew."
                if done
                else "Somebody is using the database; stop the server first."
            )
            told({"swept": done}, says, as_json=as_json)
            if not done:
                raise typer.Exit(1)
            return
        if (person is None) != everybody:
            found = "both" if everybody else "neither"
            raise InputError([Problem("PERSON and --everybody", found, "one of the two")])
        if (archive is None) != no_archive:
            found = "both" if archive else "neither"
            do = "The archive is the only way back; name a file for it, or say that you want none."
            raise InputError([Problem("--archive and --no-archive", found, "one of the two", do)])
        by = opened.actor(asked).id
        will = erasing.preview(opened.home, person)
        if confirm is None:
            confirm = _ask_for_name(will.who, will.will)
        erasing.check_confirmed(will.who, confirm)
        if archive is not None:
            archives.write_archive(opened.household, archive)
        if person is None:
            gone = erasing.erase_household(opened.household, by=by)
        else:
            gone = erasing.erase_person(opened.household, person=person, by=by, at=opened.now)
        left = _old_backups(gone, delete=delete_backups)
        told(
            {
                "gone": dict(gone.gone),
                "remains": list(gone.remains),
                "swept": gone.swept,
                "backups": left,
                "archive": str(archive) if archive else None,
            },
            "\n".join(erased_words(gone, left)),
            as_json=as_json,
        )


def _ask_for_name(who: str, will: tuple[str, ...]) -> str:
    if not sys.stdin.isatty():
        raise InputError(
            [Problem("--confirm", "nothing", f"{who!r}, typed as it stands: nobody is here to be asked")]
        )
    for line in will:
        print(f"- {line}", file=sys.stderr)
    return str(typer.prompt(f"Nothing brings this back. Type {who} to erase", err=True))


def _old_backups(gone: "Erased", *, delete: bool) -> list[str]:
    from markstead.records import backups

    where = backups.folder()
    if not delete or where is None:
        return list(gone.backups)
    for name in gone.backups:
        backups.drop(where, name)
    return []


def erased_words(gone: "Erased", left: list[str]) -> list[str]:
    """What an erasure did, in sentences."""
    counted = ", ".join(f"{what}: {count}" for what, count in gone.gone.items())
    lines = [f"Erased. {counted}. The record still verifies."]
    if not gone.swept:
        lines.append(
            "Leavings may still be in the file of the database, because somebody is using it: stop the server, then run "
            "`markstead erase --sweep`."
        )
    if gone.remains:
        lines.append("The name still stands here, and was left: " + "; ".join(gone.remains) + ".")
    if left:
        lines.append(
            f"{'1 backup made before still holds' if len(left) == 1 else f'{len(left)} backups made before still hold'} it: "
            f"{', '.join(left)}. Delete what you need no way back from."
        )
    return lines
