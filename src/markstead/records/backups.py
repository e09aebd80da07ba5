"""Backups of a home's database: made whole, proved by restoring, kept for days, weeks and months, restored.

A backup counts once it was read back, opened, and `verify` held on what came out of it. On PostgreSQL the archive of a
household serves as its backup; the database itself is backed up by its own tools.

The database is not all: files of samples and the key of the sheets lie in a store beside the backups (see `store`), each
once, for all backups that name it.
"""

import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime, timedelta
from hashlib import file_digest, sha256
from pathlib import Path
from threading import Thread
from typing import Any, BinaryIO, TypeVar

from django.db import DEFAULT_DB_ALIAS, DatabaseError, connection, connections

from markstead.errors import DamagedRecordError, InputError, MarksteadError, Problem
from markstead.records import archive, locked, paper_key, samples, store, upkeep
from markstead.records.models import Household, Sample
from markstead.records.place import home_folder, in_folder
from markstead.records.whole import PART, SQLITE, not_written, written_whole
from markstead.speech import language, later, read_sentence, remembering, say, spoken, tell, write_sentence

T = TypeVar("T")
FILE = "markstead.sqlite3"
"""The name of the file in which a home of its own keeps its record."""
FOLDER = "backups"
TROUBLE = "trouble.json"
LOCK = "backup.lock"
DAYS, WEEKS, MONTHS = 7, 4, 12
"""Of so many days, weeks and months the newest backup is kept."""
OLD = timedelta(days=3)
"""When the last good backup is older, today's page calls for one."""
AGAIN = timedelta(hours=1)
"""So long after a backup that failed the next one is tried."""
STALE = timedelta(hours=2)
SHORTEST = 10
"""Letters of a passphrase."""
WHAT = later("backup")
ENV_FOLDER, ENV_PASSPHRASE = "MARKSTEAD_BACKUPS", "MARKSTEAD_PASSPHRASE_FILE"
_KEY = ".key"
"""How the key of the sheets ends in the store."""
LOCKED = ".age.zip"
"""How the name of one ends that a passphrase opens; older ones are a single age file, and end in `.age`."""


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that was good when it was made."""

    file: str
    """Its name in the folder of the backups."""
    made: datetime
    """By the clock of the machine."""
    bytes: int
    sha256: str
    facts: int
    """On the record, of all its households."""
    households: tuple[str, ...]
    encrypted: bool
    by_itself: bool
    """Made by the running server."""
    before_restore: bool = False
    """Not made as a backup: what a restore took the place of."""
    whole: bool = True
    """The file is still there, with as many bytes as it had."""
    files: tuple[str, ...] = ()
    """What lies in the store for it: samples and the key of the sheets."""
    missing: int = 0
    """Samples on record whose file was not in the home's folder when it was made, or not as it was kept."""

    @property
    def kind(self) -> str:
        """How it came to be."""
        if self.before_restore:
            return later("what a restore took the place of")
        return later("by itself") if self.by_itself else later("by hand")


@dataclass(frozen=True, slots=True)
class Trouble:
    """The latest try, where it failed."""

    at: datetime
    kept_says: str
    """What was wrong, as it was kept."""

    @property
    def says(self) -> str:
        """What was wrong, in the language that is spoken now."""
        return tell(self.kept_says)


@dataclass(frozen=True, slots=True)
class Backups:
    """How the home stands with its backups."""

    folder: Path | None
    """None: the database is not a file of this home."""
    kept: tuple[Backup, ...] = ()
    """The newest first."""
    trouble: Trouble | None = None

    @property
    def last_good(self) -> Backup | None:
        """The newest backup whose file is still there."""
        return next((b for b in self.kept if b.whole and not b.before_restore), None)


# --- where things are ---------------------------------------------------------------------------------------------


def database() -> Path | None:
    """The file of the record; None where it is not SQLite's."""
    if connection.vendor != "sqlite":
        return None
    return Path(str(connection.settings_dict["NAME"]))


def folder() -> Path | None:
    """Where the backups are kept."""
    named = os.environ.get(ENV_FOLDER)
    if named:
        return Path(named)
    file = database()
    return None if file is None else file.parent / FOLDER


def encrypts() -> bool:
    """Whether the backups of this server are encrypted."""
    return bool(os.environ.get(ENV_PASSPHRASE))


