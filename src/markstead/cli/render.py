"""Answers as plain values for JSON, and facts in words. The names of the JSON keys are kept stable."""

import json
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from markstead.ledger.serial import Entry, body_of
from markstead.records.desk import Done
from markstead.records.home import Home, Somebody
from markstead.records.queries import Call, CopyView, LearnerDay, Note, Today
from markstead.records.upkeep import Verdict
from markstead.records.words import fact_words
from markstead.rules.bars import Bar
from markstead.rules.programme import Workbook
from markstead.rules.standing import Standing

Plain = dict[str, Any]


def text(value: Any) -> str:
    """Write a plain value as JSON that a person can read as well."""
    return json.dumps(value, ensure_ascii=False, indent=2)


def instant(value: datetime | None) -> str | None:
    return value.isoformat(timespec="seconds") if value is not None else None


def person(who: Somebody | None) -> Plain | None:
    return None if who is None else {"id": who.id, "key": who.key, "name": who.name}


def workbook(book: Workbook | None) -> Plain | None:
    return None if book is None else {"code": book.code, "title": book.title, "course": book.course}


def bars(found: Iterable[Bar]) -> list[Plain]:
    return [{"kind": str(b.kind), "says": b.says, "lifts": b.lifts} for b in found]


def goal(standing: Standing) -> Plain | None:
    kept = standing.goal
    if kept is None:
        return None
    step = str(kept.step) if kept.step is not None else None
    return {"day": kept.day.isoformat(), "first": kept.first, "last": kept.last, "step": step}


def score(found: Any) -> Plain | None:
    """A test that was marked; None: none was."""
    if found is None or found.scored is None:
        return None
    return {"right": found.right, "asked": found.asked, "needed": found.needed, "passed": found.passed}


def copy(view: CopyView) -> Plain:
    """Where a copy stands, its next step, and what bars it."""
    s = view.standing
    return {
        "id": view.id,
        "label": view.label,
        "workbook": view.workbook.code,
        "title": view.workbook.title,
        "course": view.workbook.course,
        "status": str(s.status),
        "learner": person(view.learner),
        "next": {"turn": str(view.next.turn), "what": view.next.what},
        "bars": bars(view.ruling.bars),
        "pages_worked": len(s.pages),
        "pages": view.workbook.pages,
        "goal": goal(s),
        "practice_test": score(s.attempt),
        "unit_test": score(s.unit),
    }


def listed(view: CopyView) -> Plain:
    """A copy in a list, which rules on nothing: without bars."""
    found = copy(view)
    del found["bars"]
    expected = view.standing.expected
    return found | {"expected": expected.isoformat() if expected is not None else None}


def waiting_minutes(since: datetime | None, now: datetime) -> int | None:
    return None if since is None else max(0, int((now - since).total_seconds() // 60))


def call(found: Call, now: datetime) -> Plain:
    return {
        "kind": str(found.kind),
        "urgency": found.urgency,
        "what": found.what,
        "blocks": found.blocks,
        "since": instant(found.since),
        "waiting_minutes": waiting_minutes(found.since, now),
        "learner": person(found.learner),
        "copy": {"id": found.copy.id, "label": found.copy.label} if found.copy is not None else None,
        "workbook": workbook(found.workbook),
        "copies": list(found.copies),
    }


def learner_day(found: LearnerDay) -> Plain:
    return {
        **(person(found.learner) or {}),
        "year": found.learner.year,
        "copies": [copy(view) for view in found.copies],
        "idle_courses": list(found.idle),
    }


def today(answer: Today) -> Plain:
    """Today's page."""
    return {
        "household": {"id": answer.home.id, "name": answer.home.name},
        "date": answer.now.date().isoformat(),
        "time": f"{answer.now:%H:%M}",
        "closed": answer.day_is,
        "facts": answer.head,
        "calls": [call(c, answer.now) for c in answer.calls],
        "learners": [learner_day(d) for d in answer.learners],
    }


def entry(found: Entry) -> Plain:
    """A fact as it stands on the record."""
    body = json.loads(body_of(found))
    return {
        "place": found.seq,
        "act": found.act,
        "kind": found.fact.KIND,
        "at": body["at"],
        "written": body["written"],
        "fact": body["fact"],
    }


def history(notes: Iterable[Note], home: Home) -> Plain:
    """The latest facts, newest first."""
    return {
        "facts": [
            entry(note.entry)
            | {
                "by": person(home.people.get(note.entry.by)),
                "copy": note.copy,
                "says": fact_words(note.entry.fact, home),
                "words": note.words,
                "reversed": note.reversed,
            }
            for note in notes
        ]
    }


def done(found: Done, home: Home, view: CopyView | None) -> Plain:
    """What an act wrote, and where the copy stands now."""
    return {
        "act": found.act,
        "again": found.again,
        "facts": [entry(e) | {"says": fact_words(e.fact, home)} for e in found.entries],
        "copy": copy(view) if view is not None else None,
    }


def verdict(found: Verdict) -> Plain:
    return {
        "holds": found.holds,
        "facts": found.facts,
        "head": found.head,
        "copies": found.copies,
        "words": found.words,
        "problem": found.problem,
    }
