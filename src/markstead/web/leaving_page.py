"""What leaves the house in words: how the backups stand, calendars that others read, and what an erasure does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from markstead.records.backups import Backup, Backups
from markstead.records.erasing import Erased, Preview
from markstead.records.feeds import Feed, Naming, Part, names_words, parts_words
from markstead.records.home import Home, Somebody
from markstead.rules.ruling import Role
from markstead.speech import date_words, plural


def size_words(count: int) -> str:
    """A number of bytes as a person says it."""
    return f"{count / 1_000_000:.1f} MB" if count >= 100_000 else f"{max(1, round(count / 1000))} kB"


@dataclass(frozen=True, slots=True)
class BackupLine:
    """A backup in the list."""

    file: str
    when: str
    what: str
    size: str
    gone: bool


@dataclass(frozen=True, slots=True)
class BackupsPage:
    """Everything that the template of the backups' page may use."""

    lead: str
    tone: str
    """done, or mistaken where a backup is wanted."""
    folder: str
    trouble: str
    lines: tuple[BackupLine, ...]
    by_itself: str
    """Whether the running server makes one each day, in a sentence."""
    at_work: bool
    demo: bool


def backups_page(
    home: Home, found: Backups, *, old: bool, at_work: bool, by_itself: bool, encrypted: bool
) -> BackupsPage:
    """Say how the home stands with its backups."""
    last = found.last_good
    at_home = home.calendar.at_home
    if found.folder is None:
        lead = "The database is no file of this home, so nothing is copied here. Take the archive, and back the database up with its own tools."
    elif last is None:
        lead = "There is no backup yet."
    else:
        lead = f"The last good backup is of {date_words(home.calendar.day_of(last.made))}, {at_home(last.made):%H:%M}."
    if old:
        lead += " That is too long ago." if last is not None else " If this disk fails, the record is lost."
    trouble = ""
    if found.trouble is not None:
        when = at_home(found.trouble.at)
        trouble = f"The latest try failed, {date_words(when.date())}, {when:%H:%M}. {found.trouble.says}"
    if home.demo_shift is not None:
        daily = "A demonstration is not backed up by itself."
    elif by_itself:
        lock = " Each is encrypted with the passphrase that the server was given." if encrypted else ""
        daily = f"While the server runs, it makes one each day by itself.{lock}"
    else:
        daily = "The server makes none by itself: it was told so when it was started."
    return BackupsPage(
        lead,
        "mistaken" if old or (last is None and found.folder is not None) else "done",
        str(found.folder) if found.folder else "",
        trouble,
        tuple(_backup_line(home, one) for one in found.kept),
        daily,
        at_work,
        home.demo_shift is not None,
    )


def _backup_line(home: Home, one: Backup) -> BackupLine:
    when = home.calendar.at_home(one.made)
    kind = (
        "what a restore took the place of"
        if one.before_restore
        else "by itself"
        if one.by_itself
        else "by hand"
    )
    what = [kind] if one.before_restore else [kind, f"{one.facts} facts, verified"]
    what += ["encrypted"] if one.encrypted else []
    what += (
        [f"without {plural(one.missing, 'sample')}, whose file was not in the home's folder"]
        if one.missing
        else []
    )
    return BackupLine(
        one.file,
        f"{date_words(when.date())}, {when:%H:%M}",
        " · ".join(what),
        size_words(one.bytes),
        not one.whole,
    )


