"""Estimates as plain values for JSON: every number that the pages show. The names of the keys are kept stable."""

import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from markstead.cli.render import Plain, instant, person
from markstead.measure.irt import Rasch, TwoPL
from markstead.measure.items import TestReading
from markstead.measure.oral import Candidate, LiveQuiz, Operating, QuizCard, QuizRule
from markstead.measure.readiness import Readiness
from markstead.measure.readings import CopyReading, CoursePace, ReviewReading, SpotReading
from markstead.measure.sitting import SittingAdvice
from markstead.measure.spot import SpotRecord, slip_through, too_many
from markstead.records.estimates import Close, ReviewLine
from markstead.records.home import Home, Somebody
from markstead.records.item_reads import Difficulties, FirstAnswers


def day(value: date | None) -> str | None:
    return value.isoformat() if value is not None else None


def number(value: Any) -> float | None:
    """A number, or null where there is none: JSON knows no nan."""
    return float(value) if value is not None and math.isfinite(value) else None


def costs(home: Home) -> Plain:
    return {"failed_test_days": home.failed_test_costs, "hold_day_days": home.hold_day_costs}


# --- readiness ------------------------------------------------------------------------------------------------


def readiness(found: Readiness) -> Plain:
    """A probability of passing with all its ranges."""
    return {
        "mean": found.mean,
        "spread": found.spread,
        "chance": found.chance,
        "chance_range": [found.chance_low, found.chance_high],
        "shown_percent": found.shown_percent,
        "shown_percent_range": list(found.shown_range),
        "score_range": [found.score_low, found.score_high],
        "asked": found.asked,
        "needed": found.needed,
        "evidence": str(found.evidence),
    }


def sitting(advice: SittingAdvice | None) -> Plain | None:
    """Whether to sit or to hold; None before a practice test."""
    if advice is None:
        return None
    return {
        "advice": str(advice.advice),
        "days": advice.days,
        "chance_now": advice.chance_now,
        "chance_after": list(advice.chance_after),
        "days_saved": advice.days_saved,
        "below_gate": advice.below_gate,
        "sentence": advice.sentence,
    }


def copy_reading(found: CopyReading, label: str, home: Home) -> Plain:
    """One workbook in hand."""
    code = found.book.evidence.workbook
    return {
        "copy": found.copy,
        "label": label,
        "workbook": code,
        "title": home.programme.workbook(code).title,
        "begun": found.begun,
        **readiness(found.readiness),
        "sentence": found.advice.sentence if found.advice is not None else found.readiness.sentence,
        "sitting": sitting(found.advice),
    }


def learner_readiness(
    learner: Somebody, readings: Mapping[str, CopyReading], labels: Mapping[str, str], home: Home
) -> Plain:
    """Every workbook that a learner has in hand."""
    books = [copy_reading(reading, labels[copy], home) for copy, reading in readings.items()]
    return {**(person(learner) or {}), "workbooks": books}


def close(found: Close, label: str, home: Home) -> Plain:
    """One workbook in hand, with its history and its objectives."""
    return {
        "learner": person(home.person(found.learner)),
        **copy_reading(found.reading, label, home),
        "history": [
            {"at": instant(p.at), "after": p.what, **readiness(p.readiness), "sentence": p.readiness.sentence}
            for p in found.history
        ],
        "objectives": [
            {
                "objective": line.name,
                "asked": line.asked,
                "right": line.right,
                "mean": line.mean,
                "spread": line.spread,
                "learnt": line.learnt,
            }
            for line in found.objectives
        ],
        "spot_check": found.spot.sentence if found.spot.ticks else None,
    }


# --- oral quiz ------------------------------------------------------------------------------------------------


def quiz_card(found: QuizCard, rule: QuizRule, operating: Sequence[Operating]) -> Plain:
    """The card, and what it does with learners of whom the truth is known."""
    return {
        "prior": found.prior,
        "sentence": found.sentence,
        "lines": [
            {"asked": x.asked, "right_needed": x.right_needed, "wrong_ends": x.wrong_ends}
            for x in found.lines
        ],
        "rule": {"learnt": rule.learnt, "not_yet": rule.not_yet, "least": rule.least, "most": rule.most},
        "operating": [
            {"p": at.p, "learnt": at.learnt, "mean_questions": at.mean_questions} for at in operating
        ],
    }


