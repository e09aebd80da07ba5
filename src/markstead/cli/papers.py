"""Commands of papers that leave the house: report, dispatch, attendance, transcript, samples, requirements."""

import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from markstead.cli import files, typed
from markstead.cli.house import House, open_house
from markstead.cli.options import BY, CLOCK, JSON, PAPER, Asked, command
from markstead.errors import InputError, Problem
from markstead.speech import later, or_words, say

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.records.attendance_words import AttendanceView
    from markstead.records.report_words import ReportView
    from markstead.rules.spans import Span

OUT = Annotated[
    Path | None, typer.Option("--out", metavar="FILE", help="Write the paper into this file: a .pdf.")
]
FORCE = Annotated[bool, typer.Option("--force", help="Write over a file that is there.")]
AS_OF = Annotated[
    str | None,
    typer.Option(
        "--as-of", metavar="DAY", help="By the record as it stood at the end of this day. Default: today."
    ),
]
FROM = Annotated[str | None, typer.Option("--from", metavar="DAY", help="The first day that is told.")]
UNTIL = Annotated[str | None, typer.Option("--until", metavar="DAY", help="The last day that is told.")]
LEARNER = Annotated[str, typer.Argument(metavar="LEARNER", help="The learner, by key.")]


def check_out(
    out: Path | None, paper: str | None, *, force: bool, endings: tuple[str, ...] = (".pdf",)
) -> None:
    """Whether a paper can be written as it is asked for, before anything is reckoned.

    Raises:
        InputError: what is asked does not go together, or the file is there already.
    """
    if out is None:
        for option, given in (("--paper", paper is not None), ("--force", force)):
            if given:
                raise InputError(
                    [Problem(option, say("given without --out"), say("nothing, where no paper is written"))]
                )
        return
    if out.suffix.lower() not in endings:
        raise InputError(
            [
                Problem(
                    "--out",
                    repr(out.name),
                    say("a file whose name ends in {endings}", endings=or_words(endings)),
                )
            ]
        )
    if paper is not None and out.suffix.lower() != ".pdf":
        raise InputError([Problem("--paper", repr(paper), say("nothing, where the paper is no PDF"))])
    files.check_free("--out", out, force=force)


def _paper(house: House, paper: str | None) -> str:
    from markstead.records.typeset import check_paper, usual_paper

    return check_paper(paper or usual_paper(house.home))


def _today(house: House) -> date:
    return house.home.calendar.day_of(house.now)


def _as_of(house: House, text: str | None) -> date:
    today = _today(house)
    if text is None:
        return today
    day = typed.day(text, "--as-of")
    if day > today:
        raise InputError(
            [Problem("--as-of", str(day), say("a day up to {today}, which is today", today=today))]
        )
    return day


def _span(house: House, first: str | None, until: str | None, as_of: date) -> "Span":
    from markstead.records.term_reports import span_for

    days = [typed.day(text, name) if text else None for text, name in ((first, "--from"), (until, "--until"))]
    return span_for(house.home, as_of, *days)


def _finish(
    out: Path | None, written: str, values: dict[str, Any], make: Callable[[], bytes], *, as_json: bool
) -> bool:
    """Write the file and the JSON that are asked for; whether nothing is left to print.

    `written` tells of the `{file}`, as it is said `later`.
    """
    from markstead.cli import render

    if out is not None:
        files.write("--out", out, make())
    if as_json:
        print(render.text(values))
    elif out is not None:
        print(say(written, file=out))
    return as_json or out is not None


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    _add_reports(app)
    _add_dispatch(app)
    _add_attendance(app)
    _add_samples(app)


def _tell_head(view: "ReportView | AttendanceView") -> None:
    """Print whose paper it is, of which days, and its figures."""
    print(
        say(
            "{title}: {learner}, {span}; the record as of {as_of}",
            title=view.title,
            learner=view.learner,
            span=view.span,
            as_of=view.as_of,
        )
    )
    for figure in view.figures:
        print(f"  {figure.name}: {figure.value}{f' ({figure.note})' if figure.note else ''}")


