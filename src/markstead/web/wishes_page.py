"""Targets and limits: what the home asks of its plan, shown in tables that are filled in, and read back."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal, InvalidOperation

from markstead.errors import MarksteadError
from markstead.plan.wishes import TargetWish, Wishes
from markstead.records import plan_asks as asked
from markstead.records.home import Home, Somebody
from markstead.records.plan_asks import Ask, MinutesADay, PagesADay, TargetBy
from markstead.records.plan_words import met_words, targets_beside
from markstead.records.plans import KeptPlan
from markstead.rules.prices import plain_price
from markstead.speech import say
from markstead.web.whatif_page import Group, books_of

SECTIONS = ("targets", "new-target", "minutes", "pages", "suppliers", "house")


@dataclass(frozen=True, slots=True)
class Cell:
    """One field, with what stands in it and what is wrong with it."""

    name: str
    label: str
    value: str
    wrong: str = ""
    hint: str = ""
    """What holds where it is left empty."""


@dataclass(frozen=True, slots=True)
class TargetLine:
    """One target."""

    who: str
    what: str
    planned: str
    late: bool
    by: Cell
    strike: Cell


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a table: what it is of, and its fields."""

    what: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines of one learner."""

    who: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class WishesPage:
    """Everything that the template may use."""

    targets: tuple[TargetLine, ...]
    books: tuple[Group, ...]
    book: Cell
    book_by: Cell
    minutes: tuple[Line, ...]
    pages: tuple[Lines, ...]
    suppliers: tuple[Line, ...]
    currency: str
    house: tuple[Cell, ...]
    saved: str
    problems: tuple[str, ...]
    """What is wrong with what was sent, where it belongs to no field."""
    wrong: bool
    stamp: str
    """Which version of the home the fields show."""
    known: bool
    """Whether the plan in force was made with all of this; also where there is none."""
    planned: bool


@dataclass(slots=True)
class Typed:
    """What was typed, and what of it cannot be taken."""

    data: Mapping[str, str]
    wrong: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """What stands in a field."""
        return self.data.get(name, "").strip()

    def whole(self, name: str, least: int, most: int, *, needed: bool = True) -> int | None:
        """Read a whole number; None where the field is empty or wrong."""
        text = self.text(name)
        if not text and not needed:
            return None
        if text.isascii() and text.isdecimal() and len(text) <= 9 and least <= int(text) <= most:
            return int(text)
        self.wrong[name] = say(
            "A whole number from {least} to {most} is wanted here.", least=least, most=most
        )
        return None

    def number(self, name: str, least: float, most: float) -> float | None:
        """Read a number with a point or a comma."""
        try:
            found = float(Decimal(self.text(name).replace(",", ".")))
            if least <= found <= most:
                return found
        except (InvalidOperation, ValueError, OverflowError):
            pass
        self.wrong[name] = say("A number from {least:g} to {most:g} is wanted here.", least=least, most=most)
        return None

    def money(self, name: str, *, needed: bool = True) -> int | None:
        """Read an amount in minor units."""
        text = self.text(name).replace(",", ".")
        if not text and not needed:
            return None
        try:
            cents = Decimal(text) * 100
            if cents.is_finite() and 0 <= cents <= 100_000_000 and cents == int(cents):
                return int(cents)
        except (InvalidOperation, ValueError, OverflowError):
            pass
        self.wrong[name] = say("An amount such as 4.50 is wanted here.")
        return None

    def day(self, name: str) -> date | None:
        """Read a day."""
        try:
            if len(self.text(name)) == 10:
                return date.fromisoformat(self.text(name))
        except ValueError:
            pass
        self.wrong[name] = say("A day is wanted here.")
        return None


# --- names of fields ------------------------------------------------------------------------------------------------


def _target_name(home: Home, wish: TargetWish) -> str:
    return f"{home.person(wish.learner).key}/{wish.workbook}"


def _takers(home: Home) -> Iterator[tuple[Somebody, str]]:
    for somebody in home.learners:
        for course in somebody.courses:
            yield somebody, course


def suppliers_of(home: Home) -> tuple[str, ...]:
    """The suppliers of the programme's workbooks."""
    return tuple(sorted({book.supplier for book in home.programme.workbooks.values() if book.supplier}))


# --- reading ------------------------------------------------------------------------------------------------------


def read_section(section: str, home: Home, typed: Typed, today: date) -> list[Ask] | Wishes:
    """Read one section; what is wrong stands in `typed` afterwards, by the name of its field.

    Returns:
        Changes of targets, minutes or pages; or all wishes anew where suppliers or the house are meant.
    """
    match section:
        case "targets":
            return _checked(home, typed, today, _targets(home, typed))
        case "new-target":
            return _checked(home, typed, today, _new_target(home, typed))
        case "minutes":
            return _checked(home, typed, today, _minutes(home, typed))
        case "pages":
            return _checked(home, typed, today, _pages(home, typed))
        case "suppliers":
            return _suppliers(home, typed)
        case _:
            return _house(home, typed)


