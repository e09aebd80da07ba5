"""From a frozen page to a PDF: the same page gives the same bytes, for the file says the day of the paper and no clock."""

import json
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from markstead.errors import InputError, Problem
from markstead.records.home import Home
from markstead.records.lettering import lettering
from markstead.speech import later, say

FOLDER = Path(__file__).parent / "papers"
PDF = "application/pdf"
PAPERS: Mapping[str, str] = {"a4": "A4", "us-letter": later("US Letter")}
"""Sizes of paper, as they are asked for and as they are called."""
LETTER_IN = frozenset({"US", "CA", "MX", "PH", "CL", "CO", "VE", "CR", "GT", "PA", "DO", "PR"})
"""Countries whose offices use US Letter, by common practice (no source)."""


def usual_paper(home: Home) -> str:
    """The paper that lies in a home's printer, as far as its country tells."""
    return "us-letter" if home.calendar.country in LETTER_IN else "a4"


def check_paper(paper: str) -> str:
    """Give the size of paper back.

    Raises:
        InputError: there is no such paper.
    """
    if paper not in PAPERS:
        raise InputError(
            [Problem(say("paper"), repr(paper[:40]), say("one of {words}", words=", ".join(PAPERS)))]
        )
    return paper


def make_pdf(
    template: str, page: Any, *, day: date, paper: str, pictures: Mapping[str, bytes] | None = None
) -> bytes:
    """Set a frozen page by a template of the folder `papers`.

    Args:
        template: the name of its file, without the ending.
        page: a dataclass of texts, numbers and such dataclasses.
        day: the day that the file says it was made on.
        paper: one of `PAPERS`.
        pictures: files that the template shows, by the names under which the page tells them.

    Raises:
        InputError: there is no such paper.
    """
    check_paper(paper)
    told = json.dumps(
        {
            "paper": paper,
            "made": {"year": day.year, "month": day.month, "day": day.day},
            **lettering(template),
            **asdict(page),
        },
        ensure_ascii=False,
    )
    made = datetime.combine(day, time(12), UTC)
    if not pictures:
        return _compiled(FOLDER, template, told, made)
    # Typst reads pictures from files below its root, and from nowhere else.
    with tempfile.TemporaryDirectory(prefix="markstead-") as name:
        folder = Path(name)
        for file in FOLDER.glob("*.typ"):
            shutil.copy(file, folder / file.name)
        for file_name, content in pictures.items():
            (folder / file_name).write_bytes(content)
        return _compiled(folder, template, told, made)


def _compiled(folder: Path, template: str, told: str, made: datetime) -> bytes:
    import typst

    compiler = typst.Compiler(
        str(folder / f"{template}.typ"),
        root=str(folder),
        ignore_system_fonts=True,
        sys_inputs={"page": told},
    )
    return bytes(compiler.compile(format="pdf", timestamp=made))


def file_name(*parts: str) -> str:
    """A name for a PDF, of letters that every system takes."""
    return f"{plain_name(' '.join(parts)) or 'paper'}.pdf"


def plain_name(text: str) -> str:
    """Words for the name of a file, of letters that every system takes; empty where there are none."""
    plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in text.lower())
    return "-".join(word for word in plain.split("-") if word)
