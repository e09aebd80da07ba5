"""OneRoster 1.2 in CSV: its files and columns as one table, and a checker of every rule of them.

After "1EdTech OneRoster: CSV Binding 1.2.1", Final Release, document version 5, 22 August 2023, as far as two
independent transcriptions agree; the files of the gradebook (categories to scoreScales) rest on one of them, the seven
yes-or-no columns of demographics on memory. The five files of resources and profiles are not known here and are said to
be unchecked.
"""

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from functools import partial
from sys import intern
from typing import BinaryIO, Final

from markstead.errors import Problem
from markstead.speech import later, say

VERSION: Final = "1.2"
MANIFEST: Final = "manifest"
_ACCEPTED = ("1.2", "1.2.1")
_GUID = re.compile(r"[0-9A-Za-z.\-_/@]{1,255}")
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_INSTANT = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{3}Z")
_DECIMAL = re.compile(r"-?\d+(\.\d+)?")
_OBJECTIVE = re.compile(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_PAIR = re.compile(r"\{[^{}:,]+:[^{}:,]+\}")
_TITLE = re.compile(r"metadata\.[\w.\-]+")


@dataclass(frozen=True, slots=True)
class Column:
    """A column: what may stand in it."""

    name: str
    kind: str = "text"
    """text, guid, guids, list, date, instant, year, boolean, decimal, integer, word, ids, pairs or objective."""
    needed: bool = False
    words: tuple[str, ...] = ()
    open: bool = False
    """Beside the words any of one's own, as ``ext:something``."""
    to: str = ""
    """The file in which it must be found."""


def _needed(name: str, kind: str = "text") -> Column:
    return Column(name, kind, needed=True)


def _word(name: str, words: str, *, needed: bool = True, open: bool = True) -> Column:  # noqa: A002
    return Column(name, "word", needed, tuple(words.split()), open)


def _to(name: str, file: str, *, needed: bool = True, many: bool = False) -> Column:
    return Column(name, "guids" if many else "guid", needed, to=file)


_START = (
    _needed("sourcedId", "guid"),
    Column("status", "status"),
    Column("dateLastModified", "instant"),
)
_FURTHER: dict[str, tuple[Column, ...]] = {
    "academicSessions": (
        _needed("title"),
        _word("type", "gradingPeriod semester schoolYear term"),
        _needed("startDate", "date"),
        _needed("endDate", "date"),
        _to("parentSourcedId", "academicSessions", needed=False),
        _needed("schoolYear", "year"),
    ),
    "orgs": (
        _needed("name"),
        _word("type", "department school district local state national"),
        Column("identifier"),
        _to("parentSourcedId", "orgs", needed=False),
    ),
    "courses": (
        _to("schoolYearSourcedId", "academicSessions", needed=False),
        _needed("title"),
        Column("courseCode"),
        Column("grades", "list"),
        _to("orgSourcedId", "orgs"),
        Column("subjects", "list"),
        Column("subjectCodes", "list"),
    ),
    "classes": (
        _needed("title"),
        Column("grades", "list"),
        _to("courseSourcedId", "courses"),
        Column("classCode"),
        _word("classType", "homeroom scheduled"),
        Column("location"),
        _to("schoolSourcedId", "orgs"),
        _to("termSourcedIds", "academicSessions", many=True),
        Column("subjects", "list"),
        Column("subjectCodes", "list"),
        Column("periods", "list"),
    ),
    "users": (
        _needed("enabledUser", "boolean"),
        _needed("username"),
        Column("userIds", "ids"),
        _needed("givenName"),
        _needed("familyName"),
        Column("middleName"),
        Column("identifier"),
        Column("email"),
        Column("sms"),
        Column("phone"),
        _to("agentSourcedIds", "users", needed=False, many=True),
        Column("grades", "list"),
        Column("password"),
        Column("userMasterIdentifier"),
        Column("preferredGivenName"),
        Column("preferredMiddleName"),
        Column("preferredFamilyName"),
        _to("primaryOrgSourcedId", "orgs", needed=False),
        Column("pronouns"),
    ),
    "roles": (
        _to("userSourcedId", "users"),
        _word("roleType", "primary secondary", open=False),
        _word(
            "role",
            "aide counselor districtAdministrator guardian parent principal proctor relative siteAdministrator student "
            "systemAdministrator teacher",
        ),
        Column("beginDate", "date"),
        Column("endDate", "date"),
        _to("orgSourcedId", "orgs"),
        Column("userProfileSourcedId", "guid"),
    ),
    "enrollments": (
        _to("classSourcedId", "classes"),
        _to("schoolSourcedId", "orgs"),
        _to("userSourcedId", "users"),
        _word("role", "administrator proctor student teacher"),
        Column("primary", "boolean"),
        Column("beginDate", "date"),
        Column("endDate", "date"),
    ),
    "demographics": (
        Column("birthDate", "date"),
        _word("sex", "male female unspecified other", needed=False, open=False),
        Column("americanIndianOrAlaskaNative", "boolean"),
        Column("asian", "boolean"),
        Column("blackOrAfricanAmerican", "boolean"),
        Column("nativeHawaiianOrOtherPacificIslander", "boolean"),
        Column("white", "boolean"),
        Column("demographicRaceTwoOrMoreRaces", "boolean"),
        Column("hispanicOrLatinoEthnicity", "boolean"),
        Column("countryOfBirthCode"),
        Column("stateOfBirthAbbreviation"),
        Column("cityOfBirth"),
        Column("publicSchoolResidenceStatus"),
    ),
    "categories": (_needed("title"), Column("weight", "integer")),
    "lineItems": (
        _needed("title"),
        Column("description"),
        _needed("assignDate", "date"),
        _needed("dueDate", "date"),
        _to("classSourcedId", "classes"),
        _to("categorySourcedId", "categories"),
        _to("academicSessionSourcedId", "academicSessions"),
        Column("resultValueMin", "decimal"),
        Column("resultValueMax", "decimal"),
        _to("schoolSourcedId", "orgs"),
    ),
    "results": (
        _to("lineItemSourcedId", "lineItems"),
        _to("studentSourcedId", "users"),
        Column(
            "scoreStatus",
            "word",
            needed=True,
            words=("exempt", "fully graded", "not submitted", "partially graded", "submitted"),
            open=True,
        ),
        Column("score", "decimal"),
        _needed("scoreDate", "date"),
        Column("comment"),
        Column("textScore"),
        _to("classSourcedId", "classes", needed=False),
        Column("inProgress", "boolean"),
        Column("incomplete", "boolean"),
        Column("late", "boolean"),
        Column("missing", "boolean"),
    ),
    "scoreScales": (
        _needed("title"),
        _needed("type"),
        _to("orgSourcedId", "orgs"),
        _to("courseSourcedId", "courses"),
        _to("classSourcedId", "classes"),
        _needed("scoreScaleValue", "pairs"),
    ),
    "lineItemLearningObjectiveIds": (
        _to("lineItemSourcedId", "lineItems"),
        _word("source", "case unknown", open=False),
        _needed("learningObjectiveId", "objective"),
    ),
    "resultLearningObjectiveIds": (
        _to("resultSourcedId", "results"),
        _word("source", "case unknown", open=False),
        _needed("learningObjectiveId", "objective"),
        Column("score", "decimal"),
        Column("textScore"),
    ),
    "lineItemScoreScales": (
        Column("title"),
        _to("lineItemSourcedId", "lineItems"),
        _to("scoreScaleSourcedId", "scoreScales"),
    ),
    "resultScoreScales": (
        Column("title"),
        _to("resultSourcedId", "results"),
        _to("scoreScaleSourcedId", "scoreScales"),
    ),
}
FILES: Final[Mapping[str, tuple[Column, ...]]] = {
    name: _START + further for name, further in _FURTHER.items()
}
"""Every file whose columns are known here, with its columns in their order."""
UNKNOWN: Final = ("classResources", "courseResources", "resources", "userProfiles", "userResources")
NAMES: Final = tuple(sorted({*FILES, *UNKNOWN}, key=str.casefold))
"""Every file that a manifest speaks of."""
_STATES = ("absent", "bulk", "delta")
_OPTIONAL = ("source.systemName", "source.systemCode")

Row = Mapping[str, str]
Opener = Callable[[], BinaryIO]
"""Opens a member of a package, from its beginning, as often as it is called."""


@dataclass(frozen=True, slots=True)
class Checked:
    """What a package has in it, and everything that is wrong with it."""

    problems: tuple[Problem, ...]
    rows: Mapping[str, Sequence[Row]]
    """By file, as far as they could be read."""
    unchecked: tuple[str, ...]
    """Files that are there and whose columns are not known here."""


# --- checking -----------------------------------------------------------------------------------------------------


def check(files: Mapping[str, bytes]) -> Checked:
    """Check a package: its members by name, such as ``users.csv``. Every problem is named, not only the first."""
    checker = _Checker({name: partial(io.BytesIO, data) for name, data in files.items()})
    checker.run()
    rows = {name: [row for _, row in checker.each(name)] for name in checker.ids}
    return Checked(tuple(checker.problems), rows, tuple(checker.unchecked))


def problems_of(files: Mapping[str, Opener]) -> tuple[Problem, ...]:
    """Check a package of any length: of its rows no more is in memory at once than what other rows may point at."""
    checker = _Checker(files)
    checker.run()
    return tuple(checker.problems)


def _shown(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:57] + "...") if text else say("nothing")


