"""The third step of the set-up: where and when school is held."""

from dataclasses import dataclass
from datetime import date, time

from markstead.calendar import SchoolCalendar, Term, places
from markstead.errors import InputError
from markstead.speech import and_words, begun, counted, date_words, say
from markstead.web.calendar_page import WEEKDAYS, weekday_words
from markstead.web.first_fields import Choice, Field, Tick, Typed

MOST_TERMS = 12
NOON = time(12, 0)


@dataclass(frozen=True, slots=True)
class TermRow:
    """One line of the table of terms."""

    name: Field
    first: Field
    last: Field


@dataclass(frozen=True, slots=True)
class SchoolFields:
    """Everything that the template may use."""

    country: Field
    region: Field | None
    """None: the country has no parts with holidays of their own, or none is chosen yet."""
    zone: Field | None
    """None: the country has one zone only, or none is chosen yet."""
    terms: tuple[TermRow, ...]
    weekdays: tuple[Tick, ...]
    weekdays_wrong: str
    halves: tuple[Tick, ...]
    halves_wrong: str
    half_day_ends: Field
    holidays: Tick


def chosen_weekdays(typed: Typed, name: str, otherwise: tuple[int, ...]) -> tuple[int, ...]:
    """The days that are ticked."""
    if not typed.saved:
        return otherwise
    return tuple(n for n, _ in enumerate(WEEKDAYS) if str(n) in typed.all(name))


def read_school(typed: Typed) -> SchoolCalendar | None:
    """Read the third step into a calendar."""
    country = typed.text("country")
    if country not in {place.code for place in places.countries()}:
        typed.fail("country", say("A country is wanted here: its public holidays are kept."))
    region = typed.text("region") or None
    parts = {place.code for place in places.regions(country)}
    if region not in parts:
        region = None  # another country was chosen since
    if parts and region is None and typed.text("parts-of") != country:
        typed.fail(
            "region",
            say(
                "This country has parts with public holidays of their own: choose yours, or leave it as it is, and go on."
            ),
        )
    zone = _zone(typed, country)
    days = chosen_weekdays(typed, "weekday", ())
    if not days:
        typed.fail("weekday", say("At least one day with school is wanted here."))
    halves = chosen_weekdays(typed, "half", ())
    stray = [weekday_words(n) for n in halves if n not in days]
    if stray:
        typed.fail(
            "half",
            say("{days} is no day with school. Tick it above, or not here.", days=begun(and_words(stray))),
        )
    ends = typed.clock("half-day-ends", NOON)
    terms = _terms(typed)
    if typed.wrong:
        return None
    return SchoolCalendar(
        zone,
        country,
        region,
        terms,
        frozenset(days),
        half_weekdays=frozenset(halves),
        public_holidays_off="yes" in typed.all("holidays"),
        half_day_ends=ends,
    )


def _zone(typed: Typed, country: str) -> str:
    known = places.zones(country)
    zone = typed.text("zone")
    if zone in known:
        return zone
    if len(known) == 1:
        return known[0]
    if known:
        typed.fail("zone", say("The kitchen clock of your home is wanted here: choose its time zone."))
    return "UTC"


def _terms(typed: Typed) -> tuple[Term, ...]:
    found: list[tuple[int, Term]] = []
    for n in range(MOST_TERMS):
        names = [f"{part}-{n}" for part in ("term", "first", "last")]
        if not any(typed.text(name) for name in names):
            continue
        name = typed.text(names[0]) or say("term {n}", n=n + 1)
        first, last = typed.day(names[1]), typed.day(names[2])
        if first is None or last is None:
            continue
        if last < first:
            typed.fail(
                names[2],
                say("A day from {first} on is wanted here, the first day of this term.", first=first),
            )
        elif (last - first).days > 800:
            typed.fail(names[2], say("A term of at most two years is wanted here."))
        else:
            found.append((n, Term(name, first, last)))
    if not found and not typed.wrong:
        typed.fail("first-0", say("At least one term, or the whole school year as one span, is wanted here."))
    _apart(typed, found)
    return tuple(term for _, term in sorted(found, key=lambda one: one[1].first))


