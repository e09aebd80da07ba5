"""What marked boxes mean together, and where they contradict one another: a person then looks, however clear each box is."""

from collections.abc import Mapping
from dataclasses import dataclass

from markstead.paper.boxes import State
from markstead.paper.layout import Asks, Group, Sheet
from markstead.paper.read import PageReading


@dataclass(frozen=True, slots=True)
class Answer:
    """What a group of boxes says."""

    group: Group
    marked: tuple[str, ...]
    """Values of the marked boxes, in the order of the sheet."""
    unsure: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Doubt:
    """Answers that do not go together."""

    groups: tuple[str, ...]
    sentence: str


def answers(sheet: Sheet, pages: tuple[PageReading, ...]) -> tuple[Answer, ...]:
    """Gather what the read pages of a sheet say, group by group; groups on pages not read are left out."""
    states = {box.id: box.state for page in pages if page.sheet.id == sheet.id for box in page.boxes}
    gathered = []
    for group in sheet.groups:
        boxes = [
            box for page in sheet.pages for box in page.boxes if box.group == group.id and box.id in states
        ]
        if boxes:
            marked = tuple(box.value for box in boxes if states[box.id] is State.MARKED)
            unsure = tuple(box.value for box in boxes if states[box.id] is State.UNSURE)
            gathered.append(Answer(group, marked, unsure))
    return tuple(gathered)


def doubts(sheet: Sheet, given: tuple[Answer, ...]) -> tuple[Doubt, ...]:
    """List what does not go together in the answers of a sheet, in the order of its groups."""
    by_id = {answer.group.id: answer for answer in given}
    counts = {
        group.id: sum(box.group == group.id for page in sheet.pages for box in page.boxes)
        for group in sheet.groups
    }
    found = []
    for answer in given:
        found += _doubts_of(answer, by_id, counts[answer.group.id])
    return tuple(found)


def _doubts_of(answer: Answer, by_id: Mapping[str, Answer], count: int) -> list[Doubt]:
    group, marked = answer.group, answer.marked
    match group.asks:
        case Asks.MINUTES | Asks.TENS | Asks.ONES | Asks.ONE_OF if len(marked) > 1:
            return [Doubt((group.id,), f"{group.words}: more than one box is marked ({', '.join(marked)}).")]
        case Asks.MINUTES if not marked and _worked(group, by_id):
            return [Doubt((group.id,), f"{group.words}: no box is marked, though pages are done.")]
        case Asks.TENS if bool(marked) != bool(_marked(group.id.removesuffix("tens") + "ones", by_id)):
            return [
                Doubt(
                    (group.id, group.id.removesuffix("tens") + "ones"),
                    f"{group.words}: one digit of two is marked.",
                )
            ]
        case Asks.PAGES if _has_gap(answer):
            return [
                Doubt((group.id,), f"{group.words}: there is a gap between the pages ({', '.join(marked)}).")
            ]
        case Asks.ALL_DONE if marked and _pages(group, by_id) == ():
            return [Doubt((group.id, f"{group.copy}/pages"), f"{group.words} is marked, but no page is.")]
        case Asks.WRONG if len(marked) * 2 > count:
            return [Doubt((group.id,), f"{group.words}: {len(marked)} of {count}, more than half.")]
        case Asks.ALL_RIGHT if marked and _marked(group.id.removesuffix("right") + "wrong", by_id):
            return [
                Doubt(
                    (group.id, group.id.removesuffix("right") + "wrong"),
                    f"{group.words} is marked, and so are wrong questions.",
                )
            ]
    return []


def _marked(group: str, by_id: Mapping[str, Answer]) -> tuple[str, ...]:
    return by_id[group].marked if group in by_id else ()


def _pages(group: Group, by_id: Mapping[str, Answer]) -> tuple[str, ...] | None:
    """Pages marked as done for the group's copy; None where the sheet does not ask or was not read there."""
    asked = by_id.get(f"{group.copy}/pages")
    return asked.marked if asked else None


def _worked(group: Group, by_id: Mapping[str, Answer]) -> bool:
    return bool(_pages(group, by_id)) or bool(_marked(f"{group.copy}/all done", by_id))


def _has_gap(answer: Answer) -> bool:
    pages = sorted(int(page) for page in answer.marked)
    open_pages = {int(page) for page in answer.unsure}
    return bool(pages) and any(
        page not in pages and page not in open_pages for page in range(pages[0], pages[-1] + 1)
    )
