"""The rules of the trade a second time: naive, slow, and written from the words of DESIGN 4 and of the bars alone.

Nothing here imports the fold or the gates. A home is a list of what happened; to answer, everything is gone through
again from the start. The small home's facts (who is who, its calendar, its three workbooks) are told anew as well.
"""

from datetime import date, datetime, timedelta, timezone
from fractions import Fraction
from typing import Any

HOME = timezone(timedelta(hours=13))
"""Auckland's clock from the end of January to the middle of March."""

EDUCATORS, GROWN_UPS, LEARNERS, GUESTS = {"ruth"}, {"ruth", "tobi"}, {"asa", "noa"}, {"ines"}
GONE = {"mara"}
TAKES = {"asa": {"plants", "stars"}, "noa": {"plants"}}
AIDS = {"asa": {"pencil", "eraser", "ruler"}, "noa": {"pencil", "eraser", "ruler", "calculator"}}

# code: course, what must be passed before, stops (name, first page, last page, questions), pages
BOOKS: dict[str, dict[str, Any]] = {
    "P1": {
        "course": "plants",
        "before": [],
        "stops": [("section-1", 1, 2, 5), ("check-1", 3, 3, 4), ("section-2", 4, 5, 5)],
    },
    "P2": {"course": "plants", "before": ["P1"], "stops": [("section-1", 1, 3, 4)]},
    "S1": {"course": "stars", "before": ["P1"], "stops": [("section-1", 1, 2, 3), ("section-2", 3, 4, 3)]},
}

RULES_THAT_MAY_BE_PASSED = {
    "already passed",
    "earlier workbook not passed",
    "another copy in hand",
    "no opening talk",
    "marking stop not cleared",
    "pages left",
    "workbook closed",
    "quiz first",
    "review first",
    "practice test below the pass mark",
    "readiness not decided",
    "too soon",
    "no school",
    "not in the morning",
    "educator away",
    "aid not allowed",
    "learner has sat today",
    "morning is full",
}
NOTES = {"goal set", "help asked", "help given", "oral quiz held", "spot check held", "gate overridden"}

ONLY_EDUCATORS_DO = {
    "copy ordered",
    "copy spoiled",
    "copy issued",
    "opening talk held",
    "work taken over",
    "leave given",
    "leave refused",
    "oral quiz held",
    "spot check held",
    "check opened",
    "practice test opened",
    "readiness decided",
    "unit test sat",
    "unit test scored",
    "workbook re-ordered",
    "test paper sent",
    "dispatch sent",
    "gate overridden",
    "fact reversed",
}
OF_NO_COPY = {"attendance taken", "dispatch sent"}
TOLD_OF_A_DAY = {"pages worked", "attendance taken"}
LEARNERS_NEVER_DO = {"copy received", "help given", "attendance taken"}
ONLY_WHILE_IT_IS_WORKED = {
    "work taken over",
    "opening talk held",
    "goal set",
    "pages worked",
    "help asked",
    "help given",
    "leave asked",
    "leave given",
    "first marking",
    "corrected",
    "re-marked",
    "check opened",
    "practice test scored",
    "readiness decided",
}


def school_days(learner: str | None) -> list[date]:
    """Monday to Friday in two terms, without Waitangi Day, the apple picking and Asa's two days of illness."""
    days = [date(2026, 1, 26) + timedelta(days=n) for n in range(26)]
    days += [date(2026, 3, 2) + timedelta(days=n) for n in range(12)]
    off = {date(2026, 2, 6), date(2026, 2, 9)}
    off |= {date(2026, 2, 17), date(2026, 2, 18)} if learner == "asa" else set()
    return [day for day in days if day.weekday() < 5 and day not in off]


def fresh_copy() -> dict[str, Any]:
    return {
        "is": "unknown",
        "book": None,
        "learner": None,
        "talk": False,
        "pages": set(),
        "opened": set(),
        "cleared": set(),
        "wrong": {},  # stop -> questions still wrong; a stop that is here and not cleared is in its cycle
        "asked": {},
        "first": {},  # stop -> questions wrong at first marking
        "corrected": set(),
        "taught": set(),
        "practice": None,  # the latest: day, open, enough
        "practices": 0,
        "reviewed": False,
        "ready": False,
        "unit": None,  # day, marked, enough
        "waits": None,
        "stuck": False,
        "leave": None,
        "replaced": False,
        "sent": False,
        "passes": None,  # act, kinds of bars
        "latest": None,
    }


