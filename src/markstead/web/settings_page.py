"""The programme's rules in plain words, with what each changes; what a failed test and a hold day cost."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from markstead.errors import Problem
from markstead.records.home import Home
from markstead.records.house_rules import RULES, Key, Version
from markstead.rules.programme import Programme
from markstead.speech import date_words, later, say

ROWS_TO_ADD = 1
"""Empty rows below the aids."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: how it is asked for, and what it changes."""

    key: Key
    label: str
    changes: str
    kind: str = "number"
    """number, time, yes, or choice."""
    choices: tuple[tuple[str, str], ...] = ()
    unit: str = ""


_YES = (("true", later("yes")), ("false", later("no")))
GROUPS: tuple[tuple[str, str, tuple[Rule, ...]], ...] = (
    (
        later("Pass marks"),
        "marks",
        (
            Rule(
                ("marks", "practice_test_percent"),
                later("Pass mark of the practice test"),
                later(
                    "Below it the practice test is gone over and taken again; from it on, an educator "
                    "may decide on the unit test."
                ),
                unit=later("of a hundred"),
            ),
            Rule(
                ("marks", "unit_test_percent"),
                later("Pass mark of the unit test"),
                later(
                    "Below it the workbook is not passed and the rework rule follows. Tests that are "
                    "marked keep the mark of their day."
                ),
                unit=later("of a hundred"),
            ),
            Rule(
                ("marks", "exact_mark_passes"),
                later("Exactly the pass mark passes"),
                later("With no, one right answer more than the mark is needed."),
                "choice",
                _YES,
            ),
        ),
    ),
    (
        later("Sitting a unit test"),
        "unit",
        (
            Rule(
                ("unit_test", "school_days_after_practice"),
                later("School days after the practice test"),
                later(
                    "1 is the next school day at the earliest. More days give time to review, and the "
                    "plan reckons with them."
                ),
            ),
            Rule(
                ("unit_test", "morning_from"),
                later("Unit tests begin from"),
                later("Before this hour nobody sits down to one; the plan and today's page go by it."),
                "time",
            ),
            Rule(
                ("unit_test", "morning_until"),
                later("and until"),
                later(
                    "From this hour on a test waits for the next school morning. A test that is being "
                    "sat may be finished."
                ),
                "time",
            ),
            Rule(
                ("unit_test", "most_a_learner_a_day"),
                later("Most unit tests of one learner a day"),
                later("A second test on one day waits for the next."),
            ),
            Rule(
                ("unit_test", "most_watched_a_morning"),
                later("Most unit tests watched a morning"),
                later(
                    "How many can be begun on one morning in this house, whoever sits them. The plan "
                    "spreads tests by it."
                ),
            ),
            Rule(
                ("unit_test", "readiness_decision"),
                later("An educator decides on readiness first"),
                later("With no, a passed practice test is enough for the unit test."),
                "choice",
                _YES,
            ),
        ),
    ),
    (
        later("Marking"),
        "marking",
        (
            Rule(
                ("marking", "quiz_when_wrong_percent"),
                later("Quiz when so much is wrong"),
                later(
                    "From this share wrong on, an oral quiz or teaching comes before re-marking. From "
                    "twice as much on, teaching is advised."
                ),
                unit=later("of a hundred"),
            ),
            Rule(
                ("marking", "sections_ahead"),
                later("Sections that may be begun ahead"),
                later("0: the next section waits until the one before it is cleared."),
            ),
        ),
    ),
    (
        later("After the test"),
        "after",
        (
            Rule(
                ("dispatch", "day"),
                later("Papers are sent on day"),
                later(
                    "From this day of the month on, today's page calls for the papers of tests marked "
                    "before it."
                ),
                unit=later("of the month"),
            ),
            Rule(
                ("rework", "after_failed_unit_test"),
                later("After a unit test that was not passed"),
                later(
                    "With a new copy, everything is worked again; with the same copy, the practice test "
                    "is opened again."
                ),
                "choice",
                (("new copy", later("a new copy is worked")), ("same copy", later("the same copy goes on"))),
            ),
        ),
    ),
)


def said(rule: Rule) -> Rule:
    """A rule in the language that is spoken."""
    return replace(
        rule,
        label=say(rule.label),
        changes=say(rule.changes),
        choices=tuple((value, say(words)) for value, words in rule.choices),
        unit=say(rule.unit),
    )


_RULE: Mapping[Key, Rule] = {rule.key: rule for _, _, rules in GROUPS for rule in rules}
if set(_RULE) != set(RULES):  # a new rule must be given its words
    raise TypeError("not every rule of a programme has its words")


