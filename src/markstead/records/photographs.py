"""Photographs of filled-in sheets: read, shown to a person, and recorded in one act through the same gates.

What was read waits outside the record until somebody confirms it. A sheet is recorded once: the same picture sent again
changes nothing. Where that act was taken back, the sheet may be read anew.
"""

import json
import threading
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from typing import Any

from django.db import transaction

from markstead.errors import InputError, Problem, UnknownError
from markstead.ledger.facts import FactReversed, GoalSet
from markstead.ledger.serial import read_body
from markstead.paper.boxes import State
from markstead.paper.identity import Identity
from markstead.paper.layout import Asks, Group, Kind, Sheet, read_sheet
from markstead.paper.read import PageReading, Refusal, Refused, Why, read_file
from markstead.records import paper_key
from markstead.records.desk import Done, Slip, household_row
from markstead.records.home import Home, load_home
from markstead.records.models import Entry as EntryRow
from markstead.records.models import PaperPage, PaperSheet
from markstead.records.paper_day import DayDone, Try, look_at_day, record_day
from markstead.records.paper_day import Refused as RowRefused
from markstead.records.paper_meaning import Meaning, meaning
from markstead.records.printing import KEPT_DAYS, planned_of_day
from markstead.records.samples import Kept, keep_sample
from markstead.records.words import fact_words
from markstead.rules.ruling import Role
from markstead.speech import begun, day_words, say

FLAT_PER_MM = 4.0
"""Pixels a millimetre of the flattened page that is kept to be looked at."""
MOST_NOTED = 6
_ONE_AT_A_TIME = threading.Lock()
"""Reading takes some hundred megabytes for a second; two at once would take twice that."""


@dataclass(frozen=True, slots=True)
class TakenPage:
    """A page that was read and waits."""

    sheet: str
    page: int
    kind: Kind
    whose: str
    day: date
    boxes: int
    marked: int
    unsure: int


@dataclass(frozen=True, slots=True)
class Taken:
    """What a file held."""

    name: str
    pages: tuple[TakenPage, ...]
    refusals: tuple[Refusal, ...]


@dataclass(frozen=True, slots=True)
class BoxRead:
    """A box as it was read."""

    id: str
    state: State
    confidence: float
    reason: str
    """Why it is unsure, in English: it is said where it is shown."""
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class PageRead:
    """A page that waits."""

    page: int
    boxes: Mapping[str, BoxRead]
    picture: str
    name: str
    typed: bool


@dataclass(frozen=True, slots=True)
class SheetRead:
    """A sheet that waits to be confirmed."""

    home: Home
    id: str
    sheet: Sheet
    day: date
    learner: str
    printed: datetime
    taken: datetime
    pages: tuple[PageRead, ...]
    missing: tuple[int, ...]
    """Pages with boxes of which there is no picture yet."""
    notes: tuple[str, ...]
    """What has changed since it was printed."""

    @property
    def whose(self) -> str:
        """The learner's name, or everybody."""
        found = self.home.people.get(self.learner)
        return found.name if found is not None else say("everybody")

    @property
    def is_of_one(self) -> bool:
        """Whether it is one learner's, so that its picture may be kept as a sample of work."""
        return any(one.id == self.learner for one in self.home.learners)

    @property
    def boxes(self) -> dict[str, BoxRead]:
        """Every box that was read, by its id."""
        return {box.id: box for page in self.pages for box in page.boxes.values()}

    @property
    def marked(self) -> frozenset[str]:
        """Boxes that are clearly marked."""
        return frozenset(box.id for box in self.boxes.values() if box.state is State.MARKED)

    @property
    def unsure(self) -> tuple[BoxRead, ...]:
        """Boxes that a person has to look at, in the order of the sheet."""
        return tuple(box for box in self.boxes.values() if box.state is State.UNSURE)


@dataclass(frozen=True, slots=True)
class WaitingSheet:
    """A line of the list of sheets that wait."""

    id: str
    kind: str
    whose: str
    day: date
    pages: int
    unsure: int


