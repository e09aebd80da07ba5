"""Pieces of pages, and whole pages, that are drawn once for what they rest on and kept.

The same template and the same value give the same bytes; only two things differ from answer to answer: the token
against forged forms and the token of the page. What is kept has a hole for each, filled when the answer goes out.
The holes are named by chance at every start, so that nothing a person typed can be one.

A whole page rests on the end of the record, the home's settings, who looks, the minute and the address; a page that rests
on more says on what. Whatever changes one of these, in this process or another, has the page drawn anew.
"""

import re
import secrets
from collections import OrderedDict
from collections.abc import Callable, Hashable
from contextvars import ContextVar
from functools import wraps
from time import monotonic
from typing import TYPE_CHECKING, Any

from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.translation import get_language

if TYPE_CHECKING:
    from markstead.web.seat import Seat, View

_FORGERY = f"forgery{secrets.token_hex(16)}"
_PAGE = f"page{secrets.token_hex(16)}"
_KEEPING: ContextVar[bool] = ContextVar("keeping a page", default=False)
_KEPT: OrderedDict[Hashable, SafeString] = OrderedDict()
_MOST = 4096
_INDENTED = re.compile(r"\n\s+")
A_MOMENT = 1.0
"""Seconds."""
_FEW = 32
_MOMENT: dict[Hashable, tuple[float, str]] = {}


def piece(template: str, value: Hashable, also: Hashable = None) -> SafeString:
    """A template drawn for a value, and for one more where it needs one."""
    key = (get_language(), template, value, also)
    kept = _KEPT.get(key)
    if kept is None:
        context = {"it": value, "also": also, "csrf_token": _FORGERY, "page_token": _PAGE}
        drawn = render_to_string(template, context).strip()
        # What indents a template is a twentieth of today's page, and no browser shows it. (No piece holds a text area.)
        kept = _KEPT[key] = SafeString(_INDENTED.sub("\n", drawn))
        while len(_KEPT) > _MOST:
            _KEPT.popitem(last=False)
    return kept


def for_a_moment(key: Hashable, draw: Callable[[str, str], str]) -> str:
    """What is drawn for one is given to all who ask for the same within a second; `draw` is handed the two holes.

    When something is new every open page asks for its part at once, and for one person all of them look alike.
    """
    key = (get_language(), key)
    kept = _MOMENT.get(key)
    if kept is None or monotonic() - kept[0] > A_MOMENT:
        while len(_MOMENT) >= _FEW:
            _MOMENT.pop(next(iter(_MOMENT)), None)
        kept = _MOMENT[key] = (monotonic(), draw(_FORGERY, _PAGE))
    return kept[1]


def fill(html: str, request: HttpRequest, page_token: str) -> str:
    """Fill the holes of one answer."""
    return html.replace(_FORGERY, get_token(request)).replace(_PAGE, page_token)


# --- whole pages ------------------------------------------------------------------------------------------------

_PAGES: OrderedDict[Hashable, str] = OrderedDict()
_MOST_PAGES = 128
"""Some 60 kB each."""
RestsOn = Callable[..., Hashable]


def new_token() -> str:
    """An id for an act that a form will send, so that sending it twice writes once; a hole while a page is kept."""
    return _PAGE if _KEEPING.get() else secrets.token_hex(5)


def holes(_: HttpRequest) -> dict[str, str]:
    """For every template: a hole for the token against forged forms, while a page is kept."""
    return {"csrf_token": _FORGERY} if _KEEPING.get() else {}


def kept_page(rests_on: RestsOn | None = None) -> "Callable[[View], View]":
    """Keep what a view that only looks answers. It is put below the doors: who may come in is asked every time.

    Args:
        rests_on: given the seat and the parts of the address, what the page rests on beside the record, the settings, the
            person, the minute and the address; None where the page must be drawn anew now.
    """

    def around(view: "View") -> "View":
        @wraps(view)
        def inner(request: HttpRequest, seat: "Seat", *args: Any, **kwargs: Any) -> HttpResponse:
            more = rests_on(seat, *args, **kwargs) if rests_on is not None else ()
            if more is None or request.method != "GET" or request.headers.get("HX-Request"):
                return view(request, seat, *args, **kwargs)
            key = (view.__module__, view.__name__, request.get_full_path(), *_footing(seat), more)
            found = _PAGES.get(key)
            if found is None:
                response = _drawn(view, request, seat, *args, **kwargs)
                if response.status_code != 200 or response.cookies:
                    response.content = fill(response.content.decode(), request, secrets.token_hex(5))
                    return response
                found = _PAGES[key] = response.content.decode()
                while len(_PAGES) > _MOST_PAGES:
                    _PAGES.popitem(last=False)
            return HttpResponse(fill(found, request, secrets.token_hex(5)))

        return inner

    return around


def forget() -> None:
    """Draw every page anew."""
    _PAGES.clear()


def _footing(seat: "Seat") -> tuple[Hashable, ...]:
    here = seat.home.calendar.at_home(seat.now)
    opened = seat.opened
    return (
        seat.household,
        seat.person,
        opened.link,
        opened.head,
        opened.calls,
        seat.home.stamp,
        f"{here:%Y%m%d%H%M}",
        get_language(),
    )


def _drawn(view: "View", request: HttpRequest, seat: "Seat", *args: Any, **kwargs: Any) -> HttpResponse:
    """Draw a page with its holes open."""
    before = _KEEPING.set(True)
    try:
        return view(request, seat, *args, **kwargs)
    finally:
        _KEEPING.reset(before)
