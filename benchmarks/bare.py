"""The bare page that today's page is measured against, beside the house's own addresses.

It goes through the same middleware, session and sign-in, makes one indexed query on the record and renders four
lines of template. Three queries in all: the session, the user, the fact.
"""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.template import Context, Engine
from django.urls import include, path

from benchmarks.house import HOUSEHOLD
from markstead.records.models import Entry

_TEMPLATE = Engine().from_string(
    "<!doctype html>\n<title>Bare</title>\n<h1>{{ user }}</h1>\n<p>Fact {{ seq }}: {{ kind }}</p>\n"
)


@login_required
def bare(request: HttpRequest) -> HttpResponse:
    """One row of the record by its place."""
    seq, kind = Entry.objects.filter(household=HOUSEHOLD, seq=1).values_list("seq", "kind").get()
    return HttpResponse(
        _TEMPLATE.render(Context({"user": request.user.get_username(), "seq": seq, "kind": kind}))
    )


urlpatterns = [path("bare", bare), path("", include("markstead.web.urls"))]
