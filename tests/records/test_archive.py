"""The archive of a household: out, into an empty home, and out again, byte for byte; and what is refused."""

import errno
import io
import json
import shutil
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import LazySettings
from django.db import connection
from PIL import Image

from markstead.errors import DamagedRecordError, InputError, MarksteadError
from markstead.records import actions as a
from markstead.records import archive, backups, samples, triggers, upkeep, whole
from markstead.records.archive import CONTENTS, HEAD, read_head, take_archive, write_archive
from markstead.records.models import (
    EarlierYear,
    Entry,
    Household,
    Narrative,
    Person,
    Plan,
    QuizUnderWay,
    Sample,
)
from tests.records.house import House


def live(house: House) -> None:
    """A failed test, one under way, words in other letters, a spoiled copy; a report's text, an earlier year, samples."""
    house.fail()
    house.bring("asked", learner="noa", workbook="maths-9-01")
    house.bring("in the house", workbook="reading-5-01")
    house.do(a.spoil_copy, copy="home-3", reason="Tee über “Ø”\nund Zeile zwei\t=1+1")
    Person.objects.filter(key="noa").update(name="Noa Ümlaut, geb. “Ø”")
    noa, moment = Person.objects.get(key="noa"), house.clock.replace(microsecond=123456)
    EarlierYear.objects.create(person=noa, year=8, until=moment)
    Narrative.objects.create(
        learner=noa, course="maths-9", first=moment.date(), last=moment.date(), text="Grüße\n—", saved=moment
    )
    kept = {"day": moment.date(), "by": "ruth", "at": moment}
    samples.keep_sample(house.home, drawn("PNG"), learner="noa", words="“Ø”", **kept)
    samples.keep_sample(house.home, drawn("PNG"), learner="asa", **kept)
    samples.keep_sample(house.home, drawn("JPEG"), learner="asa", **kept)
    samples.keep_sample(house.home, drawn("PDF"), learner="asa", **kept)


def drawn(form: str) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (90, 60), "teal").save(file, form)
    return file.getvalue()


@pytest.fixture(scope="module")
def archived(new_home: Path) -> Path:
    """The archive of a home that has lived."""
    home, file = new_home.parent / "lived" / "lived.sqlite3", new_home.with_name("home.zip")
    home.parent.mkdir()
    shutil.copy(new_home, home)

    def begin() -> None:
        live(House())
        write_archive("home", file)

    backups.at_another(home, begin)
    return file


@pytest.fixture
def written(archived: Path, tmp_path: Path) -> Path:
    """The archive, to be read or damaged."""
    return Path(shutil.copy(archived, tmp_path))


def test_an_archive_taken_into_an_empty_home_gives_the_same_archive(
    house: House, empty: Path, tmp_path: Path, settings: LazySettings
) -> None:
    """Out of the database of the tests, whichever it is, into a file of SQLite; the samples from folder to folder."""
    settings.HOME = tmp_path / "old"
    live(house)
    written, again = tmp_path / "once.zip", tmp_path / "again.zip"
    write_archive("home", written)

    def take() -> tuple[Any, Any]:
        taken = take_archive(written)
        write_archive("home", again)
        return taken, upkeep.verify("home")

    taken, verdict = backups.at_another(empty, take)

    assert again.read_bytes() == written.read_bytes()
    assert files_of(empty.parent) == files_of(tmp_path / "old")
    assert len(files_of(empty.parent)) == 6  # three files for four samples, each with its small picture
    assert verdict.holds
    mine = upkeep.verify("home")
    assert (verdict.facts, verdict.head, verdict.words) == (mine.facts, mine.head, mine.words)
    assert (taken.facts, taken.people) == (mine.facts, 4)


def files_of(home: Path) -> list[str]:
    """Every file in the folder of samples, checked where it is named by its digest."""
    found = [path for path in (home / samples.FOLDER).rglob("*") if path.is_file()]
    for path in found:
        assert ".small." in path.name or sha256(path.read_bytes()).hexdigest() == path.stem
    return sorted(path.name for path in found)


