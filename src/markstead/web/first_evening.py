"""The set-up as a whole: its steps in their order, what is typed in each, and what it comes to."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from markstead.calendar import SchoolCalendar, places
from markstead.calendar.load import write_calendar
from markstead.records.first_evening import Draft, NewHome
from markstead.records.openings import Opening
from markstead.records.setup import Newcomer, Papers
from markstead.rules.programme import Programme
from markstead.speech import later, say
from markstead.web import first_courses, first_people, first_programme, first_school
from markstead.web.first_fields import Slip, Typed
from markstead.web.first_people import Pupil, You
from markstead.web.first_programme import Read


@dataclass(frozen=True, slots=True)
class Step:
    """A step of the set-up; each is a page of its own."""

    name: str
    """That of its address: ``first-learners``."""
    title: str
    asks: str


STEPS = (
    Step("you", later("Who you are"), later("Your name, and how you sign in.")),
    Step("learners", later("Learners"), later("Who learns here, and the school year of each.")),
    Step("school", later("School"), later("Where you live, your terms, the days with school.")),
    Step("programme", later("Programme"), later("The workbooks: a sample, your own list, or a file.")),
    Step("courses", later("Courses"), later("Which courses each learner takes.")),
    Step("standing", later("Where each stands"), later("The workbook in hand today, or help to find it.")),
    Step("look", later("Look over"), later("Everything once more, before the home is made.")),
)
NAMES = tuple(step.name for step in STEPS)
DONE, TO_MEND, TO_DO = later("done"), later("to be mended"), later("to do")
"""How far a step is; said where it is shown."""


@dataclass(frozen=True, slots=True)
class StepLine:
    """A step in the list of all."""

    number: int
    step: Step
    state: str
    """Done, to be mended, or to do."""
    here: bool


@dataclass
class Setup:
    """What was typed so far, read step by step. Each step is read once, where it is asked for."""

    draft: Draft
    account: str = ""
    """The name by which somebody signs in already; empty before that."""
    fresh: dict[str, Typed] = field(default_factory=dict)
    """What was sent just now, where it is not kept in the draft: passwords."""

    def typed(self, step: str) -> Typed:
        """What was typed in a step, and what is wrong with it once it is read."""
        found = self.fresh.get(step)
        if found is None:
            found = self.fresh[step] = Typed(self.draft.step(step))
        return found

    @cached_property
    def you(self) -> You | None:
        return first_people.read_you(self.typed("you"), account=bool(self.account))

    @cached_property
    def learners(self) -> tuple[Pupil, ...]:
        return first_people.read_learners(self.typed("learners"))

    @cached_property
    def school(self) -> SchoolCalendar | None:
        return first_school.read_school(self.typed("school"))

    @property
    def country(self) -> str:
        """Two letters; empty before it is chosen."""
        return self.typed("school").text("country")

    @cached_property
    def programme(self) -> Read:
        """The programme of the chosen way; nothing where none is chosen."""
        kind = first_programme.kind_of(self.typed("programme"))
        if kind == "sample":
            return first_programme.sample()
        if kind == "files":
            return first_programme.read_files(self.typed("files"))
        if kind == "typed":
            return first_programme.read_typed(self.typed("typed"), self.typed("cut"))
        return Read()

    @property
    def courses_of(self) -> Programme | None:
        return self.programme.programme

    @cached_property
    def takes(self) -> tuple[tuple[Pupil, Newcomer], ...]:
        """Each learner with the courses."""
        if self.courses_of is None or not self.learners:
            return ()
        return first_courses.read_courses(self.typed("courses"), self.learners, self.courses_of)

    @cached_property
    def openings(self) -> tuple[Opening, ...]:
        if self.courses_of is None or not self.takes:
            return ()
        return first_courses.read_openings(self.typed("standing"), self.takes, self.courses_of)

    def is_done(self, step: str) -> bool:
        """Whether a step holds everything that it asks for. A step of defaults is done once it was saved."""
        checks: dict[str, Callable[[], bool]] = {
            "you": lambda: bool(self.account) and self.you is not None,
            "learners": lambda: bool(self.learners),
            "school": lambda: self.school is not None,
            "programme": lambda: self.courses_of is not None,
            "courses": lambda: bool(self.takes) and self.typed("courses").saved,
            "standing": lambda: bool(self.openings) and self.typed("standing").saved,
        }
        return checks[step]() if step in checks else False

    @property
    def next(self) -> str:
        """The first step that is not done."""
        return next((name for name in NAMES if not self.is_done(name)), NAMES[-1])

    def lines(self, here: str = "") -> tuple[StepLine, ...]:
        """Every step, and how far it is."""
        found = []
        for n, step in enumerate(STEPS, 1):
            saved = bool(self.draft.step(step.name))
            state = DONE if self.is_done(step.name) else TO_MEND if saved else TO_DO
            if step.name == "look":
                state = TO_DO
            found.append(StepLine(n, said(step), state, step.name == here))
        return tuple(found)

    def new_home(self) -> NewHome | None:
        """Everything together; None while a step is not done."""
        if self.next != NAMES[-1] or self.you is None or self.school is None:
            return None
        papers = Papers(self.programme.rules, self.programme.books, write_calendar(self.school))
        return NewHome(
            self.you.home, self.you.name, tuple(who for _, who in self.takes), papers, self.openings
        )


def said(step: Step) -> Step:
    """A step in the language that is spoken."""
    return Step(step.name, say(step.title), say(step.asks))


def before(name: str) -> str:
    """The step before one; the list of all before the first."""
    n = NAMES.index(name)
    return NAMES[n - 1] if n else ""


def after(name: str) -> str:
    """The step behind one."""
    return NAMES[min(NAMES.index(name) + 1, len(NAMES) - 1)]


def step_of(name: str) -> tuple[int, Step]:
    """A step and its number."""
    return NAMES.index(name) + 1, said(STEPS[NAMES.index(name)])


def slips(typed: Typed, labels: dict[str, str]) -> tuple[Slip, ...]:
    """What is wrong, as a list that leads to the fields."""
    return tuple(Slip(name, labels.get(name, ""), says) for name, says in typed.wrong.items())


@dataclass(frozen=True, slots=True)
class Told:
    """One paragraph of the last look: a step, and what it says."""

    step: str
    title: str
    lines: tuple[str, ...]


def look_over(setup: Setup, today: date) -> tuple[Told, ...]:
    """Everything that will be made, step by step."""
    programme = setup.courses_of
    if setup.you is None or setup.school is None or programme is None:
        return ()
    country = {p.code: p.name for p in places.countries()}.get(setup.school.country, "")
    parts = {p.code: p.name for p in places.regions(setup.school.country)}
    region = parts.get(setup.school.region or "", "")
    stands = []
    for _, who in setup.takes:
        mine = [o for o in setup.openings if o.learner == who.key]
        stands += [f"{who.name}: {first_courses.opening_words(o, programme)}" for o in mine]
    return (
        Told(
            "you",
            say("You"),
            (
                say(
                    "{name}, at {home}; signs in as {account}.",
                    name=setup.you.name,
                    home=setup.you.home,
                    account=setup.account,
                ),
            ),
        ),
        Told(
            "learners",
            say("Learners"),
            tuple(
                say("{learner}, school year {year}", learner=who.name, year=who.year)
                for _, who in setup.takes
            ),
        ),
        Told(
            "school",
            say("School"),
            (
                f"{', '.join(filter(None, (country, region, setup.school.zone)))}.",
                *first_school.school_words(setup.school, today),
            ),
        ),
        Told("programme", say("Programme"), tuple(first_programme.programme_words(programme))),
        Told("standing", say("Where each stands"), tuple(stands)),
    )