def _checked(home: Home, typed: Typed, today: date, asks: Iterator[tuple[str, Ask]]) -> list[Ask]:
    """The changes that can be; of the others, why not beside the field that they come from."""
    found = []
    for name, ask in asks:
        try:
            asked.changed(home, [ask], today)
        except MarksteadError as error:
            typed.wrong[name] = str(error)
        else:
            found.append(ask)
    return found


def _targets(home: Home, typed: Typed) -> Iterator[tuple[str, Ask]]:
    for wish in home.wishes.targets:
        own = _target_name(home, wish)
        name = f"by/{own}"
        if name not in typed.data:
            continue
        if typed.text(f"strike/{own}"):
            yield name, TargetBy(wish.learner, wish.course, wish.workbook, None)
            continue
        by = typed.day(name)
        if by is not None and by != wish.by:
            yield name, TargetBy(wish.learner, wish.course, wish.workbook, by)


def _new_target(home: Home, typed: Typed) -> Iterator[tuple[str, Ask]]:
    learner, _, code = typed.text("book").partition("/")
    book = home.programme.workbooks.get(code)
    by = typed.day("book-by")
    if book is None or not any(learner in (p.key, p.id) for p in home.learners):
        typed.wrong["book"] = say("A workbook of the list is wanted here.")
    elif by is not None:
        yield "book-by", TargetBy(learner, book.course, code, by)


def _minutes(home: Home, typed: Typed) -> Iterator[tuple[str, Ask]]:
    for somebody in home.learners:
        names = f"soft/{somebody.key}", f"hard/{somebody.key}"
        soft, hard = (typed.whole(name, asked.FEWEST, asked.MOST_MINUTES) for name in names)
        wish = home.wishes.learner(somebody.id, somebody.year)
        if soft is not None and hard is not None and (soft, hard) != (wish.soft, wish.hard):
            yield names[1], MinutesADay(somebody.id, soft, hard)


def _pages(home: Home, typed: Typed) -> Iterator[tuple[str, Ask]]:
    for somebody, course in _takers(home):
        own = f"{somebody.key}/{course}"
        names = f"comfortable/{own}", f"most/{own}", f"weight/{own}"
        before = len(typed.wrong)
        comfortable = typed.whole(names[0], 1, 99, needed=False)
        most = typed.whole(names[1], 1, 99, needed=False)
        weight = typed.whole(names[2], 1, 3)
        wish = home.wishes.course(somebody.id, course)
        same = (comfortable, most, weight) == (wish.comfortable, wish.most, wish.weight)
        if len(typed.wrong) == before and not same:
            yield names[1], PagesADay(somebody.id, course, comfortable, most, weight)


def _suppliers(home: Home, typed: Typed) -> Wishes:
    wishes = home.wishes
    for n, name in enumerate(suppliers_of(home)):
        days = typed.number(f"days/{n}", 0.5, 200)
        postage, least = typed.money(f"postage/{n}"), typed.money(f"least/{n}")
        free = typed.money(f"free/{n}", needed=False)
        if free == 0 and postage:
            typed.wrong[f"free/{n}"] = say(
                "Above nothing; where postage is always free, write 0 for the postage."
            )
        if days is not None and postage is not None and least is not None:
            wish = wishes.supplier(name)
            wish = replace(wish, days=days, postage=postage, free_from=free, least=least)
            wishes = wishes.with_supplier(wish)
    return wishes


def _house(home: Home, typed: Typed) -> Wishes:
    illness, service = typed.number("illness", 0, 50), typed.number("service", 50, 99.9)
    announced = typed.whole("announced", 0, 20)
    practice, unit = typed.whole("practice", 0, 900), typed.whole("unit", 0, 900)
    reserve = typed.whole("reserve", 0, 60)
    if illness is None or service is None or announced is None or reserve is None:
        return home.wishes
    if practice is None or unit is None:
        return home.wishes
    return replace(
        home.wishes,
        illness=round(illness / 100, 6),
        service=round(service / 100, 6),
        announced_days=announced,
        reserve_days=reserve,
        practice_minutes=practice,
        unit_minutes=unit,
    )


# --- showing ------------------------------------------------------------------------------------------------------


def wishes_view(
    home: Home,
    plan: KeptPlan | None,
    *,
    known: bool,
    saved: str = "",
    typed: Typed | None = None,
    problems: Sequence[str] = (),
) -> WishesPage:
    """The page, with what was typed where it could not be taken."""
    make = _Cells(typed)
    return WishesPage(
        targets=_target_lines(home, plan, make),
        books=books_of(home),
        book=make.cell("book", say("Workbook"), ""),
        book_by=make.cell("book-by", say("Unit test done by"), ""),
        minutes=tuple(_minutes_line(home, somebody, make) for somebody in home.learners),
        pages=tuple(
            _pages_lines(home, plan, somebody, make) for somebody in home.learners if somebody.courses
        ),
        suppliers=tuple(_supplier_line(home, n, name, make) for n, name in enumerate(suppliers_of(home))),
        currency=home.programme.currency,
        house=_house_cells(home.wishes, make),
        saved=saved if saved in SECTIONS else "",
        problems=tuple(problems),
        wrong=typed is not None and bool(typed.wrong),
        stamp=home.stamp,
        known=known,
        planned=plan is not None,
    )


