"""Pieces of pages that are drawn once for each frozen value and kept.

The same template and the same value give the same bytes; only two things differ from answer to answer: the token
against forged forms and the token of the page. A kept piece has a hole for each, filled when the answer goes out.
The holes are named by chance at every start, so that nothing a person typed can be one.
"""

import secrets
from collections import OrderedDict
from collections.abc import Hashable

from django.http import HttpRequest
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

_FORGERY = f"forgery{secrets.token_hex(16)}"
_PAGE = f"page{secrets.token_hex(16)}"
_KEPT: OrderedDict[tuple[str, Hashable, Hashable], SafeString] = OrderedDict()
_MOST = 4096


def piece(template: str, value: Hashable, also: Hashable = None) -> SafeString:
    """A template drawn for a value, and for one more where it needs one."""
    key = (template, value, also)
    kept = _KEPT.get(key)
    if kept is None:
        context = {"it": value, "also": also, "csrf_token": _FORGERY, "page_token": _PAGE}
        kept = _KEPT[key] = SafeString(render_to_string(template, context).strip())
        while len(_KEPT) > _MOST:
            _KEPT.popitem(last=False)
    return kept


def fill(html: str, request: HttpRequest, page_token: str) -> str:
    """Fill the holes of one answer."""
    return html.replace(_FORGERY, get_token(request)).replace(_PAGE, page_token)
