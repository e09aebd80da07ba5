"""Papers that leave the house: reports, the dispatch, attendance, transcripts, samples and portfolios. For educators."""

from collections.abc import Callable, Hashable
from datetime import date
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem, UnknownError
from markstead.ledger.facts import FactReversed, Presence
from markstead.records import (
    actions,
    attendance,
    attendance_words,
    dispatch_words,
    dispatches,
    portfolio,
    queries,
    report_words,
    samples,
    term_reports,
    transcripts,
)
from markstead.records.desk import Slip
from markstead.records.home import Somebody
from markstead.records.past import past_of
from markstead.records.typeset import PDF, check_paper, usual_paper
from markstead.records.words import fact_words
from markstead.rules.spans import Span, school_year
from markstead.speech import day_short, say
from markstead.web import forms
from markstead.web.kept import kept_page
from markstead.web.pages import Said, new_token
from markstead.web.papers_page import days_of, papers_page, span_choices, value_of
from markstead.web.seat import Seat
from markstead.web.views.acts import recorded, said_of
from markstead.web.views.doors import taught


def _today(seat: Seat) -> date:
    return seat.home.calendar.day_of(seat.now)


def _shown(
    request: HttpRequest, seat: Seat, template: str, page: object, said: Said | None = None, **more: Any
) -> HttpResponse:
    context = {
        "page": page,
        "said": said,
        "person": seat.person,
        "home": seat.home,
        "here": "papers",
        "paper": usual_paper(seat.home),
        "token": new_token(),
        "today": _today(seat).isoformat(),
        **more,
    }
    return render(request, template, context, status=409 if said and said.tone != "done" else 200)


def _learner(seat: Seat, key: str) -> Somebody:
    try:
        return past_of(seat.home, _today(seat)).learner(key)
    except MarksteadError as error:
        raise Http404 from error


def _file(content: bytes, name: str, kind: str = PDF, how: str = "inline") -> HttpResponse:
    answer = HttpResponse(content, content_type=kind)
    answer["Content-Disposition"] = f'{how}; filename="{name}"'
    answer["Cache-Control"] = "private, no-store"
    return answer


def _paper(request: HttpRequest, seat: Seat) -> str:
    return check_paper(request.GET.get("paper") or usual_paper(seat.home))


def _or_said(request: HttpRequest, seat: Seat, make: Callable[[], HttpResponse]) -> HttpResponse:
    """What `make` gives; where something cannot be made of what was asked, the page of all papers says why."""
    try:
        return make()
    except MarksteadError as error:
        return _all(request, seat, said_of(error, request.GET))


def _act_said(request: HttpRequest, seat: Seat, back: str) -> Said | None:
    """What the act named in the address wrote, or that it is taken back."""
    act = request.GET.get("act", "")[:40]
    entries = queries.act_entries(seat.household, act) if act else ()
    if not entries:
        return None
    if queries.act_exists(seat.household, f"undo-{act}"[:40]):
        return Said("done", say("Taken back; both stay on the record"))
    told = recorded(actions.Done(act, entries), seat)
    lines = told.lines if len(told.lines) < 4 else told.lines[:1]
    return Said("done", told.title, lines, undo=act, back=back)


# --- all of them --------------------------------------------------------------------------------------------------


_WEEKS_AFTER = 6


def _due_span(seat: Seat) -> Span:
    """The term whose report is written now: the latest that is over in the last six weeks, else that of today."""
    today = _today(seat)
    terms = sorted(seat.home.calendar.terms, key=lambda t: t.first)
    over = [t for t in terms if 0 <= (today - t.last).days <= _WEEKS_AFTER * 7]
    if over:
        return Span(over[-1].name or say("term"), over[-1].first, over[-1].last)
    return term_reports.span_for(seat.home, today, None, None)