def name_of(key: Key) -> str:
    """The field of a rule."""
    return ".".join(key)


@dataclass(slots=True)
class TypedRules:
    """What was typed on the rules' page, as values that the loader judges."""

    data: Mapping[str, str]
    wrong: dict[str, str] = field(default_factory=dict)

    def values(self) -> dict[Key, object]:
        """Every rule that was sent: numbers as numbers, all else as it was typed."""
        return {
            rule.key: _read(rule, self.data[name_of(rule.key)])
            for rule in _RULE.values()
            if name_of(rule.key) in self.data
        }

    def aids(self) -> list[tuple[object, list[str]]] | None:
        """The rows of the aids that are not empty; None where none was sent."""
        if "aids.0.year" not in self.data:
            return None
        rows: list[tuple[object, list[str]]] = []
        for n in range(40):
            year, words = self.data.get(f"aids.{n}.year"), self.data.get(f"aids.{n}.allowed", "")
            if year is None:
                break
            allowed = [word.strip() for word in words.replace(";", ",").split(",") if word.strip()]
            if year.strip() or allowed:
                rows.append((_number(year), allowed))
        return rows

    def place(self, problems: Sequence[Problem]) -> list[str]:
        """Put each problem beside its field; give the sentences of those that belong to none."""
        kept: list[int] = [
            n
            for n in range(40)
            if self.data.get(f"aids.{n}.year", "").strip() or self.data.get(f"aids.{n}.allowed", "").strip()
        ]
        rest = []
        for problem in problems:
            field_name = _field_of(problem.where, kept)
            if field_name is None:
                rest.append(str(problem))
            else:
                self.wrong[field_name] = say(
                    "{found} stands here; wanted is {allowed}.", found=problem.found, allowed=problem.allowed
                )
        return rest


def _number(text: str) -> object:
    words = text.strip()
    return int(words) if words.isascii() and words.isdecimal() and len(words) <= 9 else words


def _read(rule: Rule, text: str) -> object:
    if rule.kind == "number":
        return _number(text)
    if rule.choices is _YES:
        return {"true": True, "false": False}.get(text, text)
    return text.strip()


def _field_of(where: str, rows: Sequence[int]) -> str | None:
    """The field that a problem of the file is about: ``programme.toml, marks, unit_test_percent``."""
    parts = [part.strip() for part in where.split(",")]
    if len(parts) < 3 or parts[0] != "programme.toml":
        return None
    table, key = parts[1], parts[2]
    if table.startswith("aids "):
        number = int(table.split()[1]) - 1
        column = "year" if key == "from_year" else "allowed"
        return f"aids.{rows[number]}.{column}" if number < len(rows) else None
    return f"{table}.{key}" if (table, key) in _RULE else None


# --- showing ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RuleField:
    """A rule with what stands in its field."""

    name: str
    rule: Rule
    value: str
    wrong: str = ""


@dataclass(frozen=True, slots=True)
class AidsRow:
    """One row of the aids."""

    n: int
    year: str
    allowed: str
    wrong_year: str = ""
    wrong_allowed: str = ""


@dataclass(frozen=True, slots=True)
class RuleGroup:
    """Rules that belong together."""

    title: str
    anchor: str
    fields: tuple[RuleField, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """One rule that would be another."""

    what: str
    was: str
    will: str
    changes: str


@dataclass(frozen=True, slots=True)
class Cost:
    """What something costs the home, in school days."""

    name: str
    label: str
    changes: str
    value: str
    wrong: str = ""


@dataclass(frozen=True, slots=True)
class SettingsPage:
    """Everything that the template of the rules' page may use."""

    programme: str
    groups: tuple[RuleGroup, ...]
    aids: tuple[AidsRow, ...]
    costs: tuple[Cost, ...]
    stamp: str
    saved: str
    problems: tuple[str, ...]
    wrong: bool
    changes: tuple[Change, ...]
    """What would change, where that is being looked at."""
    effects: tuple[str, ...]
    looking: bool
    sent: tuple[tuple[str, str], ...]
    """The fields to send again when it is saved."""
    versions: tuple[str, ...]


def _shown(rule: Rule, value: object) -> str:
    text = {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)
    return dict(rule.choices).get(text, text)


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:%H:%M}" if hasattr(value, "hour") else str(value)


