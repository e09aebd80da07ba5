"""The checker of OneRoster packages, against faults planted one by one in a package that keeps every rule.

The rules and the columns: "1EdTech OneRoster: CSV Binding 1.2.1", Final Release, document version 5, 22 August 2023, as
two independent transcriptions of it have them (the gradebook's files: one of them).
"""

import csv
import io
from collections.abc import Callable

import pytest

from markstead.ledger.oneroster import FILES, NAMES, UNKNOWN, check, write

Tables = dict[str, list[dict[str, str]]]

UUID = "urn:uuid:0b4ba3a8-5c0a-4a44-8a3b-9f0c2a1f6d3e"


def tables() -> Tables:
    """A small school in which every file that is known has a row or two."""
    return {
        "academicSessions": [
            {
                "sourcedId": "y26",
                "title": "2025 to 2026",
                "type": "schoolYear",
                "startDate": "2025-09-01",
                "endDate": "2026-07-18",
                "schoolYear": "2026",
            },
            {
                "sourcedId": "t1",
                "title": "autumn",
                "type": "term",
                "startDate": "2025-09-01",
                "endDate": "2025-12-20",
                "parentSourcedId": "y26",
                "schoolYear": "2026",
            },
        ],
        "orgs": [
            {"sourcedId": "o1", "name": "Tarn End", "type": "school", "identifier": "home"},
            {"sourcedId": "o2", "name": "The dale", "type": "district"},
        ],
        "courses": [
            {
                "sourcedId": "c1",
                "schoolYearSourcedId": "y26",
                "title": "Sums 5",
                "courseCode": "sums-5",
                "grades": "05",
                "orgSourcedId": "o1",
                "subjects": "sums,reckoning",
                "subjectCodes": "S1,R1",
            },
        ],
        "classes": [
            {
                "sourcedId": "k1",
                "title": "Sums of Asa",
                "grades": "05",
                "courseSourcedId": "c1",
                "classType": "scheduled",
                "schoolSourcedId": "o1",
                "termSourcedIds": "t1,y26",
            },
        ],
        "users": [
            {
                "sourcedId": "u1",
                "enabledUser": "true",
                "username": "asa",
                "userIds": "{school:17}",
                "givenName": "Asa",
                "familyName": "Brook",
                "agentSourcedIds": "u2",
                "grades": "05",
                "primaryOrgSourcedId": "o1",
            },
            {
                "sourcedId": "u2",
                "enabledUser": "true",
                "username": "ruth",
                "givenName": "Ruth",
                "familyName": "Brook",
            },
        ],
        "roles": [
            {
                "sourcedId": "r1",
                "userSourcedId": "u1",
                "roleType": "primary",
                "role": "student",
                "orgSourcedId": "o1",
            },
            {
                "sourcedId": "r2",
                "userSourcedId": "u2",
                "roleType": "primary",
                "role": "teacher",
                "orgSourcedId": "o1",
            },
        ],
        "enrollments": [
            {
                "sourcedId": "e1",
                "classSourcedId": "k1",
                "schoolSourcedId": "o1",
                "userSourcedId": "u1",
                "role": "student",
                "primary": "false",
            },
            {
                "sourcedId": "e2",
                "classSourcedId": "k1",
                "schoolSourcedId": "o1",
                "userSourcedId": "u2",
                "role": "teacher",
                "primary": "true",
            },
        ],
        "demographics": [
            {"sourcedId": "u1", "birthDate": "2016-05-03", "sex": "unspecified", "white": "false"}
        ],
        "categories": [{"sourcedId": "g1", "title": "Unit tests", "weight": "100"}],
        "lineItems": [
            {
                "sourcedId": "i1",
                "title": "Counting Boats: unit test",
                "assignDate": "2025-10-01",
                "dueDate": "2025-10-01",
                "classSourcedId": "k1",
                "categorySourcedId": "g1",
                "academicSessionSourcedId": "t1",
                "resultValueMin": "0",
                "resultValueMax": "20",
                "schoolSourcedId": "o1",
            },
        ],
        "results": [
            {
                "sourcedId": "s1",
                "lineItemSourcedId": "i1",
                "studentSourcedId": "u1",
                "scoreStatus": "fully graded",
                "score": "17.5",
                "scoreDate": "2025-10-01",
                "comment": "said aloud, twice",
                "classSourcedId": "k1",
                "late": "false",
                "metadata.attempt": "2",
            },
        ],
        "scoreScales": [
            {
                "sourcedId": "x1",
                "title": "Marks",
                "type": "levels",
                "orgSourcedId": "o1",
                "courseSourcedId": "c1",
                "classSourcedId": "k1",
                "scoreScaleValue": "{0-79:no},{80-100:yes}",
            },
        ],
        "lineItemLearningObjectiveIds": [
            {"sourcedId": "l1", "lineItemSourcedId": "i1", "source": "case", "learningObjectiveId": UUID},
        ],
        "resultLearningObjectiveIds": [
            {
                "sourcedId": "l2",
                "resultSourcedId": "s1",
                "source": "unknown",
                "learningObjectiveId": "our own 4",
                "score": "3",
            },
        ],
        "lineItemScoreScales": [{"sourcedId": "l3", "lineItemSourcedId": "i1", "scoreScaleSourcedId": "x1"}],
        "resultScoreScales": [{"sourcedId": "l4", "resultSourcedId": "s1", "scoreScaleSourcedId": "x1"}],
    }