@dataclass(frozen=True, slots=True)
class KnownSheet:
    """A line of the list of sheets that were printed."""

    id: str
    kind: str
    whose: str
    day: date
    printed: datetime
    recorded: datetime | None


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a sheet would record."""

    tries: tuple[Try, ...]
    doubts: tuple[str, ...]
    by_hand: tuple[str, ...]
    empty: bool
    """Nothing is marked that could be recorded."""

    @property
    def refused(self) -> tuple[RowRefused, ...]:
        """What cannot be recorded, with its bars."""
        return tuple(one.refused for one in self.tries if one.refused is not None)


# --- taking a picture in ----------------------------------------------------------------------------------


def take_in(household: str, name: str, content: bytes, *, by: str, now: datetime, typed: str = "") -> Taken:
    """Read every sheet of a photograph or scan; what was read waits to be confirmed. Nothing is recorded.

    Args:
        household: whose sheets they are.
        name: the file's name, for sentences.
        content: JPEG, PNG, HEIC or PDF.
        by: who sends it, an educator or a helper.
        now: the present instant.
        typed: the id at the foot of the sheet, where its codes cannot be read.

    Raises:
        InputError: the file is no image, is damaged or too large, or somebody sends it who may not.
    """
    home = load_home(household_row(household))
    somebody = home.person(by)
    if somebody.role not in (Role.EDUCATOR, Role.HELPER):
        raise InputError(
            [Problem(say("photograph"), somebody.name, say("one that an educator or a helper sends"))]
        )
    with _ONE_AT_A_TIME:
        reading = read_file(
            name, content, key=paper_key.key_of(household), known=_Known(home).answer, typed=typed.strip()
        )
    if not reading.pages:
        return Taken(name, (), reading.refusals)
    rows = {row.id: row for row in PaperSheet.objects.filter(id__in={one.sheet.id for one in reading.pages})}
    kept = paper_key.put_picture(content)
    several = bool(reading.refusals) or len(rows) > 1
    replaced: set[str] = set()
    with transaction.atomic():
        for one in reading.pages:
            was = PaperPage.objects.filter(sheet=one.sheet.id, page=one.page).first()
            replaced |= {was.picture} if was is not None else set()
            PaperPage.objects.update_or_create(
                sheet_id=one.sheet.id,
                page=one.page,
                defaults={
                    "boxes": _written(one),
                    "flat": _small(one),
                    "picture": kept,
                    "others": several,
                    "name": one.picture[:200],
                    "typed": one.typed,
                    "taken": now,
                    "by": somebody.id,
                },
            )
    _sweep(replaced - {kept})
    return Taken(
        name, tuple(_taken(home, rows[one.sheet.id], one) for one in reading.pages), reading.refusals
    )


class _Known:
    """Finds the layout of a sheet by its id, or says why it is not read. One for each file."""

    def __init__(self, home: Home) -> None:
        self.home = home
        self.seen: dict[tuple[str, str, date], str] = {}
        """Of each learner's kind of sheet for a day the first one in this file."""

    def answer(self, identity: Identity) -> Sheet | Refused:
        row = PaperSheet.objects.filter(household=self.home.id, id=identity.sheet).first()
        if row is None:
            words = say(
                "This home does not know the sheet: it is older than {days} days, or was printed for another "
                "record. Print the sheets again, or enter the day by hand.",
                days=KEPT_DAYS,
            )
            return Refused(Why.UNKNOWN, words)
        said = say(
            "{sheet} of {learner} for {day}",
            sheet=say(row.kind),
            learner=_whose(self.home, row),
            day=day_words(row.day),
        )
        if row.act and not _is_taken_back(self.home, row.act):
            at = self.home.calendar.at_home(row.recorded or row.printed)
            words = say(
                "The {sheet} is on the record already, since {at:%H:%M} on {day}. Nothing was changed.",
                sheet=said,
                at=at,
                day=day_words(at.date()),
            )
            return Refused(Why.ALREADY_READ, words)
        other = self._other(row)
        if other is not None:
            words = say(
                "Another {sheet} waits to be confirmed, and this is a second print of it. Confirm "
                "that one first, or put it aside.",
                sheet=said,
            )
            return Refused(Why.SECOND, words)
        try:
            return read_sheet(row.layout)
        except ValueError:
            words = say(
                "The {sheet} was printed by an older Markstead; print it again, or enter the day by hand.",
                sheet=said,
            )
            return Refused(Why.OLDER, words)

    def _other(self, row: PaperSheet) -> str | None:
        """Another print of the same learner's sheet that waits, in the home or in this file."""
        if row.kind == Kind.SITTING:  # a learner may have several, one for each workbook
            return None
        first = self.seen.setdefault((row.kind, row.learner, row.day), row.id)
        if first != row.id:
            return first
        waiting = PaperPage.objects.filter(
            sheet__household=self.home.id,
            sheet__kind=row.kind,
            sheet__learner=row.learner,
            sheet__day=row.day,
        )
        found: str | None = waiting.exclude(sheet=row.id).values_list("sheet", flat=True).first()
        return found


