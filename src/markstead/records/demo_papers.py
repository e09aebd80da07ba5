"""What the demonstration home has beside its record: a profile, some of the educator's words, and drawn samples of work.

Everything is invented. The samples are drawings of ours, made to look a little like a pencil on paper.
"""

import io
from collections.abc import Callable
from datetime import date, datetime
from itertools import pairwise
from pathlib import Path
from random import Random  # noqa: TID251  # the drawing is made from a seed, so that it is the same each time
from typing import Any

from markstead.records import required, samples, term_reports
from markstead.records.home import Home, load_home
from markstead.records.models import Copy, Entry, Household
from markstead.rules.spans import Span

PROFILE = "hours-by-age"
SPAN = Span("autumn, second half", date(2025, 11, 3), date(2025, 12, 19))
_WORDS = {
    ("asa", "maths-2"): (
        "Asa has taken to money and to halves and quarters, and reads the clock to five minutes. The clock face took "
        "three mornings with a real clock on the table before it went alone."
    ),
    ("asa", "grammar-2"): (
        "Capitals are sure, full stops are not yet: the unit test of workbook 4 was not passed. We went through the "
        "missed questions aloud, and the new copy is nearly worked. That is why fewer pages are new than were planned."
    ),
    ("asa", "reading-2"): (
        "Reads aloud gladly and with feeling. Poems went less well than stories; we learn one by heart each week now."
    ),
    ("noa", "maths-5"): (
        "Fractions with unlike denominators were hard for a fortnight and are sure now. Noa checks results without being told."
    ),
    ("ilse", "grammar-9"): (
        "Ilse argues well in writing and has begun to plan her essays. Quotations still lack their sources."
    ),
}
_SHOWN = (
    ("asa", "maths-2", date(2025, 11, 20), "Halves and quarters, drawn and coloured", "fractions"),
    ("asa", "grammar-2", date(2025, 11, 14), "A letter to grandmother, second draft", "letter"),
    ("asa", "geography-2", date(2025, 12, 4), "Map of the cove with its key", "map"),
    ("noa", "maths-5", date(2025, 11, 27), "Adding fractions, checked by drawing", "fractions"),
    ("ilse", "geography-9", date(2025, 12, 10), "How a glacier shapes a valley", "map"),
)


def furnish(household: str, *, at: datetime) -> Home:
    """Choose a profile, write some narratives and keep some samples; done again, it changes nothing."""
    home = required.choose_shipped(household, PROFILE, at=datetime.combine(date(2025, 8, 18), at.timetz()))
    for (who, course), text in _WORDS.items():
        term_reports.keep_narrative(home, learner=who, course=course, span=SPAN, text=text, at=at)
    dice = Random(f"samples {household}")  # noqa: S311  # nothing here is a secret
    for who, course, day, words, picture in _SHOWN:
        copy, entry = _copy_on(home, who, course, day)
        content = _DRAWN[picture](dice)
        samples.keep_sample(
            home, content, learner=who, day=day, by="ruth", at=at, copy=copy, entry=entry, words=words
        )
    return load_home(Household.objects.get(id=household))


def _copy_on(home: Home, who: str, course: str, day: date) -> tuple[str | None, int | None]:
    """The copy in which a learner worked at a course on a day or soon before, and the fact that says so."""
    learner = home.learner(who).id
    ids = [
        row.id
        for row in Copy.objects.filter(household=home.id, learner=learner)
        if row.workbook in home.programme.workbooks and home.programme.workbook(row.workbook).course == course
    ]
    end = home.calendar.instant_of(day, datetime.max.time().replace(microsecond=0))
    rows = Entry.objects.filter(household=home.id, copy__in=ids, kind="pages worked", at__lte=end)
    row = rows.order_by("-seq").first()
    return (row.copy, row.seq) if row is not None else (None, None)


# --- drawings -----------------------------------------------------------------------------------------------------

_SIZE = (1000, 1380)
_PENCIL = (70, 74, 84)


