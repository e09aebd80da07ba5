"""`markstead items`: what many learners' answers say about the questions of a test."""

import csv
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from markstead.cli import typed
from markstead.cli.house import folder_of, open_house, wake
from markstead.cli.options import JSON, Asked, command
from markstead.errors import InputError, Problem
from markstead.speech import counted, plural, say

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.measure.answers import Answers
    from markstead.records.home import Home
    from markstead.records.item_reads import FirstAnswers

LEAST_FOR_SLOPES = 200
"""Learners from which a slope for each question is fitted: with fewer the errors are as large as the differences."""


def add_to(app: typer.Typer) -> None:
    """Register the command."""

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
            allowed = say("one of: a workbook, --responses, --difficulties")
            raise InputError([Problem(say("items"), say("none or several"), allowed)])
        if test is not None and workbook is None:
            raise InputError([Problem("--test", repr(test), say("nothing, where no workbook is named"))])
        if responses is not None:
            names, answers = read_responses(responses)
            wake(folder_of(asked))  # no home need be there; what prints knows the models
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


def read_responses(path: Path) -> "tuple[list[str], Answers]":
    """Read a CSV file of answers: names of the questions, and a table (learners, questions) of 1, 0 and -1.

    Raises:
        InputError: the file cannot be read, or holds anything else; the first problems are named.
    """
    text = typed.text_of(path, "--responses").lstrip("\ufeff")
    try:
        rows = [(n, row) for n, row in enumerate(csv.reader(text.splitlines()), start=1) if row]
    except csv.Error as error:
        raise InputError([Problem(path.name, str(error), say("a CSV file"))]) from error
    if len(rows) < 2:
        allowed = say("a header row with the name of each question, and a row for each learner")
        raise InputError(
            [Problem(path.name, say("rows with anything in them: {rows}", rows=len(rows)), allowed)]
        )
    (first, header), *lines = rows
    names = [name.strip() for name in header]
    if "" in names or len(set(names)) < len(names):  # also where the header row was forgotten
        allowed = say("a header row with a name of its own for each question")
        raise InputError(
            [
                Problem(
                    say("{name}, row {first}", name=path.name, first=first), repr(",".join(header)), allowed
                )
            ]
        )
    problems = []
    values = {"1": 1, "0": 0, "": -1}
    table = []
    for number, row in lines:
        if len(row) != len(names):
            allowed = say("{cells}, as in the header row", cells=len(names))
            problems.append(
                Problem(
                    say("{name}, row {number}", name=path.name, number=number),
                    say("{cells} cells", cells=len(row)),
                    allowed,
                )
            )
            continue
        for name, cell in zip(names, row, strict=True):
            if cell.strip() not in values:
                where = say(
                    "{name}, row {number}, column {column}", name=path.name, number=number, column=name
                )
                problems.append(
                    Problem(where, repr(cell), say("1 (right), 0 (wrong) or nothing (not asked)"))
                )
        table.append([values.get(cell.strip(), -1) for cell in row])
    if problems:
        raise InputError(problems[:20])
    import numpy as np

    return names, np.array(table, dtype=np.int8)


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
    return counts | dict.fromkeys(nothing) | {"sentence": say("Nobody's answers are known."), "items": []}


def from_words(found: "FirstAnswers | None") -> list[str]:
    """Whose answers were counted, and whose could not be."""
    if found is None:
        return []
    count, homes = len(found.answers), found.homes
    if not count:
        lines = [
            say("{code}, {test}: nobody's answers are known.", code=found.workbook.code, test=say(found.test))
        ]
    else:
        people = plural(count, "learner")
        whose = say("{people} of {homes}", people=people, homes=plural(homes, "home"))
        lines = [
            say(
                "{code}, {test}: first answers of {whose}.",
                code=found.workbook.code,
                test=say(found.test),
                whose=whose,
            )
        ]
    if found.left_out:
        lines.append(
            counted(
                found.left_out,
                "{n} learner is not counted: which answers were wrong is not known, or the paper had other questions.",
                "{n} learners are not counted: which answers were wrong is not known, or the paper had other questions.",
            )
        )
    return lines


def curve_words(learners: int, fits: dict[str, Any]) -> list[str]:
    """Which curves were fitted, and why others were not."""
    from markstead.measure.items import LEAST_LEARNERS

    lines = []
    if fits["rasch"] is None:
        lines.append(
            say(
                "Too few learners ({learners}) to put the questions on one scale: it takes {least_learners}.",
                learners=learners,
                least_learners=LEAST_LEARNERS,
            )
        )
    if fits["two_pl"] is None:
        lines.append(
            say(
                "Too few learners ({learners}) for a slope of each question: it takes {least_for_slopes}.",
                learners=learners,
                least_for_slopes=LEAST_FOR_SLOPES,
            )
        )
    if fits["rasch"] is not None and not fits["rasch"].converged:
        lines.append(
            say(
                "The difficulties are not those of the highest likelihood: {outcome}.",
                outcome=say(fits["rasch"].outcome),
            )
        )
    if fits["two_pl"] is not None and not fits["two_pl"].converged:
        lines.append(
            say(
                "The slopes are not those of the highest likelihood: {outcome}.",
                outcome=say(fits["two_pl"].outcome),
            )
        )
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