class Naive:
    """One home by its rules (plain numbers) and by what has happened in it."""

    def __init__(self, rules: dict[str, Any]) -> None:
        self.rules = rules
        self.happened: list[tuple[int, datetime, Any]] = []

    # --- what happened -------------------------------------------------------------------------------

    def happen(self, number: int, when: datetime, fact: Any) -> None:
        self.happened.append((number, when, fact))

    def standing(self) -> list[tuple[int, datetime, Any]]:
        """What still counts."""
        undone = {fact.entry for _, _, fact in self.happened if fact.KIND == "fact reversed"}
        return [h for h in self.happened if h[0] not in undone and h[2].KIND != "fact reversed"]

    def copies(self) -> dict[str, dict[str, Any]]:
        found: dict[str, dict[str, Any]] = {}
        for _, when, fact in self.standing():
            if fact.KIND not in OF_NO_COPY:
                self.one_more(found.setdefault(fact.copy, fresh_copy()), fact, when)
        return found

    def one_more(self, c: dict[str, Any], f: Any, when: datetime) -> None:
        day = when.astimezone(HOME).date()
        c["latest"] = when
        if c["passes"] and c["passes"][0] == f.KIND:
            c["passes"] = None
        match f.KIND:
            case "copy ordered":
                c.update({"is": "on order", "book": f.workbook, "learner": f.learner})
            case "copy received":
                c["is"] = "in the house"
            case "copy spoiled":
                c.update({"is": "spoiled", "waits": None})
            case "copy issued":
                c.update({"is": "issued", "learner": f.learner})
            case "opening talk held":
                c["talk"] = True
            case "work taken over":
                c["talk"] = True
                c["pages"] |= set(range(1, f.last + 1))
                c["cleared"] |= set(f.stops)
                c["opened"] |= {stop for stop in f.stops if stop.startswith("check")}
            case "pages worked":
                c["pages"] |= set(range(f.first, f.last + 1))
            case "help asked":
                c["stuck"] = True
            case "help given" | "oral quiz held":
                about = getattr(f, "stop", None)
                c["taught"] |= {about} if about else set(c["wrong"])
                if c["practice"] and not c["practice"]["open"]:
                    c["reviewed"] = True
                if f.KIND == "help given":
                    c["stuck"] = False
            case "leave asked":
                c["waits"] = (f.step, f.stop)
            case "leave given":
                c.update({"waits": None, "leave": (f.step, f.stop)})
            case "leave refused":
                c["waits"] = None
            case "first marking":
                self.marked(c, f.stop, f.wrong, f.asked, all_right=not f.wrong)
                c["first"][f.stop] = set(f.wrong)
            case "re-marked":
                self.marked(c, f.stop, f.wrong, c["asked"][f.stop], all_right=not f.wrong)
            case "corrected":
                c["corrected"].add(f.stop)
                if f.stop == "practice-test":
                    c["reviewed"] = True
            case "check opened":
                c["opened"].add(f.stop)
                c["waits"] = None
            case "practice test opened":
                if c["unit"]:
                    c.update({"is": "issued", "unit": None, "sent": False})
                self.forget(c, "practice-test")
                c.update({"practice": {"day": day, "open": True, "enough": False}, "reviewed": False})
                c.update({"ready": False, "waits": None, "practices": c["practices"] + 1})
            case "practice test scored":
                enough = self.enough(f.right, f.asked, "practice percent")
                c["practice"] = {"day": day, "open": False, "enough": enough}
                self.forget(c, "practice-test")
                self.marked(c, "practice-test", f.wrong, f.asked, all_right=f.right == f.asked)
                c["first"]["practice-test"] = set(f.wrong)
            case "readiness decided":
                c["ready"] = f.ready
                if c["waits"] and c["waits"][0] == "to sit the unit test":
                    c["waits"] = None
            case "unit test sat":
                c.update(
                    {"unit": {"day": day, "marked": False, "enough": False}, "waits": None, "stuck": False}
                )
            case "unit test scored":
                c["unit"] |= {"marked": True, "enough": self.enough(f.right, f.asked, "unit percent")}
                c["is"] = "finished"
            case "workbook re-ordered":
                c["replaced"] = True
            case "test paper sent":
                c.update({"is": "sent", "sent": True})
            case "gate overridden":
                c["passes"] = (f.act, set(f.bars))

    def marked(
        self, c: dict[str, Any], stop: str, wrong: tuple[int, ...], asked: int, *, all_right: bool
    ) -> None:
        c["wrong"][stop], c["asked"][stop] = set(wrong), asked
        c["corrected"].discard(stop)
        c["taught"].discard(stop)
        if all_right:
            c["cleared"].add(stop)
        c.update({"waits": None, "leave": None})

    def forget(self, c: dict[str, Any], stop: str) -> None:
        c["wrong"].pop(stop, None)
        c["asked"].pop(stop, None)
        c["first"].pop(stop, None)
        for place in ("corrected", "cleared", "taught"):
            c[place].discard(stop)

    def enough(self, right: int, asked: int, percent: str) -> bool:
        share, mark = Fraction(right, asked), Fraction(self.rules[percent], 100)
        return share > mark or (share == mark and self.rules["exactly passes"])

    # --- what may happen ------------------------------------------------------------------------------

    def bars(self, f: Any, who: str, when: datetime, now: datetime) -> set[str]:
        """The kinds of all bars, those that an override passes left out."""
        copies = self.copies()
        c = copies.get(getattr(f, "copy", None)) or fresh_copy()
        found = self.about_people(c, f, who) | self.about_time(c, f, when, now)
        found |= self.about_the_copy(copies, c, f, when)
        if c["passes"] and c["passes"][0] == f.KIND:
            found -= c["passes"][1] & RULES_THAT_MAY_BE_PASSED
        return found

    def about_people(self, c: dict[str, Any], f: Any, who: str) -> set[str]:
        found = set()
        if who in GUESTS:
            found.add("may not write")
        if who in GONE:
            found.add("has left")
        if who in LEARNERS and c["learner"] not in (None, who):
            found.add("another learner's copy")
        if f.KIND in ONLY_EDUCATORS_DO and who not in EDUCATORS:
            found.add("only an educator")
        if f.KIND in LEARNERS_NEVER_DO and who in LEARNERS:
            found.add("only an educator")
        if (
            f.KIND == "practice test scored"
            and who not in EDUCATORS
            and c["leave"] != ("to mark", "practice-test")
        ):
            found.add("no leave")
        return found

    def about_time(self, c: dict[str, Any], f: Any, when: datetime, now: datetime) -> set[str]:
        found = set()
        if when > now or (f.KIND in TOLD_OF_A_DAY and f.day > when.astimezone(HOME).date()):
            found.add("in the future")
        if c["latest"] and when < c["latest"] and f.KIND != "fact reversed":
            found.add("before the latest fact")
        return found

    def about_the_copy(
        self, copies: dict[str, dict[str, Any]], c: dict[str, Any], f: Any, when: datetime
    ) -> set[str]:
        if f.KIND in ONLY_WHILE_IT_IS_WORKED:
            if c["is"] != "issued":
                return {"not issued"}
            if c["unit"]:
                return {"test under way"} | self.of_a_copy_in_work(c, f)
            return self.of_a_copy_in_work(c, f)
        match f.KIND:
            case "copy ordered":
                return set() if c["is"] == "unknown" else {"already done"}
            case "copy received":
                return set() if c["is"] == "on order" else {"not on order"}
            case "copy spoiled":
                if c["is"] not in ("in the house", "issued"):
                    return {"not in the house"}
                return {"test under way"} if c["unit"] else set()
            case "copy issued":
                return self.to_issue(copies, c, f)
            case "oral quiz held":
                if c["is"] in ("finished", "sent"):
                    return set()
                if c["is"] != "issued":
                    return {"not issued"}
                return {"test under way"} if c["unit"] else set()
            case "spot check held":
                if f.stop not in c["first"]:
                    return {"nothing ticked there"}
                ticked = set(range(1, c["asked"][f.stop] + 1)) - c["first"][f.stop]
                return {"was not ticked"} if {number for number, _ in f.answers} - ticked else set()
            case "leave refused":
                return set() if c["waits"] == (f.step, f.stop) else {"leave was not asked"}
            case "practice test opened":
                return self.to_open_the_practice_test(c)
            case "unit test sat":
                return self.to_sit(copies, c, f, when)
            case "unit test scored":
                if not c["unit"]:
                    return {"unit test not sat"}
                return {"already done"} if c["unit"]["marked"] else set()
            case "workbook re-ordered":
                failed = c["unit"] and c["unit"]["marked"] and not c["unit"]["enough"]
                return set() if failed and not c["replaced"] else {"nothing to re-order"}
            case "test paper sent":
                marked = c["unit"] and c["unit"]["marked"]
                return set() if marked and not c["sent"] else {"no test paper"}
            case "fact reversed":
                later = [
                    fact
                    for number, _, fact in self.standing()
                    if getattr(fact, "copy", None) == f.copy and number > f.entry and fact.KIND not in NOTES
                ]
                return {"later facts rest on it"} if later else set()
            case "gate overridden" | "attendance taken" | "dispatch sent":
                return set()
        raise AssertionError(f"the naive home does not know {f.KIND}")

    def of_a_copy_in_work(self, c: dict[str, Any], f: Any) -> set[str]:
        match f.KIND:
            case "opening talk held":
                return {"already done"} if c["talk"] else set()
            case "work taken over":
                begun = c["pages"] or c["wrong"] or c["cleared"] or c["opened"] or c["practice"]
                return {"already done"} if begun else set()
            case "help asked":
                return {"already done"} if c["stuck"] else set()
            case "pages worked":
                return self.to_work(c, f)
            case "leave asked":
                already = c["waits"] or c["leave"] == (f.step, f.stop)
                return ({"already done"} if already else set()) | self.towards(c, f.step, f.stop)
            case "leave given":
                found = {"already done"} if c["leave"] == (f.step, f.stop) else set()
                found |= self.quiz(c, f.stop) if f.step == "to re-mark" else set()
                return found | self.towards(c, f.step, f.stop)
            case "first marking":
                return self.towards(c, "to mark", f.stop) | self.leave(c, "to mark", f.stop)
            case "corrected":
                if f.stop in c["corrected"] or f.stop in c["cleared"]:
                    return {"already done"}
                return self.closed(c, f.stop) if f.stop in c["wrong"] else {"not marked yet"}
            case "re-marked":
                found = self.towards(c, "to re-mark", f.stop) | self.leave(c, "to re-mark", f.stop)
                still = c["wrong"].get(f.stop)
                return found | ({"was not wrong"} if still and set(f.wrong) - still else set())
            case "check opened":
                return self.towards(c, "to open the check", f.stop)
            case "practice test scored":
                return set() if c["practice"] and c["practice"]["open"] else {"practice test not open"}
            case "readiness decided":
                return self.practice_enough(c)
        return set()

    def towards(self, c: dict[str, Any], step: str, stop: str | None) -> set[str]:
        """What stands before a step for which leave can be asked."""
        if step == "to sit the practice test":
            return self.to_sit_the_practice_test(c)
        if step == "to sit the unit test":
            return self.practice_enough(c)
        if step == "to re-mark":
            if stop in c["cleared"]:
                return {"already done"}
            return self.closed(c, stop) if stop in c["corrected"] else {"not corrected yet"}
        if stop == "practice-test":
            return set() if c["practice"] and c["practice"]["open"] else {"practice test not open"}
        found = self.closed(c, stop)
        stops = BOOKS[c["book"]]["stops"]
        name, first, last, _ = next(s for s in stops if s[0] == stop)
        if any(other not in c["cleared"] for other, begins, _, _ in stops if begins < first):
            found.add("another stop first")
        if step == "to open the check":
            return found | ({"already done"} if stop in c["opened"] else set())
        if stop in c["wrong"] or stop in c["cleared"]:
            return {"already done"}
        if set(range(first, last + 1)) - c["pages"]:
            found.add("pages left")
        if name.startswith("check") and name not in c["opened"]:
            found.add("check not open")
        return found

    def uncleared(self, c: dict[str, Any]) -> list[str]:
        return [s[0] for s in BOOKS[c["book"]]["stops"] if s[0] not in c["cleared"]]

    def closed(self, c: dict[str, Any], stop: str | None) -> set[str]:
        shut = c["practice"] and c["practice"]["open"] and stop != "practice-test"
        return {"workbook closed"} if shut else set()

    def leave(self, c: dict[str, Any], step: str, stop: str) -> set[str]:
        return set() if c["leave"] == (step, stop) else {"no leave"}

    def quiz(self, c: dict[str, Any], stop: str | None) -> set[str]:
        if stop not in c["wrong"] or stop in c["taught"]:
            return set()
        share = Fraction(len(c["wrong"][stop]), c["asked"][stop])
        many = len(c["wrong"][stop]) > 0 and share >= Fraction(self.rules["quiz percent"], 100)
        return {"quiz first"} if many else set()

    def to_work(self, c: dict[str, Any], f: Any) -> set[str]:
        found = self.closed(c, None)
        if not c["talk"]:
            found.add("no opening talk")
        stops = BOOKS[c["book"]]["stops"]
        names = [s[0] for s in stops]
        left = self.uncleared(c)
        if left:
            furthest = min(names.index(left[0]) + self.rules["ahead"], len(stops) - 1)
            if f.last > stops[furthest][2]:
                found.add("marking stop not cleared")
        for name, first, last, _ in stops:
            touched = any(first <= page <= last for page in range(f.first, f.last + 1))
            if name.startswith("check") and touched and name not in c["opened"]:
                found.add("check not open")
        return found

    def to_sit_the_practice_test(self, c: dict[str, Any]) -> set[str]:
        if c["practice"] and (c["practice"]["open"] or c["practice"]["enough"]):
            return {"already done"}
        found = {"marking stop not cleared"} if self.uncleared(c) else set()
        return found | ({"review first"} if c["practice"] and not c["reviewed"] else set())

    def to_open_the_practice_test(self, c: dict[str, Any]) -> set[str]:
        unit = c["unit"]
        if self.rules["same copy"] and unit and unit["marked"] and not unit["enough"]:
            return {"already done"} if c["replaced"] else set()
        if c["is"] != "issued":
            return {"not issued"}
        return ({"test under way"} if unit else set()) | self.to_sit_the_practice_test(c)

    def practice_enough(self, c: dict[str, Any]) -> set[str]:
        enough = c["practice"] and c["practice"]["enough"]
        return set() if enough else {"practice test below the pass mark"}

    def to_issue(self, copies: dict[str, dict[str, Any]], c: dict[str, Any], f: Any) -> set[str]:
        found = set() if c["is"] == "in the house" else {"not in the house"}
        if c["is"] == "unknown":
            return found
        book = BOOKS[c["book"]]
        theirs = [other for other in copies.values() if other["learner"] == f.learner and other is not c]
        mine = [c] if c["learner"] == f.learner else []
        passed = {
            o["book"] for o in [*theirs, *mine] if o["unit"] and o["unit"]["marked"] and o["unit"]["enough"]
        }
        if book["course"] not in TAKES.get(f.learner, set()):
            found.add("course not taken")
        if c["book"] in passed:
            found.add("already passed")
        if set(book["before"]) - passed:
            found.add("earlier workbook not passed")
        if any(o["is"] == "issued" and BOOKS[o["book"]]["course"] == book["course"] for o in theirs):
            found.add("another copy in hand")
        return found

    def to_sit(
        self, copies: dict[str, dict[str, Any]], c: dict[str, Any], f: Any, when: datetime
    ) -> set[str]:
        if c["is"] != "issued":
            return {"not issued"}
        found = {"already done"} if c["unit"] else set()
        found |= {"marking stop not cleared"} if self.uncleared(c) else set()
        found |= self.practice_enough(c)
        if self.rules["educator decides"] and not c["ready"]:
            found.add("readiness not decided")
        local = when.astimezone(HOME)
        day, days = local.date(), school_days(c["learner"])
        if c["practice"]:
            later = [d for d in days if d > c["practice"]["day"]][self.rules["days after"] - 1 :]
            if not later or day < later[0]:
                found.add("too soon")
        if day not in days:
            found.add("no school")
        if not 8 * 60 + 30 <= local.hour * 60 + local.minute < 12 * 60:
            found.add("not in the morning")
        if day == date(2026, 2, 12):
            found.add("educator away")
        sat = [o for o in copies.values() if o is not c and o["unit"] and o["unit"]["day"] == day]
        if len([o for o in sat if o["learner"] == c["learner"]]) >= self.rules["a learner a day"]:
            found.add("learner has sat today")
        if len(sat) >= self.rules["a morning"]:
            found.add("morning is full")
        if f.watcher not in GROWN_UPS:
            found.add("nobody watches")
        if set(f.aids) - AIDS[c["learner"]]:
            found.add("aid not allowed")
        return found
