"""`markstead quiz card`: the rule of an oral quiz on paper, before it is held or while it is under way."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from markstead.cli.estimate import A_COPY, labels_of
from markstead.cli.house import House, folder_of, open_house, wake
from markstead.cli.options import CLOCK, JSON, Asked, command
from markstead.errors import InputError, Problem
from markstead.speech import say

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.measure.oral import Candidate, QuizRule
    from markstead.records.quizzes import UnderWay

TRUTHS = (0.6, 0.7, 0.8, 0.85, 0.9)
"""Probabilities of a right answer at which the card's operating characteristic is told."""
NO_COPY = dict.fromkeys(("copy", "learner", "workbook", "stop", "under_way"))

app = typer.Typer(no_args_is_help=True, help="The oral quiz: its rule as a card.")


@command(app, "card", CLOCK)
def card(
    asked: Asked,
    *,
    copy: Annotated[
        str | None,
        typer.Argument(metavar="COPY", help=f"The copy to be asked about: {A_COPY} Default: any copy."),
    ] = None,
    stop: Annotated[
        str | None,
        typer.Option(
            "--stop",
            metavar="STOP",
            help="A marking stop: section-3, check-1 or practice-test. Default: everything marked up to now.",
        ),
    ] = None,
    prior: Annotated[
        float | None,
        typer.Option(
            "--prior",
            metavar="NUMBER",
            help="How likely it is learnt, from 0 to 1. Default: what the marks of the copy say, else 0.5.",
        ),
    ] = None,
    as_json: JSON = False,
) -> None:
    """Print the rule of an oral quiz as a card: when it may end, how often it is wrong, and what to ask."""
    if prior is not None and not 0 <= prior <= 1:  # also refuses nan
        raise InputError([Problem("--prior", f"{prior:g}", say("a number from 0 to 1"))])
    if copy is None:
        if stop is not None:
            raise InputError([Problem("--stop", repr(stop), say("nothing, where no copy is named"))])
        wake(folder_of(asked))  # no home need be there; what prints knows the models
        from markstead.measure.oral import DEFAULT_RULE

        tell_card(0.5 if prior is None else prior, DEFAULT_RULE, "", (), NO_COPY, as_json=as_json)
        return
    house = open_house(asked)
    from markstead.cli import render, render_estimates
    from markstead.measure import oral
    from markstead.records import estimates, queries
    from markstead.rules.ruling import stop_words

    id_ = queries.find_copy(house.household, copy)
    label = labels_of(house, [id_])[id_]
    desk = estimates.quiz_desk(house.home, quiz_of(house, id_, stop))
    used = desk.prior if prior is None else prior
    verdicts = [answer.right for answer in desk.quiz.answers]
    under_way = render_estimates.live(oral.live(verdicts, used, desk.rule)) if verdicts else None
    about = {
        "copy": {"id": id_, "label": label},
        "learner": render.person(desk.learner),
        "workbook": render.workbook(desk.workbook),
        "stop": stop,
        "under_way": under_way,
    }
    scope = f", {stop_words(stop)}" if stop else ""
    heading = f"{desk.learner.name}, {label}: {desk.workbook.title}{scope}"
    if under_way is not None:
        heading += say(
            "\n{right} right, {wrong} wrong. {sentence}",
            right=under_way["right"],
            wrong=under_way["wrong"],
            sentence=under_way["sentence"],
        )
    left = max(0, desk.rule.most - len(desk.quiz.answers))
    tell_card(used, desk.rule, heading, desk.ahead, about, left=left, as_json=as_json)


def quiz_of(house: House, copy: str, stop: str | None) -> "UnderWay":
    """The quiz of this copy and stop that was begun on a screen, or one as it would be today."""
    from markstead.records import quizzes

    for kept in quizzes.under_way(house.household, copy=copy):
        if kept.stop == stop:
            return kept
    day = house.home.calendar.day_of(house.now)
    # Named by its day, so that the card printed twice on a day has the same questions.
    return quizzes.UnderWay(f"card {copy} {stop} {day}", copy, stop, house.now, "")


def tell_card(
    prior: float,
    rule: "QuizRule",
    heading: str,
    plan: "tuple[Candidate, ...]",
    about: Mapping[str, Any],
    *,
    left: int = 0,
    as_json: bool,
) -> None:
    """Print a card; `left` questions of the plan come next, the others are in reserve."""
    from markstead.cli import render, render_estimates, show_estimates
    from markstead.measure import oral

    made = oral.card(prior, rule)
    does = [oral.operating(p, prior, rule) for p in TRUTHS]
    if as_json:
        questions = [render_estimates.question(q, place, left) for place, q in enumerate(plan)]
        print(render.text({**about, **render_estimates.quiz_card(made, rule, does), "questions": questions}))
    else:
        show_estimates.quiz_card(made, does, heading, plan, left)
