"""The tag by which a template puts in a piece that is drawn once and kept."""

from collections.abc import Hashable

from django import template
from django.utils.safestring import SafeString

from markstead.web import kept

register = template.Library()


@register.simple_tag
def piece(name: str, value: Hashable, also: Hashable = None) -> SafeString:
    """Draw a template for a frozen value, or take the kept one."""
    return kept.piece(name, value, also)
