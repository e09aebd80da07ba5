"""The way to this house for another device: its address as the browser knows it, and a code for a camera."""

from dataclasses import dataclass
from ipaddress import ip_address

from django.http import HttpRequest
from django.urls import reverse
from django.utils.safestring import SafeString


@dataclass(frozen=True, slots=True)
class WayIn:
    """Where a tablet finds the house."""

    address: str
    picture: SafeString
    """An SVG of attributes alone."""
    secure: bool


def _alone(host: str) -> bool:
    """Whether a name or address means the machine itself: no other device gets there by it."""
    name = host.rpartition(":")[0] if not host.endswith("]") and ":" in host else host
    name = name.strip("[]")
    try:
        return ip_address(name).is_loopback
    except ValueError:
        return name == "localhost" or name.endswith(".localhost")


def way_in(request: HttpRequest) -> WayIn | None:
    """The way for a tablet; None where the house is open to this machine alone."""
    if _alone(request.get_host()):
        return None
    import segno

    address = request.build_absolute_uri(reverse("tablet"))
    code = segno.make(address, error="m", micro=False)
    # Dark on light in both themes: few cameras read it the other way round.
    drawn = code.svg_inline(border=3, light="#fff", omitsize=True, svgclass=None, lineclass=None)
    return WayIn(address, SafeString(drawn), request.is_secure())
