"""Commands that estimate: readiness, quiz card, spot, pace, review, items, costs. None of them writes a fact."""

import csv
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from markstead.cli import typed
from markstead.cli.house import House, open_house
from markstead.cli.options import CLOCK, JSON, Asked, command
from markstead.errors import InputError, Problem

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.measure.answers import Answers
    from markstead.measure.items import TestReading
    from markstead.measure.oral import Candidate, QuizRule
    from markstead.records.home import Home, Somebody
    from markstead.records.item_reads import FirstAnswers

LEARNER = Annotated[str, typer.Argument(metavar="LEARNER", help="The learner, by key.")]
A_COPY = "its id, its label, or the code of a workbook with one copy that is not done with."

TRUTHS = (0.6, 0.7, 0.8, 0.85, 0.9)
"""Probabilities of a right answer at which the card's operating characteristic is told."""
LEAST_FOR_SLOPES = 200
"""Learners from which a slope for each question is fitted: with fewer the errors are as large as the differences."""

quiz_app = typer.Typer(no_args_is_help=True, help="The oral quiz: its rule as a card.")


def learner_of(house: House, wanted: str) -> "Somebody":
    """A learner of the home, by key or id.

    Raises:
        InputError: nobody has that key, or somebody who is no learner.
    """
    found = house.home.person(wanted)
    if found not in house.home.learners:
        keys = ", ".join(p.key for p in house.home.learners) or "nobody yet"
        raise InputError([Problem("learner", f"{found.key}, of the {found.role}s", f"one of {keys}")])
    return found


def labels_of(house: House, copies: Iterable[str]) -> dict[str, str]:
    from markstead.records import queries

    return queries.copy_labels(house.household, set(copies))


