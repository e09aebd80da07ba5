"""What is estimated about a workbook in hand, in words and strokes; for educators alone."""

from dataclasses import dataclass

from django.utils.safestring import SafeString

from markstead.records.estimates import Close
from markstead.records.home import Home
from markstead.speech import say
from markstead.web.kept import piece
from markstead.web.plots import ReadinessPlot, readiness_plot
from markstead.web.ready import ReadinessWords, readiness_words


@dataclass(frozen=True, slots=True)
class ObjectiveRow:
    """One objective of the workbook."""

    name: str
    marked: str
    words: str


@dataclass(frozen=True, slots=True)
class CopyEstimates:
    """Everything that the template may say of readiness."""

    ready: ReadinessWords
    begun: bool
    practised: bool
    """A practice test is marked: a quiz may go over its questions."""
    plot: ReadinessPlot | None
    svg: SafeString
    objectives: tuple[ObjectiveRow, ...]
    spot: str
    learner: str


def _state(learnt: float, asked: int) -> str:
    """How an objective looks, from where an oral quiz on it would start."""
    if not asked:
        return say("not marked yet")
    if learnt >= 0.67:
        return say("looks learnt")
    return say("in doubt") if learnt > 0.33 else say("looks not learnt yet")


def copy_estimates(found: Close, home: Home, learner: str) -> CopyEstimates:
    """Put the estimates of a copy into words."""
    plot = readiness_plot(found.history, home.calendar)
    return CopyEstimates(
        ready=readiness_words(found.reading),
        begun=found.reading.begun,
        practised=bool(found.reading.book.evidence.practice),
        plot=plot,
        svg=piece("parts/readiness_plot.html", plot) if plot is not None else SafeString(""),
        objectives=tuple(
            ObjectiveRow(
                line.name,
                say("{right} of {asked}", right=line.right, asked=line.asked) if line.asked else "–",
                _state(line.learnt, line.asked),
            )
            for line in found.objectives
        ),
        spot=found.spot.sentence if found.spot.ticks else "",
        learner=learner,
    )
