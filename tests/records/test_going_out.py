"""What other programs read: tables for sheets, OneRoster packages, calendars. Each is read back by a library that is not ours.

CSV on the Web: "Model for Tabular Data and Metadata on the Web", W3C Recommendation, 17 December 2015, as `csvw` has it.
iCalendar: RFC 5545, Desruisseaux (editor), 2009; sections are named beside the checks.
"""

import csv
import io
import json
import re
import shutil
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

import csvw
import icalendar
import pytest

from markstead.errors import InputError, UnknownError
from markstead.ledger import oneroster
from markstead.ledger.facts import Presence, Step
from markstead.records import actions as a
from markstead.records import backups, feeds, order_calls, rosters, setup, tables
from markstead.records.feeds import Naming, Part
from markstead.records.home import Home
from markstead.records.models import Household, Person
from markstead.records.order_calls import DueCall
from markstead.records.queries import count_facts, home_of
from markstead.records.spreadsheets import guarded, plain
from markstead.rules.ruling import Role
from tests.records.house import House

T = TypeVar("T")
NOW = datetime(2026, 1, 14, 12, tzinfo=UTC)
TODAY = NOW.date()
TRAP = '=HYPERLINK("a","b")'


def live() -> None:
    """A unit test failed and sat again, a section marked, goals, an absence, an order due, a name like a formula."""
    house = House()
    first = house.fail()
    house.do(a.reorder_workbook, copy=first, new_copy="again")
    house.do(a.receive_copy, copy="again")
    house.bring("asked", learner="noa", workbook="maths-9-01")
    house.do(a.refuse_leave, copy="home-2", step=Step.MARK, stop="section-1", reason=TRAP)
    house.do(a.set_goal, copy="home-2", day=date(2026, 1, 15), first=4, last=6)
    house.do(a.set_goal, copy="home-2", day=date(2026, 1, 16), first=7, last=9)
    house.do(a.set_goal, copy="home-2", day=date(2026, 1, 16))
    house.do(a.set_goal, copy="home-2", day=date(2026, 1, 19), step=Step.UNIT_TEST)
    house.do(a.take_attendance, learner="asa", day=date(2026, 1, 12), presence=Presence.HALF, minutes=95)
    Person.objects.filter(key="noa").update(
        name="@Noa Fjord, née “Å” of the Long Scree under the High Fells of the North"
    )
    Household.objects.filter(id="home").update(stamp=setup.new_stamp())
    asa = house.person("asa")
    lines = [DueCall("maths-5-02", asa, "Quayside Books", date(2026, 1, 20), date(2026, 2, 2), TODAY)]
    order_calls.keep("home", TODAY, [], lines, {})


@pytest.fixture(scope="module")
def lived(new_home: Path) -> Path:
    """A home that has lived, in a file of its own; nobody changes it."""
    home = new_home.with_name("lived.sqlite3")
    shutil.copy(new_home, home)
    backups.at_another(home, live)
    return home


@pytest.fixture
def inside(lived: Path) -> Callable[[Callable[[Home], T]], T]:
    """Work on that home."""
    return lambda work: backups.at_another(lived, lambda: work(home_of("home")))


In = Callable[[Callable[[Home], Any]], Any]


# --- tables -------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sheets(lived: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tables")
    backups.at_another(lived, lambda: tables.write_tables("home", folder / "t.zip"))
    with zipfile.ZipFile(folder / "t.zip") as package:
        package.extractall(folder)
    return folder