def live(found: LiveQuiz) -> Plain:
    """Where a quiz under way stands."""
    return {
        "verdict": str(found.verdict),
        "asked": found.asked,
        "right": found.right,
        "wrong": found.wrong,
        "at_most_more": found.at_most_more,
        "right_to_go": found.right_to_go,
        "wrong_to_go": found.wrong_to_go,
        "sentence": found.sentence,
    }


def question(found: Candidate, place: int, most: int) -> Plain:
    """A question of the plan; those beyond the most that a quiz asks are in reserve."""
    return {
        "stop": found.stop,
        "question": found.question,
        "objective": found.objective,
        "wrong_at_first": found.wrong_at_first,
        "last_asked": day(found.last_asked),
        "reserve": place >= most,
    }


# --- spot check -----------------------------------------------------------------------------------------------


def belief(found: SpotReading) -> SpotRecord:
    """What is believed of the share of slips now: after a slip, with what was seen of the batch."""
    batch = found.batch
    if batch is None or not batch.slips:
        return found.record
    return found.record.with_more(len(batch.looked), batch.slips)


def batch_numbers(found: SpotReading) -> tuple[int, int, float] | None:
    """Ticks of the batch, slips that are too many, and the chance that so many slip through; None: no batch."""
    if found.batch is None:
        return None
    ticks = len(found.batch.ticks)
    return ticks, too_many(ticks), slip_through(found.look, ticks, *belief(found).beta)


def spot(
    learner: Somebody,
    found: SpotReading,
    labels: Mapping[str, str],
    titles: Mapping[str, str],
    notes: Sequence[str],
) -> Plain:
    """Which ticks to mark again, and all that it rests on."""
    a, b = belief(found).beta
    batch, numbers = found.batch, batch_numbers(found)
    return {
        "learner": person(learner),
        "day": day(batch.day) if batch is not None else None,
        "sentence": found.sentence,
        "ticks": numbers[0] if numbers else 0,
        "looked_at": len(batch.looked) if batch is not None else 0,
        "slips": batch.slips if batch is not None else 0,
        "to_look_at": found.look,
        "mark_again": [
            {
                "copy": t.copy,
                "label": labels[t.copy],
                "title": titles[t.copy],
                "stop": t.stop,
                "question": t.question,
            }
            for t in found.ticks
        ],
        "too_many_slips": numbers[1] if numbers else None,
        "chance_to_slip_through": numbers[2] if numbers else None,
        "belief": {"a": a, "b": b, "mean": a / (a + b)},
        "floor": found.gap.floor,
        "together": {
            "show": found.together.show,
            "e_value": found.together.e_value,
            "seen": found.together.seen,
            "slips": found.together.slips,
        },
        "practice_ahead": {
            "log_e_value": found.gap.log_e,
            "mean_gap": found.gap.mean_gap,
            "pairs": found.gap.pairs,
            "days_left": found.gap.days_left,
        },
        "notes": list(notes),
    }


# --- pace and review ------------------------------------------------------------------------------------------


def course_pace(found: CoursePace, labels: Mapping[str, str], home: Home) -> Plain:
    """The pace of one course, its days, and the days to the last page in hand."""
    p, finish = found.pace, found.finish
    return {
        "course": found.course,
        "title": home.programme.course(found.course).title,
        "pages_a_day": p.pages_a_day,
        "pages_a_day_range": [p.low, p.high],
        "minutes_a_page": p.minutes_a_page,
        "minutes_a_page_range": [p.minutes_low, p.minutes_high] if p.minutes_a_page is not None else None,
        "sessions": p.sessions,
        "days": p.days,
        "by_goals": found.by_goals,
        "median_share": p.median_share,
        "spread": p.spread,
        "weight": p.weight,
        "zero_share": p.zero_share,
        "in_hand": None
        if found.copy is None
        else {"copy": found.copy, "label": labels[found.copy], "pages_left": found.pages_left},
        "days_to_finish": None
        if finish is None
        else {
            "expected": finish.expected,
            "range_80": [finish.low80, finish.high80],
            "range_90": [finish.low90, finish.high90],
        },
        "worked": [
            {
                "day": day(d.day),
                "pages": d.done,
                "planned": d.planned,
                "minutes": d.minutes,
                "cut_short": d.cut_short,
            }
            for d in found.days
        ],
    }


