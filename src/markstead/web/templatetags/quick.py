"""The tag by which a page puts in the quick line."""

from typing import Any

from django import template
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from markstead.web.quick_line_page import may_write, quick_field

register = template.Library()


@register.simple_tag(takes_context=True)
def quick_line(context: Any, back: str, learner: str = "", copy: str = "") -> SafeString | str:
    """The quick line for this page; nothing for those who may not write."""
    person = context.get("person")
    if person is None or not may_write(person):
        return ""
    field = quick_field(context["request"], context["home"], back=back, learner=learner, copy=copy)
    return render_to_string("parts/quick_field.html", {"field": field, "person": person}, context["request"])