def one_copy(house: House, learner: str | None, copy: str, *, as_json: bool) -> None:
    """Tell everything estimated about one workbook in hand."""
    from markstead.cli import render, render_estimates, show_estimates
    from markstead.records import estimates, queries

    who = learner_of(house, learner) if learner is not None else None
    id_ = queries.find_copy(house.household, copy)
    found = estimates.close(house.home, id_)
    label = labels_of(house, [id_])[id_]
    if found is None:
        allowed = "a copy that a learner has in hand, with its unit test still to come"
        raise InputError([Problem("copy", label, allowed)])
    holder = house.home.person(found.learner)
    if who is not None and who.id != holder.id:
        raise InputError([Problem("copy", f"{label}, which {holder.key} has", f"a copy that {who.key} has")])
    if as_json:
        print(render.text(render_estimates.close(found, label, house.home)))
    else:
        show_estimates.close(found, label, house.home)


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @command(app, "readiness", CLOCK)
    def readiness(
        asked: Asked,
        *,
        learner: Annotated[
            str | None, typer.Argument(metavar="LEARNER", help="The learner, by key. Default: all learners.")
        ] = None,
        copy: Annotated[
            str | None,
            typer.Option(
                "--copy", metavar="COPY", help=f"One copy, with its history and objectives: {A_COPY}"
            ),
        ] = None,
        as_json: JSON = False,
    ) -> None:
        """Estimate how likely each workbook in hand passes its unit test tomorrow, and whether a hold pays."""
        house = open_house(asked)
        if copy is not None:
            one_copy(house, learner, copy, as_json=as_json)
            return
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import estimates

        who = (learner_of(house, learner),) if learner is not None else house.home.learners
        everybody = [(person, estimates.readings_of_learner(house.home, person.id)) for person in who]
        labels = labels_of(house, (copy for _, readings in everybody for copy in readings))
        if as_json:
            plain = [render_estimates.learner_readiness(p, r, labels, house.home) for p, r in everybody]
            print(render.text({"learners": plain, "costs": render_estimates.costs(house.home)}))
        else:
            show_estimates.readiness(everybody, labels, house.home)

    app.add_typer(quiz_app, name="quiz")

    @command(app, "spot", CLOCK)
    def spot(asked: Asked, *, learner: LEARNER, as_json: JSON = False) -> None:
        """Draw by lot which of a learner's latest ticks to mark again, and say what that rests on."""
        house = open_house(asked)
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import estimates

        who = learner_of(house, learner)
        found = estimates.spot(house.home, who.id)
        told = estimates.spot_line(house.home, estimates.marks_of_learner(house.household, who.id), found)
        labels = labels_of(house, (tick.copy for tick in found.ticks))
        notes = estimates.private_notes(found)
        if as_json:
            print(render.text(render_estimates.spot(who, found, labels, told.titles, notes)))
        else:
            show_estimates.spot(who, found, labels, told.titles, notes)

    @command(app, "pace", CLOCK)
    def pace(asked: Asked, *, learner: LEARNER, as_json: JSON = False) -> None:
        """Estimate the pace of a learner in each course, and the school days to the last page in hand."""
        house = open_house(asked)
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import estimates

        who = learner_of(house, learner)
        found = estimates.pace(house.home, who, house.now)
        labels = labels_of(house, (course.copy for course in found if course.copy is not None))
        if as_json:
            courses = [render_estimates.course_pace(course, labels, house.home) for course in found]
            print(render.text({"learner": render.person(who), "courses": courses}))
        else:
            show_estimates.pace(who, found, labels, house.home)

    @command(app, "review", CLOCK)
    def review(
        asked: Asked,
        *,
        learner: LEARNER,
        minutes: Annotated[
            int,
            typer.Option("--minutes", metavar="NUMBER", min=0, max=240, help="Minutes to spend on it."),
        ] = 5,
        as_json: JSON = False,
    ) -> None:
        """Choose what to ask a learner today of what was learnt before: what is most likely forgotten first."""
        house = open_house(asked)
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import estimates

        who = learner_of(house, learner)
        marks = estimates.marks_of_learner(house.household, who.id)
        day_of = house.home.calendar.day_of
        latest = max((day_of(m.last) for m in marks if m.last is not None), default=None)
        if latest is not None and latest > day_of(house.now):
            allowed = f"a day from {latest.isoformat()} on, that of the latest mark"
            raise InputError([Problem("today", day_of(house.now).isoformat(), allowed)])
        found = estimates.review(house.home, who.id, house.now, minutes)
        lines, _ = estimates.review_lines(house.home, marks, found)
        if as_json:
            labels = labels_of(house, (line.copy for line in lines))
            print(render.text(render_estimates.review(who, found, lines, labels)))
        else:
            show_estimates.review(who, found, lines)

    @command(app, "items")
    def items(
        asked: Asked,
        *,
        workbook: Annotated[
            str | None, typer.Argument(metavar="WORKBOOK", help="The code of a workbook.")
        ] = None,
        test: Annotated[
            str | None,
            typer.Option(
                "--test",
                metavar="TEST",
                help="Which test of it: unit-test, practice-test, section-3 or check-1. Default: unit-test.",
            ),
        ] = None,
        responses: Annotated[
            Path | None,
            typer.Option(
                "--responses",
                metavar="FILE",
                help="Answers in a CSV file instead: a header row, then 1, 0 or nothing (not asked) for each question.",
            ),
        ] = None,
        difficulties: Annotated[
            bool, typer.Option("--difficulties", help="How hard the unit test of each workbook is instead.")
        ] = False,
        as_json: JSON = False,
    ) -> None:
        """Tell what the first answers of all learners of all homes say about the questions of a test."""
        if sum((workbook is not None, responses is not None, difficulties)) != 1:
            allowed = "one of: a workbook, --responses, --difficulties"
            raise InputError([Problem("items", "none or several", allowed)])
        if test is not None and workbook is None:
            raise InputError([Problem("--test", repr(test), "nothing, where no workbook is named")])
        if responses is not None:
            names, answers = read_responses(responses)
            tell_items(answers, names, [""] * len(names), None, as_json=as_json)
            return
        house = open_house(asked)
        from markstead.records import item_reads

        if workbook is not None:
            found = item_reads.first_answers(house.home, workbook, test or item_reads.UNIT_TEST)
            numbers = [str(n + 1) for n in range(found.answers.shape[1])]
            tell_items(found.answers, numbers, found.about, found, as_json=as_json)
        else:
            tell_difficulties(house.home, as_json=as_json)

    @command(app, "costs", CLOCK)
    def costs(
        asked: Asked,
        *,
        failed_test: Annotated[
            float | None,
            typer.Option("--failed-test", metavar="DAYS", help="School days that a failed unit test costs."),
        ] = None,
        hold_day: Annotated[
            float | None,
            typer.Option(
                "--hold-day", metavar="DAYS", help="School days that one day of review before a test costs."
            ),
        ] = None,
        as_json: JSON = False,
    ) -> None:
        """Show or set what a failed unit test and a hold day cost this home; the advice to sit or hold goes by it."""
        house = open_house(asked)
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import setup

        home = house.home
        if failed_test is not None or hold_day is not None:
            home = setup.set_costs(house.household, failed_test_costs=failed_test, hold_day_costs=hold_day)
        if as_json:
            print(render.text(render_estimates.costs(home)))
        else:
            show_estimates.costs(home)