def package(tables: Tables) -> dict[str, bytes]:
    return dict(write(tables, system="a test"))


def cell(file: str, row: int, field: str, value: str) -> Callable[[dict[str, bytes]], None]:
    """Put a value into a cell of a file that is written already; row 2 is the first below the header."""

    def plant(files: dict[str, bytes]) -> None:
        name = f"{file}.csv"
        lines = list(csv.reader(io.StringIO(files[name].decode(), newline="")))
        lines[row - 1][lines[0].index(field)] = value
        out = io.StringIO(newline="")
        csv.writer(out, lineterminator="\r\n").writerows(lines)
        files[name] = out.getvalue().encode()

    return plant


def swap(name: str, old: bytes, new: bytes) -> Callable[[dict[str, bytes]], None]:
    """Change bytes of a member that are there."""

    def plant(files: dict[str, bytes]) -> None:
        assert old in files[name]
        files[name] = files[name].replace(old, new, 1)

    return plant


def put(name: str, data: bytes | None) -> Callable[[dict[str, bytes]], None]:
    """Put a member in, or with None take it out."""

    def plant(files: dict[str, bytes]) -> None:
        if data is None:
            del files[name]
        else:
            files[name] = data

    return plant


# What is planted; then where it is found, what was found, and a part of what is allowed.
FAULTS = [
    (put("manifest.csv", None), "manifest.csv", "no such file", "a manifest in every package"),
    (swap("manifest.csv", b"propertyName,value", b"name,value"), "manifest.csv, row 1", "'name,value'", "propertyName,value"),
    (swap("manifest.csv", b"manifest.version,1.0", b"manifest.version,1.1"), "manifest.csv, row 2, field manifest.version", "'1.1'", "1.0"),
    (swap("manifest.csv", b"oneroster.version,1.2", b"oneroster.version,1.1"), "manifest.csv, row 3, field oneroster.version", "'1.1'", "1.2"),
    (swap("manifest.csv", b"file.users,bulk", b"file.users,all"), "manifest.csv, row 24, field file.users", "'all'", "absent, bulk, delta"),
    (swap("manifest.csv", b"file.resources,absent\r\n", b""), "manifest.csv, field file.resources", "nothing", "a line for it"),
    (swap("manifest.csv", b"source.systemName,a test", b"source.mood,good"), "manifest.csv, row 25, field propertyName", "'source.mood'", "source.systemName"),
    (swap("manifest.csv", b"file.users,bulk", b"file.orgs,bulk"), "manifest.csv, row 24, field propertyName", "'file.orgs' again", "each property once"),
    (put("categories.csv", None), "categories.csv", "no such file, which the manifest calls bulk", "the file, or absent"),
    (swap("manifest.csv", b"file.demographics,bulk", b"file.demographics,absent"), "demographics.csv", "a file that the manifest calls absent", "bulk or delta"),
    (put("notes.csv", b"a,b\r\n"), "notes.csv", "a member that the standard does not name", "21 files"),
    (put("categories.csv", b"sourcedId,status,dateLastModified,title,weight\r\n"), "categories.csv", "a header and no row", "at least one row"),
    (put("categories.csv", b""), "categories.csv", "an empty file", "at least one row"),
    (swap("users.csv", b"Asa", b"As\xe4"), "users.csv, row 2", "the byte 0xe4", "UTF-8"),
    (swap("users.csv", b"username,userIds", b"userIds,username"), "users.csv, row 1, field 5", "'userIds'", "username"),
    (swap("results.csv", b"metadata.attempt", b"attempt"), "results.csv, row 1, field attempt", "a column of one's own", "metadata.<something>"),
    (put("categories.csv", b'sourcedId,status,dateLastModified,title,weight\r\n"g1,,,Unit tests,1\r\n'), "categories.csv", "something that is no CSV", "RFC 4180"),
    (swap("categories.csv", b"g1,,,Unit tests,100", b"g1,,,Unit tests"), "categories.csv, row 2", "4 cells", "5 cells"),
    (cell("results", 2, "comment", "one\ntwo"), "results.csv, row 2, field comment", "a line break", "one line"),
    (cell("orgs", 2, "name", ""), "orgs.csv, row 2, field name", "nothing", "a value"),
    (cell("roles", 2, "sourcedId", "r 1"), "roles.csv, row 2, field sourcedId", "'r 1'", "1 to 255 of"),
    (cell("roles", 2, "sourcedId", "r" * 256), "roles.csv, row 2, field sourcedId", "'rrrr", "1 to 255 of"),
    (cell("orgs", 3, "sourcedId", "o1"), "orgs.csv, row 3, field sourcedId", "'o1' again", "an id of its own"),
    (cell("classes", 2, "courseSourcedId", "c9"), "classes.csv, row 2, field courseSourcedId", "'c9'", "courses.csv"),
    (cell("classes", 2, "termSourcedIds", "t1,t9"), "classes.csv, row 2, field termSourcedIds", "'t9'", "academicSessions.csv"),
    (cell("academicSessions", 3, "startDate", "1.9.2025"), "academicSessions.csv, row 3, field startDate", "'1.9.2025'", "YYYY-MM-DD"),
    (cell("results", 2, "scoreDate", "2025-02-30"), "results.csv, row 2, field scoreDate", "'2025-02-30'", "YYYY-MM-DD"),
    (cell("academicSessions", 3, "schoolYear", "26"), "academicSessions.csv, row 3, field schoolYear", "'26'", "YYYY"),
    (cell("academicSessions", 3, "endDate", "2025-09-01"), "academicSessions.csv, row 3, field endDate", "2025-09-01", "a day after"),
    (cell("users", 3, "enabledUser", "yes"), "users.csv, row 3, field enabledUser", "'yes'", "true or false"),
    (cell("results", 2, "score", "17,5"), "results.csv, row 2, field score", "'17,5'", "a plain decimal number"),
    (cell("results", 2, "score", "1e1"), "results.csv, row 2, field score", "'1e1'", "a plain decimal number"),
    (cell("categories", 2, "weight", "0.5"), "categories.csv, row 2, field weight", "'0.5'", "a whole number"),
    (cell("roles", 3, "role", "cook"), "roles.csv, row 3, field role", "'cook'", "ext:<something>"),
    (cell("roles", 3, "roleType", "ext:third"), "roles.csv, row 3, field roleType", "'ext:third'", "primary, secondary"),
    (cell("users", 2, "status", "active"), "users.csv, row 2, field status", "'active'", "nothing in a bulk file"),
    (cell("users", 2, "dateLastModified", "2025-10-01T00:00:00.000Z"), "users.csv, row 2, field dateLastModified", "'2025-10-01T00", "nothing in a bulk"),
    (cell("users", 2, "grades", "05,,06"), "users.csv, row 2, field grades", "'05,,06'", "none of them empty"),
    (cell("courses", 2, "subjectCodes", "S1"), "courses.csv, row 2, field subjectCodes", "1 codes", "2, one for each subject"),
    (cell("users", 2, "userIds", "school 17"), "users.csv, row 2, field userIds", "'school 17'", "{type:id}"),
    (cell("scoreScales", 2, "scoreScaleValue", "{a:b:c}"), "scoreScales.csv, row 2, field scoreScaleValue", "'{a:b:c}'", "{lhs:rhs}"),
    (cell("lineItemLearningObjectiveIds", 2, "learningObjectiveId", UUID.upper()), "lineItemLearningObjectiveIds.csv, row 2, field learningObjectiveId", "'URN", "urn:uuid:"),
    (cell("courses", 2, "schoolYearSourcedId", "t1"), "courses.csv, row 2, field schoolYearSourcedId", "'t1', a term", "schoolYear"),
    (cell("classes", 2, "schoolSourcedId", "o2"), "classes.csv, row 2, field schoolSourcedId", "'o2', a district", "school"),
    (cell("lineItems", 2, "academicSessionSourcedId", "y26"), "lineItems.csv, row 2, field academicSessionSourcedId", "'y26', a schoolYear", "anything but"),
    (cell("results", 2, "score", "20.5"), "results.csv, row 2, field score", "20.5", "from 0 to 20"),
    (cell("lineItems", 2, "resultValueMin", "30"), "lineItems.csv, row 2, field resultValueMin", "30", "at most 20"),
    (cell("results", 2, "studentSourcedId", "u2"), "results.csv, row 2, field studentSourcedId", "'u2'", "a student enrolled"),
    (cell("users", 2, "primaryOrgSourcedId", "o2"), "users.csv, row 2, field primaryOrgSourcedId", "'o2'", "has a role"),
    (cell("roles", 3, "userSourcedId", "u1"), "roles.csv, row 3, field roleType", "a second primary role", "one primary role"),
]  # fmt: skip