def _whose(home: Home, row: PaperSheet) -> str:
    found = home.people.get(row.learner)
    return found.name if found is not None else say("everybody")


def _is_taken_back(home: Home, act: str) -> bool:
    """Whether an act was undone, as a whole as every undoing is."""
    first = EntryRow.objects.filter(household=home.id, act=act).order_by("part").first()
    if first is None:
        return True
    later = EntryRow.objects.filter(
        household=home.id, kind=FactReversed.KIND, copy=first.copy, seq__gt=first.seq
    ).values_list("body", flat=True)
    return any(getattr(read_body(body).fact, "entry", None) == first.seq for body in later)


def _written(one: PageReading) -> str:
    return json.dumps(
        [
            [box.id, box.state, round(box.confidence, 3), box.reason, round(box.x, 2), round(box.y, 2)]
            for box in one.boxes
        ],
        ensure_ascii=False,
        separators=(",", ":"),
    )


def _small(one: PageReading) -> bytes:
    import cv2

    scale = FLAT_PER_MM / (one.flat.shape[1] / one.sheet.paper.width)
    small = cv2.resize(one.flat, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return bytes(cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 80])[1].tobytes())


def _taken(home: Home, row: PaperSheet, one: PageReading) -> TakenPage:
    return TakenPage(
        row.id,
        one.page,
        one.sheet.kind,
        _whose(home, row),
        row.day,
        len(one.boxes),
        sum(box.state is State.MARKED for box in one.boxes),
        len(one.unsure),
    )


def _sweep(names: Iterable[str]) -> None:
    """Remove pictures for which nothing waits any more."""
    for name in names:
        if not PaperPage.objects.filter(picture=name).exists():
            paper_key.remove_picture(name)


# --- what waits -------------------------------------------------------------------------------------------


def waiting(household: str) -> tuple[WaitingSheet, ...]:
    """Sheets that were read and wait to be confirmed, the oldest first."""
    home = load_home(household_row(household))
    rows = PaperSheet.objects.filter(household=household, paperpage__isnull=False).distinct()
    found = []
    for row in rows.order_by("day", "learner", "id"):
        pages = [_page(one) for one in PaperPage.objects.filter(sheet=row)]
        unsure = sum(box.state is State.UNSURE for page in pages for box in page.boxes.values())
        found.append(WaitingSheet(row.id, say(row.kind), _whose(home, row), row.day, len(pages), unsure))
    return tuple(found)


def printed(household: str, *, most: int = 12) -> tuple[KnownSheet, ...]:
    """Sheets that were printed last, the latest first."""
    home = load_home(household_row(household))
    rows = PaperSheet.objects.filter(household=household).order_by("-printed", "learner")[:most]
    return tuple(
        KnownSheet(
            row.id,
            say(row.kind),
            _whose(home, row),
            row.day,
            row.printed,
            row.recorded if row.act and not _is_taken_back(home, row.act) else None,
        )
        for row in rows
    )