def test_the_record_can_be_read_and_proved_without_markstead(written: Path) -> None:
    """As README.txt in the archive says it: nothing here is Markstead's code."""
    with zipfile.ZipFile(written) as package:
        head = json.loads(package.read("archive.json"))
        words = {}
        for line in package.read("words.jsonl").splitlines():
            text = json.loads(line)
            assert sha256(f"{text['salt']}\n{text['text']}".encode()).hexdigest() == text["digest"]
            words[text["digest"]] = text["text"]
        link, reasons = "0" * 64, []
        for line in package.read("record.jsonl").split(b"\n")[:-1]:
            link = sha256(link.encode() + line).hexdigest()
            fact = json.loads(line)
            reasons += [words[fact["fact"]["reason"]]] if fact["kind"] == "copy spoiled" else []
        people = [json.loads(line)["name"] for line in package.read("people.jsonl").splitlines()]
        text = package.read("README.txt").decode()
        inside = package.namelist()

    assert link == head["record"]["link"]
    assert reasons[-1] == "Tee über “Ø”\nund Zeile zwei\t=1+1"
    assert "Noa Ümlaut, geb. “Ø”" in people
    assert [
        name for name in inside if name not in text and not name.startswith(("documents/", "samples/"))
    ] == ["README.txt"]


def test_nobodys_way_in_is_in_it(written: Path) -> None:
    with zipfile.ZipFile(written) as package:
        everything = b"".join(package.read(name) for name in package.namelist())

    assert not [word for word in (b'password":', b'digest": "argon', b"md5$") if word in everything]


def test_every_table_is_archived_or_left_out_for_a_reason() -> None:
    assert set(archive.every_table()) == set(apps.get_app_config("records").get_models())
    assert all(archive.LEFT_OUT.values())


def test_a_home_that_is_here_already_stays_as_it_is(written: Path, empty: Path) -> None:
    def take_twice() -> None:
        take_archive(written)
        before = upkeep.verify("home")
        with pytest.raises(InputError, match="'home', which is here already"):
            take_archive(written)
        assert upkeep.verify("home") == before

    backups.at_another(empty, take_twice)


def test_a_dry_run_takes_nothing(written: Path, empty: Path) -> None:
    def look() -> tuple[int, bool]:
        return take_archive(written, dry_run=True).people, Household.objects.exists()

    assert backups.at_another(empty, look) == (4, False)
    assert files_of(empty.parent) == []


def test_an_archive_is_not_written_over_another_file_unless_asked(house: House, written: Path) -> None:
    with pytest.raises(InputError, match="allowed is a name that no file has"):
        write_archive("home", written)

    assert write_archive("home", written, replace=True).bytes == written.stat().st_size


def test_a_record_that_does_not_hold_is_not_archived(house: House, tmp_path: Path) -> None:
    house.bring("begun")
    triggers.drop(connection)
    Entry.objects.filter(household="home", seq=3).update(body='{"a":1}')
    triggers.create(connection)

    with pytest.raises(DamagedRecordError, match="does not hold, so no archive"):
        write_archive("home", tmp_path / "no.zip")

    assert list(tmp_path.iterdir()) == []


# --- packages that are not as they were written ---------------------------------------------------------------------


def rebuild(file: Path, change: Callable[[dict[str, bytes]], None], *, honest: bool) -> None:
    """Change members of an archive; `honest`: with a list of contents that fits."""
    with zipfile.ZipFile(file) as package:
        members = {name: package.read(name) for name in package.namelist()}
    change(members)
    if honest and CONTENTS in members:
        rows = [f"{n},{len(d)},{sha256(d).hexdigest()}\r\n" for n, d in members.items() if n != CONTENTS]
        members[CONTENTS] = f"file,bytes,sha256\r\n{''.join(rows)}".encode()
    with zipfile.ZipFile(file, "w") as package:
        for name, data in members.items():
            package.writestr(name, data)


def other_sample(members: dict[str, bytes]) -> None:
    """The last of the samples, so that others are taken before."""
    name = max(name for name in members if name.startswith("samples/"))
    members[name] = b"\x89PNG\r\n\x1a\n" + members[name]


def swap(name: str, old: bytes, new: bytes) -> Callable[[dict[str, bytes]], None]:
    def change(members: dict[str, bytes]) -> None:
        assert old in members[name]
        members[name] = members[name].replace(old, new, 1)

    return change


