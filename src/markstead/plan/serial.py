"""Problems and plans as JSON text, so that a home can keep them and another process can work on them."""

import json
from dataclasses import asdict, fields
from datetime import date
from typing import Any

from markstead.plan.answer import Answer, Outcome, empty, write_out
from markstead.plan.problem import Fixed, LearnerLimits, Points, Problem, Stream, Target, WorkbookToDo
from markstead.speech import read_sentence, write_sentence

VERSION = 1


def write_problem(problem: Problem) -> str:
    """Write a problem so that it reads back equal."""
    return json.dumps(
        {
            "version": VERSION,
            "days": [day.isoformat() for day in problem.days],
            "learners": [
                {"learner": one.learner, "soft": one.soft, "hard": one.hard, "here": _bits(one.here)}
                for one in problem.learners
            ],
            "streams": [_stream(stream) for stream in problem.streams],
            "watched": problem.watched,
            "targets": [[t.learner, t.course, t.workbook, t.day] for t in problem.targets],
            "reserve": problem.reserve,
            "sittings_a_learner": problem.sittings_a_learner,
            "next_same_day": problem.next_same_day,
            "points": asdict(problem.points),
        },
        ensure_ascii=False,
        separators=(",", ":"),
    )


def read_problem(text: str) -> Problem:
    """Read a problem that was written.

    Raises:
        ValueError: the text was written by another version, or is no problem.
    """
    kept = json.loads(text)
    if kept.get("version") != VERSION:
        raise ValueError(f"a problem of version {kept.get('version')}; wanted is {VERSION}")
    return Problem(
        days=tuple(date.fromisoformat(day) for day in kept["days"]),
        learners=tuple(
            LearnerLimits(one["learner"], tuple(one["soft"]), tuple(one["hard"]), _flags(one["here"]))
            for one in kept["learners"]
        ),
        streams=tuple(_read_stream(stream) for stream in kept["streams"]),
        watched=tuple(kept["watched"]),
        targets=tuple(Target(*target) for target in kept["targets"]),
        reserve=kept.get("reserve", 0),
        sittings_a_learner=kept["sittings_a_learner"],
        next_same_day=kept["next_same_day"],
        points=Points(**kept["points"]),
    )


def write_answer(answer: Answer) -> str:
    """Write a plan: its paths and how good it is. Goals, cost and targets follow from them."""
    return json.dumps(
        {
            "version": VERSION,
            "outcome": str(answer.outcome),
            "places": answer.places,
            "seed": answer.seed,
            "within_percent": answer.within_percent,
            "reason": write_sentence(answer.reason),
        },
        ensure_ascii=False,
        separators=(",", ":"),
    )


def read_answer(text: str, problem: Problem) -> Answer:
    """Read a plan that was written for this problem.

    Raises:
        ValueError: the text was written by another version, or does not fit the problem.
    """
    kept = json.loads(text)
    if kept.get("version") != VERSION:
        raise ValueError(f"a plan of version {kept.get('version')}; wanted is {VERSION}")
    outcome = Outcome(kept["outcome"])
    if not kept["places"]:
        return empty(outcome, kept["seed"], read_sentence(kept["reason"]))
    return write_out(problem, kept["places"], outcome, kept["seed"], kept["within_percent"])


def _bits(flags: tuple[bool, ...]) -> str:
    return "".join("1" if flag else "0" for flag in flags)


def _flags(bits: str) -> tuple[bool, ...]:
    return tuple(bit == "1" for bit in bits)


def _stream(stream: Stream) -> dict[str, Any]:
    kept = {
        f.name: getattr(stream, f.name)
        for f in fields(Stream)
        if f.name not in ("workbooks", "taught", "fixed", "_starts")
    }
    return kept | {
        "workbooks": [asdict(book) for book in stream.workbooks],
        "taught": _bits(stream.taught),
        "fixed": [[fixed.day, fixed.place] for fixed in stream.fixed],
    }


def _read_stream(kept: dict[str, Any]) -> Stream:
    books = tuple(WorkbookToDo(**(b | {"section_ends": tuple(b["section_ends"])})) for b in kept["workbooks"])
    return Stream(
        **(
            kept
            | {
                "workbooks": books,
                "taught": _flags(kept["taught"]),
                "announced": tuple(kept["announced"]),
                "fixed": tuple(Fixed(*fixed) for fixed in kept["fixed"]),
            }
        )
    )
