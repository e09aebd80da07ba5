"""Who may hear that something is new: at the desk of the whole home, on a tablet of one learner alone."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from markstead.records import news
from markstead.web.live import NewsResponse
from markstead.web.seat import Seat, seated
from markstead.web.tablet_seat import LearnerSeat, as_learner_unseen


@require_safe
@seated
def at_the_desk(request: HttpRequest, seat: Seat) -> HttpResponse:  # noqa: ARG001  # that it was let in is all
    return NewsResponse(seat.household, news.heads([seat.household])[seat.household])


@require_safe
@as_learner_unseen
def at_a_tablet(request: HttpRequest, seat: LearnerSeat) -> HttpResponse:  # noqa: ARG001
    head = news.heads([seat.household])[seat.household]
    return NewsResponse(seat.household, head, seat.learner.id)