def test_a_package_that_keeps_every_rule_is_clean() -> None:
    found = check(package(tables()))

    assert found.problems == ()
    assert set(found.rows) == set(FILES)


@pytest.mark.parametrize(
    ("plant", "where", "found", "allowed"), FAULTS, ids=[f"{f[1]}: {f[2]}" for f in FAULTS]
)
def test_a_planted_fault_is_named(
    plant: Callable[[dict[str, bytes]], None], where: str, found: str, allowed: str
) -> None:
    files = package(tables())
    plant(files)

    problems = check(files).problems

    assert [p for p in problems if p.where == where and p.found.startswith(found) and allowed in p.allowed], (
        problems
    )


def test_a_row_below_one_that_is_too_short_keeps_its_number() -> None:
    files = package(tables())
    cell("roles", 3, "userSourcedId", "u9")(files)
    swap("roles.csv", b",o1,\r\n", b",o1\r\n")(files)

    wheres = [p.where for p in check(files).problems]

    assert "roles.csv, row 2" in wheres
    assert "roles.csv, row 3, field userSourcedId" in wheres


def test_at_least_twenty_five_faults_are_planted() -> None:
    assert len(FAULTS) >= 25


def test_a_delta_file_wants_status_and_date() -> None:
    files = package(tables())
    swap("manifest.csv", b"file.orgs,bulk", b"file.orgs,delta")(files)
    cell("orgs", 2, "status", "gone")(files)
    cell("orgs", 2, "dateLastModified", "2025-10-01")(files)

    said = {p.where: p.found for p in check(files).problems}

    assert said == {
        "orgs.csv, row 2, field status": "'gone'",
        "orgs.csv, row 2, field dateLastModified": "'2025-10-01'",
        "orgs.csv, row 3, field status": "nothing",
        "orgs.csv, row 3, field dateLastModified": "nothing",
    }