def _add_reports(app: typer.Typer) -> None:
    @command(app, "report", CLOCK)
    def report(
        asked: Asked,
        *,
        learner: LEARNER,
        first: FROM = None,
        until: UNTIL = None,
        as_of: AS_OF = None,
        out: OUT = None,
        paper: PAPER = None,
        force: FORCE = False,
        as_json: JSON = False,
    ) -> None:
        """Tell what a learner worked, passed and was taught over some days: the term report. Default: the present term."""
        check_out(out, paper, force=force)
        house = open_house(asked)
        from markstead.records import report_words, term_reports

        day = _as_of(house, as_of)
        found = term_reports.term_report(house.home, learner, _span(house, first, until, day), as_of=day)
        view = report_words.report_view(found)

        def make() -> bytes:
            return report_words.as_pdf(view, day=day, paper=_paper(house, paper))

        if _finish(
            out, later("The report stands in {file}."), report_words.as_values(found), make, as_json=as_json
        ):
            return
        _tell_head(view)
        for course in view.courses:
            print(f"{course.title}: {course.summary}")
            print(f"  {course.covered}")
            for line in (course.pace, course.explain, course.narrative):
                if line:
                    print(f"  {line}")
        for line in (*view.missing, view.planned_note, view.law):
            if line:
                print(line)

    @command(app, "transcript", CLOCK)
    def transcript(
        asked: Asked,
        *,
        learner: LEARNER,
        as_of: AS_OF = None,
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="FILE", help="Write the transcript into this file: a .pdf or a .csv."
            ),
        ] = None,
        paper: PAPER = None,
        force: FORCE = False,
        as_json: JSON = False,
    ) -> None:
        """Tell a learner's passed workbooks, credits, results and mean, by the programme's rule."""
        check_out(out, paper, force=force, endings=(".pdf", ".csv"))
        house = open_house(asked)
        from markstead.records import transcripts

        day = _as_of(house, as_of)
        found = transcripts.transcript(house.home, learner, as_of=day)
        view = transcripts.transcript_view(found)

        def make() -> bytes:
            if out is not None and out.suffix.lower() == ".csv":
                return transcripts.as_csv(found)
            return transcripts.as_pdf(view, day=day, paper=_paper(house, paper))

        if _finish(
            out,
            later("The transcript stands in {file}."),
            transcripts.as_values(found),
            make,
            as_json=as_json,
        ):
            return
        earned = [say("{credits} credits", credits=view.credits)] if view.has_credits else []
        told = ", ".join(
            [
                say("{workbooks} passed", workbooks=view.books),
                *earned,
                say("mean {mean}", mean=view.mean) if view.mean else say("mean none yet"),
            ]
        )
        print(f"{view.title}: {view.learner}; {told} {view.grade}".rstrip())
        for course in view.courses:
            parts = [
                say("{workbooks} passed", workbooks=course.done),
                say("{credits} credits", credits=course.credits) if course.credits else "",
                course.percent,
                course.grade,
            ]
            print(f"  {course.title}: {', '.join(part for part in parts if part)}")
        for line in (*view.rules, view.law):
            print(line)


def _add_dispatch(app: typer.Typer) -> None:
    @command(app, "dispatch", CLOCK)
    def dispatch(
        asked: Asked,
        *,
        month: Annotated[
            str | None,
            typer.Option(
                "--month",
                metavar="MONTH",
                help="Which month's dispatch: 2026-01. Default: the latest that is due.",
            ),
        ] = None,
        out: OUT = None,
        paper: PAPER = None,
        force: FORCE = False,
        as_json: JSON = False,
    ) -> None:
        """Tell which test papers go to the school, what is missing and why, and what went before.

        `act send` records that papers went.
        """
        check_out(out, paper, force=force)
        wanted = typed.day(f"{month}-01", "--month") if month else None
        house = open_house(asked)
        from markstead.records import dispatch_words, dispatches

        today = _today(house)
        found = dispatches.pack(house.home, wanted or dispatches.month_of(house.home, today), today)
        view = dispatch_words.dispatch_view(found)

        def make() -> bytes:
            return dispatch_words.as_pdf(view, day=today, paper=_paper(house, paper))

        if _finish(
            out,
            later("The cover sheet stands in {file}."),
            dispatch_words.as_values(found),
            make,
            as_json=as_json,
        ):
            return
        print(f"{view.title}, {view.month_name}. {view.headline} {view.why_day}".rstrip())
        for who in view.learners if view.going else ():
            print(who.name)
            for row in who.papers:
                note = f" ({row.note})" if row.note else ""
                print(
                    "  "
                    + say(
                        "{copy}: {title}, sat {day}, {result}, {verdict}{note}",
                        copy=row.label,
                        title=row.title,
                        day=row.sat,
                        result=row.result,
                        verdict=row.verdict,
                        note=note,
                    )
                )
        for held in view.missing:
            print(
                say(
                    "Missing: {learner}, {title}: {why}", learner=held.learner, title=held.title, why=held.why
                )
            )
        for line in (view.newer_note, view.nothing_from):
            if line:
                print(line)
        for name, rows in (
            (say("Gone"), view.sent),
            (say("Before, {month}", month=view.before_name), view.before),
        ):
            for sent in rows:
                tracking = f", {sent.tracking}" if sent.tracking else ""
                print(f"{name}: {sent.day}, {sent.papers} ({sent.learners}){tracking}")


