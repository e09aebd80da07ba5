"""Sheets of the standing cast, the youngest and the oldest, on which the tests of paper stand."""

from markstead.paper.day import Course, Day, Score, StopToMark, day_sheet
from markstead.paper.layout import Paper, Sheet
from markstead.paper.marking import ToMark, marking_sheet
from markstead.paper.ruler import Workbook
from markstead.paper.sitting import Sitting, sitting_sheet
from markstead.paper.wall import Road, Stone, WeekRow, road_sheet, week_sheet

KEY = bytes(range(1, 33))
OTHER_KEY = bytes(range(2, 34))

_SUBJECTS = ("Arithmetic", "Language", "Science", "History", "Handwriting", "Latin")


def book(title: str = "Boats and Bridges 4", worked: int = 12) -> Workbook:
    """A workbook of 40 pages with three sections and two checks."""
    return Workbook(title, 40, (11, 23, 36), (12, 24), ((1, worked),))


def course(number: int, questions: int = 24, score: bool = False, pages: int = 7) -> Course:
    """A course with one marking stop."""
    first = 13
    return Course(
        copy=f"AR-{number:02d}",
        subject=_SUBJECTS[number % len(_SUBJECTS)],
        book=book(f"Boats and Bridges {number + 1}"),
        goal=(first, first + 4),
        pages=tuple(range(first, first + pages)),
        stops=(
            StopToMark(
                "section-2", "section 2, pages 13 to 23", tuple(range(1, questions + 1)), re_marked=True
            ),
        ),
        scores=(Score("check-1", "progress check 1", 30),) if score else (),
    )


def day(courses: int = 3, *, age: int = 7, name: str = "Asa", questions: int = 24) -> Day:
    """Asa's or Noa's Tuesday."""
    return Day(
        learner="asa",
        name=name,
        age=age,
        day="Tuesday, 3 March 2026",
        courses=tuple(course(n, questions, n == 1) for n in range(courses)),
        notes=("Piano at three.",),
        presence=(("full day", "all day"), ("half day", "half the day"), ("absent", "not at school")),
    )


def asa(
    paper: Paper = Paper.A4, courses: int = 3, sheet_id: str = "00112233445566aa", questions: int = 24
) -> Sheet:
    """The youngest learner's sheet."""
    return day_sheet(day(courses, questions=questions), sheet_id=sheet_id, paper=paper)


def noa(paper: Paper = Paper.A4, courses: int = 6, sheet_id: str = "8899aabbccddeeff") -> Sheet:
    """The oldest learner's sheet, of two pages."""
    return day_sheet(day(courses, age=18, name="Noa", questions=36), sheet_id=sheet_id, paper=paper)


def sitting(paper: Paper = Paper.A4, age: int = 12) -> Sheet:
    """Noa's unit test."""
    return sitting_sheet(
        Sitting(
            "noa", "Noa", age, "Thursday, 5 March 2026", "Science", "Rivers 7", "SC-07", 1, 45, 36, "from 8:30 to 12:00",
            ("pencil", "eraser", "ruler", "calculator"), (("ruth", "Ruth"), ("tobi", "Tobi")),
        ),
        sheet_id="0f1e2d3c4b5a6978",
        paper=paper,
    )  # fmt: skip


def marking(paper: Paper = Paper.A4, waiting: int = 5) -> Sheet:
    """Ruth's clipboard."""
    return marking_sheet(
        tuple(
            ToMark(
                "asa" if n % 2 else "noa", "Asa" if n % 2 else "Noa", f"MK-{n}", f"Boats and Bridges {n}", f"section-{n}",
                f"section {n}, pages {10 * n} to {10 * n + 9}", tuple(range(1, 26 + 5 * n)), n % 3 == 0,
            )
            for n in range(1, waiting + 1)
        ),
        title="To be marked",
        day="Tuesday, 3 March 2026",
        sheet_id="a0b1c2d3e4f50617",
        paper=paper,
    )  # fmt: skip


def week(paper: Paper = Paper.A4) -> Sheet:
    """The week of both on the wall."""
    days = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday")
    goals = tuple(
        tuple((subject, f"{n * 4 + 1} to {n * 4 + 4}") for subject in _SUBJECTS[:5]) for n in range(5)
    )
    rows = (WeekRow("Asa", goals), WeekRow("Noa", goals))
    return week_sheet("This week", "2 to 6 March 2026", days, rows, sheet_id="1111222233334444", paper=paper)


def road(paper: Paper = Paper.A4, age: int = 7) -> Sheet:
    """Asa's road."""
    roads = tuple(
        Road(subject, tuple(Stone(str(n), f"Boats and Bridges {n}", n < 4, n == 4) for n in range(1, 13)))
        for subject in _SUBJECTS[:4]
    )
    return road_sheet(
        "Asa",
        age,
        "Colour a stone for each workbook that is passed.",
        roads,
        sheet_id="5555666677778888",
        paper=paper,
    )
