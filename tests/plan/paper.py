"""Planning on paper: equal pages a day towards the next target, tests on the next open morning.

It is blind to minutes and to what other courses do, as a paper plan of one course at a time is. What it would cost is
reckoned here by the room's own `cost_of`; a paper plan breaks limits, which is counted by `breaches`.
"""

from markstead.plan.moves import moves
from markstead.plan.problem import Problem, Stream


def paper_plan(problem: Problem) -> list[tuple[int, ...]]:
    """The steps done at the end of every day, for every stream."""
    return [tuple(_stream(problem, stream)) for stream in problem.streams]


def _stream(problem: Problem, stream: Stream) -> list[int]:
    limits = problem.limits(stream.learner)
    due = {target.workbook: target.day for target in problem.targets_of(stream)}
    place, path = stream.done, []
    for day in range(problem.horizon):
        open_moves = {m.to: m for m in moves(problem, stream, limits, day, place)}
        index, done = stream.at(place)
        book = stream.workbooks[index]
        if place >= stream.steps or len(open_moves) == 1:
            path.append(place)
            continue
        if done == book.pages + 1:
            place += 1
        else:
            # Days left for the pages, less one for the unit test.
            left = sum(stream.taught[day : due.get(book.code, problem.horizon - 1)]) or 1
            pages = max(1, -(-(book.pages - done) // left))
            to = place + min(pages, stream.most, book.pages - done)
            place = to + 1 if to + 1 in open_moves and open_moves[to + 1].practice else to
        path.append(place)
    return path