def _add_attendance(app: typer.Typer) -> None:
    @command(app, "attendance", CLOCK)
    def attendance(
        asked: Asked,
        *,
        learner: LEARNER,
        within: Annotated[
            str | None,
            typer.Option(
                "--in", metavar="DAY", help="The school year that holds this day. Default: the present one."
            ),
        ] = None,
        as_of: AS_OF = None,
        out: OUT = None,
        paper: PAPER = None,
        force: FORCE = False,
        as_json: JSON = False,
    ) -> None:
        """Tell a learner's days and hours of a school year, against the chosen profile.

        `act attendance` mends a day.
        """
        check_out(out, paper, force=force)
        inside = typed.day(within, "--in") if within else None
        house = open_house(asked)
        from markstead.records import attendance as years
        from markstead.records import attendance_words

        day = _as_of(house, as_of)
        found = years.attendance_year(house.home, learner, inside or day, as_of=day)
        view = attendance_words.attendance_view(found)

        def make() -> bytes:
            return attendance_words.as_pdf(view, day=day, paper=_paper(house, paper))

        if _finish(
            out,
            later("The register stands in {file}."),
            attendance_words.as_values(found),
            make,
            as_json=as_json,
        ):
            return
        _tell_head(view)
        for row in view.periods:
            if row.begun:
                print(
                    "  "
                    + say(
                        "{name}, {span}: {days} days, {hours}",
                        name=row.name,
                        span=row.span,
                        days=row.days,
                        hours=row.hours,
                    )
                )
        for line in view.asked:
            print(
                "  "
                + say(
                    "{name}: {there} of {asked}. {verdict}",
                    name=line.name,
                    there=line.there,
                    asked=line.asked,
                    verdict=line.verdict,
                )
            )
        for text in (
            say("Profile: {profile}. Source: {source}", profile=view.profile, source=view.source),
            *view.notes,
            view.law,
        ):
            print(text)

    @command(app, "requirements", CLOCK)
    def requirements(
        asked: Asked,
        *,
        take: Annotated[
            str | None,
            typer.Option(
                "--take", metavar="ID", help="Go by this profile of those that are listed, or by none."
            ),
        ] = None,
        take_file: Annotated[
            Path | None,
            typer.Option("--take-file", metavar="FILE", help="Go by a profile of your own, a .toml file."),
        ] = None,
        as_json: JSON = False,
    ) -> None:
        """List the requirement profiles, and choose what the papers of this home are held against."""
        if take is not None and take_file is not None:
            raise InputError([Problem(say("--take and --take-file"), say("both"), say("one of the two"))])
        house = open_house(asked)
        from markstead.cli import render
        from markstead.records import required
        from markstead.rules.requirements import LOCAL_LAW, NONE
        from markstead.rules.requirements_load import shipped

        if take is not None:
            required.choose_shipped(house.household, take, at=house.now)
        if take_file is not None:
            required.choose(house.household, _profile_text(take_file), at=house.now)
        now = required.chosen(house.household)
        known = [NONE, *shipped()]
        if now not in known:
            known.append(now)
        if as_json:
            print(
                render.text(
                    {
                        "chosen": now.id,
                        "profiles": [
                            {"id": p.id, "title": say(p.title), "source": say(p.source)} for p in known
                        ],
                    }
                )
            )
            return
        for profile in known:
            print(f"{'* ' if profile == now else '  '}{profile.id}: {say(profile.title)}")
            for line in required.profile_words(profile) if profile != NONE else ():
                print(f"      {line}")
        print(say(LOCAL_LAW))