_LOOKED_AT: Mapping[str, tuple[str, ...]] = {
    "academicSessions": ("type",),
    "orgs": ("type",),
    "lineItems": ("classSourcedId", "resultValueMin", "resultValueMax"),
}
"""What rules of other files look at in a row that they point at."""


@dataclass(slots=True)
class _Checker:
    files: Mapping[str, Opener]
    problems: list[Problem] = field(default_factory=list)
    ids: dict[str, dict[str, tuple[str, ...]]] = field(default_factory=dict)
    """By file that could be read, and by the id of a row: what is looked at in it."""
    unchecked: list[str] = field(default_factory=list)
    states: dict[str, str] = field(default_factory=dict)

    def bad(self, file: str, row: int | None, column: str, found: str, allowed: str) -> None:
        where = ", ".join(
            part
            for part in (
                f"{file}.csv",
                say("row {row}", row=row) if row else "",
                say("field {column}", column=column) if column else "",
            )
            if part
        )
        self.problems.append(Problem(where, found, allowed, row=row or 0))

    def run(self) -> None:
        self._members()
        self._manifest()
        for name in FILES:
            state = self.states.get(name, "absent")
            if state != "absent" and f"{name}.csv" in self.files:
                self._file(name, state)
        for name in FILES:
            for number, row in self.each(name):
                self._references(name, number, row)
        self._sessions()
        self._kinds()
        self._line_items()
        self._results()
        self._roles()

    # the package

    def _members(self) -> None:
        known = {f"{name}.csv" for name in (*NAMES, MANIFEST)}
        for member in self.files:
            if member not in known:
                self.problems.append(
                    Problem(
                        member,
                        say("a member that the standard does not name"),
                        say("manifest.csv and the 21 files, not in a folder"),
                    )
                )

    def _manifest(self) -> None:
        if f"{MANIFEST}.csv" not in self.files:
            self.bad(MANIFEST, None, "", say("no such file"), say("a manifest in every package"))
            return
        table = list(self._lines(MANIFEST)) if self._reads(MANIFEST) else []
        if not table:
            return
        header, *lines = table
        if header != ["propertyName", "value"]:
            self.bad(MANIFEST, 1, "", _shown(",".join(header)), say("the header propertyName,value"))
            return
        said: dict[str, str] = {}
        properties = {f"file.{name}" for name in NAMES} | {
            "manifest.version",
            "oneroster.version",
            *_OPTIONAL,
        }
        for number, line in enumerate(lines, 2):
            if len(line) != 2:
                self.bad(MANIFEST, number, "", say("{n} cells", n=len(line)), say("2 cells"))
            elif line[0] not in properties:
                allowed = say(
                    "manifest.version, oneroster.version, source.systemName, source.systemCode or file.<name>"
                )
                self.bad(MANIFEST, number, "propertyName", _shown(line[0]), allowed)
            elif line[0] in said:
                self.bad(
                    MANIFEST,
                    number,
                    "propertyName",
                    say("{found} again", found=_shown(line[0])),
                    say("each property once"),
                )
            else:
                said[line[0]] = line[1]
                self._property(number, *line)
        for name in ("manifest.version", "oneroster.version", *(f"file.{name}" for name in NAMES)):
            if name not in said:
                self.bad(MANIFEST, None, name, say("nothing"), say("a line for it"))
        for name in NAMES:
            self._declared(name, said.get(f"file.{name}", ""))

    def _property(self, number: int, name: str, value: str) -> None:
        if name == "manifest.version" and value != "1.0":
            self.bad(MANIFEST, number, name, _shown(value), "1.0")
        elif name == "oneroster.version" and value not in _ACCEPTED:
            self.bad(MANIFEST, number, name, _shown(value), VERSION)
        elif name.startswith("file.") and value not in _STATES:
            self.bad(MANIFEST, number, name, _shown(value), ", ".join(_STATES))

    def _declared(self, name: str, state: str) -> None:
        there = f"{name}.csv" in self.files
        if state in ("bulk", "delta"):
            self.states[name] = state
            if not there:
                self.bad(
                    name,
                    None,
                    "",
                    say("no such file, which the manifest calls {state}", state=state),
                    say("the file, or absent"),
                )
            elif name in UNKNOWN:
                self.unchecked.append(name)
        elif there:
            self.bad(
                name,
                None,
                "",
                say("a file that the manifest calls absent"),
                say("bulk or delta in the manifest"),
            )

    # one file

    def _lines(self, name: str) -> Iterator[list[str]]:
        with self.files[f"{name}.csv"]() as raw, io.TextIOWrapper(raw, "utf-8-sig", newline="") as text:
            yield from csv.reader(text, strict=True)

    def _reads(self, name: str) -> bool:
        """Whether a file is CSV in UTF-8 from beginning to end; if not, why."""
        try:
            for _ in self._lines(name):
                pass
        except UnicodeDecodeError:
            row, byte = self._first_stranger(name)
            self.bad(name, row, "", say("the byte {byte:#04x}", byte=byte), "UTF-8")
            return False
        except csv.Error as error:
            self.bad(
                name,
                None,
                "",
                say("something that is no CSV ({error})", error=error),
                say("commas and quotes by RFC 4180"),
            )
            return False
        return True

    def _first_stranger(self, name: str) -> tuple[int, int]:
        """Row and value of the first byte that is no UTF-8: read a line at a time, the place in the file is known."""
        row, line = 1, b""
        with self.files[f"{name}.csv"]() as raw:
            for row, line in enumerate(raw, 1):
                try:
                    line.decode()
                except UnicodeDecodeError as error:
                    return row, line[error.start]
        return row, line[-1]

    def _file(self, name: str, state: str) -> None:
        if not self._reads(name):
            return
        lines = self._lines(name)
        header = next(lines, None)
        if header is None:
            self.bad(name, None, "", say("an empty file"), say("a header and at least one row, or absent"))
            return
        columns = FILES[name]
        if not self._header(name, header):
            return
        ids = self.ids[name] = {}
        number = 1
        for number, line in enumerate(lines, 2):
            if len(line) != len(header):
                self.bad(
                    name,
                    number,
                    "",
                    say("{n} cells", n=len(line)),
                    say("{n} cells, as the header has", n=len(header)),
                )
                continue
            row = dict(zip(header, line, strict=True))
            for column in columns:
                self._cell(name, number, column, row[column.name], state)
            for title, cell in row.items():
                if "\n" in cell or "\r" in cell:
                    self.bad(name, number, title, say("a line break"), say("text on one line"))
            self._pairs_of(name, number, row)
            if row["sourcedId"] in ids:
                self.bad(
                    name,
                    number,
                    "sourcedId",
                    say("{found} again", found=_shown(row["sourcedId"])),
                    say("an id of its own"),
                )
            ids[row["sourcedId"]] = tuple(intern(row[title]) for title in _LOOKED_AT.get(name, ()))
        if number == 1:
            self.bad(
                name, None, "", say("a header and no row"), say("at least one row, or absent in the manifest")
            )

    def _header(self, name: str, header: Sequence[str]) -> bool:
        wanted = [column.name for column in FILES[name]]
        start, own = list(header[: len(wanted)]), header[len(wanted) :]
        if start != wanted:
            place = next(
                (n for n, (one, other) in enumerate(zip(start, wanted, strict=False)) if one != other),
                min(len(start), len(wanted)),
            )
            found = _shown(start[place]) if place < len(start) else say("nothing")
            self.bad(
                name,
                1,
                f"{place + 1}",
                found,
                say("{column}: the columns of the standard in their order", column=wanted[place]),
            )
            return False
        for title in own:
            if not _TITLE.fullmatch(title):
                self.bad(name, 1, title, say("a column of one's own"), "metadata.<something>")
        if len(set(header)) != len(header):
            self.bad(name, 1, "", say("a column twice"), say("each column once"))
            return False
        return True

    def _cell(self, name: str, number: int, column: Column, text: str, state: str) -> None:
        if column.name in ("status", "dateLastModified"):
            if state == "bulk":
                if text:
                    self.bad(name, number, column.name, _shown(text), say("nothing in a bulk file"))
                return
            if not text:
                self.bad(name, number, column.name, say("nothing"), say("a value in a delta file"))
                return
        if not text:
            if column.needed:
                self.bad(name, number, column.name, say("nothing"), say("a value"))
            return
        allowed = _KINDS[column.kind](column, text)
        if allowed:
            self.bad(name, number, column.name, _shown(text), allowed)

    def _pairs_of(self, name: str, number: int, row: Row) -> None:
        if name in ("courses", "classes") and row["subjectCodes"]:
            codes, subjects = (
                len(row["subjectCodes"].split(",")),
                len(row["subjects"].split(",")) if row["subjects"] else 0,
            )
            if codes != subjects:
                self.bad(
                    name,
                    number,
                    "subjectCodes",
                    say("{n} codes", n=codes),
                    say("{n}, one for each subject, in their order", n=subjects),
                )
        if name.endswith("LearningObjectiveIds") and row["source"] == "case":
            found = row["learningObjectiveId"]
            if found and not _OBJECTIVE.fullmatch(found):
                self.bad(
                    name,
                    number,
                    "learningObjectiveId",
                    _shown(found),
                    say("urn:uuid: and a UUID in small letters"),
                )

    # across files

    def _references(self, name: str, number: int, row: Row) -> None:
        for column in FILES[name]:
            text = row[column.name]
            if (
                not column.to
                or not text
                or self.states.get(column.to) == "delta"
                or self.states.get(name) == "delta"
            ):
                continue
            for one in text.split(",") if column.kind == "guids" else [text]:
                if _GUID.fullmatch(one) and one not in self.ids.get(column.to, {}):
                    self.bad(
                        name,
                        number,
                        column.name,
                        _shown(one),
                        say("the sourcedId of a row of {file}", file=f"{column.to}.csv"),
                    )

    def each(self, name: str) -> Iterator[tuple[int, Row]]:
        """The rows of a file that have a cell for every column, with their numbers, read anew."""
        if name not in self.ids:
            return
        lines = self._lines(name)
        header = next(lines)
        for number, line in enumerate(lines, 2):
            if len(line) == len(header):
                yield number, dict(zip(header, line, strict=True))

    def _row(self, name: str, sourced_id: str) -> Row | None:
        """What is looked at in the row of an id."""
        found = self.ids.get(name, {}).get(sourced_id)
        return None if found is None else dict(zip(_LOOKED_AT[name], found, strict=True))

    def _sessions(self) -> None:
        for number, row in self.each("academicSessions"):
            first, last = row["startDate"], row["endDate"]
            if _is_date(first) and _is_date(last) and last <= first:
                self.bad(
                    "academicSessions",
                    number,
                    "endDate",
                    last,
                    say("a day after {first}: it is the day after the last", first=first),
                )

    def _kinds(self) -> None:
        for name, column, to, kinds, but in (
            ("courses", "schoolYearSourcedId", "academicSessions", {"schoolYear"}, False),
            ("classes", "schoolSourcedId", "orgs", {"school"}, False),
            ("lineItems", "academicSessionSourcedId", "academicSessions", {"schoolYear"}, True),
        ):
            for number, row in self.each(name):
                found = self._row(to, row[column])
                if found is not None and (found["type"] in kinds) is but:
                    allowed = (
                        say("anything but a schoolYear")
                        if but
                        else say("one of type {types}", types=", ".join(sorted(kinds)))
                    )
                    shown = say("{found}, a {type}", found=_shown(row[column]), type=found["type"])
                    self.bad(name, number, column, shown, allowed)

    def _line_items(self) -> None:
        for number, row in self.each("lineItems"):
            least, most = _number(row["resultValueMin"]), _number(row["resultValueMax"])
            if least is not None and most is not None and least > most:
                self.bad(
                    "lineItems",
                    number,
                    "resultValueMin",
                    str(least),
                    say("at most {most}, the resultValueMax", most=str(most)),
                )

    def _results(self) -> None:
        students = {
            (row["classSourcedId"], row["userSourcedId"])
            for _, row in self.each("enrollments")
            if row["role"] == "student"
        }
        for number, row in self.each("results"):
            item = self._row("lineItems", row["lineItemSourcedId"])
            if item is None:
                continue
            score = _number(row["score"])
            least, most = _number(item["resultValueMin"]), _number(item["resultValueMax"])
            if score is not None and (
                (least is not None and score < least) or (most is not None and score > most)
            ):
                self.bad(
                    "results",
                    number,
                    "score",
                    str(score),
                    say("from {least} to {most}, as its line item has it", least=str(least), most=str(most)),
                )
            if row["classSourcedId"] and row["classSourcedId"] != item["classSourcedId"]:
                self.bad(
                    "results", number, "classSourcedId", _shown(row["classSourcedId"]), item["classSourcedId"]
                )
            if (item["classSourcedId"], row["studentSourcedId"]) not in students:
                allowed = say("a student enrolled in the class {class_id}", class_id=item["classSourcedId"])
                self.bad("results", number, "studentSourcedId", _shown(row["studentSourcedId"]), allowed)

    def _roles(self) -> None:
        if "roles" not in self.ids:
            return
        orgs = {(row["userSourcedId"], row["orgSourcedId"]) for _, row in self.each("roles")}
        for number, row in self.each("users"):
            org = row["primaryOrgSourcedId"]
            if org and (row["sourcedId"], org) not in orgs:
                self.bad(
                    "users",
                    number,
                    "primaryOrgSourcedId",
                    _shown(org),
                    say("an org in which the user has a role"),
                )
        seen: set[tuple[str, str]] = set()
        for number, row in self.each("roles"):
            key = (row["userSourcedId"], row["orgSourcedId"])
            if row["roleType"] == "primary" and key in seen:
                self.bad(
                    "roles",
                    number,
                    "roleType",
                    say("a second primary role"),
                    say("one primary role of a user in an org"),
                )
            if row["roleType"] == "primary":
                seen.add(key)