def rows_of(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


class TestTables:
    """CSV that any sheet opens, and that says itself what is in it."""

    def test_the_tables_are_valid_by_their_own_metadata(self, sheets: Path) -> None:
        read = csvw.CSVW(str(sheets / tables.METADATA), validate=True)

        assert (read.is_valid, read.warnings) == (True, [])

    def test_every_key_is_unique_and_every_reference_is_found(self, sheets: Path) -> None:
        group = csvw.TableGroup.from_file(sheets / tables.METADATA)

        group.check_referential_integrity(strict=True)
        for table in group.tables:
            keys = table.tableSchema.primaryKey or []
            found = [tuple(row[key] for key in keys) for row in table.iterdicts()]
            assert not keys or len(set(found)) == len(found), table.url

    def test_a_fault_in_a_table_is_found_by_the_metadata(self, sheets: Path, tmp_path: Path) -> None:
        """So that the check above can fail."""
        shutil.copytree(sheets, tmp_path / "t")
        file = tmp_path / "t" / "results.csv"
        file.write_text(re.sub(r"\d{4}-\d\d-\d\d,", "last Monday,", file.read_text(), count=1))

        with pytest.raises((UserWarning, ValueError), match="last Monday"):
            _ = csvw.CSVW(str(tmp_path / "t" / tables.METADATA), validate=True).is_valid

    def test_values_come_out_as_they_are_on_the_record(self, sheets: Path) -> None:
        results = {(r["test"], r["attempt"]): r for r in rows_of(sheets, "results.csv")}
        half = rows_of(sheets, "attendance.csv")[0]
        worked = [r for r in rows_of(sheets, "hours.csv") if r["copy"] == "home-1"]

        assert results["unit test", "1"]["passed"] == "false"
        assert results["practice test", "1"]["passed"] == "true"
        assert (half["day"], half["presence"], half["minutes"]) == ("2026-01-12", "half day", "95")
        assert worked[0]["minutes"] == "41"
        assert [r["received"] != "" for r in rows_of(sheets, "orders.csv")] == [True, True, True]

    def test_every_fact_is_there(self, sheets: Path, inside: In) -> None:
        facts = rows_of(sheets, "facts.csv")

        assert [int(f["seq"]) for f in facts] == list(range(1, inside(lambda _: count_facts("home")) + 1))
        assert json.loads(facts[0]["values"])["workbook"] == "maths-5-01"

    def test_no_cell_begins_like_a_formula(self, sheets: Path) -> None:
        """Injection by formula: the signs are those that OWASP's page on CSV injection names (from memory)."""
        cells = [
            cell
            for file in sheets.glob("*.csv")
            for row in csv.reader(io.StringIO(file.read_text(), newline=""))
            for cell in row
        ]

        assert [cell for cell in cells if cell[:1] in "=+-@\t\r" and cell] == []
        assert f"'{TRAP}" in cells
        assert "'@Noa Fjord, née “Å” of the Long Scree under the High Fells of the North" in cells

    @pytest.mark.parametrize(
        "text", ["=1", "'=1", "''@x", "'quoted'", "-5", "\tx", " =1", "\n=1", "plain", "", "'"]
    )
    def test_the_guard_can_be_taken_away_again(self, text: str) -> None:
        assert plain(guarded(text)) == text
        assert guarded(text).lstrip(" ")[:1] not in {*"=+-@\t\r\n"}

    def test_without_names_nobody_is_named(self, inside: In, tmp_path: Path) -> None:
        inside(lambda home: tables.write_tables("home", tmp_path / "t.zip", names=False))

        with zipfile.ZipFile(tmp_path / "t.zip") as package:
            whole = b"".join(package.read(name) for name in package.namelist()).decode()
        for word in ("Ruth", "ruth", "Fjord", "Asa", "HYPERLINK"):
            assert word not in whole


# --- OneRoster ----------------------------------------------------------------------------------------------------


class TestRoster:
    """People, courses, enrolments and results, out and in."""

    @pytest.fixture
    def package(self, inside: In, tmp_path: Path) -> Path:
        inside(lambda home: rosters.write_roster("home", tmp_path / "r.zip"))
        return tmp_path / "r.zip"

    def test_what_is_written_keeps_every_rule(self, package: Path) -> None:
        found = oneroster.check(rosters.read_files(package))

        assert found.problems == ()
        assert {name: len(rows) for name, rows in found.rows.items()} == {
            "academicSessions": 2,
            "orgs": 1,
            "courses": 3,
            "classes": 3,
            "users": 4,
            "roles": 4,
            "enrollments": 6,
            "categories": 2,
            "lineItems": 2,
            "results": 2,
        }

    def test_a_session_ends_on_the_day_after_the_last(self, package: Path) -> None:
        sessions = oneroster.check(rosters.read_files(package)).rows["academicSessions"]

        assert [(s["startDate"], s["endDate"], s["schoolYear"]) for s in sessions] == [
            ("2026-01-05", "2026-03-28", "2026")
        ] * 2

    def test_a_result_is_what_was_marked(self, package: Path, inside: In) -> None:
        rows = oneroster.check(rosters.read_files(package)).rows
        unit = next(r for r in rows["results"] if r["lineItemSourcedId"].endswith("unit-test"))
        item = next(i for i in rows["lineItems"] if i["sourcedId"] == unit["lineItemSourcedId"])
        book = inside(lambda home: home.programme.workbook("maths-5-01"))

        assert item["resultValueMax"] == str(book.unit_questions)
        assert int(unit["score"]) == int(unit["metadata.needed"]) - 1
        assert (unit["textScore"], unit["metadata.attempt"]) == ("not passed", "1")

    def test_people_and_enrolments_go_into_another_home(self, package: Path, empty: Path) -> None:
        """A house in which Asa alone lives with Mallory; the same again changes nothing."""

        def take() -> tuple[Any, ...]:
            House("home", (setup.Newcomer("mallory", "Mallory", Role.EDUCATOR),))
            dry = rosters.take_roster("home", package, at=NOW, dry_run=True)
            alone = len(home_of("home").people)
            taken = rosters.take_roster("home", package, at=NOW)
            home = home_of("home")
            rosters.take_roster("home", package, at=NOW)
            return dry, alone, taken, home, home_of("home").stamp

        dry, alone, taken, home, stamp = backups.at_another(empty, take)

        assert (dry.people, alone) == (4, 1)
        assert sorted(taken.new) == [
            "@Noa Fjord, née “Å” of the Long Scree under the High Fells of the North",
            "Asa",
            "Ruth",
            "Tobi",
        ]
        asa = home.person("asa")
        assert (asa.role, asa.year, asa.courses) == (Role.LEARNER, 5, ("maths-5", "reading-5"))
        assert (home.person("ruth").role, home.person("tobi").role) == (Role.EDUCATOR, Role.HELPER)
        assert stamp == home.stamp

    def test_a_school_with_other_courses_is_taken_as_far_as_it_goes(
        self, empty: Path, tmp_path: Path
    ) -> None:
        rows = _a_school()
        (tmp_path / "school").mkdir()
        for name, data in oneroster.write(rows, system="a school"):
            (tmp_path / "school" / name).write_bytes(data)

        def take() -> tuple[Any, Home]:
            House()
            return rosters.take_roster("home", tmp_path / "school", at=NOW), home_of("home")

        taken, home = backups.at_another(empty, take)

        assert taken.left_out == [
            "The course Falconry is none of the programme's, so nobody takes it here.",
            "Bo Ash is not enabled.",
        ]
        assert home.person("ida-ash").courses == ("maths-5",)
        assert home.person("asa").courses == ("maths-5", "reading-5")

    def test_a_package_with_faults_changes_nothing(self, empty: Path, tmp_path: Path) -> None:
        rows = _a_school()
        rows["users"][0]["grades"] = "upper"
        rows["users"][1]["enabledUser"] = "true"
        rows["enrollments"][1]["userSourcedId"] = "u2"
        rows["users"][1]["username"] = "IDA.ash@school"
        (tmp_path / "school").mkdir()
        for name, data in oneroster.write(rows, system="a school"):
            (tmp_path / "school" / name).write_bytes(data)

        def take() -> tuple[str, int]:
            House()
            with pytest.raises(InputError) as refused:
                rosters.take_roster("home", tmp_path / "school", at=NOW)
            return str(refused.value), len(home_of("home").people)

        says, people = backups.at_another(empty, take)

        assert "users.csv, row 2, field grades: found upper" in says
        assert (
            "users.csv, row 3, field username: found IDA.ash@school; allowed is another than that of Ida Ash"
            in says
        )
        assert people == 4

    def test_a_file_in_another_encoding_is_named(self, package: Path) -> None:
        files = rosters.read_files(package)
        files["users.csv"] = files["users.csv"].decode().encode("utf-16")

        assert oneroster.check(files).problems[0].where == "users.csv, row 1"
        assert oneroster.check(files).problems[0].allowed == "UTF-8"


def _a_school() -> dict[str, list[dict[str, str]]]:
    return {
        "academicSessions": [
            {"sourcedId": "t", "title": "t", "type": "term", "startDate": "2026-01-05", "endDate": "2026-04-01", "schoolYear": "2026"}
        ],
        "orgs": [{"sourcedId": "o", "name": "Dale School", "type": "school"}],
        "courses": [
            {"sourcedId": "c1", "title": "Something", "courseCode": "maths-5", "orgSourcedId": "o"},
            {"sourcedId": "c2", "title": "Falconry", "courseCode": "F1", "orgSourcedId": "o"},
        ],
        "classes": [
            {"sourcedId": f"k{n}", "title": "k", "courseSourcedId": f"c{n}", "classType": "scheduled", "schoolSourcedId": "o", "termSourcedIds": "t"}
            for n in (1, 2)
        ],
        "users": [
            {"sourcedId": "u1", "enabledUser": "true", "username": "Ida.Ash@school", "givenName": "Ida", "familyName": "Ash", "grades": "05"},
            {"sourcedId": "u2", "enabledUser": "false", "username": "bo", "givenName": "Bo", "familyName": "Ash", "grades": "05"},
        ],
        "enrollments": [
            {"sourcedId": f"e{n}", "classSourcedId": f"k{n}", "schoolSourcedId": "o", "userSourcedId": "u1", "role": "student"}
            for n in (1, 2)
        ],
    }  # fmt: skip


# --- calendars ----------------------------------------------------------------------------------------------------


def rules_broken(data: bytes) -> list[str]:
    """What an iCalendar object breaks of RFC 5545, as far as these rules go; written from the RFC, not from a library."""
    broken = []
    if (
        not data.endswith(b"\r\n")
        or b"\n" in data.replace(b"\r\n", b"")
        or b"\r" in data.replace(b"\r\n", b"")
    ):
        broken.append("3.1: lines end with CR LF")
    broken += [f"3.1: {len(line)} octets" for line in data.split(b"\r\n") if len(line) > 75]
    lines = re.sub(rb"\r\n[ \t]", b"", data).decode("utf-8").split("\r\n")[:-1]
    if lines[:1] != ["BEGIN:VCALENDAR"] or lines[-1:] != ["END:VCALENDAR"]:
        broken.append("3.4: one calendar object")
    for name in ("PRODID", "VERSION"):
        if sum(line.startswith(f"{name}:") for line in lines) != 1:
            broken.append(f"3.6: {name} once")
    uids, event = [], None
    for line in lines:
        if line == "BEGIN:VEVENT":
            event = {}
        elif line == "END:VEVENT" and event is not None:
            broken += _event_broken(event)
            uids += event.get("UID", [])
            event = None
        elif event is not None:
            name, _, value = line.partition(":")
            event.setdefault(name, []).append(value)
    if len(set(uids)) != len(uids):
        broken.append("3.8.4.7: UIDs are unique")
    return broken


def _event_broken(event: dict[str, list[str]]) -> list[str]:
    broken = [f"3.6.1: {name} once" for name in ("UID", "DTSTAMP") if len(event.get(name, ())) != 1]
    if not re.fullmatch(r"\d{8}T\d{6}Z", event.get("DTSTAMP", [""])[0]):
        broken.append("3.8.7.2: DTSTAMP in UTC")
    if "DTSTART;VALUE=DATE" in event:
        first, end = (event[f"{name};VALUE=DATE"][0] for name in ("DTSTART", "DTEND"))
        if not (re.fullmatch(r"\d{8}", first) and first < end):
            broken.append("3.6.1: an event of a day ends on a later date, which is not part of it")
    elif not event["DTSTART"][0] < event["DTEND"][0]:
        broken.append("3.8.2.2: DTEND after DTSTART")
    if any(re.search(r"(?<!\\)[;,]|\\[^nN;,\\]", value) for value in event.get("SUMMARY", ())):
        broken.append("3.3.11: commas, semicolons and backslashes are escaped")
    return broken


class TestCalendar:
    """What a phone reads."""

    def events(self, inside: In, naming: Naming = Naming.NAMES, *parts: Part, learner: str = "") -> list[Any]:
        wanted = parts or tuple(Part)
        return inside(
            lambda home: feeds.events(
                home, TODAY, parts=wanted, naming=naming, learner=home.learner(learner).id if learner else ""
            )
        )

    def data(self, inside: In, naming: Naming = Naming.NAMES) -> bytes:
        return feeds.calendar_bytes(self.events(inside, naming), name="Häuschen; Küche", salt="s", now=NOW)

    def test_it_keeps_the_rules_of_the_standard(self, inside: In) -> None:
        assert rules_broken(self.data(inside)) == []

    @pytest.mark.parametrize(
        ("old", "new", "rule"),
        [
            (b"\r\n", b"\n", "3.1"),
            (b"\r\n ", b"", "3.1"),
            (b"UID:", b"UIX:", "UID"),
            (b"DTSTAMP:20260114T120000Z", b"DTSTAMP:20260114T120000", "3.8.7.2"),
            (b"DTEND;VALUE=DATE:20260116", b"DTEND;VALUE=DATE:20260115", "not part of it"),
            (b"VERSION:2.0\r\n", b"", "VERSION"),
            (b"Fjord\\, n", b"Fjord, n", "3.3.11"),
        ],
    )
    def test_the_check_notices(self, inside: In, old: bytes, new: bytes, rule: str) -> None:
        data = self.data(inside)

        assert old in data
        assert rule in " ".join(rules_broken(data.replace(old, new)))

    def test_a_library_reads_the_same_back(self, inside: In) -> None:
        found = self.events(inside)

        read = icalendar.Calendar.from_ical(self.data(inside)).walk("VEVENT")

        assert [(str(e["SUMMARY"]), e.decoded("DTSTART"), e.decoded("DTEND")) for e in read] == [
            (e.says, e.first, e.end) for e in found
        ]
        assert all(not e.errors for e in read)

    def test_goals_that_were_set_stand_by_day(self, inside: In) -> None:
        goals = self.events(inside, Naming.NAMES, Part.GOALS, learner="noa")

        said = {e.first: (e.says, e.lines) for e in goals}
        assert said[date(2026, 1, 15)] == (
            "@Noa Fjord, née “Å” of the Long Scree under the High Fells of the North: 1 goal",
            ("Pages 4-6 of Powers and Roots",),
        )
        assert date(2026, 1, 16) not in said
        assert all(e.end - e.first == timedelta(days=1) for e in goals)

    def test_a_unit_test_stands_in_its_morning(self, inside: In) -> None:
        (sitting,) = self.events(inside, Naming.INITIALS, Part.SITTINGS)

        assert sitting.says == "@.: unit test of Powers and Roots"
        assert (sitting.first, sitting.end) == (
            datetime(2026, 1, 19, 8, tzinfo=UTC),
            datetime(2026, 1, 19, 12, tzinfo=UTC),
        )

    def test_orders_and_dispatch_stand_on_their_days(self, inside: In) -> None:
        (order,) = self.events(inside, Naming.NONE, Part.ORDERS)
        sent = self.events(inside, Naming.NONE, Part.DISPATCH)

        assert (order.first, order.says) == (date(2026, 1, 20), "Order from Quayside Books: 1 copy")
        assert order.lines[0].endswith(", for Learner 1")
        assert [e.first for e in sent[:3]] == [date(2026, month, 1) for month in (1, 2, 3)]

    def test_it_names_learners_only_as_the_educator_chose(self, inside: In) -> None:
        unnamed, initials = (self.data(inside, n).decode() for n in (Naming.NONE, Naming.INITIALS))
        ids = inside(lambda home: [*home.people, *(p.key for p in home.people.values())])

        for text in (unnamed, initials):
            assert not [word for word in ("Asa", "Noa", "Fjord", *ids) if word in text]
        assert "Learner 2: 1 goal" in unnamed
        assert "@.: 1 goal" in initials

    def test_ids_stay_while_words_change_and_differ_between_addresses(self, inside: In) -> None:
        def uids(data: bytes) -> list[str]:
            return re.findall(r"UID:(\S+)", data.decode())

        found = self.events(inside)
        once = feeds.calendar_bytes(found, name="a", salt="s", now=NOW)
        later = feeds.calendar_bytes(
            self.events(inside, Naming.NONE), name="b", salt="s", now=NOW + timedelta(days=1)
        )
        elsewhere = feeds.calendar_bytes(found, name="a", salt="t", now=NOW)

        assert uids(once) == uids(later)
        assert not set(uids(once)) & set(uids(elsewhere))

    def test_an_address_cannot_be_guessed_and_can_be_taken_back(self, empty: Path) -> None:
        def use() -> None:
            House()
            home = home_of("home")
            given: dict[str, Any] = {"naming": "none", "parts": ["dispatch"], "now": NOW}
            one = feeds.make(home, name="Phone", by="ruth", **given)
            other = feeds.make(home, name="Phone", by="ruth", **given)
            assert len(one.id) >= 40  # 32 bytes by chance: 256 bits
            assert one.id != other.id
            assert feeds.find(one.id, NOW) is not None
            assert feeds.take_back(home, feed=one.id, by="ruth") == "Phone"
            assert feeds.find(one.id, NOW) is None
            assert [f.id for f in feeds.feeds(home)] == [other.id]
            with pytest.raises(UnknownError):
                feeds.take_back(home, feed=one.id, by="ruth")
            with pytest.raises(InputError, match="an educator"):
                feeds.make(home, name="Phone", by="tobi", **given)
            with pytest.raises(InputError) as refused:
                feeds.make(home, name=" ", by="ruth", naming="loud", parts=["sins"], now=NOW)
            assert len(refused.value.problems) == 3

        backups.at_another(empty, use)