def state() -> Backups:
    """How the home stands with its backups; reads a few small files and no database."""
    where = folder()
    return Backups(None) if where is None else Backups(where, _listing(where), _trouble(where))


def _listing(where: Path) -> tuple[Backup, ...]:
    found = []
    for card in sorted(where.glob("*.json")) if where.is_dir() else ():
        if card.name == TROUBLE:
            continue
        try:
            said = json.loads(card.read_text(encoding="utf-8"))
            made = datetime.fromisoformat(said.pop("made"))
            lists = {name: tuple(said.get(name, ())) for name in ("households", "files")}
            kept = Backup(**said | lists | {"made": made})
            path = where / kept.file
            whole = path.is_file() and path.stat().st_size == kept.bytes
        except (OSError, ValueError, KeyError, TypeError):
            continue  # not one of ours
        found.append(replace(kept, whole=whole))
    return tuple(sorted(found, key=lambda b: (b.made, b.file), reverse=True))


def _trouble(where: Path) -> Trouble | None:
    try:
        said = json.loads((where / TROUBLE).read_text(encoding="utf-8"))
        return Trouble(datetime.fromisoformat(said["at"]), read_sentence(said["says"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def is_old(found: Backups, now: datetime, since: datetime | None) -> bool:
    """Whether the last good backup is too old, or there is none although the record is older than that.

    `since` is when the record began; None: there is nothing to lose yet.
    """
    if found.folder is None or since is None:
        return False
    last = found.last_good
    return now - (last.made if last is not None else since) > OLD


def is_due(found: Backups, now: datetime, day_of: Callable[[datetime], date]) -> bool:
    """Whether the running server makes a backup now: none was made today, and the last try was not just now."""
    if found.folder is None:
        return False
    last = found.last_good
    if last is not None and day_of(last.made) >= day_of(now):
        return False
    return found.trouble is None or now - found.trouble.at >= AGAIN


def to_drop(kept: Sequence[Backup], day_of: Callable[[datetime], date]) -> tuple[Backup, ...]:
    """Backups that need not be kept any more.

    All of the latest day stay, and the newest of each of the latest seven days, four weeks and twelve months that have
    one.
    """
    regular = sorted((b for b in kept if not b.before_restore), key=lambda b: b.made, reverse=True)
    if not regular:
        return ()
    stay = {b.file for b in regular if day_of(b.made) == day_of(regular[0].made)}
    periods: tuple[tuple[int, Callable[[date], Any]], ...] = (
        (DAYS, lambda day: day),
        (WEEKS, lambda day: day.isocalendar()[:2]),
        (MONTHS, lambda day: (day.year, day.month)),
    )
    for most, period in periods:
        newest: dict[Any, str] = {}
        for backup in regular:
            newest.setdefault(period(day_of(backup.made)), backup.file)
        stay |= set(list(newest.values())[:most])
    return tuple(b for b in regular if b.file not in stay)


# --- another database, as if it were the record -------------------------------------------------------------------


def at_another(file: Path, work: Callable[[], T]) -> T:
    """Do work on another SQLite file as if it were the record: in a thread of its own, whose only connection it is.

    The files of the home are then those beside it.
    """
    from django.db.backends.sqlite3.base import DatabaseWrapper

    done: list[T] = []
    failed: list[BaseException] = []
    tongue = language().code

    def inside() -> None:
        settings = connections.settings[DEFAULT_DB_ALIAS] | {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": str(file),
            "CONN_MAX_AGE": 0,
            "OPTIONS": {"transaction_mode": "IMMEDIATE", "timeout": 20},
        }
        own = DatabaseWrapper(settings, DEFAULT_DB_ALIAS)
        connections[DEFAULT_DB_ALIAS] = own
        try:
            # What goes wrong may be kept beside the backups: it is remembered, whether or not whoever waits wants that.
            with spoken(tongue), remembering(), in_folder(file.parent):
                done.append(work())
        except BaseException as error:  # noqa: BLE001  # carried to whoever waits
            failed.append(error)
        finally:
            own.close()

    thread = Thread(target=inside, name="another database")
    thread.start()
    thread.join()
    if failed:
        raise failed[0]
    return done[0]


@dataclass(frozen=True, slots=True)
class Proved:
    """What was found in a database that holds."""

    facts: int
    households: tuple[str, ...]
    samples: tuple[tuple[str, str], ...] = ()
    """Files that it names, by digest and kind."""


def prove(file: Path) -> Proved:
    """Bring the tables of a scratch database up to date and verify every household in it.

    Raises:
        DamagedRecordError: it is no database, or something in it does not hold.
        InputError: it was made by a newer Markstead.
    """
    try:
        with closing(sqlite3.connect(file)) as raw:
            (sound,) = raw.execute("PRAGMA quick_check(1)").fetchone()
    except sqlite3.DatabaseError as error:
        raise DamagedRecordError(say("It is no database that can be read ({error}).", error=error)) from error
    if sound != "ok":
        raise DamagedRecordError(say("The database in it is damaged ({sound}).", sound=sound))
    try:
        return at_another(file, _prove)
    except DatabaseError as error:
        raise DamagedRecordError(say("The database in it cannot be read ({error}).", error=error)) from error


def _prove() -> Proved:
    from django.core.management import call_command
    from django.db.migrations.loader import MigrationLoader

    loader = MigrationLoader(connection)
    strangers = sorted(
        f"{app}.{name}" for app, name in set(loader.applied_migrations) - set(loader.disk_migrations)
    )
    if strangers:
        allowed = say("one of this version or an older one")
        do = say("Restore it with the Markstead that made it, or a newer one.")
        found = say("one that a newer Markstead made (it knows {migration})", migration=strangers[-1])
        raise InputError([Problem(say(WHAT), found, allowed, do)])
    call_command("migrate", verbosity=0)
    facts, ids = 0, list(Household.objects.order_by("id").values_list("id", flat=True))
    for household in ids:
        verdict = upkeep.verify(household)
        if not verdict.holds:
            raise DamagedRecordError(
                say(
                    "The record of {household} in it does not hold: {problem}.",
                    household=household,
                    problem=verdict.problem,
                )
            )
        facts += verdict.facts
    files = Sample.objects.order_by("digest").values_list("digest", "kind").distinct()
    return Proved(facts, tuple(ids), tuple(files))


# --- making -------------------------------------------------------------------------------------------------------


def check_passphrase(passphrase: str) -> str:
    """A passphrase that may be used.

    Raises:
        InputError: it is too short.
    """
    if len(passphrase.strip()) < SHORTEST:
        n = len(passphrase.strip())
        found = say("{n} letters", n=n) if n else say("nothing")
        allowed = say("{n} letters or more, best some words", n=SHORTEST)
        raise InputError([Problem(say("passphrase"), found, allowed)])
    return passphrase.strip()


def make(
    now: datetime,
    *,
    day_of: Callable[[datetime], date],
    passphrase: str | None = None,
    household: str | None = None,
    by_itself: bool = False,
) -> Backup:
    """Make a backup, prove it, and drop those that need not be kept any more. `now` is the clock of the machine.

    On PostgreSQL it is the archive of `household`, proved by taking it into a scratch database.

    Raises:
        InputError: a passphrase that is too short, or nowhere to put it.
        MarksteadError: it could not be written, or another one is just being made; the earlier backups are as they were.
        DamagedRecordError: what came out of it does not hold: it was not kept.
    """
    secret = None if passphrase is None else check_passphrase(passphrase)
    where = folder()
    if where is None:
        do = say("Name one in the environment as {variable}.", variable=ENV_FOLDER)
        raise InputError([Problem(say("folder of the backups"), say("none"), say("a folder"), do)])
    try:
        where.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise not_written(say(WHAT), where / FOLDER, error) from error
    with _alone(where):
        try:
            with remembering():
                backup = _make(where, now, secret, household, by_itself=by_itself)
        except MarksteadError as error:
            _sweep(where)
            _note_trouble(where, now, error.sentence)
            raise
        (where / TROUBLE).unlink(missing_ok=True)
        for old in to_drop(_listing(where), day_of):
            _drop(where, old.file)
        _sweep(where)
    return backup


def _sweep(where: Path) -> None:
    """Delete from the store what no backup names."""
    store.sweep(where, {name for backup in _listing(where) for name in backup.files})


@contextmanager
def _alone(where: Path) -> Iterator[None]:
    """Hold the folder; whoever else makes a backup at the same moment is told so."""
    lock = where / LOCK
    for again in (True, False):
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL, 0o600))
            break
        except FileExistsError as error:
            with suppress(OSError):
                left = datetime.fromtimestamp(lock.stat().st_mtime, UTC)
                if again and datetime.fromtimestamp(_clock_of(where), UTC) - left > STALE:
                    lock.unlink(missing_ok=True)
                    continue
            raise MarksteadError(
                say(
                    "Another backup is being made in {folder}. If none is, remove the file {file} there.",
                    folder=where,
                    file=LOCK,
                )
            ) from error
        except OSError as error:
            raise not_written(say(WHAT), lock, error) from error
    try:
        for part in where.glob(f"{PART}*"):  # of a backup that was cut off
            part.unlink(missing_ok=True)
        yield
    finally:
        lock.unlink(missing_ok=True)


def _clock_of(where: Path) -> float:
    """The clock of the disk on which the folder is, by which the age of a lock is told."""
    with tempfile.TemporaryFile(dir=where) as file:
        return os.fstat(file.fileno()).st_mtime


def _note_trouble(where: Path, now: datetime, says: str) -> None:
    with suppress(MarksteadError), written_whole(where / TROUBLE, say(WHAT), replace=True) as file:
        file.write(
            json.dumps({"at": now.isoformat(), "says": write_sentence(says)}, ensure_ascii=False).encode()
        )


def _make(
    where: Path, now: datetime, secret: str | None, household: str | None, *, by_itself: bool
) -> Backup:
    file = database()
    with _work(file.parent if file is not None else where) as work:
        if file is not None:
            plain, ending = work / "plain.sqlite3", "sqlite3"
            _vacuum_into(file, plain)
        else:
            plain, ending = work / "plain.zip", f"{household}.zip"
            archive.write_archive(household or "", plain)
        name = _free_name(where, "markstead", now, f"{ending}{LOCKED if secret else ''}")
        with written_whole(where / name, say(WHAT)) as kept:
            if secret is None:
                with plain.open("rb") as source:
                    shutil.copyfileobj(source, kept, 1 << 20)
            else:
                locked.lock(plain, ending.split(".")[-1], kept, secret)
            plain.unlink()
            kept.flush()
            kept.seek(0)
            back = work / f"back.{ending}"
            try:
                digest, size = _bring_back(kept, back, secret, name)
            except (InputError, DamagedRecordError) as error:
                raise store.not_read_back(name, where) from error
            proved = prove(back) if file is not None else _prove_archive(back, work)
            files, missing = _stored(where, secret, proved.samples) if file is not None else ((), 0)
        backup = Backup(
            name,
            now,
            size,
            digest,
            proved.facts,
            proved.households,
            encrypted=secret is not None,
            by_itself=by_itself,
            files=files,
            missing=missing,
        )
        _write_card(where, backup)
    return backup


def _stored(where: Path, secret: str | None, named: Sequence[tuple[str, str]]) -> tuple[tuple[str, ...], int]:
    """Hold in the store what the home has beside its database; names for the card, and how many samples are nowhere."""
    key = home_folder() / paper_key.FILE
    wanted = [(samples.file_name(digest, kind), samples.path_of(digest, kind)) for digest, kind in named]
    with suppress(FileNotFoundError):
        wanted.append((f"{sha256(key.read_bytes()).hexdigest()}{_KEY}", key))
    latest = next((one.files for one in _listing(where) if one.encrypted and one.files), ())
    opened = store.opened(where, secret, first=latest, make=True) if wanted else None
    return opened.fill(wanted) if opened is not None else ((), 0)


def _free_name(where: Path, stem: str, now: datetime, ending: str) -> str:
    """A name by the second, and a number where two are made in one."""
    stem = f"{stem}-{now.astimezone(UTC):%Y-%m-%dT%H-%M-%SZ}"
    names = (f"{stem}.{ending}", *(f"{stem}-{n}.{ending}" for n in range(2, 100)))
    return next(name for name in names if not (where / name).exists())


@contextmanager
def _work(near: Path) -> Iterator[Path]:
    """A folder for what is not encrypted, beside the record and not beside the backups; it goes in the end."""
    try:
        with tempfile.TemporaryDirectory(dir=near, prefix=PART) as work:
            yield Path(work)
    except OSError as error:
        raise not_written(say(WHAT), near / FOLDER, error) from error


def _vacuum_into(file: Path, to: Path) -> None:
    """Copy a database in use, as it is at one moment, without its empty pages.

    Raises:
        MarksteadError: it could not be written.
        DamagedRecordError: the database itself cannot be read.
    """
    try:
        with closing(sqlite3.connect(file, timeout=20)) as raw:
            raw.execute("VACUUM INTO ?", (str(to),))
    except sqlite3.OperationalError as error:
        raise not_written(say(WHAT), to.parent, error) from error
    except sqlite3.DatabaseError as error:
        raise DamagedRecordError(
            say("The database cannot be read ({error}); restore a backup.", error=error)
        ) from error


def _bring_back(kept: BinaryIO, to: Path, secret: str | None, name: str) -> tuple[str, int]:
    """Write out what is in a backup; its SHA-256 and its bytes.

    Raises:
        InputError: it is encrypted, and this passphrase does not open it.
        DamagedRecordError: it is encrypted, and was changed or cut off.
    """
    digest = file_digest(kept, "sha256").hexdigest()
    size = kept.tell()
    kept.seek(0)
    if secret is not None:
        locked.unlock(kept, to, secret, name)
    else:
        with to.open("wb") as file:
            shutil.copyfileobj(kept, file, 1 << 20)
    return digest, size


def _prove_archive(file: Path, work: Path) -> Proved:
    def take() -> Proved:
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        taken = archive.take_archive(file)
        return Proved(taken.facts, (taken.household,))

    return at_another(work / "scratch.sqlite3", take)


def _write_card(where: Path, backup: Backup) -> None:
    said = asdict(backup) | {"made": backup.made.isoformat()}
    said.pop("whole")
    with written_whole(where / f"{backup.file}.json", say(WHAT), replace=True) as file:
        file.write(json.dumps(said, indent=2, sort_keys=True).encode() + b"\n")


def drop(where: Path, name: str) -> bool:
    """Delete a backup; whether it was there.

    Raises:
        InputError: no backup of this folder has that name.
    """
    if name not in {b.file for b in _listing(where)}:
        raise InputError([Problem(say(WHAT), repr(name), say("the name of a backup that is kept here"))])
    there = _drop(where, name)
    if not (where / LOCK).exists():  # else what is just being made has put files there that no card names yet
        _sweep(where)
    return there


def _drop(where: Path, name: str) -> bool:
    there = (where / name).exists()
    (where / name).unlink(missing_ok=True)
    (where / f"{name}.json").unlink(missing_ok=True)
    return there


# --- restoring ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did."""

    facts: int
    households: tuple[str, ...]
    kept: Path | None
    """Where the database is that was here before; None: there was none."""
    files: int = 0
    """Samples, and the key of the sheets, that were not here and were put back."""
    missing: int = 0
    """Samples on record whose file is neither here nor beside the backup."""


def is_encrypted(file: Path) -> bool:
    """Whether a passphrase is needed to open it.

    Raises:
        InputError: no file that can be read.
    """
    try:
        with file.open("rb") as opened:
            return locked.is_locked(opened)
    except OSError as error:
        raise InputError(
            [Problem(say(WHAT), f"{file} ({error.strerror})", say("a file that can be read"))]
        ) from error


def restore(file: Path, to: Path, now: datetime, *, passphrase: str | None = None) -> Restored:
    """Put a backup in the place of the database at `to`; what was there is kept beside the backups.

    It is opened, brought up to date and verified before anything is touched. Files that the home lacks come back, too; none
    that is here is changed or removed.

    Raises:
        InputError: no backup, a wrong passphrase, or one of a newer Markstead.
        DamagedRecordError: what is in it does not hold.
        MarksteadError: the disk is full; the database is as it was.
    """
    encrypted = is_encrypted(file)
    if encrypted and passphrase is None:
        raise InputError(
            [Problem(say("passphrase"), say("nothing"), say("the one that the backup was encrypted with"))]
        )
    where = folder() or to.parent / FOLDER
    _check_digest(file)
    connections.close_all()
    with _work(to.parent) as work:
        back = work / "back.sqlite3"
        with file.open("rb") as opened:
            _bring_back(opened, back, passphrase if encrypted else None, file.name)
        with back.open("rb") as opened:
            start = opened.read(len(SQLITE))
        if start[:4] == b"PK\x03\x04":
            do = (
                say(
                    "Take the archive out of it as the README in it says, then take that with `markstead import` "
                    "into a folder without a home."
                )
                if encrypted
                else say("Take it with `markstead import` into a folder without a home.")
            )
            found = say("{file}, an archive of a household", file=file.name)
            raise InputError([Problem(say(WHAT), found, say("a backup of a database"), do)])
        if start != SQLITE:
            found = say("{file}, which holds no database", file=file.name)
            raise InputError([Problem(say(WHAT), found, say("a backup as it was made"))])
        try:
            proved = prove(back)
        except DamagedRecordError as error:
            raise DamagedRecordError(
                say("{file} was not restored, and nothing was changed. {error}", file=file.name, error=error)
            ) from error
        new: list[Path] = []
        try:
            with in_folder(to.parent):
                missing = _files_back(file, passphrase if encrypted else None, proved.samples, new)
            kept = _keep_aside(to, where, now)
            _put_in_place(back, to)
        except BaseException:
            samples.remove(new)
            raise
    count = sum(".small." not in path.name for path in new)
    return Restored(proved.facts, proved.households, kept, count, missing)


def _files_back(file: Path, secret: str | None, named: Sequence[tuple[str, str]], new: list[Path]) -> int:
    """Put back what the home lacks, told in `new`; how many samples are nowhere.

    Raises:
        InputError: the folder of samples cannot be written.
        MarksteadError: the key cannot be written.
    """
    card = next((one for one in _listing(file.parent) if one.file == file.name), None)
    listed = card.files if card is not None else ()
    beside = store.opened(file.parent, secret, first=listed)
    missing = 0
    for digest, kind in named:
        if samples.path_of(digest, kind).exists():
            continue
        content = beside.get(samples.file_name(digest, kind)) if beside is not None else None
        if content is None:
            missing += 1
        else:
            new += samples.put_back(digest, kind, content)
    for name in listed:
        plain = name.split("/")[-1].removesuffix(".age")
        key = home_folder() / paper_key.FILE
        content = beside.get(plain) if beside is not None and plain.endswith(_KEY) else None
        if content is not None and not key.exists():
            with written_whole(key, say("key of the sheets")) as into:
                into.write(content)
            new.append(key)
    return missing


def _check_digest(file: Path) -> None:
    card = file.with_name(f"{file.name}.json")
    try:
        said = json.loads(card.read_text(encoding="utf-8"))["sha256"]
    except (OSError, ValueError, KeyError, TypeError):
        return  # a copy without its card is judged by what is in it
    with file.open("rb") as opened:
        digest = file_digest(opened, "sha256").hexdigest()
    if digest != said:
        raise locked.was_changed(file.name)


def _keep_aside(to: Path, where: Path, now: datetime) -> Path | None:
    """Keep the database that is here; one that cannot be read any more is kept as it is, byte by byte."""
    if not to.exists():
        return None
    try:
        where.mkdir(parents=True, exist_ok=True, mode=0o700)
        name = _free_name(where, "before-restore", now, "sqlite3")
        aside = where / name
        with written_whole(aside, say(WHAT)) as file:
            try:
                with _work(to.parent) as work:
                    _vacuum_into(to, work / "old.sqlite3")
                    with (work / "old.sqlite3").open("rb") as old:
                        shutil.copyfileobj(old, file, 1 << 20)
            except DamagedRecordError:
                with to.open("rb") as old:
                    shutil.copyfileobj(old, file, 1 << 20)
            size = file.tell()
    except OSError as error:
        raise not_written(say(WHAT), where / FOLDER, error) from error
    with aside.open("rb") as opened:
        digest = file_digest(opened, "sha256").hexdigest()
    _write_card(
        where, Backup(name, now, size, digest, 0, (), encrypted=False, by_itself=False, before_restore=True)
    )
    return aside


def _put_in_place(back: Path, to: Path) -> None:
    """Copy page by page in one transaction, so that whoever has the database open reads the new one from then on."""
    try:
        with closing(sqlite3.connect(back)) as source, closing(sqlite3.connect(to, timeout=20)) as target:
            source.backup(target)
    except sqlite3.OperationalError as error:
        raise not_written(say("restored record"), to, error) from error
    except sqlite3.DatabaseError:  # what is here is no database any more; it was kept, and makes room
        _put_over(back, to)


def _put_over(back: Path, to: Path) -> None:
    try:
        for ending in ("-wal", "-shm"):
            to.with_name(to.name + ending).unlink(missing_ok=True)
        back.replace(to)
    except OSError as error:
        raise not_written(say("restored record"), to, error) from error
