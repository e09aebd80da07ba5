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
from markstead.speech import counted, date_words, day_of_month, say

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
    if count >= 100_000:
        return say("{size:.1f} MB", size=count / 1_000_000)
    return say("{size} kB", size=max(1, round(count / 1000)))


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
            say(
                "{file}: {name}, {facts} facts, {people} people, {size}. It holds names; keep it as "
                "you keep the record.",
                file=file,
                name=done.name,
                facts=done.facts,
                people=done.people,
                size=size_words(done.bytes),
            ),
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
            raise InputError(
                [Problem("--names", repr(names), say("one of {names}", names=", ".join(feeds.Naming)))]
            )
        only = opened.home.learner(learner).id if learner else ""
        today = opened.home.calendar.day_of(opened.now)
        found = feeds.events(
            opened.home, today, parts=tuple(feeds.Part), naming=feeds.Naming(names), learner=only
        )
        salt = " ".join(sorted(opened.home.people))
        data = feeds.calendar_bytes(found, name=say("School at home"), salt=salt, now=opened.now)
        with written_whole(file, "calendar", replace=replace) as into:
            into.write(data)
        told(
            {"file": str(file), "events": len(found)},
            counted(len(found), "{file}: {n} entry.", "{file}: {n} entries.", file=file),
            as_json=as_json,
        )


def _told_rows(file: Path, rows: Mapping[str, int], *, as_json: bool) -> None:
    counts = ", ".join(f"{name} {count}" for name, count in rows.items())
    words = say("{file}: rows of {counts}.", file=file, counts=counts)
    told({"file": str(file), "rows": dict(rows)}, words, as_json=as_json)


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
            print(
                say(
                    "{file} keeps every rule that is checked: {rows} rows in {files} files.",
                    file=file,
                    rows=sum(rows.values()),
                    files=len(rows),
                )
            )
        for name in found.unchecked:
            print(
                say("Not checked: the columns of {name}.csv are not known here.", name=name), file=sys.stderr
            )
        if problems:
            if not as_json:
                print("\n".join(map(str, found.problems)))
                print(counted(len(problems), "{n} problem.", "{n} problems."), file=sys.stderr)
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
        words = [
            say(
                "{file}: {facts} facts, {size}; restored and verified.",
                file=f"{where}/{made.file}",
                facts=made.facts,
                size=size_words(made.bytes),
            )
        ]
        if made.encrypted:
            words.append(say("It opens with your passphrase alone."))
        told(
            backup_plain(made) | {"folder": str(where)},
            " ".join([*words, *_missing_words(made.missing)]),
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
            cells = [f"{at_home(one.made):%Y-%m-%d %H:%M}", one.file, size_words(one.bytes), say(one.kind)]
            if one.encrypted:
                cells.append(say("encrypted"))
            if one.missing:
                cells.append(counted(one.missing, "without {n} sample", "without {n} samples"))
            if not one.whole:
                cells.append(say("its file is gone or was cut off"))
            print("  ".join(cells))
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
            do = say("Take the archive with `markstead import` into an empty database.")
            raise InputError(
                [
                    Problem(
                        "restore",
                        say("a database that is no file of this home"),
                        say("a home of its own"),
                        do,
                    )
                ]
            )
        there = place / DATABASE
        folder = backups.folder()
        wanted = file if file.exists() or folder is None else folder / file.name
        if there.exists() and not yes:
            if not sys.stdin.isatty():
                raise InputError([Problem("--yes", say("nothing"), say("--yes: nobody is here to be asked"))])
            print(
                say(
                    "This takes the place of the record in {place}; a copy of it is kept in {folder}.",
                    place=place,
                    folder=folder,
                ),
                file=sys.stderr,
            )
            if not typer.confirm(say("Restore {file}?", file=wanted.name), err=True):
                print(say("Nothing was changed."), file=sys.stderr)
                return
        done = backups.restore(wanted, there, real_now(), passphrase=passphrase_of(passphrase_file))
        words = [say("Restored from {file}: {facts} facts, verified.", file=wanted.name, facts=done.facts)]
        if done.kept:
            words.append(say("What was here before is {file}.", file=done.kept))
        if done.files:
            words.append(say("Files that the home lacked and that came back: {files}.", files=done.files))
        told(
            {
                "restored": str(wanted),
                "facts": done.facts,
                "households": list(done.households),
                "kept": str(done.kept) if done.kept else None,
                "files": done.files,
                "missing": done.missing,
            },
            " ".join([*words, *_missing_words(done.missing)]),
            as_json=as_json,
        )


def _missing_words(count: int) -> list[str]:
    if not count:
        return []
    return [
        counted(
            count,
            "The file of {n} sample of work on record is in no folder any more.",
            "The file of {n} samples of work on record is in no folder any more.",
        )
    ]


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
        return say(
            "The database is no file of this home: back it up with its own tools, or with "
            "`markstead export archive`."
        )
    at_home = opened.home.calendar.at_home
    last = found.last_good
    lines = [
        say(
            "The last good backup is of {day}, {at:%H:%M}, in {folder}.",
            day=date_words(at_home(last.made)),
            at=at_home(last.made),
            folder=found.folder,
        )
        if last
        else say("There is no backup yet; `markstead backup` makes one in {folder}.", folder=found.folder)
    ]
    if old and last:
        lines.append(say("That is old: make one now."))
    if found.trouble:
        lines.append(
            say(
                "The latest try, {day}, {at:%H:%M}, failed. {says}",
                day=day_of_month(at_home(found.trouble.at)),
                at=at_home(found.trouble.at),
                says=found.trouble.says,
            )
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
                say("The database is written anew.")
                if done
                else say("Somebody is using the database; stop the server first.")
            )
            told({"swept": done}, says, as_json=as_json)
            if not done:
                raise typer.Exit(1)
            return
        if (person is None) != everybody:
            found = say("both") if everybody else say("neither")
            raise InputError([Problem(say("PERSON and --everybody"), found, say("one of the two"))])
        if (archive is None) != no_archive:
            found = say("both") if archive else say("neither")
            do = say("The archive is the only way back; name a file for it, or say that you want none.")
            raise InputError([Problem(say("--archive and --no-archive"), found, say("one of the two"), do)])
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
            [
                Problem(
                    "--confirm",
                    say("nothing"),
                    say("{who!r}, typed as it stands: nobody is here to be asked", who=who),
                )
            ]
        )
    for line in will:
        print(f"- {line}", file=sys.stderr)
    return str(typer.prompt(say("Nothing brings this back. Type {who} to erase", who=who), err=True))


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
    counts = ", ".join(f"{say(what)}: {count}" for what, count in gone.gone.items())
    lines = [say("Erased. {counts}. The record still verifies.", counts=counts)]
    if not gone.swept:
        lines.append(
            say(
                "Leavings may still be in the file of the database, because somebody is using it: "
                "stop the server, then run `markstead erase --sweep`."
            )
        )
    if gone.remains:
        remains = "; ".join(gone.remains)
        lines.append(say("The name still stands here, and was left: {remains}.", remains=remains))
    if left:
        lines.append(
            counted(
                len(left),
                "{n} backup made before still holds it: {files}. Delete what you need no way back from.",
                "{n} backups made before still hold it: {files}. Delete what you need no way back from.",
                files=", ".join(left),
            )
        )
    return lines