def review(
    learner: Somebody, found: ReviewReading, lines: Sequence[ReviewLine], labels: Mapping[str, str]
) -> Plain:
    """What to go back to today, weakest first."""
    asked = [item for item in found.chosen.items if item.objective in found.questions]
    return {
        "learner": person(learner),
        "sentence": found.chosen.sentence,
        "minutes_given": found.chosen.minutes_given,
        "minutes_used": found.chosen.minutes_used,
        "left_out": found.chosen.left_out,
        "questions": [
            {
                "objective": line.topic,
                "workbook": found.questions[item.objective][0],
                "title": line.workbook,
                "copy": line.copy,
                "label": labels[line.copy],
                "stop": line.stop,
                "question": line.question,
                "last": day(line.last),
                "remembered": line.predicted,
                "remembered_range": [line.low, line.high],
                "minutes": item.minutes,
            }
            for item, line in zip(asked, lines, strict=True)
        ],
    }


# --- items ----------------------------------------------------------------------------------------------------


def item_reading(found: TestReading, names: Sequence[str], about: Sequence[str]) -> Plain:
    """One test and each of its questions."""
    ranged = found.kr20 is not None
    return {
        "learners": found.learners,
        "questions": found.questions,
        "complete": found.complete,
        "mean": found.mean,
        "sd": found.sd,
        "kr20": found.kr20,
        "kr20_range": [found.kr20_low, found.kr20_high] if ranged else None,
        "sem": found.sem,
        "sentence": found.words,
        "items": [
            {
                "question": names[n],
                "about": about[n] or None,
                "asked": item.asked,
                "right": item.right,
                "right_share": item.right_share,
                "right_share_range": [item.share_low, item.share_high],
                "rest_correlation": item.rest_correlation,
                "alpha_without": item.alpha_without,
                "look_at_key": item.mis_keyed,
                "sentence": item.words,
            }
            for n, item in enumerate(found.items)
        ],
    }


def rasch(found: Rasch | None) -> Plain | None:
    """Difficulties at slope 1; None: too few learners."""
    if found is None:
        return None
    return {
        "outcome": str(found.outcome),
        "log_likelihood": number(found.log_likelihood),
        "items": [
            {"difficulty": number(b), "standard_error": number(se), "told": str(told)}
            for b, se, told in zip(found.difficulty, found.standard_error, found.told, strict=True)
        ],
    }


def two_pl(found: TwoPL | None) -> Plain | None:
    """A slope and a difficulty of each question; None: too few learners."""
    if found is None:
        return None
    return {
        "outcome": str(found.outcome),
        "log_likelihood": number(found.log_likelihood),
        "items": [
            {
                "slope": number(found.slope[n]),
                "slope_error": number(found.slope_error[n]),
                "intercept": number(found.intercept[n]),
                "intercept_error": number(found.intercept_error[n]),
                "difficulty": number(found.difficulty[n]),
                "difficulty_error": number(found.difficulty_error[n]),
                "told": str(told),
            }
            for n, told in enumerate(found.told)
        ],
    }


def where_from(found: FirstAnswers | None) -> Plain:
    """Which test the answers are of; nulls where they came from a file."""
    if found is None:
        return {"workbook": None, "title": None, "test": None, "homes": None, "left_out": None}
    return {
        "workbook": found.workbook.code,
        "title": found.workbook.title,
        "test": found.test,
        "homes": found.homes,
        "left_out": found.left_out,
    }


def difficulties(found: Difficulties, home: Home) -> Plain:
    """How hard each unit test turned out, by workbook."""
    return {
        "homes": found.homes,
        "learners": found.learners,
        "workbooks": [
            {
                "workbook": d.workbook,
                "title": home.programme.workbooks[d.workbook].title
                if d.workbook in home.programme.workbooks
                else None,
                "learners": d.learners,
                "harder_logits": d.logits,
                "harder_logits_range": [d.low, d.high],
            }
            for d in found.workbooks.values()
        ],
    }