# --- calendars -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FeedLine:
    """A calendar that is read elsewhere."""

    id: str
    name: str
    address: str
    says: str
    seen: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A choice in a form."""

    value: str
    label: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class AwayPage:
    """Everything that the template of what is taken away may use."""

    feeds: tuple[FeedLine, ...]
    naming: tuple[Tick, ...]
    parts: tuple[Tick, ...]
    learners: tuple[Tick, ...]
    name: str


_PARTS = {
    Part.GOALS: "Goals of each day",
    Part.SITTINGS: "Unit tests, on their mornings",
    Part.ORDERS: "Orders that are due",
    Part.DISPATCH: "The day of the dispatch",
}
_NAMING = {
    Naming.NONE: "by number: Learner 1",
    Naming.INITIALS: "by the first letter",
    Naming.NAMES: "by name",
}


def away_page(
    home: Home, found: Sequence[Feed], origin: str, typed: Mapping[str, Sequence[str]] | None = None
) -> AwayPage:
    """The page, with what was typed where it could not be taken."""
    said = typed or {}
    parts = said.get("parts", list(Part)) if typed is not None else list(Part)
    naming = (said.get("naming") or [Naming.NONE])[0]
    learner = (said.get("learner") or [""])[0]
    return AwayPage(
        tuple(_feed_line(home, one, origin) for one in found),
        tuple(Tick(kind, words, kind == naming) for kind, words in _NAMING.items()),
        tuple(Tick(part, words, part in parts) for part, words in _PARTS.items()),
        (
            Tick("", "All learners", not learner),
            *(Tick(p.id, p.name, p.id == learner) for p in home.learners),
        ),
        (said.get("name") or ["Kitchen calendar"])[0],
    )


def _feed_line(home: Home, one: Feed, origin: str) -> FeedLine:
    whose = f", of {home.people[one.learner].name} alone" if one.learner in home.people else ""
    seen = f"last read {_when(home, one.last_read)}" if one.last_read else "never read yet"
    says = f"{parts_words(one.parts)}; {names_words(one.naming)}{whose}"
    return FeedLine(one.id, one.name, f"{origin}/feeds/{one.id}.ics", says[:1].upper() + says[1:], seen)


def _when(home: Home, instant: datetime) -> str:
    at = home.calendar.at_home(instant)
    return f"{date_words(at.date())}, {at:%H:%M}"


# --- erasure -------------------------------------------------------------------------------------------------------

EVERYBODY = "everybody"


@dataclass(frozen=True, slots=True)
class Choice:
    """Somebody who can be erased."""

    id: str
    name: str
    part: str


@dataclass(frozen=True, slots=True)
class ErasePage:
    """Everything that the template of the erasure may use."""

    choices: tuple[Choice, ...]
    who: str
    """Whose erasure is being looked at, by id; empty: nobody's."""
    name: str
    """What has to be typed."""
    will: tuple[str, ...]
    backups: int
    done: tuple[str, ...]
    left: tuple[str, ...]
    """Backups that still hold the name."""


def erase_page(
    home: Home,
    me: Somebody,
    *,
    who: str = "",
    will: Preview | None = None,
    done: Sequence[str] = (),
    left: Sequence[str] = (),
) -> ErasePage:
    """The page: who can be erased, and what that does."""
    others = [p for p in home.people.values() if p.id != me.id and not p.erased]
    choices = [
        Choice(p.id, p.name, "has left" if p.role is Role.LEFT else str(p.role))
        for p in sorted(others, key=lambda p: (p.role is Role.LEFT, p.name))
    ]
    return ErasePage(
        tuple(choices),
        who,
        will.who if will else "",
        will.will if will else (),
        len(will.backups) if will else 0,
        tuple(done),
        tuple(left),
    )


def erased_lines(gone: Erased) -> tuple[str, ...]:
    """What an erasure did, in sentences."""
    counted = ", ".join(f"{what}: {count}" for what, count in gone.gone.items())
    lines = [f"Gone for good. {counted[:1].upper()}{counted[1:]}. The record still verifies."]
    if not gone.swept:
        lines.append(
            "Leavings may still be in the file of the database, because somebody is using it. Stop the server, then run "
            "markstead erase --sweep."
        )
    if gone.remains:
        lines.append(f"The name still stands here, and was left: {'; '.join(gone.remains)}.")
    return tuple(lines)
