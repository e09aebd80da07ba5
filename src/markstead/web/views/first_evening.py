"""The set-up of an empty home: a page a step, each kept as it is sent, right or wrong."""

import secrets
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib.auth import login
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from markstead.errors import InputError, MarksteadError
from markstead.records import first_evening as records
from markstead.records import passwords
from markstead.records.first_evening import State
from markstead.records.sheets import WORKBOOKS, Faults, text_of
from markstead.rules.typed_books import MOST_ROWS, layout_words
from markstead.speech import say
from markstead.web import clock, first_courses, first_people, first_programme, first_school
from markstead.web.first_evening import NAMES, Setup, before, look_over, step_of
from markstead.web.first_fields import Typed, typed_of
from markstead.web.seat import Seat, refuse_nul
from markstead.web.views.doors import taught

KEY = "first-evening-key"
BACKEND = "django.contrib.auth.backends.ModelBackend"
MOST_BYTES = 1_000_000
View = Callable[..., HttpResponse]


class ByName(AuthenticationForm):
    """A name to sign in with is known in small and capital letters alike: a phone begins it with a capital."""

    def clean_username(self) -> str:
        """The name as the account has it, where one account alone can be meant."""
        return passwords.account_name(str(self.cleaned_data["username"]))


class SignIn(LoginView):
    """The door; in an empty home it leads to the set-up instead."""

    template_name = "sign_in.html"
    authentication_form = ByName
    http_method_names = ("get", "head", "post", "options")

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if records.state() is State.EMPTY:
            return redirect("first")
        return super().dispatch(request, *args, **kwargs)  # type: ignore[return-value]

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Let them in, but not by a password of the house that has had its week."""
        if passwords.is_over(passwords.made_at(form.get_user().pk), clock.real_now()):
            return self.render_to_response(self.get_context_data(form=form, over=True), status=409)
        return super().form_valid(form)


# --- who is let in ---------------------------------------------------------------------------------------------------


def _same(given: str) -> bool:
    """Whether this is the word that stands on the terminal."""
    wanted = str(settings.FIRST_KEY)
    plain = "".join(given.lower().split())
    return bool(wanted) and secrets.compare_digest(plain.encode(), wanted.encode())


def invited(view: View) -> View:
    """Let in whoever has the word from the terminal; once there is an account, whoever signs in; nobody afterwards."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_nul(request)
        there = records.state()
        if there is State.MADE:
            if not request.user.is_authenticated:
                return redirect_to_login(request.path)
            return render(request, "first/made_already.html", status=403)
        if there is State.BEGUN:
            return (
                view(request, *args, **kwargs)
                if request.user.is_authenticated
                else redirect_to_login("/first/")
            )
        if request.session.get(KEY) != "yes":
            return _door(request)
        return view(request, *args, **kwargs)

    return inner


def _door(request: HttpRequest) -> HttpResponse:
    given = request.POST.get("key")
    if given is not None and _same(given):
        request.session[KEY] = "yes"
        return redirect("first")
    context = {"wrong": given is not None, "known": bool(settings.FIRST_KEY)}
    return render(request, "first/door.html", context, status=403)


def _setup(request: HttpRequest) -> Setup:
    account = request.user.get_username() if request.user.is_authenticated else ""
    return Setup(records.read_draft(settings.HOME), account)


def _page(
    request: HttpRequest, setup: Setup, name: str, template: str, more: dict[str, Any], status: int = 200
) -> HttpResponse:
    number, step = step_of(name)
    context = {
        "number": number,
        "steps": len(NAMES),
        "step": step,
        "lines": setup.lines(name),
        "before": f"first-{before(name)}" if before(name) else "first",
        "account": setup.account,
        **more,
    }
    return render(request, f"first/{template}.html", context, status=status)


def _on(request: HttpRequest, name: str, otherwise: str) -> HttpResponse:
    """Where the button leads that was pressed: back, to the list of steps, or on."""
    asked = request.POST.get("do", "")
    if asked == "back":
        return redirect(f"first-{before(name)}" if before(name) else "first")
    if asked == "later":
        return redirect("first")
    return redirect(otherwise)


