"""An oral quiz, question by question: begun here, laid aside, taken up again, and recorded."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem, UnknownError
from markstead.records import estimates, quizzes
from markstead.records.desk import Slip
from markstead.speech import say
from markstead.web import forms
from markstead.web.pages import Said
from markstead.web.quiz_page import quiz_page
from markstead.web.seat import Seat
from markstead.web.views.acts import said_of
from markstead.web.views.doors import taught


def _shown(
    request: HttpRequest, seat: Seat, quiz: str, said: Said | None = None, *, skip: int = 0, status: int = 200
) -> HttpResponse:
    try:
        desk = estimates.quiz_desk(seat.home, quizzes.find(seat.household, quiz), skip=skip)
    except UnknownError as error:
        raise Http404 from error
    whole = not request.headers.get("HX-Request")
    context = {
        "page": quiz_page(desk),
        "said": said,
        "person": seat.person,
        "home": seat.home,
        "here": "today",
    }
    return render(request, "quiz.html" if whole else "parts/quiz_body.html", context, status=status)


@require_POST
@taught
def begin(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Begin a quiz on a copy, or take up the one that was laid aside."""
    copy, stop = request.POST.get("copy", ""), request.POST.get("stop") or None
    try:
        estimates.quiz_scope(seat.home, copy, stop)
        quiz = quizzes.begin(seat.household, copy=copy, stop=stop, by=seat.person.id, at=seat.now)
    except UnknownError as error:
        raise Http404 from error
    return redirect("quiz", quiz=quiz.id)


@require_safe
@taught
def page(request: HttpRequest, seat: Seat, quiz: str) -> HttpResponse:
    text = request.GET.get("other", "0")
    skip = int(text) if text.isascii() and text.isdecimal() and len(text) <= 3 else 0
    return _shown(request, seat, quiz, skip=skip)


@require_POST
@taught
def answer(request: HttpRequest, seat: Seat, quiz: str) -> HttpResponse:
    """Note how an answer went, take the latest one back, record the quiz, or put it away."""
    data = request.POST
    do = data.get("do", "")
    try:
        if do == "record":
            slip = Slip(act=forms.token(data), now=seat.now)
            done = quizzes.hold(seat.household, quiz, by=seat.person.id, at=seat.now, slip=slip)
            return redirect("copy", copy=getattr(done.entries[0].fact, "copy", ""))
        if do == "put away":
            copy = quizzes.find(seat.household, quiz).copy
            quizzes.put_away(seat.household, quiz)
            return redirect("copy", copy=copy)
        place = forms.whole(data, "place", say("place of the answer")) or 0
        if do == "take back":
            quizzes.take_back(seat.household, quiz, place=place)
        elif do in ("right", "wrong"):
            question = forms.whole(data, "question", say("question")) or 0
            stop = data.get("stop", "")
            estimates.check_question(seat.home, quizzes.find(seat.household, quiz).copy, stop, question)
            right = do == "right"
            quizzes.note(seat.household, quiz, place=place, stop=stop, question=question, right=right)
        else:
            allowed = say("right, wrong, take back, record or put away")
            raise InputError([Problem(say("answer"), repr(do[:40]), allowed)])
    except UnknownError as error:
        raise Http404 from error
    except MarksteadError as error:
        status = 200 if request.headers.get("HX-Request") else 409
        return _shown(request, seat, quiz, said_of(error, data), status=status)
    if request.headers.get("HX-Request"):
        return _shown(request, seat, quiz)
    return redirect("quiz", quiz=quiz)