def sheet_read(household: str, sheet: str) -> SheetRead:
    """A sheet that waits.

    Raises:
        UnknownError: no picture of such a sheet waits.
    """
    home = load_home(household_row(household))
    row = PaperSheet.objects.filter(household=household, id=sheet).first()
    rows = list(PaperPage.objects.filter(sheet=row).order_by("page")) if row is not None else []
    if row is None or not rows:
        allowed = say("a sheet of which a picture waits to be confirmed")
        raise UnknownError([Problem(say("sheet"), repr(sheet[:40]), allowed, say("Send a picture of it."))])
    layout = read_sheet(row.layout)
    pages = tuple(_page(one) for one in rows)
    there = {one.page for one in pages}
    missing = tuple(one.number for one in layout.pages if one.boxes and one.number not in there)
    return SheetRead(
        home,
        row.id,
        layout,
        row.day,
        row.learner,
        row.printed,
        max(one.taken for one in rows),
        pages,
        missing,
        tuple(_notes(home, row, layout)),
    )


def _page(row: PaperPage) -> PageRead:
    boxes = {
        box: BoxRead(box, State(state), confidence, reason, x, y)
        for box, state, confidence, reason, x, y in json.loads(row.boxes)
    }
    return PageRead(row.page, boxes, row.picture, row.name, row.typed)


def strips(read: SheetRead, wanted: Mapping[str, Sequence[str]], margin: float = 3.0) -> dict[str, bytes]:
    """Cut strips out of the pages that wait, as JPEG.

    Args:
        read: the sheet.
        wanted: for each strip's name the ids of the boxes that it shows, those of one page; a line that was written by
            hand is shown in its whole length.
        margin: millimetres around them; the number above a box belongs to it.
    """
    import cv2
    import numpy as np

    sides = {box.id: box.side for page in read.sheet.pages for box in page.boxes}
    by_hand = {group.id for group in read.sheet.groups if group.asks is Asks.CHANGED}
    lines = {box.id for page in read.sheet.pages for box in page.boxes if box.group in by_hand}
    found = {}
    for row in PaperPage.objects.filter(sheet=read.id):
        page = _page(row)
        flat = cv2.imdecode(np.frombuffer(bytes(row.flat), np.uint8), cv2.IMREAD_GRAYSCALE)
        if flat is None:
            continue
        for name, ids in wanted.items():
            boxes = [page.boxes[one] for one in ids if one in page.boxes]
            if not boxes:
                continue
            half = max(sides[box.id] for box in boxes) / 2
            left, right = min(b.x for b in boxes) - half - margin, max(b.x for b in boxes) + half + margin
            top, bottom = min(b.y for b in boxes) - half - margin - 2, max(b.y for b in boxes) + half + margin
            if lines & set(ids):
                left = 0.0
            rows = slice(max(0, round(top * FLAT_PER_MM)), max(0, round(bottom * FLAT_PER_MM)))
            columns = slice(max(0, round(left * FLAT_PER_MM)), max(0, round(right * FLAT_PER_MM)))
            cut = flat[rows, columns]
            if cut.size:
                found[name] = bytes(cv2.imencode(".jpg", cut, [cv2.IMWRITE_JPEG_QUALITY, 75])[1].tobytes())
    return found


def box_words(read: SheetRead, box: str) -> str:
    """What a mark in a box says: ``Sums, section 2, pages 5 to 9: wrong, question 7``."""
    group = group_of(read, box)
    value = box.removeprefix(f"{group.id}/")
    match group.asks:
        case Asks.WRONG | Asks.STILL_WRONG:
            return say("{box}, question {number}", box=group.words, number=value)
        case Asks.PAGES:
            return say("{box}, page {number}", box=group.words, number=value)
        case Asks.MINUTES | Asks.TENS | Asks.ONES | Asks.ANY_OF:
            return f"{group.words}, {value}"
        case Asks.ONE_OF:
            found = read.home.people.get(value)
            return f"{group.words}, {found.name if found is not None else say(value)}"
    return group.words