class _Sheet:
    """A ruled sheet and a pencil that is not quite steady."""

    def __init__(self, dice: Random, title: str) -> None:
        from PIL import Image, ImageDraw

        self.dice = dice
        self.image = Image.new("RGB", _SIZE, (250, 248, 240))
        self.pen: Any = ImageDraw.Draw(self.image)
        for y in range(170, _SIZE[1] - 40, 56):
            self.pen.line((0, y, _SIZE[0], y), (196, 212, 226), 2)
        self.pen.line((110, 0, 110, _SIZE[1]), (226, 170, 160), 3)
        self.write(140, 96, title, 46)

    def write(self, x: float, y: float, text: str, size: int = 38) -> None:
        """Write a line letter by letter, each a little off."""
        import fontpkg_lexend
        from PIL import ImageFont

        path = Path(fontpkg_lexend.__file__).parent / "files" / "Lexend[wght].ttf"
        font = ImageFont.truetype(str(path), size)
        for letter in text:
            lift = self.dice.uniform(-2.5, 2.5)
            self.pen.text((x, y + lift), letter, _PENCIL, font)
            x += font.getlength(letter) + self.dice.uniform(-0.6, 1.2)

    def stroke(
        self, *points: tuple[float, float], width: int = 4, shade: tuple[int, int, int] = _PENCIL
    ) -> None:
        """Draw from point to point, trembling a little."""
        for (x1, y1), (x2, y2) in pairwise(points):
            steps = max(2, int(abs(x2 - x1) + abs(y2 - y1)) // 14)
            path = [
                (
                    x1 + (x2 - x1) * n / steps + self.dice.uniform(-1.5, 1.5),
                    y1 + (y2 - y1) * n / steps + self.dice.uniform(-1.5, 1.5),
                )
                for n in range(steps + 1)
            ]
            self.pen.line(path, shade, width, joint="curve")

    def hatch(self, x: float, y: float, width: float, height: float, shade: tuple[int, int, int]) -> None:
        """Colour a rectangle in with slanting strokes."""
        place = 0.0
        while place < width + height:
            a, b = max(0.0, place - height), min(place, width)
            self.stroke((x + a, y + place - a), (x + b, y + place - b), width=3, shade=shade)
            place += 11

    def jpeg(self) -> bytes:
        """The sheet as a photograph of it would come."""
        file = io.BytesIO()
        self.image.save(file, "JPEG", quality=88)
        return file.getvalue()


def _fractions(dice: Random) -> bytes:
    sheet = _Sheet(dice, "Halves and quarters")
    shades = ((196, 120, 96), (104, 148, 176), (150, 168, 110))
    for row, (parts, inked) in enumerate(((2, 1), (4, 1), (4, 3), (8, 5))):
        y = 240 + row * 250
        for part in range(parts):
            x, width = 160 + part * 560 / parts, 560 / parts
            if part < inked:
                sheet.hatch(x + 4, y + 4, width - 8, 132, shades[row % 3])
            sheet.stroke((x, y), (x + width, y), (x + width, y + 140), (x, y + 140), (x, y))
        sheet.write(770, y + 44, f"{inked}/{parts}", 50)
    sheet.write(160, 1250, "2/4 is the same as 1/2.", 40)
    return sheet.jpeg()


def _letter(dice: Random) -> bytes:
    sheet = _Sheet(dice, "A letter")
    lines = (
        "Dear Grandmother,",
        "",
        "On Friday we went to the tide",
        "mill. The wheel was going round",
        "and round. Noa was allowed to",
        "open the little gate and then it",
        "went faster. I drew it twice.",
        "",
        "We saw four seals. One of them",
        "looked at us for a long time.",
        "Next week we make lanterns.",
        "Please come and see them.",
        "",
        "With love from Asa",
    )
    for row, line in enumerate(lines):
        sheet.write(140, 236 + row * 56 - 44 + 6, line)
    return sheet.jpeg()


def _map(dice: Random) -> bytes:
    sheet = _Sheet(dice, "Map")
    shore = [(140, 700), (220, 620), (330, 640), (400, 540), (520, 560), (600, 450), (740, 480), (880, 380)]
    sheet.stroke(*shore, width=6)
    sheet.stroke(*[(x, y + 30) for x, y in shore], width=2, shade=(104, 148, 176))
    sheet.stroke(*[(x, y + 52) for x, y in shore], width=2, shade=(104, 148, 176))
    sheet.stroke((520, 560), (480, 430), (540, 330), (500, 230), width=5, shade=(104, 148, 176))
    for x, y in ((240, 380), (300, 340), (270, 440), (700, 280), (760, 320)):
        sheet.stroke(
            (x - 20, y + 30), (x, y - 24), (x + 20, y + 30), (x - 20, y + 30), width=4, shade=(110, 140, 90)
        )
    sheet.stroke((620, 380), (620, 340), (650, 320), (680, 340), (680, 380), (620, 380))
    sheet.stroke((860, 250), (860, 180), (845, 200), (860, 180), (875, 200))
    sheet.write(838, 252, "N", 40)
    for row, words in enumerate(("triangle: trees", "little house: the mill", "double line: deep water")):
        sheet.write(160, 880 + row * 112, words)
    return sheet.jpeg()


_DRAWN: dict[str, Callable[[Random], bytes]] = {"fractions": _fractions, "letter": _letter, "map": _map}