def changes_of(before: Mapping[str, Any], typed: TypedRules) -> tuple[Change, ...]:
    """The rules that would be others, in words."""
    found = []
    for (table, key), value in typed.values().items():
        kept, was = _RULE[table, key], before[table].get(key)
        if _text(was) != _text(value):
            rule = said(kept)
            unit = f" {rule.unit}" if rule.unit else ""
            found.append(
                Change(rule.label, _shown(rule, _text(was)) + unit, _shown(rule, value) + unit, rule.changes)
            )
    aids = typed.aids()
    kept = [(row["from_year"], list(row["allowed"])) for row in before["aids"]]
    if aids is not None and aids != kept:
        found.append(
            Change(
                say("Aids in a unit test"),
                _aids_words(kept),
                _aids_words(aids),
                say("What may lie on the table from now on."),
            )
        )
    return tuple(found)


def _aids_words(rows: Sequence[tuple[object, Sequence[str]]]) -> str:
    return "; ".join(
        say("from year {year}: {aids}", year=year, aids=", ".join(allowed) or say("none"))
        for year, allowed in rows
    )


def settings_page(
    home: Home,
    rules: Mapping[str, Any],
    *,
    typed: TypedRules | None = None,
    costs: Mapping[str, str] | None = None,
    wrong_costs: Mapping[str, str] | None = None,
    saved: str = "",
    problems: Sequence[str] = (),
    effects: Sequence[str] = (),
    looking: bool = False,
    versions: Sequence[Version] = (),
) -> SettingsPage:
    """The page, with what was typed where it was not saved yet."""
    data = typed.data if typed is not None else {}
    wrong = typed.wrong if typed is not None else {}
    groups = tuple(
        RuleGroup(
            say(title),
            anchor,
            tuple(
                RuleField(
                    name_of(rule.key),
                    said(rule),
                    data.get(name_of(rule.key), _text(rules[rule.key[0]].get(rule.key[1], "")))[:40],
                    wrong.get(name_of(rule.key), ""),
                )
                for rule in found
            ),
        )
        for title, anchor, found in GROUPS
    )
    values = costs or {}
    slips = wrong_costs or {}
    kept = [(str(row["from_year"]), ", ".join(row["allowed"])) for row in rules["aids"]]
    rows = [
        (
            data.get(f"aids.{n}.year", kept[n][0] if n < len(kept) else ""),
            data.get(f"aids.{n}.allowed", kept[n][1] if n < len(kept) else ""),
        )
        for n in range(max(len(kept) + ROWS_TO_ADD, _rows_in(data)))
    ]
    return SettingsPage(
        programme=home.programme.title,
        groups=groups,
        aids=tuple(
            AidsRow(n, year, allowed, wrong.get(f"aids.{n}.year", ""), wrong.get(f"aids.{n}.allowed", ""))
            for n, (year, allowed) in enumerate(rows)
        ),
        costs=(
            Cost(
                "failed_test_costs",
                say("A unit test that is not passed costs"),
                say(
                    "School days lost: waiting for the new copy, working it, sitting again. The higher "
                    "it is, the surer a learner should be before the advice is to sit."
                ),
                values.get("failed_test_costs", f"{home.failed_test_costs:g}"),
                slips.get("failed_test_costs", ""),
            ),
            Cost(
                "hold_day_costs",
                say("A day of holding back costs"),
                say(
                    "School days that one day of review and a fresh practice test costs. The higher it "
                    "is, the sooner the advice is to sit."
                ),
                values.get("hold_day_costs", f"{home.hold_day_costs:g}"),
                slips.get("hold_day_costs", ""),
            ),
        ),
        stamp=home.stamp,
        saved=saved if saved in {"rules", "costs", "language"} else "",
        problems=tuple(problems),
        wrong=bool(wrong) or bool(slips),
        changes=changes_of(rules, typed) if typed is not None and looking else (),
        effects=tuple(effects),
        looking=looking,
        sent=tuple((name, value) for name, value in data.items() if name in _sendable(data)),
        versions=tuple(
            say("{number}, of {day}", number=v.number, day=date_words(home.calendar.day_of(v.taken)))
            for v in versions
        ),
    )


def _rows_in(data: Mapping[str, str]) -> int:
    return sum(f"aids.{n}.year" in data for n in range(40))


def _sendable(data: Mapping[str, str]) -> set[str]:
    rows = {f"aids.{n}.{part}" for n in range(40) for part in ("year", "allowed")}
    return (rows | {name_of(key) for key in RULES}) & set(data)


def programme_words(programme: Programme) -> str:
    """What the programme is called, and how much it has."""
    return say(
        "{programme}: {courses} courses, {workbooks} workbooks",
        programme=programme.title,
        courses=len(programme.courses),
        workbooks=len(programme.workbooks),
    )