DAMAGED: list[tuple[str, Callable[[dict[str, bytes]], None], bool, str]] = [
    ("a newer version", swap(HEAD, b'"version": 1', b'"version": 2'), True, "Take it into a newer Markstead."),
    ("another format", swap(HEAD, b"household archive", b"shopping list"), True, "archive.json, format"),
    ("no head", lambda m: m.pop(HEAD), True, "archive.json: found no such file"),
    ("a head that is no JSON", lambda m: m.update({HEAD: b"{"}), True, "something that cannot be read"),
    ("a changed word", swap("words.jsonl", b"Tee", b"Tea"), False, "words.jsonl: found other bytes"),
    ("a changed word, listed", swap("words.jsonl", b"Tee", b"Tea"), True, "do not have their digest"),
    ("a missing file", lambda m: m.pop("people.jsonl"), False, "people.jsonl: found nothing"),
    ("a file too many", lambda m: m.update({"x.txt": b"x"}), False, "contents.csv does not name"),
    ("no list of contents", lambda m: m.pop(CONTENTS), False, "contents.csv: found no such file"),
    ("a fact left out", lambda m: m.update({"record.jsonl": m["record.jsonl"].split(b"\n", 1)[1]}), True, "fact 2; allowed is fact 1"),
    ("a fact changed", swap("record.jsonl", b'"minutes":41', b'"minutes":14'), True, "facts that end in"),
    ("the last fact cut", lambda m: m.update({"record.jsonl": m["record.jsonl"].rsplit(b"\n", 2)[0] + b"\n"}), True, "facts that end in"),
    ("a line without end", lambda m: m.update({"record.jsonl": m["record.jsonl"][:-1]}), True, "a line without an end"),
    ("no fact at all", swap("record.jsonl", b'{"act"', b'{"acts"'), True, "record.jsonl, line 1"),
    ("a column missing", swap("people.jsonl", b'"name"', b'"nom"'), True, "exactly id, key, name, role, year"),
    ("a part nobody has", swap("people.jsonl", b'"educator"', b'"emperor"'), True, "something that cannot be taken"),
    ("a sample of other bytes", other_sample, True, "the bytes that its name is the SHA-256 of"),
    ("a sample missing", lambda m: m.pop(min(n for n in m if n.startswith("samples/"))), True, "the file that samples.jsonl names"),
    ("a sample of no kind", swap("samples.jsonl", b"image/png", b"text/html"), True, "a kind that is kept"),
    ("a document that cannot be read", swap("documents/calendar-0001.toml", b"zone =", b"zone"), True, "calendar.toml"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "honest", "says"), [d[1:] for d in DAMAGED], ids=[d[0] for d in DAMAGED])
def test_an_archive_that_is_not_as_it_was_written_changes_nothing(
    written: Path, empty: Path, change: Callable[[dict[str, bytes]], None], honest: bool, says: str
) -> None:
    rebuild(written, change, honest=honest)

    def take() -> str:
        with pytest.raises(MarksteadError) as refused:
            take_archive(written)
        assert not Household.objects.exists()
        assert not Entry.objects.exists()
        assert files_of(empty.parent) == []
        return str(refused.value)

    assert says in backups.at_another(empty, take)


@pytest.mark.parametrize("left", [10, 400, -30])
def test_a_package_that_was_cut_off_is_named(written: Path, left: int) -> None:
    written.write_bytes(written.read_bytes()[:left])

    with pytest.raises(InputError, match=r"home\.zip, which is no whole zip package"):
        read_head(written)


def test_a_sample_whose_file_is_gone_is_named(house: House, tmp_path: Path, settings: LazySettings) -> None:
    settings.HOME = tmp_path / "old"
    live(house)
    lost = Sample.objects.get(kind="image/jpeg")
    samples.path_of(lost.digest, lost.kind).unlink()

    with pytest.raises(DamagedRecordError, match=rf"The sample of {lost.day}.*take that sample away"):
        write_archive("home", tmp_path / "home.zip")

    assert not (tmp_path / "home.zip").exists()


def test_a_disk_that_fills_leaves_nothing_half_written(
    house: House, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "home.zip").write_bytes(b"the archive of last month")
    room = [1000]

    def full(self: Any, data: bytes) -> None:
        room[0] -= len(data)
        if room[0] < 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        self.raw.write(data)

    monkeypatch.setattr(whole._Counted, "write", full)
    with pytest.raises(MarksteadError, match=r"No space left on device.*Nothing was changed"):
        write_archive("home", tmp_path / "home.zip", replace=True)

    assert [p.name for p in tmp_path.iterdir()] == ["home.zip"]
    assert (tmp_path / "home.zip").read_bytes() == b"the archive of last month"


def test_a_quiz_under_way_and_a_plan_go_along(house: House, empty: Path, tmp_path: Path) -> None:
    moment = house.clock.replace(microsecond=123456)
    kept = {"begun": moment, "by": "x"}
    Plan.objects.create(
        household_id="home", number=1, state="in force", first=moment.date(), head_seq=1, problem="{}", **kept
    )
    QuizUnderWay.objects.create(
        id="q1", household_id="home", copy="c1", stop="", answers="[[null,3,true]]", **kept
    )
    write_archive("home", tmp_path / "a.zip")

    def take() -> tuple[Any, ...]:
        take_archive(tmp_path / "a.zip")
        write_archive("home", tmp_path / "b.zip")
        return Plan.objects.get().begun, QuizUnderWay.objects.get().answers

    assert backups.at_another(empty, take) == (moment, "[[null,3,true]]")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