def _apart(typed: Typed, found: list[tuple[int, Term]]) -> None:
    latest: Term | None = None
    for n, term in sorted(found, key=lambda one: one[1].first):
        if latest is not None and term.first <= latest.last:
            typed.fail(
                f"first-{n}",
                say(
                    "A day after {last} is wanted here, the last day of {term}.",
                    last=latest.last,
                    term=latest.name,
                ),
            )
        if latest is None or term.last > latest.last:
            latest = term


def school_fields(typed: Typed, *, more: bool = False) -> SchoolFields:
    """The fields of the third step, as they were typed; where nothing was, what most homes choose."""
    wrong = typed.wrong
    country = typed.text("country")
    countries = (
        Choice("", say("Choose…")),
        *(Choice(place.code, place.name) for place in places.countries()),
    )
    parts, clocks = places.regions(country), places.zones(country)
    region = zone = None
    if parts:
        whole = Choice("", say("Only what the whole country keeps"))
        choices = (whole, *(Choice(place.code, place.name) for place in parts))
        region = Field(
            "region",
            say("Part of the country"),
            typed.text("region"),
            "list",
            wrong.get("region", ""),
            choices=choices,
        )
    if len(clocks) > 1:
        choices = (Choice("", say("Choose…")), *(Choice(clock, _clock_words(clock)) for clock in clocks))
        zone = Field(
            "zone", say("Time zone"), typed.text("zone"), "list", wrong.get("zone", ""), choices=choices
        )
    taught = chosen_weekdays(typed, "weekday", tuple(range(5)))
    halves = chosen_weekdays(typed, "half", ())
    return SchoolFields(
        Field("country", say("Country"), country, "list", wrong.get("country", ""), choices=countries),
        region,
        zone,
        _term_rows(typed, more=more),
        tuple(Tick("weekday", str(n), weekday_words(n), n in taught) for n in range(len(WEEKDAYS))),
        wrong.get("weekday", ""),
        tuple(Tick("half", str(n), weekday_words(n), n in halves) for n in range(len(WEEKDAYS))),
        wrong.get("half", ""),
        Field(
            "half-day-ends",
            say("A half day ends at"),
            typed.text("half-day-ends") or f"{NOON:%H:%M}",
            "time",
            wrong.get("half-day-ends", ""),
        ),
        Tick(
            "holidays",
            "yes",
            say("No school on public holidays"),
            on="yes" in typed.all("holidays") if typed.saved else True,
        ),
    )


def _clock_words(zone: str) -> str:
    return zone.split("/", 1)[-1].replace("_", " ").replace("/", ", ")


def _term_rows(typed: Typed, *, more: bool) -> tuple[TermRow, ...]:
    count = max(
        typed.rows("first", least=3, most=MOST_TERMS, more=more),
        typed.rows("term", least=3, most=MOST_TERMS),
    )

    def one(n: int, part: str, label: str, type_: str) -> Field:
        name = f"{part}-{n}"
        return Field(name, label, typed.text(name), type_, typed.wrong.get(name, ""))

    return tuple(
        TermRow(
            one(n, "term", say("Name of term {n}", n=n + 1), "text"),
            one(n, "first", say("First day of term {n}", n=n + 1), "date"),
            one(n, "last", say("Last day of term {n}", n=n + 1), "date"),
        )
        for n in range(count)
    )


def school_words(calendar: SchoolCalendar, today: date) -> tuple[str, ...]:
    """What the calendar comes to, in sentences."""
    first, last = min(t.first for t in calendar.terms), max(t.last for t in calendar.terms)
    try:
        days = calendar.school_days(first, last)
    except InputError:
        days = []
    ahead = [day for day in days if day >= today]
    said = [
        counted(
            len(calendar.terms),
            "{days} school days in {n} span, from {first} to {last}; {ahead} of them still ahead.",
            "{days} school days in {n} terms, from {first} to {last}; {ahead} of them still ahead.",
            days=len(days),
            first=date_words(first),
            last=date_words(last),
            ahead=len(ahead),
        )
    ]
    if not ahead:
        said.append(say("No school day is ahead: goals can be planned once a later term is entered."))
    half = [weekday_words(n) for n in sorted(calendar.half_weekdays)]
    if half:
        said.append(
            say("Half days: {days}, until {ends:%H:%M}.", days=", ".join(half), ends=calendar.half_day_ends)
        )
    return tuple(said)