def _is_date(text: str) -> bool:
    try:
        return bool(_DATE.fullmatch(text)) and bool(date.fromisoformat(text))
    except ValueError:
        return False


def _is_instant(text: str) -> bool:
    try:
        return bool(_INSTANT.fullmatch(text)) and bool(datetime.fromisoformat(text))
    except ValueError:
        return False


def _number(text: str) -> Decimal | None:
    try:
        return Decimal(text) if _DECIMAL.fullmatch(text) else None
    except InvalidOperation:
        return None


def _members(text: str, holds: Callable[[str], bool]) -> bool:
    return all(one and holds(one) for one in text.split(","))


def _word_problem(column: Column, text: str) -> str:
    own = column.open and re.fullmatch(r"ext:\S+", text)
    if text in column.words or own:
        return ""
    words = ", ".join(column.words)
    return (
        say("one of {words}, or ext:<something>", words=words)
        if column.open
        else say("one of {words}", words=words)
    )


_Judge = Callable[[Column, str], str]


def _judge(holds: Callable[[str], bool], allowed: str) -> _Judge:
    return lambda _, text: "" if holds(text) else say(allowed)


_KINDS: dict[str, _Judge] = {
    "text": lambda _, __: "",
    "guid": _judge(lambda text: bool(_GUID.fullmatch(text)), later("1 to 255 of 0-9 A-Z a-z . - _ / @")),
    "guids": _judge(
        lambda text: _members(text, lambda one: bool(_GUID.fullmatch(one))),
        later("ids with commas between, each 1 to 255 of 0-9 A-Z a-z . - _ / @"),
    ),
    "list": _judge(
        lambda text: _members(text, bool), later("values with commas between, none of them empty")
    ),
    "date": _judge(_is_date, later("a day as YYYY-MM-DD")),
    "instant": _judge(_is_instant, later("an instant as YYYY-MM-DDTHH:MM:SS.sssZ")),
    "year": _judge(lambda text: bool(re.fullmatch(r"\d{4}", text)), later("a year as YYYY")),
    "boolean": _judge(lambda text: text in ("true", "false"), later("true or false")),
    "decimal": _judge(lambda text: bool(_DECIMAL.fullmatch(text)), later("a plain decimal number")),
    "integer": _judge(lambda text: bool(re.fullmatch(r"-?\d+", text)), later("a whole number")),
    "word": _word_problem,
    "status": _judge(lambda text: text in ("active", "tobedeleted"), later("active or tobedeleted")),
    "ids": _judge(
        lambda text: _members(text, lambda one: bool(_PAIR.fullmatch(one))),
        later("{type:id} with commas between"),
    ),
    "pairs": _judge(
        lambda text: _members(text, lambda one: bool(_PAIR.fullmatch(one))),
        later("{lhs:rhs} with commas between, and neither comma nor colon in a label"),
    ),
    "objective": lambda _, __: "",
}


