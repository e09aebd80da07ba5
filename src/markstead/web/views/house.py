"""Settings: the programme's rules and what a failed test costs. A change is looked at first, and then saved."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from markstead.errors import InputError, MarksteadError, StaleError
from markstead.records import house_rules, setup
from markstead.speech import say
from markstead.web.seat import Seat
from markstead.web.settings_page import TypedRules, settings_page
from markstead.web.views.doors import taught


def _shown(request: HttpRequest, seat: Seat, status: int = 200, **more: Any) -> HttpResponse:
    page = settings_page(
        seat.home,
        house_rules.rules_of(seat.household),
        versions=house_rules.versions(seat.household, "programme"),
        **more,
    )
    context = {
        "page": page,
        "person": seat.person,
        "home": seat.home,
        "here": "settings",
        "sheet": "rules",
        "home_language": seat.home.language,
    }
    return render(request, "settings.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@taught
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The rules; a POST says what it would change, and saves nothing until that was seen."""
    if request.method != "POST":
        return _shown(request, seat, saved=request.GET.get("saved", ""))
    typed = TypedRules(request.POST.dict())
    try:
        tried = house_rules.try_rules(seat.household, typed.values(), typed.aids())
    except InputError as error:
        return _shown(request, seat, 409, typed=typed, problems=typed.place(error.problems))
    if not tried.changed:
        return _shown(
            request, seat, typed=typed, problems=[say("Nothing is different from what holds already.")]
        )
    if request.POST.get("sure") == "yes":
        return _save(request, seat, typed)
    return _looked(request, seat, typed)


def _looked(
    request: HttpRequest, seat: Seat, typed: TypedRules, problems: Sequence[str] = (), status: int = 200
) -> HttpResponse:
    tried = house_rules.try_rules(seat.household, typed.values(), typed.aids())
    effects = house_rules.effects(seat.home, tried.programme, seat.now)
    return _shown(request, seat, status, typed=typed, effects=effects, looking=True, problems=problems)


def _save(request: HttpRequest, seat: Seat, typed: TypedRules) -> HttpResponse:
    try:
        house_rules.set_rules(
            seat.household,
            typed.values(),
            typed.aids(),
            stamp=request.POST.get("stamp", ""),
            at=seat.now,
        )
    except StaleError as error:
        return _looked(request, seat, typed, [str(error)], 409)
    return redirect(f"{reverse('settings')}?saved=rules")


@require_POST
@taught
def costs(request: HttpRequest, seat: Seat) -> HttpResponse:
    """What a failed test and a hold day cost."""
    typed = {name: request.POST.get(name, "").strip() for name in ("failed_test_costs", "hold_day_costs")}
    wrong: dict[str, str] = {}
    values = {name: _number(typed, name, wrong) for name in typed}
    if not wrong:
        try:
            setup.set_costs(seat.household, **values)
        except MarksteadError as error:
            for problem in error.problems if isinstance(error, InputError) else ():
                wrong[problem.key] = say(
                    "{found} stands here; wanted is {allowed}.", found=problem.found, allowed=problem.allowed
                )
        else:
            return redirect(f"{reverse('settings')}?saved=costs#costs")
    return _shown(request, seat, 409, costs=typed, wrong_costs=wrong)


def _number(typed: Mapping[str, str], name: str, wrong: dict[str, str]) -> float | None:
    text = typed[name].replace(",", ".")
    whole, _, part = text.partition(".")
    if text.isascii() and len(text) <= 9 and whole.isdecimal() and (part.isdecimal() or not part):
        return float(text)
    wrong[name] = say("A number of school days is wanted here, such as 8 or 1.5.")
    return None