# --- the card of an oral quiz -----------------------------------------------------------------------------------


@command(quiz_app, "card", CLOCK)
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
        raise InputError([Problem("--prior", f"{prior:g}", "a number from 0 to 1")])
    if copy is None:
        if stop is not None:
            raise InputError([Problem("--stop", repr(stop), "nothing, where no copy is named")])
        from markstead.measure.oral import DEFAULT_RULE

        tell_card(0.5 if prior is None else prior, DEFAULT_RULE, "", (), {"copy": None}, as_json=as_json)
        return
    house = open_house(asked)
    from markstead.cli import render
    from markstead.records import estimates, queries

    id_ = queries.find_copy(house.household, copy)
    label = labels_of(house, [id_])[id_]
    desk = estimates.quiz_desk(house.home, quiz_of(house, id_, stop))
    used = desk.prior if prior is None else prior
    begun = bool(desk.quiz.answers)
    about = {
        "copy": {"id": id_, "label": label},
        "learner": render.person(desk.learner),
        "workbook": render.workbook(desk.workbook),
        "stop": stop,
        "under_way": begun,
    }
    heading = f"{desk.learner.name}, {label}: {desk.workbook.title}" + (f", {stop}" if stop else "")
    left = max(0, desk.rule.most - len(desk.quiz.answers))
    tell_card(used, desk.rule, heading, desk.ahead, about, left=left, as_json=as_json)


def quiz_of(house: House, copy: str, stop: str | None) -> Any:
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
    about: dict[str, Any],
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
        print(render.text(about | render_estimates.quiz_card(made, rule, does) | {"questions": questions}))
    else:
        show_estimates.quiz_card(made, does, heading, plan, left)


# --- items ------------------------------------------------------------------------------------------------------


def read_responses(path: Path) -> "tuple[list[str], Answers]":
    """Read a CSV file of answers: names of the questions, and a table (learners, questions) of 1, 0 and -1.

    Raises:
        InputError: the file cannot be read, or holds anything else; the first problems are named.
    """
    rows = [
        row for row in csv.reader(typed.text_of(path, "--responses").lstrip("\ufeff").splitlines()) if row
    ]
    if len(rows) < 2:
        allowed = "a header row with the name of each question, and a row for each learner"
        raise InputError([Problem(f"{path.name}", f"{len(rows)} rows", allowed)])
    names, *lines = rows
    problems = []
    values = {"1": 1, "0": 0, "": -1}
    table = []
    for number, row in enumerate(lines, start=2):
        if len(row) != len(names):
            allowed = f"{len(names)}, as in the header row"
            problems.append(Problem(f"{path.name}, row {number}", f"{len(row)} cells", allowed))
            continue
        for name, cell in zip(names, row, strict=True):
            if cell.strip() not in values:
                where = f"{path.name}, row {number}, column {name.strip()}"
                problems.append(Problem(where, repr(cell), "1 (right), 0 (wrong) or nothing (not asked)"))
        table.append([values.get(cell.strip(), -1) for cell in row])
    if problems:
        raise InputError(problems[:20])
    import numpy as np

    return [name.strip() for name in names], np.array(table, dtype=np.int8)


