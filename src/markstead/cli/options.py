"""Options that many commands take, told once: before the command's name or after it, as a person likes."""

import inspect
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import wraps
from pathlib import Path
from typing import Annotated, Any

import typer

HOME = Annotated[
    Path | None,
    typer.Option(
        "--home",
        metavar="DIR",
        help="The home folder. Default: MARKSTEAD_HOME, else where the system keeps a user's data.",
    ),
]
HOUSEHOLD = Annotated[
    str | None,
    typer.Option("--household", metavar="ID", help="Which household, where the record holds several."),
]
NOW = Annotated[
    str | None,
    typer.Option(
        "--now",
        metavar="MOMENT",
        help="Take this as the present moment: 2026-01-27T10:15 on the kitchen clock, or with an offset.",
    ),
]
TODAY = Annotated[
    str | None,
    typer.Option(
        "--today", metavar="DAY", help="Take this as today, at the present time of day: 2026-01-27."
    ),
]
BY = Annotated[
    str | None,
    typer.Option(
        "--by", metavar="PERSON", help="Who acts, by key. Needed unless the home has exactly one educator."
    ),
]
AT = Annotated[
    str | None,
    typer.Option(
        "--at",
        metavar="MOMENT",
        help="When it happened: 09:40 for today, or as for --now. Default: the present moment.",
    ),
]
OVERRIDE = Annotated[
    str | None,
    typer.Option(
        "--override", metavar="REASON", help="Pass the bars that are rules, as an educator, and say why."
    ),
]
SLIP = Annotated[
    str | None,
    typer.Option("--slip", metavar="ID", help="Your own id for this act: given twice, it is written once."),
]
PAPER = Annotated[
    str | None,
    typer.Option("--paper", metavar="PAPER", help="a4 or us-letter. Default: as the country has it."),
]
JSON = Annotated[bool, typer.Option("--json", help="Print plain JSON.")]

PLACE = {"home": HOME, "household": HOUSEHOLD}
CLOCK = {"now": NOW, "today": TODAY}
ACT = {"by": BY, "at": AT, "override": OVERRIDE, "slip": SLIP}


@dataclass(frozen=True, slots=True)
class Asked:
    """What was given of the options that many commands take."""

    home: Path | None = None
    household: str | None = None
    now: str | None = None
    today: str | None = None
    by: str | None = None
    at: str | None = None
    override: str | None = None
    slip: str | None = None


def command(
    app: typer.Typer, name: str, *groups: dict[str, Any]
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Register a function whose first parameter is the `Asked` that it is given, under a command's name."""
    extra = {option: annotation for group in (PLACE, *groups) for option, annotation in group.items()}

    def register(function: Callable[..., None]) -> Callable[..., None]:
        _, *own = inspect.signature(function, eval_str=True).parameters.values()

        @wraps(function)
        def run(*, ctx: typer.Context, **given: Any) -> None:
            here = {option: given.pop(option) for option in extra}
            told = {option: value for option, value in here.items() if value is not None}
            function(replace(ctx.find_root().obj, **told), **given)

        # Typer reads a command's options from its signature; the shared ones are added to the function's own.
        keyword = inspect.Parameter.KEYWORD_ONLY
        parameters = [
            inspect.Parameter("ctx", keyword, annotation=typer.Context),
            *(parameter.replace(kind=keyword) for parameter in own),
            *(inspect.Parameter(option, keyword, default=None, annotation=a) for option, a in extra.items()),
        ]
        run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
        run.__annotations__ = {p.name: p.annotation for p in parameters}
        app.command(name)(run)
        return function

    return register