@dataclass(frozen=True, slots=True)
class _Cells:
    """Makes fields that hold what was typed, or else what is kept."""

    typed: Typed | None

    def cell(self, name: str, label: str, kept: object, hint: str = "") -> Cell:
        value = "" if kept is None else str(kept)
        if self.typed is None or name not in self.typed.data:
            return Cell(name, label, value, hint=hint)
        return Cell(name, label, self.typed.data[name][:60], self.typed.wrong.get(name, ""), hint)


def _target_lines(home: Home, plan: KeptPlan | None, make: _Cells) -> tuple[TargetLine, ...]:
    rows = targets_beside(home, plan, None) if plan is not None else ()
    met = {(row.learner, row.course, row.workbook): row.after for row in rows}
    lines = []
    for wish in sorted(home.wishes.targets, key=lambda wish: (wish.by, wish.learner, wish.workbook)):
        own = _target_name(home, wish)
        who = f"{home.person(wish.learner).name}, {home.programme.course(wish.course).title}"
        title = home.programme.workbook(wish.workbook).title
        key = (wish.learner, wish.course, wish.workbook)
        found = met.get(key)
        planned = met_words(found, last=plan.problem.days[-1]) if plan is not None and found else ""
        struck = make.cell(
            f"strike/{own}", say("Strike the target of {who}: {title}", who=who, title=title), ""
        )
        by = make.cell(f"by/{own}", say("{who}: {title} by", who=who, title=title), wish.by.isoformat())
        late = found is not None and found.late > 0
        lines.append(TargetLine(who, title, planned or say("done, or not planned yet"), late, by, struck))
    return tuple(lines)


def _minutes_line(home: Home, somebody: Somebody, make: _Cells) -> Line:
    wish = home.wishes.learner(somebody.id, somebody.year)
    name = somebody.name
    return Line(
        name,
        (
            make.cell(f"soft/{somebody.key}", say("{learner}, comfortable minutes", learner=name), wish.soft),
            make.cell(f"hard/{somebody.key}", say("{learner}, most minutes", learner=name), wish.hard),
        ),
    )


def _pages_lines(home: Home, plan: KeptPlan | None, somebody: Somebody, make: _Cells) -> Lines:
    return Lines(
        somebody.name, tuple(_pages_line(home, plan, somebody, course, make) for course in somebody.courses)
    )


def _pages_line(home: Home, plan: KeptPlan | None, somebody: Somebody, course: str, make: _Cells) -> Line:
    wish = home.wishes.course(somebody.id, course)
    title = home.programme.course(course).title
    own, who = f"{somebody.key}/{course}", f"{somebody.name}, {title}"
    usual = "", ""
    streams = plan.problem.streams if plan is not None else ()
    stream = next((s for s in streams if (s.learner, s.course) == (somebody.id, course)), None)
    if stream is not None:
        # The plan in force says what is worked out only where nothing was wished for.
        usual = (
            say("now {n}", n=stream.comfortable) if wish.comfortable is None else "",
            say("now {n}", n=stream.most) if wish.most is None else "",
        )
    return Line(
        title,
        (
            make.cell(
                f"comfortable/{own}", say("{who}, comfortable pages", who=who), wish.comfortable, usual[0]
            ),
            make.cell(f"most/{own}", say("{who}, most pages", who=who), wish.most, usual[1]),
            make.cell(f"weight/{own}", say("{who}, weight from 1 to 3", who=who), wish.weight),
        ),
    )


def _money(cents: int | None) -> str:
    return "" if cents is None else plain_price(cents)


def _supplier_line(home: Home, n: int, name: str, make: _Cells) -> Line:
    wish = home.wishes.supplier(name)
    return Line(
        name,
        (
            make.cell(f"days/{n}", say("{supplier}, days of a parcel", supplier=name), f"{wish.days:g}"),
            make.cell(f"postage/{n}", say("{supplier}, postage", supplier=name), _money(wish.postage)),
            make.cell(f"free/{n}", say("{supplier}, no postage from", supplier=name), _money(wish.free_from)),
            make.cell(f"least/{n}", say("{supplier}, least order", supplier=name), _money(wish.least)),
        ),
    )


def _house_cells(wishes: Wishes, make: _Cells) -> tuple[Cell, ...]:
    return (
        make.cell("illness", say("School days ill, of a hundred"), f"{100 * wishes.illness:g}"),
        make.cell(
            "service", say("Workbooks in the house in time, of a hundred"), f"{100 * wishes.service:g}"
        ),
        make.cell("announced", say("School days whose goals are announced"), wishes.announced_days),
        make.cell("reserve", say("School days in reserve before each target"), wishes.reserve_days),
        make.cell("practice", say("Minutes of a practice test"), wishes.practice_minutes),
        make.cell("unit", say("Minutes of a unit test"), wishes.unit_minutes),
    )