def _profile_text(file: Path) -> str:
    try:
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise InputError(
            [Problem("--take-file", say("no file {file}", file=file), say("a file that is there"))]
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(
            [Problem("--take-file", say("a file in another encoding"), say("text in UTF-8"))]
        ) from error
    except OSError as error:
        raise InputError(
            [Problem("--take-file", f"{file} ({error.strerror})", say("a file that can be read"))]
        ) from error
    if not text.strip():
        raise InputError([Problem("--take-file", say("an empty file"), say("the file of a profile"))])
    return text


def _add_samples(app: typer.Typer) -> None:
    @command(app, "samples", CLOCK, {"by": BY})
    def samples(
        asked: Asked,
        *,
        learner: LEARNER,
        keep: Annotated[
            list[Path] | None,
            typer.Option(
                "--keep", metavar="FILE", help="Keep this photograph or scan; may be given several times."
            ),
        ] = None,
        day: Annotated[
            str | None,
            typer.Option("--day", metavar="DAY", help="With --keep: the day it is from. Default: today."),
        ] = None,
        copy: Annotated[
            str | None, typer.Option("--copy", metavar="COPY", help="With --keep: the copy that it shows.")
        ] = None,
        words: Annotated[
            str, typer.Option("--words", metavar="WORDS", help="With --keep: a line about it.")
        ] = "",
        take_away: Annotated[
            str | None, typer.Option("--take-away", metavar="ID", help="Delete a sample for good.")
        ] = None,
        first: FROM = None,
        until: UNTIL = None,
        out: Annotated[
            Path | None,
            typer.Option(
                "--out", metavar="FILE", help="Write the portfolio of these days into this file: a .pdf."
            ),
        ] = None,
        paper: PAPER = None,
        force: FORCE = False,
        as_json: JSON = False,
    ) -> None:
        """List a learner's samples of work, keep another one, or write a portfolio. Default: the present school year."""
        check_out(out, paper, force=force)
        when = typed.day(day, "--day") if day else None
        house = open_house(asked)
        from markstead.records import portfolio, queries
        from markstead.records import samples as kept
        from markstead.rules.spans import school_year

        today = _today(house)
        who = house.home.learner(learner)
        for file in keep or ():
            one = kept.keep_sample(
                house.home,
                _picture(file),
                learner=who.id,
                day=when or today,
                by=house.actor(asked).id,
                at=house.now,
                copy=queries.find_copy(house.household, copy) if copy else None,
                words=words,
            )
            print(say("Kept {file} as {sample}.", file=file, sample=one.id), file=sys.stderr)
        if take_away is not None:
            kept.take_away(house.home, take_away)
            print(say("Taken away: {sample}.", sample=take_away), file=sys.stderr)
        span = school_year(house.home.calendar, today)
        if first or until:
            span = _span(house, first, until, today)
        view = portfolio.portfolio_view(house.home, who, span)
        values = {
            "learner": who.key,
            "first": span.first.isoformat(),
            "last": span.last.isoformat(),
            "samples": [
                {
                    "id": s.id,
                    "learner": who.key,
                    "copy": s.copy,
                    "fact": s.entry,
                    "day": s.day.isoformat(),
                    "sha256": s.digest,
                    "type": s.kind,
                    "bytes": s.size,
                    "pages": s.pages,
                    "words": s.words,
                }
                for s in kept.samples_of(house.home, learner=who.id, first=span.first, last=span.last)
            ],
        }

        def make() -> bytes:
            made = min(today, span.last)
            return portfolio.as_pdf(house.home, who, span, day=made, paper=_paper(house, paper))

        if _finish(out, later("The portfolio stands in {file}."), values, make, as_json=as_json):
            return
        print(f"{view.learner}: {view.count}, {view.span}")
        for line in view.samples:
            what = ", ".join(part for part in (line.course, line.workbook, line.words) if part)
            print(f"  {line.id}: {line.day}{f', {what}' if what else ''} ({line.kind}, {line.size})")


def _picture(file: Path) -> bytes:
    from markstead.records.samples import MOST_BYTES

    try:
        with file.open("rb") as opened:
            return opened.read(MOST_BYTES + 1)
    except FileNotFoundError as error:
        raise InputError(
            [Problem("--keep", say("no file {file}", file=file), say("a file that is there"))]
        ) from error
    except OSError as error:
        raise InputError(
            [Problem("--keep", f"{file} ({error.strerror})", say("a file that can be read"))]
        ) from error