# --- writing ------------------------------------------------------------------------------------------------------


def one_line(text: str) -> str:
    """Text without line breaks, as a cell may have it."""
    return " ".join(text.split())


def in_list(values: Iterable[str]) -> str:
    """Values as one cell; a comma in a value would part it."""
    return ",".join(one_line(value.replace(",", " ")) for value in values if value.strip())


def write(tables: Mapping[str, Iterable[Row]], *, system: str) -> Iterator[tuple[str, bytes]]:
    """Write a small bulk package, as `written` does, each file at once."""
    for name, lines in written(tables, system=system):
        yield name, b"".join(lines)


def written(tables: Mapping[str, Iterable[Row]], *, system: str) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Write a bulk package a line at a time: the manifest first, then every file that has rows.

    Rows are gone through twice, first for the columns of one's own, which come last.
    """
    own = {name: _own_columns(name, tables[name]) for name in FILES if name in tables}
    states = {name: "absent" if own.get(name) is None else "bulk" for name in NAMES}
    lines = [("propertyName", "value"), ("manifest.version", "1.0"), ("oneroster.version", VERSION)]
    lines += [(f"file.{name}", states[name]) for name in NAMES]
    lines += [("source.systemName", system)]
    yield f"{MANIFEST}.csv", _csv(lines)
    for name, further in own.items():
        if further is not None:
            header = [*(column.name for column in FILES[name]), *further]
            yield f"{name}.csv", _csv(_cells(header, tables[name]))


def _own_columns(name: str, rows: Iterable[Row]) -> list[str] | None:
    """The columns of rows that the standard does not have; None: there is no row."""
    titles: set[str] | None = None
    for row in rows:
        titles = (titles or set()) | row.keys()
    return None if titles is None else sorted(titles - {column.name for column in FILES[name]})


def _cells(header: Sequence[str], rows: Iterable[Row]) -> Iterator[Sequence[str]]:
    yield header
    for row in rows:
        yield [row.get(title, "") for title in header]


def _csv(lines: Iterable[Sequence[str]]) -> Iterator[bytes]:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    for line in lines:
        writer.writerow([one_line(cell) for cell in line])
        yield text.getvalue().encode()
        text.seek(0)
        text.truncate()
