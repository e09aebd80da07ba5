"""What marked boxes mean together, and where they contradict one another: a person then looks, however clear each box is."""

from collections.abc import Mapping
from dataclasses import dataclass

from markstead.paper.boxes import State
from markstead.paper.layout import Asks, Group, Sheet
from markstead.speech import say


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
    contrary: bool = False
    """They contradict one another: as they stand they cannot be recorded."""


def answers(sheet: Sheet, states: Mapping[str, State]) -> tuple[Answer, ...]:
    """Gather what the boxes of a sheet say, group by group, from the state of each box by its id.

    Groups of which no box was read are left out.
    """
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
            return [
                Doubt(
                    (group.id,),
                    say(
                        "{question}: more than one box is marked ({marked}).",
                        question=group.words,
                        marked=", ".join(marked),
                    ),
                    True,
                )
            ]
        case Asks.MINUTES if not marked and _worked(group, by_id):
            return [
                Doubt(
                    (group.id,),
                    say("{question}: no box is marked, though pages are done.", question=group.words),
                )
            ]
        case Asks.TENS if bool(marked) != bool(_marked(group.id.removesuffix("tens") + "ones", by_id)):
            return [
                Doubt(
                    (group.id, group.id.removesuffix("tens") + "ones"),
                    say("{question}: one digit of two is marked.", question=group.words),
                    True,
                )
            ]
        case Asks.PAGES if _has_gap(answer):
            return [
                Doubt(
                    (group.id,),
                    say(
                        "{question}: there is a gap between the pages ({pages}).",
                        question=group.words,
                        pages=", ".join(marked),
                    ),
                    True,
                )
            ]
        case Asks.ALL_DONE if marked:
            return _goal_doubts(answer, by_id)
        case Asks.WRONG if len(marked) * 2 > count:
            return [
                Doubt(
                    (group.id,),
                    say(
                        "{question}: {marked} of {count}, more than half.",
                        question=group.words,
                        marked=len(marked),
                        count=count,
                    ),
                )
            ]
        case Asks.ALL_RIGHT | Asks.CLEARED if marked and group.id.endswith("/right") and _wrong(group, by_id):
            return [
                Doubt(
                    (group.id, _of(group, "wrong")),
                    say("{question} is marked, and so are wrong questions.", question=group.words),
                    True,
                )
            ]
        case Asks.CLEARED if marked and group.id.endswith("/cleared") and not _wrong(group, by_id):
            return [
                Doubt(
                    (group.id, _of(group, "wrong")),
                    say("{question}, but no question is marked as wrong.", question=group.words),
                    True,
                )
            ]
        case Asks.SENT_BACK | Asks.QUIZ_FIRST if marked and (
            _wrong(group, by_id) or _marked(_of(group, "right"), by_id)
        ):
            return [
                Doubt(
                    (group.id, _of(group, "wrong")),
                    say("{question} is marked, and so is what was wrong.", question=group.words),
                    True,
                )
            ]
        case Asks.ONES if marked and _wrong(group, by_id):
            return _score_doubts(answer, by_id)
    return []


def _of(group: Group, name: str) -> str:
    """The id of another group about the same stop or test."""
    return f"{group.copy}/{group.step}/{name}"


def _wrong(group: Group, by_id: Mapping[str, Answer]) -> tuple[str, ...]:
    return _marked(_of(group, "wrong"), by_id)


def _goal_doubts(answer: Answer, by_id: Mapping[str, Answer]) -> list[Doubt]:
    """All done, and yet pages of the goal that are not marked."""
    group, pages = answer.group, by_id.get(f"{answer.group.copy}/pages")
    if pages is None:
        return []
    first, last = (int(page) for page in answer.marked[0].split("-"))
    done = {int(page) for page in (*pages.marked, *pages.unsure)}
    missing = [page for page in range(first, last + 1) if page not in done]
    if not missing:
        return []
    told = say("{question} is marked, but no page is.", question=group.words)
    if pages.marked:
        told = say(
            "{question} is marked, but of the goal, pages {first} to {last}, only {pages} is.",
            question=group.words,
            first=first,
            last=last,
            pages=", ".join(pages.marked),
        )
    return [Doubt((group.id, pages.group.id), told)]


def _score_doubts(answer: Answer, by_id: Mapping[str, Answer]) -> list[Doubt]:
    """A score and the questions that were wrong, which do not add up."""
    group, tens = answer.group, _marked(_of(answer.group, "tens"), by_id)
    wrong = by_id.get(_of(group, "wrong"))
    if len(answer.marked) != 1 or len(tens) != 1 or wrong is None:
        return []
    right, count = 10 * int(tens[0]) + int(answer.marked[0]), len(wrong.marked)
    if right + count == group.asked:
        return []
    return [
        Doubt(
            (group.id, wrong.group.id),
            say(
                "{test}: {right} right and {wrong} wrong, of {asked}.",
                # The words end in that these are the ones, in the language in which the sheet was printed.
                test=group.words.rpartition(": ")[0] or group.words,
                right=right,
                wrong=count,
                asked=group.asked,
            ),
            True,
        )
    ]


def _marked(group: str, by_id: Mapping[str, Answer]) -> tuple[str, ...]:
    return by_id[group].marked if group in by_id else ()


def _worked(group: Group, by_id: Mapping[str, Answer]) -> bool:
    return bool(_marked(f"{group.copy}/pages", by_id)) or bool(_marked(f"{group.copy}/all done", by_id))


def _has_gap(answer: Answer) -> bool:
    pages = sorted(int(page) for page in answer.marked)
    open_pages = {int(page) for page in answer.unsure}
    return bool(pages) and any(
        page not in pages and page not in open_pages for page in range(pages[0], pages[-1] + 1)
    )
