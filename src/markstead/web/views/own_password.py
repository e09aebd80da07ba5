"""One's own password, and the way out."""

from typing import Any

from django.contrib.auth import authenticate, update_session_auth_hash
from django.contrib.auth.views import LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from markstead.errors import InputError
from markstead.records import passwords
from markstead.web.seat import Seat, seated_with_any_password

FORGET = '"cache", "storage"'
"""What a browser is asked to forget at the sign-out (https and this machine only, by the standard of the header)."""


class SignOut(LogoutView):
    """The way out: the browser is asked to forget what it keeps of the house."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response: HttpResponse = super().dispatch(request, *args, **kwargs)
        response["Clear-Site-Data"] = FORGET
        return response


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
@seated_with_any_password
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Change it: the one that holds, and a new one twice."""
    problems: list[str] = []
    if request.method == "POST":
        now, new, again = (request.POST.get(name, "") for name in ("now", "new", "again"))
        name = request.user.get_username()
        # Through the door's own counting: wrong tries here shut it as they do there.
        found = authenticate(request, username=name, password=now)
        try:
            passwords.choose_own(
                request.user,  # type: ignore[arg-type]  # somebody is signed in
                now=now,
                new=new,
                again=again,
                right=found is not None and found.pk == request.user.pk,
            )
        except InputError as error:
            problems = [str(problem) for problem in error.problems]
        else:
            update_session_auth_hash(request, request.user)  # type: ignore[arg-type]
            return redirect(f"{reverse('password')}?said=changed")
    context = {
        "problems": problems,
        "changed": request.GET.get("said") == "changed",
        "made": seat.made,
        "username": request.user.get_username(),
        "person": seat.person,
        "home": seat.home,
        "here": "settings" if seat.person.role == "educator" else "",
    }
    return render(request, "password.html", context, status=409 if problems else 200)
