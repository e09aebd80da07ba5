"""The tag by which a page names the rooms whose own sheet it wants beside the one that all pages share."""

from django import template
from django.templatetags.static import static
from django.utils.html import format_html_join
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_tag
def rooms(*names: str) -> SafeString:
    """The sheets of some rooms."""
    return format_html_join(
        "", '<link rel="stylesheet" href="{}">', [(static(f"markstead/{name}.css"),) for name in names]
    )