def _wants_on(request: HttpRequest) -> bool:
    """Whether the step is to be finished now, and not only kept."""
    return request.POST.get("do", "on") == "on"


def _keep(request: HttpRequest, setup: Setup, name: str, fields: records.Fields | None = None) -> Setup:
    """Keep what was sent of a step, whatever it is."""
    kept = typed_of(request.POST, without=first_people.SECRETS) if fields is None else fields
    return Setup(records.save_step(settings.HOME, name, kept), setup.account)


def _needs(request: HttpRequest, setup: Setup, *steps: str) -> HttpResponse | None:
    """A step that rests on others leads to the first of them that is not done; what is sent is kept before that."""
    if request.method == "POST":
        return None
    missing = next((step for step in steps if not setup.is_done(step)), None)
    return redirect(f"first-{missing}") if missing else None


def _kept_or_told(view: View) -> View:
    """Say in a sentence when the draft cannot be kept."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            return view(request, *args, **kwargs)
        except MarksteadError as error:
            context = {"title": say("That could not be kept"), "sentence": str(error)}
            return render(request, "error.html", context, status=507)

    return inner


def step(view: View) -> View:
    """A page of the set-up."""
    return require_http_methods(["GET", "HEAD", "POST"])(invited(_kept_or_told(view)))


# --- the steps --------------------------------------------------------------------------------------------------------


@step
def start(request: HttpRequest) -> HttpResponse:
    """The list of all steps: where one goes on."""
    setup = _setup(request)
    if not setup.account:
        return redirect("first-you")
    context = {
        "lines": setup.lines(),
        "next": f"first-{setup.next}",
        "account": setup.account,
        "fresh": not setup.draft.steps,
    }
    return render(request, "first/start.html", context)


@step
def you(request: HttpRequest) -> HttpResponse:
    setup, status, told = _setup(request), 200, ""
    if request.method == "POST":
        setup = _keep(request, setup, "you")
        setup.fresh["you"] = Typed(typed_of(request.POST))
        if not _wants_on(request):
            return _on(request, "you", "first")
        found = setup.you
        if found is not None and not setup.account:
            told = _claim(request, setup, found)
        if found is not None and not told:
            return redirect("first-learners")
        status = 409
    typed = setup.typed("you")
    fields = first_people.you_fields(typed, account=setup.account)
    return _page(
        request,
        setup,
        "you",
        "you",
        {"fields": fields, "wrong": typed.wrong, "told": [told] if told else []},
        status,
    )


def _claim(request: HttpRequest, setup: Setup, found: first_people.You) -> str:
    """Make the first account and sign it in; say at its field what cannot be taken."""
    try:
        user = records.first_account(found.username, found.password)
    except InputError as error:
        typed = setup.typed("you")
        for problem in error.problems:
            if problem.key not in ("username", "password"):
                return str(problem)
            typed.fail(problem.key, say("Wanted is {allowed}", allowed=problem.allowed))
        return say("It is said beside its field.")
    login(request, user, backend=BACKEND)
    return ""


@step
def learners(request: HttpRequest) -> HttpResponse:
    setup, status = _setup(request), 200
    if (missing := _needs(request, setup, "you")) is not None:
        return missing
    if request.method == "POST":
        setup = _keep(request, setup, "learners")
        asked = request.POST.get("do")
        if asked in ("back", "later") or (_wants_on(request) and setup.learners):
            return _on(request, "learners", "first-school")
        status = 409 if _wants_on(request) else 200
    typed = setup.typed("learners")
    rows = first_people.learner_rows(typed, more=request.POST.get("do") == "more")
    wrong = typed.wrong if status == 409 else {}
    return _page(request, setup, "learners", "learners", {"rows": rows, "wrong": wrong}, status)


@step
def school(request: HttpRequest) -> HttpResponse:
    setup, status = _setup(request), 200
    if (missing := _needs(request, setup, "you")) is not None:
        return missing
    if request.method == "POST":
        setup = _keep(request, setup, "school")
        asked = request.POST.get("do")
        if asked in ("back", "later") or (_wants_on(request) and setup.school is not None):
            return _on(request, "school", "first-programme")
        status = 409 if _wants_on(request) else 200
    typed = setup.typed("school")
    fields = first_school.school_fields(typed, more=request.POST.get("do") == "more")
    context = {"fields": fields, "wrong": typed.wrong if status == 409 else {}}
    return _page(request, setup, "school", "school", context, status)


@step
def programme(request: HttpRequest) -> HttpResponse:
    setup, told = _setup(request), []
    if (missing := _needs(request, setup, "you")) is not None:
        return missing
    if request.method == "POST":
        setup = _keep(request, setup, "programme")
        kind = first_programme.kind_of(setup.typed("programme"))
        if kind or not _wants_on(request):
            ways = {"files": "first-files", "typed": "first-typed"}
            return _on(request, "programme", ways.get(kind, "first-courses"))
        told = [say("One of the three is wanted here.")]
    ticks = first_programme.kind_ticks(setup.typed("programme"))
    return _page(
        request, setup, "programme", "programme", {"ticks": ticks, "told": told}, 409 if told else 200
    )


@step
def files(request: HttpRequest) -> HttpResponse:
    setup, told, status = _setup(request), [], 200
    if (missing := _needs(request, setup, "you")) is not None:
        return missing
    if request.method == "POST":
        kept = typed_of(request.POST)
        for name in ("books", "rules"):
            text, problems = _uploaded(request, name)
            told += problems
            if text is not None:
                kept[name] = [text]
        setup = _keep(request, setup, "files", kept)
        if request.POST.get("do") == "back":
            return redirect("first-programme")
        if request.POST.get("do") == "later":
            return redirect("first")
        found = setup.programme
        if found.programme is not None and not told and _wants_on(request):
            return redirect("first-courses")
        told += map(str, found.problems)
        status = 409 if told or setup.typed("files").wrong else 200
    typed = setup.typed("files")
    context = {
        "fields": first_programme.file_fields(typed)
        if status == 409
        else first_programme.file_fields(Typed(typed.data)),
        "names": first_programme.name_fields(typed, setup.country),
        "told": told,
        "file": WORKBOOKS,
        "read": setup.courses_of if request.method == "POST" else None,
    }
    return _page(request, setup, "programme", "files", context, status)


def _uploaded(request: HttpRequest, name: str) -> tuple[str | None, list[str]]:
    """The text of a file that came with the form, judged by what is in it; None: there was none."""
    sent = request.FILES.get(f"{name}-file")
    if sent is None:
        return None, []
    label = str(sent.name or say("the file"))[:80]
    if (sent.size or 0) > MOST_BYTES:
        says = say(
            "{file}: found {size} bytes; allowed is a file of at most {most}.",
            file=label,
            size=sent.size,
            most=MOST_BYTES,
        )
        return None, [says]
    faults = Faults()
    text = text_of(sent.read(), label, faults)
    return text, [str(fault.problem) for fault in faults.found]


@step
def typed(request: HttpRequest) -> HttpResponse:
    setup, said, status = _setup(request), "", 200
    if (missing := _needs(request, setup, "you")) is not None:
        return missing
    asked = request.POST.get("do", "on")
    if request.method == "POST":
        kept: records.Fields = typed_of(request.POST)
        pasted = bool(request.POST.get("paste", "").strip())
        if pasted or asked == "read":
            kept, said = first_programme.with_paste(kept)
        setup = _keep(request, setup, "typed", kept)
        if asked == "back":
            return redirect("first-programme")
        if asked == "later":
            return redirect("first")
        if asked in ("on", "cut") and not pasted:
            well = setup.programme.programme is not None
            if well or (asked == "cut" and not setup.typed("typed").wrong):
                return redirect(
                    "first-cut" if asked == "cut" or setup.typed("cut").wrong else "first-courses"
                )
            if setup.typed("cut").wrong and not setup.typed("typed").wrong:
                return redirect("first-cut")
            status = 409
    fields = setup.typed("typed")
    if status != 409:
        fields = Typed(fields.data)
    context = {
        "names": first_programme.name_fields(fields, setup.country),
        "layout": first_programme.layout_fields(fields),
        "layout_words": layout_words(first_programme.layout_of(Typed(fields.data))),
        "rows": first_programme.grid_rows(fields, more=asked == "more"),
        "wrong": fields.wrong,
        "paste": fields.lines("paste"),
        "said": said,
        "most": MOST_ROWS,
    }
    return _page(request, setup, "programme", "typed", context, status)


@step
def cut(request: HttpRequest) -> HttpResponse:
    """How each workbook of the grid is laid out."""
    setup, status = _setup(request), 200
    if (missing := _needs(request, setup, "you")) is not None:
        return missing
    grid = setup.typed("typed")
    if not first_programme.cut_rows(grid, Typed({})):
        return redirect("first-typed")
    if request.method == "POST":
        setup = _keep(
            request, setup, "cut", first_programme.only_what_differs(Typed(grid.data), typed_of(request.POST))
        )
        if request.POST.get("do") == "back":
            return redirect("first-typed")
        if request.POST.get("do") == "later":
            return redirect("first")
        if setup.programme.programme is not None:
            return redirect("first-courses")
        if setup.typed("typed").wrong:
            return redirect("first-typed")
        status = 409
    elif setup.programme.programme is None and setup.typed("cut").wrong:
        status = 409
    cells = setup.typed("cut")
    context = {"rows": first_programme.cut_rows(grid, cells), "wrong": cells.wrong}
    return _page(request, setup, "programme", "cut", context, status)


@step
def courses(request: HttpRequest) -> HttpResponse:
    setup, status = _setup(request), 200
    if (missing := _needs(request, setup, "you", "learners", "programme")) is not None:
        return missing
    if request.method == "POST":
        setup = _keep(request, setup, "courses")
        if not _wants_on(request) or setup.takes:
            return _on(request, "courses", "first-standing")
        status = 409
    programme = setup.courses_of
    if programme is None:
        return redirect("first-programme")
    takes = first_courses.course_ticks(setup.typed("courses"), setup.learners, programme)
    wrong = setup.typed("courses").wrong
    return _page(request, setup, "courses", "courses", {"takes": takes, "wrong": wrong}, status)


@step
def standing(request: HttpRequest) -> HttpResponse:
    setup, status = _setup(request), 200
    if (missing := _needs(request, setup, "you", "learners", "programme", "courses")) is not None:
        return missing
    if request.method == "POST":
        setup = _keep(request, setup, "standing")
        if not _wants_on(request) or setup.openings:
            return _on(request, "standing", "first-look")
        status = 409
    programme = setup.courses_of
    if programme is None:
        return redirect("first-programme")
    typed = setup.typed("standing")
    context = {"stands": first_courses.stand_rows(typed, setup.takes, programme), "wrong": typed.wrong}
    return _page(request, setup, "standing", "standing", context, status)


@step
def look(request: HttpRequest) -> HttpResponse:
    """Everything once more; a POST makes the home."""
    setup, told = _setup(request), []
    missing = next((name for name in NAMES[:-1] if not setup.is_done(name)), None)
    if missing is not None:
        return redirect(f"first-{missing}")
    now = clock.real_now()
    if request.method == "POST":
        if not _wants_on(request):
            return _on(request, "look", "first")
        new = setup.new_home()
        if new is not None and request.user.pk is not None:
            try:
                records.make_home(new, request.user.pk, at=now)
            except MarksteadError as error:
                told = str(error).split("\n")
            else:
                records.forget_draft(settings.HOME)
                return redirect("first-made")
    school = setup.school
    today = school.day_of(now) if school is not None else now.date()
    context = {"parts": look_over(setup, today), "told": told}
    return _page(request, setup, "look", "look", context, 409 if told else 200)


@require_safe
@taught
def made(request: HttpRequest, seat: Seat) -> HttpResponse:
    """What was made, and what to do now."""
    from markstead.web.placement_page import courses_to_place

    context = {
        "home": seat.home,
        "learners": seat.home.learners,
        "to_place": courses_to_place(seat.home),
        "planned": seat.home.plan is not None,
        "person": seat.person,
        "here": "today",
    }
    return render(request, "first/made.html", context)