def tell_items(
    answers: "Answers",
    names: list[str],
    about: "tuple[str, ...] | list[str]",
    found: "FirstAnswers | None",
    *,
    as_json: bool,
) -> None:
    """Print what a table of answers says; where there are too few learners it says so."""
    from markstead.cli import render, render_estimates, show_estimates
    from markstead.measure.irt import rasch, two_pl
    from markstead.measure.items import LEAST_LEARNERS, read_items

    learners = len(answers)
    fits: dict[str, Any] = {"rasch": None, "two_pl": None}
    reading = read_items(answers) if learners else None
    if learners >= LEAST_LEARNERS:
        fits["rasch"] = rasch(answers)
    if learners >= LEAST_FOR_SLOPES:
        fits["two_pl"] = two_pl(answers)
    words = [*from_words(found), *curve_words(learners, fits)]
    if as_json:
        plain = {
            **render_estimates.where_from(found),
            **(render_estimates.item_reading(reading, names, about) if reading else no_answers(names)),
            "rasch": render_estimates.rasch(fits["rasch"]),
            "two_pl": render_estimates.two_pl(fits["two_pl"]),
            "notes": words,
        }
        print(render.text(plain))
    elif reading is None:
        for line in words:
            print(line)
    else:
        show_estimates.items(reading, names, about, fits, words)


def no_answers(names: list[str]) -> dict[str, Any]:
    """The keys of a reading where nobody's answers are known."""
    nothing = ("mean", "sd", "kr20", "kr20_range", "sem")
    counts = {"learners": 0, "questions": len(names), "complete": 0}
    return counts | dict.fromkeys(nothing) | {"sentence": "Nobody's answers are known.", "items": []}


def from_words(found: "FirstAnswers | None") -> list[str]:
    """Whose answers were counted, and whose could not be."""
    if found is None:
        return []
    count, homes = len(found.answers), found.homes
    if not count:
        lines = [f"{found.workbook.code}, {found.test}: nobody's answers are known."]
    else:
        people = "1 learner" if count == 1 else f"{count} learners"
        lines = [
            f"{found.workbook.code}, {found.test}: first answers of {people} of "
            f"{'1 home' if homes == 1 else f'{homes} homes'}."
        ]
    if found.left_out:
        whom = "1 learner is" if found.left_out == 1 else f"{found.left_out} learners are"
        lines.append(
            f"{whom} not counted: which answers were wrong is not known, or the paper had other questions."
        )
    return lines


def curve_words(learners: int, fits: dict[str, Any]) -> list[str]:
    """Which curves were fitted, and why others were not."""
    from markstead.measure.items import LEAST_LEARNERS

    lines = []
    if fits["rasch"] is None:
        lines.append(
            f"Too few learners ({learners}) to put the questions on one scale: it takes {LEAST_LEARNERS}."
        )
    if fits["two_pl"] is None:
        lines.append(
            f"Too few learners ({learners}) for a slope of each question: it takes {LEAST_FOR_SLOPES}."
        )
    for name, fit in (("difficulties", fits["rasch"]), ("slopes", fits["two_pl"])):
        if fit is not None and not fit.converged:
            lines.append(f"The {name} are not those of the highest likelihood: {fit.outcome}.")
    return lines


def tell_difficulties(home: "Home", *, as_json: bool) -> None:
    """Print how hard each unit test turned out."""
    from markstead.cli import render, render_estimates, show_estimates
    from markstead.records import item_reads

    found = item_reads.difficulties(home)
    if as_json:
        print(render.text(render_estimates.difficulties(found, home)))
    else:
        show_estimates.difficulties(found, home)