def _all(request: HttpRequest, seat: Seat, said: Said | None = None) -> HttpResponse:
    today = _today(seat)
    pack = dispatches.pack(seat.home, dispatches.month_of(seat.home, today), today)
    view = dispatch_words.dispatch_view(pack)
    return _shown(
        request,
        seat,
        "papers.html",
        papers_page(seat.home, today, _due_span(seat), view.headline, late=view.late),
        said,
    )


def _kept_beside(seat: Seat) -> Hashable:
    """What the page of all papers shows that is not on the record: words that were written, and samples."""
    return (
        tuple(sorted(term_reports.written_counts(seat.home, _due_span(seat)).items())),
        tuple(sorted(samples.counts(seat.home).items())),
    )


@require_safe
@taught
@kept_page(_kept_beside)
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Everything that can be sent or printed."""
    return _all(request, seat)


# --- the dispatch -------------------------------------------------------------------------------------------------


def _month(request: HttpRequest, seat: Seat) -> date:
    text = request.GET.get("month", "")
    if not text:
        return dispatches.month_of(seat.home, _today(seat))
    try:
        if len(text) == 7:
            return date.fromisoformat(f"{text}-01")
    except ValueError:
        pass
    raise InputError([Problem(say("month"), repr(text[:20]), say("a month, such as 2026-01"))])


def _dispatch(request: HttpRequest, seat: Seat, said: Said | None = None) -> HttpResponse:
    def make() -> HttpResponse:
        pack = dispatches.pack(seat.home, _month(request, seat), _today(seat))
        return _shown(request, seat, "dispatch.html", dispatch_words.dispatch_view(pack), said)

    return _or_said(request, seat, make)


@require_http_methods(["GET", "HEAD", "POST"])
@taught
@kept_page()
def dispatch(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The month's pack; a POST records that the ticked papers went."""
    if request.method != "POST":
        return _dispatch(request, seat, _act_said(request, seat, reverse("dispatch")))
    try:
        done = actions.send_dispatch(
            seat.household,
            copies=request.POST.getlist("copies"),
            tracking=request.POST.get("tracking", ""),
            by=seat.person.id,
            at=seat.now,
            slip=Slip(act=forms.token(request.POST), now=seat.now),
        )
    except MarksteadError as error:
        return _dispatch(request, seat, said_of(error, request.POST))
    return redirect(f"{reverse('dispatch')}?act={done.act}")


