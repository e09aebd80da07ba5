"""Which requirement profile a home has chosen: a file of the home like its calendar, each choice a new version."""

from datetime import datetime

from django.db import transaction

from markstead.records.desk import household_row
from markstead.records.figures import number
from markstead.records.home import Home, load_home
from markstead.records.house_rules import check_stamp
from markstead.records.models import Document
from markstead.records.past import text_then
from markstead.records.setup import add_document, new_stamp
from markstead.rules.requirements import NONE, Requirements
from markstead.rules.spans import Periods
from markstead.speech import counted, later, say

KIND = "requirements"


def chosen(household: str, before: datetime | None = None) -> Requirements:
    """The profile that a home goes by, or went by before an instant; `NONE` where it has chosen none."""
    if before is None:
        rows = Document.objects.filter(household=household, kind=KIND).order_by("-version")
        text = rows.values_list("text", flat=True).first()
    else:
        text = text_then(household, KIND, before)
    if not text:
        return NONE
    # Reading files needs pydantic; a home without a profile does not load it.
    from markstead.rules.requirements_load import read_requirements

    return read_requirements(text)


def choose(household: str, text: str, *, at: datetime, stamp: str | None = None) -> Home:
    """Take a profile by its file; an empty text chooses none. The versions before it stay.

    Raises:
        InputError: every problem of the file; nothing is written then.
        StaleError: the home was changed since it was looked at.
    """
    from markstead.rules.requirements_load import read_requirements

    if text:
        read_requirements(text)
    with transaction.atomic():
        row = household_row(household, lock=True)
        if stamp is not None:
            check_stamp(row.stamp, stamp)
        if text or Document.objects.filter(household=row, kind=KIND).exists():
            add_document(row, KIND, text, at)
            row.stamp = new_stamp()
            row.save(update_fields=["stamp"])
    return load_home(household_row(household))


def choose_shipped(household: str, profile: str, *, at: datetime, stamp: str | None = None) -> Home:
    """Take a profile that comes with Markstead, by its id; `none` chooses none.

    Raises:
        UnknownError: there is none of this id.
        StaleError: as `choose`.
    """
    from markstead.rules.requirements_load import shipped_text

    return choose(household, "" if profile == NONE.id else shipped_text(profile), at=at, stamp=stamp)


_PERIODS = {
    Periods.YEAR: later("One report a year."),
    Periods.HALVES: later("A report each half of the school year."),
    Periods.THIRDS: later("A report each third of the school year."),
    Periods.QUARTERS: later("A report each quarter of the school year."),
    Periods.TERMS: later("A report each term."),
}


def profile_words(rules: Requirements) -> tuple[str, ...]:
    """What a profile asks, in sentences."""
    said = []
    if rules.days is not None:
        half = number(rules.half_day_counts)
        said.append(
            counted(
                rules.days,
                "{n} day of school a year; a half day counts as {half}.",
                "{n} days of school a year; a half day counts as {half}.",
                half=half,
            )
        )
    for rule in rules.hours:
        if rule.from_year == rule.until_year:
            said.append(say("{hours} hours a year in year {year}.", hours=rule.hours, year=rule.from_year))
        else:
            said.append(
                say(
                    "{hours} hours a year in years {first} to {last}.",
                    hours=rule.hours,
                    first=rule.from_year,
                    last=rule.until_year,
                )
            )
    said.append(say(_PERIODS[rules.periods]))
    if rules.explain_below_percent is not None:
        said.append(
            say(
                "A written explanation where less than {percent} % of what was planned is covered.",
                percent=rules.explain_below_percent,
            )
        )
    return tuple(said)