def test_what_a_reader_tolerates_is_tolerated() -> None:
    """A mark of the byte order, LF alone, version 1.2.1, a word of one's own."""
    files = package(tables())
    files["orgs.csv"] = b"\xef\xbb\xbf" + files["orgs.csv"].replace(b"\r\n", b"\n")
    swap("manifest.csv", b"oneroster.version,1.2", b"oneroster.version,1.2.1")(files)
    cell("classes", 2, "classType", "ext:kitchen-table")(files)

    assert check(files).problems == ()


def test_files_whose_columns_are_not_known_are_said_to_be_unchecked() -> None:
    files = package(tables())
    swap("manifest.csv", b"file.resources,absent", b"file.resources,bulk")(files)
    files["resources.csv"] = b"sourcedId\r\nq1\r\n"

    found = check(files)

    assert (found.problems, found.unchecked) == ((), ("resources",))


def test_the_manifest_speaks_of_twenty_one_files() -> None:
    assert (len(NAMES), len(FILES), len(UNKNOWN)) == (21, 16, 5)


def test_every_problem_is_named_at_once() -> None:
    files = package(tables())
    for plant in (
        cell("users", 2, "givenName", ""),
        cell("orgs", 3, "type", "castle"),
        cell("results", 2, "score", "x"),
    ):
        plant(files)

    assert len(check(files).problems) == 3


def test_line_breaks_and_commas_are_written_as_the_standard_wants_them() -> None:
    rows = tables()
    rows["results"][0]["comment"] = 'read "aloud",\r\nthen again'

    found = check(package(rows))

    assert found.problems == ()
    assert found.rows["results"][0]["comment"] == 'read "aloud", then again'