@require_safe
@taught
def dispatch_sheet(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The cover sheet."""

    def make() -> HttpResponse:
        pack = dispatches.pack(seat.home, _month(request, seat), _today(seat))
        view = dispatch_words.dispatch_view(pack)
        paper = _paper(request, seat)
        return _file(dispatch_words.as_pdf(view, day=_today(seat), paper=paper), view.file)

    return _or_said(request, seat, make)


# --- reports ------------------------------------------------------------------------------------------------------


def _as_of(request: HttpRequest, seat: Seat) -> date:
    today = _today(seat)
    if not request.GET.get("on"):
        return today
    day = forms.day(request.GET, "on", say("as of"))
    if day > today:
        raise InputError(
            [Problem(say("as of"), str(day), say("a day up to {today}, which is today", today=today))]
        )
    return day


def _report(request: HttpRequest, seat: Seat, who: Somebody) -> tuple[term_reports.TermReport, date]:
    first, last = days_of(request.GET.get("days", ""))
    as_of = _as_of(request, seat)
    span = term_reports.span_for(seat.home, as_of, first, last)
    return term_reports.term_report(seat.home, who.id, span, as_of=as_of), as_of


def _narratives(seat: Seat, learner: str) -> Hashable:
    """The educator's words about a learner: they are not on the record."""
    return term_reports.all_narratives(seat.home, learner)


@require_safe
@taught
@kept_page(_narratives)
def report(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """A learner's progress report, with a draft of the educator's words for each course."""
    who = _learner(seat, learner)

    def make() -> HttpResponse:
        found, as_of = _report(request, seat, who)
        return _shown(
            request,
            seat,
            "report.html",
            report_words.report_view(found),
            None,
            spans=span_choices(seat.home, _today(seat), found.span),
            days=value_of(found.span),
            on=as_of.isoformat(),
            saved=request.GET.get("saved", ""),
        )

    return _or_said(request, seat, make)


@require_safe
@taught
def report_sheet(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """The same report on paper."""
    who = _learner(seat, learner)

    def make() -> HttpResponse:
        found, as_of = _report(request, seat, who)
        view = report_words.report_view(found)
        paper = _paper(request, seat)
        return _file(report_words.as_pdf(view, day=as_of, paper=paper), view.file)

    return _or_said(request, seat, make)


@require_POST
@taught
def report_words_kept(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """Keep the draft of a narrative: while it is typed, or by its button."""
    who = _learner(seat, learner)
    data = request.POST
    alone = bool(request.headers.get("HX-Request"))
    try:
        first, last = days_of(data.get("days", ""))
        span = term_reports.span_for(seat.home, _today(seat), first, last)
        course = data.get("course", "")
        term_reports.keep_narrative(
            seat.home, learner=who.id, course=course, span=span, text=data.get("text", ""), at=seat.now
        )
    except MarksteadError as error:
        if alone:
            return render(request, "parts/draft_kept.html", {"wrong": str(error)})
        return _all(request, seat, said_of(error, data))
    clock = seat.home.calendar.at_home(seat.now)
    if alone:
        return render(request, "parts/draft_kept.html", {"kept": say("Kept {time:%H:%M}", time=clock)})
    query = QueryDict(mutable=True)
    query.update({"days": value_of(span), "on": data.get("on", ""), "saved": course})
    return redirect(f"{reverse('report', args=[who.key])}?{query.urlencode()}#{course}")


# --- attendance ---------------------------------------------------------------------------------------------------


def _year(request: HttpRequest, seat: Seat, who: Somebody) -> attendance.AttendanceYear:
    as_of = _as_of(request, seat)
    day = forms.day(request.GET, "in", say("school year")) if request.GET.get("in") else as_of
    return attendance.attendance_year(seat.home, who.id, day, as_of=as_of)


def _attendance(
    request: HttpRequest, seat: Seat, who: Somebody, said: Said | None = None, typed: Any = None
) -> HttpResponse:
    def make() -> HttpResponse:
        found = _year(request, seat, who)
        wanted = (typed or request.GET).get("day", "")
        known = next((d for d in found.days if d.day.isoformat() == wanted), None)
        form = {
            "day": wanted or _today(seat).isoformat(),
            "presence": (typed or {}).get("presence") or (str(known.presence) if known else ""),
            "minutes": (typed or {}).get("minutes")
            or (str(known.minutes) if known and known.minutes else ""),
        }
        return _shown(
            request,
            seat,
            "attendance.html",
            attendance_words.attendance_view(found),
            said,
            form=form,
            presences=[p.value for p in Presence],
            on=found.as_of.isoformat(),
            within=found.year.first.isoformat(),
        )

    return _or_said(request, seat, make)


@require_safe
@taught
@kept_page()
def attendance_page(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """Days and hours of a learner's school year, against the profile that the home has chosen."""
    who = _learner(seat, learner)
    return _attendance(request, seat, who, _act_said(request, seat, reverse("attendance", args=[who.key])))


@require_POST
@taught
def attendance_take(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """The educator's word about a day stands over what the record reads."""
    who = _learner(seat, learner)
    data = request.POST
    try:
        words = {p.value: p for p in Presence}
        if data.get("presence", "") not in words:
            found = repr(data.get("presence", "")[:20]) if data.get("presence") else say("nothing")
            raise InputError(
                [
                    Problem(
                        say("attendance"),
                        found,
                        say("one of {allowed}", allowed=", ".join(say(word) for word in words)),
                    )
                ]
            )
        done = actions.take_attendance(
            seat.household,
            learner=who.id,
            day=forms.day(data, "day", say("day")),
            presence=words[data["presence"]],
            minutes=forms.whole(data, "minutes", say("minutes"), needed=False),
            by=seat.person.id,
            at=seat.now,
            slip=Slip(act=forms.token(data), now=seat.now),
        )
    except MarksteadError as error:
        return _attendance(request, seat, who, said_of(error, data), data)
    return redirect(f"{reverse('attendance', args=[who.key])}?act={done.act}")


@require_safe
@taught
def attendance_sheet(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """The register on paper."""
    who = _learner(seat, learner)

    def make() -> HttpResponse:
        found = _year(request, seat, who)
        view = attendance_words.attendance_view(found)
        paper = _paper(request, seat)
        return _file(attendance_words.as_pdf(view, day=found.as_of, paper=paper), view.file)

    return _or_said(request, seat, make)


# --- transcripts --------------------------------------------------------------------------------------------------


@require_safe
@taught
@kept_page()
def transcript(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """Courses, results, credits and mean."""
    who = _learner(seat, learner)

    def make() -> HttpResponse:
        as_of = _as_of(request, seat)
        found = transcripts.transcript(seat.home, who.id, as_of=as_of)
        view = transcripts.transcript_view(found)
        return _shown(request, seat, "transcript.html", view, on=as_of.isoformat())

    return _or_said(request, seat, make)


@require_safe
@taught
def transcript_sheet(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """The same as PDF or CSV."""
    who = _learner(seat, learner)

    def make() -> HttpResponse:
        as_of = _as_of(request, seat)
        found = transcripts.transcript(seat.home, who.id, as_of=as_of)
        view = transcripts.transcript_view(found)
        kind = request.GET.get("kind", "pdf")
        if kind == "csv":
            name = view.file.replace(".pdf", ".csv")
            return _file(transcripts.as_csv(found), name, "text/csv; charset=utf-8", "attachment")
        if kind != "pdf":
            raise InputError([Problem(say("transcript as"), repr(kind[:20]), say("pdf or csv"))])
        paper = _paper(request, seat)
        return _file(transcripts.as_pdf(view, day=as_of, paper=paper), view.file)

    return _or_said(request, seat, make)


# --- samples ------------------------------------------------------------------------------------------------------


def _span(request: HttpRequest, seat: Seat) -> Span:
    first, last = days_of(request.GET.get("days", ""))
    if first is None:
        return school_year(seat.home.calendar, _today(seat))
    return term_reports.span_for(seat.home, _today(seat), first, last)


def _facts(seat: Seat, copy: str) -> list[tuple[str, str]]:
    """The latest facts of a copy, to attach a sample to: the place of each, and its words."""
    notes = queries.history(seat.household, copy=copy, limit=20)
    day_of = seat.home.calendar.day_of
    return [
        (str(n.entry.seq), f"{day_short(day_of(n.entry.at))}: {fact_words(n.entry.fact, seat.home)}")
        for n in notes
        if not n.reversed and not isinstance(n.entry.fact, FactReversed)
    ]


def _samples(
    request: HttpRequest, seat: Seat, who: Somebody, said: Said | None = None, typed: Any = None
) -> HttpResponse:
    def make() -> HttpResponse:
        span = _span(request, seat)
        copies = queries.copies(seat.household, learner=who.id)
        wanted = (typed or request.GET).get("copy", "")
        shown = next((c.id for c in copies if c.id == wanted), "")
        return _shown(
            request,
            seat,
            "samples.html",
            portfolio.portfolio_view(seat.home, who, span),
            said,
            spans=span_choices(seat.home, _today(seat), span),
            days=value_of(span),
            copies=[(c.id, f"{c.workbook.title} ({c.label})", c.id == shown) for c in copies],
            form={
                "day": (typed or {}).get("day") or _today(seat).isoformat(),
                "words": (typed or {}).get("words", ""),
                "fact": (typed or {}).get("fact", ""),
            },
            facts=_facts(seat, shown) if shown else (),
        )

    return _or_said(request, seat, make)


def _kept_samples(seat: Seat, learner: str) -> Hashable:
    """The samples of a learner: they are not on the record."""
    return samples.lines_of(seat.home, learner)


@require_safe
@taught
@kept_page(_kept_samples)
def samples_page(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """A learner's samples of some days, and a form to keep one more."""
    said = None
    if request.GET.get("kept"):
        said = Said("done", say("Kept: the picture alone, without place, time or device"))
    elif request.GET.get("away"):
        said = Said("done", say("Taken away for good"))
    return _samples(request, seat, _learner(seat, learner), said)


@require_POST
@taught
def sample_keep(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """Keep photographs or scans."""
    who = _learner(seat, learner)
    data = request.POST
    files = request.FILES.getlist("files")
    try:
        if not files:
            raise InputError([Problem(say("files"), say("none"), say(samples.ALLOWED))])
        if len(files) > _MOST_FILES:
            raise InputError(
                [
                    Problem(
                        say("files"),
                        str(len(files)),
                        say("up to {most} at once", most=_MOST_FILES),
                    )
                ]
            )
        day = forms.day(data, "day", say("day of the sample"))
        for file in files:
            if (file.size or 0) > samples.MOST_BYTES:
                found = say("{size} MiB", size=(file.size or 0) // 2**20)
                raise InputError(
                    [
                        Problem(
                            say("file"),
                            found,
                            say("up to {most} MiB", most=samples.MOST_BYTES // 2**20),
                        )
                    ]
                )
            samples.keep_sample(
                seat.home,
                file.read(),
                learner=who.id,
                day=day,
                by=seat.person.id,
                at=seat.now,
                copy=data.get("copy") or None,
                entry=forms.whole(data, "fact", say("fact"), needed=False),
                words=data.get("words", ""),
            )
    except MarksteadError as error:
        return _samples(request, seat, who, said_of(error, data), data)
    return redirect(f"{reverse('samples', args=[who.key])}?kept=yes")


_MOST_FILES = 12


def _sample(seat: Seat, wanted: str) -> samples.Kept:
    try:
        return samples.sample(seat.home, wanted)
    except UnknownError as error:
        raise Http404 from error


@require_safe
@taught
def sample_picture(request: HttpRequest, seat: Seat, sample: str) -> HttpResponse:
    """The file of a sample as it is kept, or its small picture."""
    found = _sample(seat, sample)
    small = request.GET.get("small") == "yes"
    try:
        content = samples.read_sample(found, small=small)
    except UnknownError as error:
        raise Http404 from error
    kind = "image/jpeg" if small else found.kind
    return _file(content, f"sample-{found.day}.{'jpg' if small else found.kind.rpartition('/')[2]}", kind)


@require_POST
@taught
def sample_change(request: HttpRequest, seat: Seat, sample: str) -> HttpResponse:
    """Write another line about a sample, or take it away for good."""
    found = _sample(seat, sample)
    who = seat.home.people[found.learner]
    if request.POST.get("do") == "take away":
        samples.take_away(seat.home, found.id)
        return redirect(f"{reverse('samples', args=[who.key])}?away=yes")
    try:
        samples.describe(seat.home, found.id, request.POST.get("words", ""))
    except MarksteadError as error:
        return _samples(request, seat, who, said_of(error, request.POST))
    return redirect("samples", learner=who.key)


@require_safe
@taught
def portfolio_sheet(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """The samples of some days on paper."""
    who = _learner(seat, learner)

    def make() -> HttpResponse:
        span = _span(request, seat)
        view = portfolio.portfolio_view(seat.home, who, span)
        day = min(_today(seat), span.last)
        content = portfolio.as_pdf(seat.home, who, span, day=day, paper=_paper(request, seat))
        return _file(content, view.file)

    return _or_said(request, seat, make)
