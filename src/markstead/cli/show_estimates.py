"""Estimates as a person reads them in the terminal: numbers with their ranges, and how much the marks tell."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from markstead.cli.render_estimates import batch_numbers, belief
from markstead.cli.show import console, table
from markstead.measure.items import TestReading
from markstead.measure.oral import Candidate, Operating, QuizCard
from markstead.measure.pace import DaysToFinish
from markstead.measure.passing import of_children
from markstead.measure.readiness import Readiness
from markstead.measure.readings import CopyReading, CoursePace, ReviewReading, SpotReading
from markstead.measure.sitting import SittingAdvice
from markstead.records.estimates import Close, ReviewLine
from markstead.records.home import Home, Somebody
from markstead.records.item_reads import Difficulties
from markstead.rules.ruling import stop_words
from markstead.speech import day_of_month, day_words, figure, plural, say


def where(stop: str, question: int) -> str:
    """A question as it is found: Section 2, question 7."""
    return say("{stop}, question {question}", stop=stop_words(stop).capitalize(), question=question)


def days(count: float) -> str:
    return plural(count, "day")


def slips(count: int) -> str:
    return plural(count, "slip") if count else say("no slips")


def costs(home: Home) -> None:
    """Print what a failed test and a hold day cost this home."""
    out = console()
    out.print(say("A failed unit test costs this home {days} of school.", days=days(home.failed_test_costs)))
    out.print(say("A hold day costs it {days}.", days=days(home.hold_day_costs)))


# --- readiness ------------------------------------------------------------------------------------------------


def advice_words(advice: SittingAdvice | None) -> str:
    if advice is None:
        return say("no practice test yet")
    told = say("hold {days}", days=days(advice.days)) if advice.days else say(advice.advice)
    return say("another practice test first, then: {told}", told=told) if advice.below_gate else told


def _of_ten(chance: float) -> str:
    return of_children(chance, 10)


def _score(found: Readiness) -> str:
    return say(
        "{score_low} to {score_high} of {asked}",
        score_low=found.score_low,
        score_high=found.score_high,
        asked=found.asked,
    )


def readiness(
    everybody: Sequence[tuple[Somebody, Mapping[str, CopyReading]]], labels: Mapping[str, str], home: Home
) -> None:
    """Print the readiness of every workbook in hand."""
    out = console()
    if not any(readings for _, readings in everybody):
        out.print(say("No workbook is in hand."))
        return
    lines = table(
        say("learner"),
        say("copy"),
        say("title"),
        say("of 10 children"),
        say("right"),
        say("passes"),
        say("evidence"),
        say("advice"),
    )
    for learner, readings in everybody:
        for copy, found in readings.items():
            r = found.readiness
            lines.add_row(
                learner.name,
                labels[copy],
                home.programme.workbook(found.book.evidence.workbook).title,
                _of_ten(r.chance),
                _score(r),
                str(r.needed),
                say(r.evidence)
                if found.begun
                else say("{evidence}, nothing marked in it yet", evidence=say(r.evidence)),
                advice_words(found.advice),
            )
    out.print(lines)


def close(found: Close, label: str, home: Home) -> None:
    """Print everything estimated about one workbook in hand."""
    out = console()
    r, advice = found.reading.readiness, found.reading.advice
    title = home.programme.workbook(found.reading.book.evidence.workbook).title
    out.print(f"{home.person(found.learner).name}, {label}: {title}", style="bold")
    out.print(advice.sentence if advice is not None else r.sentence, soft_wrap=True)
    out.print(
        say(
            "Answers right: {score}; {needed} pass ({evidence}).",
            score=_score(r),
            needed=r.needed,
            evidence=say(r.evidence),
        )
    )
    if advice is not None:
        after = ", ".join(_of_ten(chance) for chance in advice.chance_after)
        out.print(say("Of 10 children after 1, 2 and 3 hold days: {after}.", after=after))
        out.print(
            say(
                "Advice: {advice}; school days saved by it: {days_saved:.1f}.",
                advice=advice_words(advice),
                days_saved=advice.days_saved,
            )
        )
    if found.spot.ticks:
        out.print(say("Spot check: {sentence}", sentence=found.spot.sentence), soft_wrap=True)
    if found.history:
        out.print()
        out.print(_history(found, home))
    if found.objectives:
        out.print()
        out.print(_objectives(found))


def _history(found: Close, home: Home) -> Any:
    lines = table(say("day"), say("after"), say("of 10 children"), say("right"), say("evidence"))
    for point in found.history:
        at, r = home.calendar.at_home(point.at), point.readiness
        lines.add_row(day_of_month(at), point.what, _of_ten(r.chance), _score(r), say(r.evidence))
    return lines


def _learnt(chance: float) -> str:
    """A chance of 'learnt' as of 10 children: nobody is ever sure."""
    if chance < 0.05:
        return say("hardly one")
    return say("nearly all") if chance >= 0.95 else say("about {chance:.0f}", chance=10 * chance)


def _objectives(found: Close) -> Any:
    lines = table(say("objective"), say("right at first"), say("learnt, of 10 such children"))
    for line in found.objectives:
        marked = (
            say("{right} of {asked}", right=line.right, asked=line.asked)
            if line.asked
            else say("not marked yet")
        )
        lines.add_row(line.name, marked, _learnt(line.learnt) if line.asked else "")
    return lines


# --- oral quiz ------------------------------------------------------------------------------------------------


def quiz_card(
    found: QuizCard, operating: Sequence[Operating], heading: str, plan: Sequence[Candidate], most: int
) -> None:
    """Print the card, how it does, and the questions to ask."""
    out = console()
    if heading:
        out.print(heading, style="bold")
    out.print(found.sentence, soft_wrap=True)
    out.print()
    lines = table(say("after questions"), say("right: it is learnt"), say("wrong: not yet"))
    for x in found.lines:
        lines.add_row(str(x.asked), _or_dash(x.right_needed), _or_dash(x.wrong_ends))
    out.print(lines)
    out.print()
    does = table(
        say("who answers so many of 10 rightly"),
        say("of 100 such quizzes end with learnt"),
        say("questions on average"),
    )
    for at in operating:
        does.add_row(figure(f"{10 * at.p:g}"), f"{100 * at.learnt:.0f}", figure(f"{at.mean_questions:.1f}"))
    out.print(does)
    if plan:
        out.print()
        asked = table("", say("question"), say("about"), "")
        for place, q in enumerate(plan[:most], start=1):
            hint = say("was wrong at first marking") if q.wrong_at_first else ""
            asked.add_row(str(place), where(q.stop, q.question), q.objective or "", hint)
        out.print(asked)


def _or_dash(value: int | None) -> str:
    return "–" if value is None else str(value)


# --- spot check -----------------------------------------------------------------------------------------------


def spot(
    learner: Somebody,
    found: SpotReading,
    labels: Mapping[str, str],
    titles: Mapping[str, str],
    notes: Sequence[str],
) -> None:
    """Print which ticks to mark again, and what that rests on."""
    out = console()
    batch, numbers = found.batch, batch_numbers(found)
    of = f", {day_words(batch.day)}" if batch is not None else ""
    out.print(f"{learner.name}{of}", style="bold")
    out.print(found.sentence, soft_wrap=True)
    if found.ticks:
        lines = table(say("copy"), say("title"), say("mark again"))
        for t in found.ticks:
            lines.add_row(labels[t.copy], titles[t.copy], where(t.stop, t.question))
        out.print(lines)
    if batch is not None and numbers is not None:
        ticks, bad, through = numbers
        a, b = belief(found).beta
        out.print(
            say(
                "Of {ticks} ticks {look} are looked at, {marked} of them already ({slips}). "
                "Chance that {bad} or more slips go unseen: {through:.3f}, with slips as common as "
                "in a beta distribution of {a:.1f} and {b:.1f}.",
                ticks=ticks,
                look=found.look,
                marked=len(batch.looked),
                slips=slips(batch.slips),
                bad=bad,
                through=through,
                a=a,
                b=b,
            ),
            soft_wrap=True,
        )
    out.print(
        say(
            "E-value for marking one section together: {e_value:.2f} ({slips} in {seen} ticks "
            "looked at; it is proposed from 60 on). Least ticks of a spot check now: {floor}.",
            e_value=found.together.e_value,
            slips=slips(found.together.slips),
            seen=found.together.seen,
            floor=found.gap.floor,
        ),
        soft_wrap=True,
    )
    for note in notes:
        out.print(say("For you alone: {note}", note=note), soft_wrap=True)


# --- pace and review ------------------------------------------------------------------------------------------


def pace(learner: Somebody, found: Sequence[CoursePace], labels: Mapping[str, str], home: Home) -> None:
    """Print the pace of each course."""
    out = console()
    if not found:
        out.print(say("{name} has no day of work yet.", name=learner.name))
        return
    out.print(learner.name, style="bold")
    lines = table(
        say("course"),
        say("pages a day"),
        say("minutes a page"),
        say("in hand"),
        say("pages left"),
        say("school days to go"),
        say("rests on"),
    )
    for course in found:
        p, finish = course.pace, course.finish
        minutes = say("no minutes noted")
        if p.minutes_a_page is not None:
            minutes = say(
                "{minutes_a_page:.0f} ({minutes_low:.0f} to {minutes_high:.0f})",
                minutes_a_page=p.minutes_a_page,
                minutes_low=p.minutes_low,
                minutes_high=p.minutes_high,
            )
        lines.add_row(
            home.programme.course(course.course).title,
            say(
                "{pages_a_day:.1f} ({low:.1f} to {high:.1f})",
                pages_a_day=p.pages_a_day,
                low=p.low,
                high=p.high,
            ),
            minutes,
            labels[course.copy] if course.copy is not None else "–",
            str(course.pages_left) if course.copy is not None else "–",
            _to_go(finish),
            say("{days} days with a goal", days=p.days)
            if course.by_goals
            else say("{days} school days", days=p.days),
        )
    out.print(lines)


def _to_go(finish: DaysToFinish | None) -> str:
    if finish is None:
        return "–"
    return (
        say(
            "{expected} ({low90} to {high90})",
            expected=finish.expected,
            low90=finish.low90,
            high90=finish.high90,
        )
        if finish.expected
        else say("all are worked")
    )


def review(learner: Somebody, found: ReviewReading, lines: Sequence[ReviewLine]) -> None:
    """Print what to go back to today."""
    out = console()
    out.print(learner.name, style="bold")
    out.print(found.chosen.sentence, soft_wrap=True)
    if lines:
        rows = table(
            say("objective"), say("title"), say("question"), say("last touched"), say("remembered by")
        )
        for line in lines:
            kept = say("{low:.0f} to {high:.0f} of 10", low=10 * line.low, high=10 * line.high)
            last = day_of_month(line.last)
            rows.add_row(line.topic, line.workbook, where(line.stop, line.question), last, kept)
        out.print(rows)


# --- items ----------------------------------------------------------------------------------------------------


def items(
    found: TestReading,
    names: Sequence[str],
    about: Sequence[str],
    fits: Mapping[str, Any],
    words: Sequence[str],
) -> None:
    """Print what the answers say of each question; `fits` are 'rasch' and 'two_pl' where there are enough learners."""
    out = console()
    for line in (*words, found.words):
        out.print(line, soft_wrap=True)
    out.print()
    rasch, two_pl = fits.get("rasch"), fits.get("two_pl")
    headings = [say("question"), say("right"), say("with the rest"), say("without it")]
    headings += [say("difficulty")] * (rasch is not None) + [say("slope")] * (two_pl is not None)
    lines = table(*headings, say("in words"))
    for n, item in enumerate(found.items):
        cells = [
            names[n],
            say("{right} of {asked}", right=item.right, asked=item.asked),
            _two(item.rest_correlation),
            _two(item.alpha_without),
        ]
        if rasch is not None:
            cells.append(_with_error(rasch.difficulty[n], rasch.standard_error[n]))
        if two_pl is not None:
            cells.append(_with_error(two_pl.slope[n], two_pl.slope_error[n]))
        lines.add_row(*cells, f"{about[n]}: {item.words}" if about[n] else item.words)
    out.print(lines)


def _two(value: float | None) -> str:
    return "–" if value is None else figure(f"{value:.2f}")


def _with_error(value: float, error: float) -> str:
    if not math.isfinite(value):
        return "–"
    return figure(f"{value:.2f}" if not math.isfinite(error) else f"{value:.2f} ± {error:.2f}")


def difficulties(found: Difficulties, home: Home) -> None:
    """Print how much harder each unit test is than the other marks of its workbook make it look."""
    out = console()
    if not found.workbooks:
        out.print(say("No unit test is marked yet."))
        return
    people, homes = plural(found.learners, "learner"), plural(found.homes, "home")
    out.print(
        say(
            "From {people} of {homes}. Above 0: the unit test is harder than the marks before it look.",
            people=people,
            homes=homes,
        )
    )
    lines = table(
        say("workbook"), say("title"), say("learners"), say("harder by (logits)"), say("90 % range")
    )
    for d in sorted(found.workbooks.values(), key=lambda d: -d.logits):
        book = home.programme.workbooks.get(d.workbook)
        lines.add_row(
            d.workbook,
            book.title if book is not None else "",
            str(d.learners),
            figure(f"{d.logits:+z.2f}"),
            say("{low:+z.2f} to {high:+z.2f}", low=d.low, high=d.high),
        )
    out.print(lines)
