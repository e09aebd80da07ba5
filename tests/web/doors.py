"""Who may come in at which address: the table that `test_doors.py` walks, and the page that shows it.

python -m tests.web.doors --write      write docs/reference/doors.md anew
"""

import sys
from enum import StrEnum
from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "doors.md"


class For(StrEnum):
    """Who may come in at an address."""

    ANYBODY = "anybody"
    FIRST = "whoever has the word of an empty home"
    SIGNED_IN = "educators and helpers"
    EDUCATOR = "educators"
    HOUSE = "anybody at a tablet of the house"
    LEARNER = "a learner who entered at a tablet"


LOOK, SEND = ("GET",), ("POST",)
BOTH = LOOK + SEND

_TABLE: dict[tuple[For, tuple[str, ...]], str] = {
    (For.ANYBODY, LOOK): "tablet tablet-left feed",
    (For.ANYBODY, BOTH): "sign-in",
    (For.ANYBODY, SEND): "sign-out language",
    (For.FIRST, BOTH): (
        "first first-you first-learners first-school first-programme first-files first-typed first-cut first-courses "
        "first-standing first-look"
    ),
    (
        For.SIGNED_IN,
        LOOK,
    ): "today refresh news copies copy sittings sitting record day wall paper paper-sheet",
    (For.SIGNED_IN, SEND): (
        "act set-goals undo order sitting-begin sitting-end sitting-mark sitting-follow quick quick-look day-save clock "
        "paper-print paper-take paper-look paper-record paper-aside"
    ),
    (For.SIGNED_IN, BOTH): "password",
    (For.EDUCATOR, LOOK): (
        "learner plan term year load plan-one quiz orders orders-sheet people calendar tablets first-made placements papers "
        "dispatch-sheet report report-sheet attendance attendance-sheet transcript transcript-sheet samples "
        "portfolio-sheet sample-picture "
        "backups away take-archive take-tables take-oneroster"
    ),
    (For.EDUCATOR, SEND): (
        "goal-by-hand goal-effect learner-spot learner-review learner-pin plan-make plan-again plan-away plan-stop "
        "plan-take plan-aside quiz-begin quiz-answer orders-place orders-receive orders-offers settings-costs settings-language people-add people-rename "
        "people-role people-password people-leave people-back calendar-paint calendar-terms calendar-week tablets-open "
        "tablets-minutes tablets-back report-words attendance-take sample-keep sample-change backups-make backups-drop "
        "feed-make feed-back"
    ),
    (For.EDUCATOR, BOTH): "whatif wishes settings placement dispatch requirements erase",
    (For.HOUSE, BOTH): "tablet-end tablet-pin",
    (For.LEARNER, LOOK): (
        "tablet-me tablet-look tablet-news tablet-still tablet-road tablet-help tablet-pages tablet-marking"
    ),
    (For.LEARNER, SEND): "tablet-act tablet-undo tablet-here tablet-done",
}
DOORS = {name: key for key, names in _TABLE.items() for name in names.split()}


def page() -> str:
    """The table as a page."""
    from django.urls import get_resolver

    patterns = {p.name: str(p.pattern) for p in get_resolver().url_patterns}
    rows = [
        f"| `/{patterns[name]}` | {', '.join(methods)} | {who} |"
        for name, (who, methods) in sorted(DOORS.items(), key=lambda door: patterns[door[0]])
    ]
    lines = [
        "# Who may come in where",
        "",
        "Every address of the screens. `tests/web/test_doors.py` walks each of them as every kind of visitor with every method, and",
        "fails where the house differs from this table; `python -m tests.web.doors --write` writes the page.",
        "",
        "Whoever may not come in is sent to the sign-in, to the tablet's door, or told so (403). On a tablet of the house nothing is",
        "open but the tablet's own addresses. What may be *done* at an address is decided by the gates, act by act, as on every",
        "other way in: [the rules of the trade](trade-rules.md). Methods that are not in the table are refused (405).",
        "",
        "| address | methods | who |",
        "| --- | --- | --- |",
        *rows,
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    import os

    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "markstead.web.settings")
    django.setup()
    if "--write" in sys.argv[1:]:
        PAGE.write_text(page(), encoding="utf-8")
    sys.stdout.write(page())