def _notes(home: Home, row: PaperSheet, layout: Sheet) -> Iterable[str]:
    """What has changed since a sheet was printed."""
    newer = PaperSheet.objects.filter(
        household=home.id, kind=row.kind, learner=row.learner, day=row.day, printed__gt=row.printed
    )
    if row.kind != Kind.SITTING and newer.exists():
        yield say("A newer sheet was printed for this day: look whether both were filled in.")
    was = json.loads(row.planned) or {}
    now = planned_of_day(home, row.learner, row.day) if row.learner else None
    if row.kind == Kind.DAY and now is not None:
        for course in dict.fromkeys((*was, *now)):
            if was.get(course) != now.get(course):
                title = home.programme.course(course).title if course in home.programme.courses else course
                yield (
                    say(
                        "The plan was changed since this sheet was printed: {title} is now {goal}, on the "
                        "sheet it is {printed}. What was done is recorded as it stands on the sheet.",
                        title=title,
                        goal=_goal(now.get(course)),
                        printed=_goal(was.get(course)),
                    )
                )
    yield from _moved(home, row, layout)


def _goal(kept: Sequence[Any] | None) -> str:
    if kept is None:
        return say("nothing")
    _, first, last, practice, unit = kept
    parts = [say("pages {first} to {last}", first=first, last=last)] if first is not None else []
    parts += [say("the practice test")] if practice else []
    parts += [say("the unit test")] if unit else []
    return ", ".join(parts) or say("nothing")


def _moved(home: Home, row: PaperSheet, layout: Sheet) -> Iterable[str]:
    """What was recorded of the sheet's copies since it was printed: it may be the same work."""
    copies = {group.copy: group for group in layout.groups if group.copy}
    later = (
        EntryRow.objects.filter(household=home.id, copy__in=list(copies), seq__gt=row.head_seq)
        .exclude(kind__in=[GoalSet.KIND])
        .order_by("seq")
    )
    found = [read_body(body) for body in later.values_list("body", flat=True)[: MOST_NOTED + 1]]
    for entry in found[:MOST_NOTED]:
        subject = copies[getattr(entry.fact, "copy", "")].words.split(":")[0].split(",")[0]
        at = home.calendar.at_home(entry.at)
        words = fact_words(entry.fact, home)
        yield say(
            "Recorded since this sheet was printed: {subject}, {words} ({at:%H:%M}). Look "
            "whether it is the same work.",
            subject=subject,
            words=words,
            at=at,
        )
    if len(found) > MOST_NOTED:
        yield say("More was recorded since this sheet was printed: look at the record of the day.")


# --- confirming -------------------------------------------------------------------------------------------


def look(
    household: str, sheet: str, marked: Set[str], *, by: str, now: datetime, begins: time | None = None
) -> Outlook:
    """Tell what a sheet would record with these boxes marked; nothing is written.

    Raises:
        UnknownError: no picture of such a sheet waits.
        InputError: the sheet's day has not come yet.
    """
    read = sheet_read(household, sheet)
    return _outlook(household, read, meaning(read.home, read.sheet, read.day, marked, begins), by=by, now=now)


def _outlook(household: str, read: SheetRead, found: Meaning, *, by: str, now: datetime) -> Outlook:
    tries = tuple(Try(one.where, one.who, refused=one) for one in found.contrary)
    if found.entry.rows or found.entry.presences:
        tries = look_at_day(household, found.entry, by=by, now=now) + tries
    named = tuple(_named(read, one) for one in tries)
    return Outlook(named, found.doubts, found.by_hand, found.empty)


def _named(read: SheetRead, one: Try) -> Try:
    return one if one.name else replace(one, name=read.whose)


