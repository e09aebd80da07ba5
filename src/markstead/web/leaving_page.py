"""What leaves the house in words: how the backups stand, calendars that others read, and what an erasure does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from markstead.records.backups import Backup, Backups
from markstead.records.erasing import Erased, Preview
from markstead.records.feeds import Feed, Naming, Part, names_words, parts_words
from markstead.records.home import Home, Somebody
from markstead.rules.ruling import Role
from markstead.speech import begun, counted, date_words, later, say


def size_words(count: int) -> str:
    """A number of bytes as a person says it."""
    return (
        say("{size:.1f} MB", size=count / 1_000_000)
        if count >= 100_000
        else say("{size} kB", size=max(1, round(count / 1000)))
    )


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
        lead = say(
            "The database is no file of this home, so nothing is copied here. Take the archive, "
            "and back the database up with its own tools."
        )
    elif last is None:
        lead = say("There is no backup yet.")
    else:
        lead = say(
            "The last good backup is of {day}, {at:%H:%M}.",
            day=date_words(home.calendar.day_of(last.made)),
            at=at_home(last.made),
        )
    if old:
        warning = (
            say("That is too long ago.")
            if last is not None
            else say("If this disk fails, the record is lost.")
        )
        lead = f"{lead} {warning}"
    trouble = ""
    if found.trouble is not None:
        when = at_home(found.trouble.at)
        trouble = say(
            "The latest try failed, {day}, {at:%H:%M}. {says}",
            day=date_words(when.date()),
            at=when,
            says=found.trouble.says,
        )
    if home.demo_shift is not None:
        daily = say("A demonstration is not backed up by itself.")
    elif by_itself:
        daily = say("While the server runs, it makes one each day by itself.")
        if encrypted:
            lock = say("Each is encrypted with the passphrase that the server was given.")
            daily = f"{daily} {lock}"
    else:
        daily = say("The server makes none by itself: it was told so when it was started.")
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
    kind = say(one.kind)
    what = [kind] if one.before_restore else [kind, say("{n} facts, verified", n=one.facts)]
    what += [say("encrypted")] if one.encrypted else []
    if one.missing:
        what.append(
            counted(
                one.missing,
                "without {n} sample, whose file was not in the home's folder",
                "without {n} samples, whose file was not in the home's folder",
            )
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
    Part.GOALS: later("Goals of each day"),
    Part.SITTINGS: later("Unit tests, on their mornings"),
    Part.ORDERS: later("Orders that are due"),
    Part.DISPATCH: later("The day of the dispatch"),
}
_NAMING = {
    Naming.NONE: later("by number: Learner 1"),
    Naming.INITIALS: later("by the first letter"),
    Naming.NAMES: later("by name"),
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
        tuple(Tick(kind, say(words), kind == naming) for kind, words in _NAMING.items()),
        tuple(Tick(part, say(words), part in parts) for part, words in _PARTS.items()),
        (
            Tick("", say("All learners"), not learner),
            *(Tick(p.id, p.name, p.id == learner) for p in home.learners),
        ),
        (said.get("name") or [say("Kitchen calendar")])[0],
    )


def _feed_line(home: Home, one: Feed, origin: str) -> FeedLine:
    seen = (
        say("last read {when}", when=_when(home, one.last_read)) if one.last_read else say("never read yet")
    )
    says = f"{parts_words(one.parts)}; {names_words(one.naming)}"
    if one.learner in home.people:
        says = say("{says}, of {learner} alone", says=says, learner=home.people[one.learner].name)
    return FeedLine(one.id, one.name, f"{origin}/feeds/{one.id}.ics", begun(says), seen)


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
        Choice(p.id, p.name, say("has left") if p.role is Role.LEFT else say(p.role))
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
    counts = ", ".join(f"{say(what)}: {count}" for what, count in gone.gone.items())
    lines = [say("Gone for good. {counts}. The record still verifies.", counts=begun(counts))]
    if not gone.swept:
        lines.append(
            say(
                "Leavings may still be in the file of the database, because somebody is using it. "
                "Stop the server, then run markstead erase --sweep."
            )
        )
    if gone.remains:
        lines.append(
            say("The name still stands here, and was left: {remains}.", remains="; ".join(gone.remains))
        )
    return tuple(lines)