def record(
    household: str,
    sheet: str,
    marked: Set[str],
    *,
    by: str,
    now: datetime,
    begins: time | None = None,
    partly: bool = False,
    keep: bool = False,
) -> DayDone:
    """Record a sheet as one act with these boxes marked; every other box counts as empty. It is then read for good.

    Where a part is refused nothing is recorded, unless `partly` says that the rest may be. With `keep` the picture is
    kept as a sample of the learner's work; what was sent is removed.

    Raises:
        UnknownError: no picture of such a sheet waits.
        InputError: nothing is marked, the sheet's day has not come yet, or a picture of several learners shall be kept.
    """
    before = _recorded(household, sheet)
    if before is not None:
        return DayDone(before)
    read = sheet_read(household, sheet)
    found = meaning(read.home, read.sheet, read.day, marked, begins)
    if found.empty:
        allowed = say("at least one marked box that means something")
        raise InputError([Problem(say("sheet"), say("nothing marked"), allowed, say("Put the sheet aside."))])
    if keep:
        _check_of_one(read)
    if found.contrary and not partly:
        return DayDone(None, _outlook(household, read, found, by=by, now=now).refused)
    if not (found.entry.rows or found.entry.presences):
        return DayDone(None, found.contrary)
    row = PaperSheet.objects.get(household=household, id=sheet)
    names = {page.picture for page in read.pages}

    def also(done: Done) -> None:
        PaperSheet.objects.filter(id=row.id).update(act=done.act, recorded=now, times=row.times + 1)
        if keep:
            keep_picture(read, by=by, at=now)
        PaperPage.objects.filter(sheet=row.id).delete()

    slip = Slip(act=f"sheet-{row.id}-{row.times + 1}", now=now)
    done = record_day(household, found.entry, by=by, now=now, slip=slip, partly=partly, also=also)
    if done.done is not None:
        _sweep(names)
    return replace(done, refused=(*done.refused, *found.contrary))


def _recorded(household: str, sheet: str) -> Done | None:
    """What a sheet was recorded as, where it is on the record and no new picture of it waits."""
    row = PaperSheet.objects.filter(household=household, id=sheet).first()
    if row is None or not row.act or PaperPage.objects.filter(sheet=row).exists():
        return None
    bodies = EntryRow.objects.filter(household=household, act=row.act).order_by("part")
    return Done(row.act, tuple(read_body(b) for b in bodies.values_list("body", flat=True)), again=True)


def put_aside(household: str, sheet: str) -> None:
    """Forget what was read of a sheet, and its picture; it can be photographed again."""
    pages = PaperPage.objects.filter(sheet__household=household, sheet=sheet)
    names = set(pages.values_list("picture", flat=True))
    pages.delete()
    _sweep(names)


def _check_of_one(read: SheetRead) -> None:
    if not read.is_of_one:
        found = say("the picture of a {sheet} of {learner}", sheet=say(read.sheet.kind), learner=read.whose)
        allowed = say("that of one learner's sheet, for it becomes a sample of that learner's work")
        raise InputError(
            [Problem(say("picture to keep"), found, allowed, say("Record it without keeping the picture."))]
        )


def keep_picture(read: SheetRead, *, by: str, at: datetime) -> tuple[Kept, ...]:
    """Keep the pictures of a sheet that waits as samples of its learner's work, of the sheet's day.

    Of a picture in which there is more than this sheet its own pages alone are kept, cut out and flattened.

    Raises:
        InputError: it is about several learners; see also `keep_sample`.
    """
    _check_of_one(read)
    contents: dict[str, bytes] = {}
    for row in PaperPage.objects.filter(sheet=read.id).order_by("page"):
        whole = None if row.others else paper_key.picture(row.picture)
        contents[f"page {row.page}" if whole is None else row.picture] = (
            bytes(row.flat) if whole is None else whole
        )
    return tuple(
        keep_sample(
            read.home,
            one,
            learner=read.learner,
            day=read.day,
            by=by,
            at=at,
            words=begun(say(read.sheet.kind)),
        )
        for one in contents.values()
    )


def group_of(read: SheetRead, box: str) -> Group:
    """The question that a box answers.

    Raises:
        KeyError: the sheet has no such box.
    """
    groups = {one.id: one.group for page in read.sheet.pages for one in page.boxes}
    return read.sheet.group(groups[box])
