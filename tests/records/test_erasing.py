"""Erasure: of a name nothing is left in any file of the home, and the record still holds."""

import io
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeVar

import pytest
from axes.models import AccessAttempt
from django.apps import apps
from django.contrib.auth.models import User
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from PIL import Image

from markstead.errors import InputError
from markstead.ledger.facts import Step
from markstead.paper.layout import read_sheet
from markstead.records import actions as a
from markstead.records import (
    backups,
    devices,
    erasing,
    feeds,
    paper_key,
    photographs,
    pins,
    printing,
    queries,
    samples,
    setup,
    upkeep,
)
from markstead.records.home import Home
from markstead.records.models import (
    Document,
    EarlierYear,
    Household,
    Narrative,
    PaperPage,
    PaperSheet,
    Person,
    Plan,
    Sample,
    Words,
)
from markstead.records.setup import Newcomer, Papers
from markstead.rules.ruling import Role
from tests.paper.scans import scan
from tests.records.house import CALENDAR, PAPERS, House

T = TypeVar("T")
NOW = datetime(2026, 1, 14, 12, tzinfo=UTC)
NAME, GIVEN, KEY = "Zebulonia Quirrell", "Zebulonia", "zebulonia"
TRACES = (b"zebulonia", b"quirrell")
FILLED = f"""# {NAME} begins in spring
{CALENDAR}
[[holiday]]
name = "birthday of {GIVEN}"
first = 2026-02-12
last = 2026-02-12
[[absence]]
learner = "{KEY}"
first = 2026-02-10
last = 2026-02-11
why = "fever of {GIVEN}"
[[absence]]
learner = "noa"
first = 2026-02-10
last = 2026-02-10
why = "caught it of {GIVEN}"
"""
WISHES = f'[[learner]]\nlearner = "{KEY}"\nsoft = 100\nhard = 120\n[[learner]]\nlearner = "noa"\nsoft = 90\nhard = 95\n'
CAST = (
    Newcomer("ruth", "Ruth Pell", Role.EDUCATOR),
    Newcomer("tobi", "Tobi Pell", Role.HELPER),
    Newcomer(KEY, NAME, Role.LEARNER, 5, ("maths-5", "reading-5")),
    Newcomer("noa", "Noa", Role.LEARNER, 9, ("maths-9",)),
)


def live() -> None:
    """A home in which a rare name stands wherever a name can stand."""
    house = House("home", CAST)
    setup.set_up(
        "home",
        name=f"The home of {GIVEN}",
        papers=Papers(PAPERS.programme, PAPERS.workbooks, FILLED),
        people=CAST,
        at=NOW,
    )
    row = Household.objects.get(id="home")
    setup.add_document(row, "plan", WISHES, NOW)
    Household.objects.filter(id="home").update(stamp=setup.new_stamp())
    house.home = home = queries.home_of("home")
    own = house.bring("asked", learner=KEY)
    house.do(a.refuse_leave, copy=own, step=Step.MARK, stop="section-1", reason="Two answers are blank.")
    other = house.bring("in the house", learner="noa", workbook="maths-9-01")
    house.do(a.spoil_copy, copy=other, reason=f"{GIVEN.upper()} spilt the milk over it")
    third = house.bring("in the house", learner="noa", workbook="maths-9-01")
    house.do(a.spoil_copy, copy=third, reason="The dog had it")
    pins.set_pin(home, learner=KEY, pin="2746", by="ruth", now=NOW)
    devices.open_tablet(home, name=f"{GIVEN}'s tablet", by="ruth", now=NOW, idle_minutes=3)
    feeds.make(home, name=f"of {GIVEN}", naming="names", parts=["goals"], by="ruth", now=NOW, learner=KEY)
    feeds.make(home, name=f"{GIVEN} and all", naming="names", parts=["goals"], by="ruth", now=NOW)
    kept = {
        "begun": NOW,
        "by": home.person("ruth").id,
        "first": NOW.date(),
        "head_seq": 1,
        "household_id": "home",
    }
    Plan.objects.create(
        number=1, state="put aside", problem="{}", says=f'{{"broken":"{NAME} is away"}}', **kept
    )
    Plan.objects.create(number=2, state="in force", problem="{}", **kept)
    Household.objects.filter(id="home").update(plan_in_force=2)
    papers(home)
    for key in ("ruth", "tobi"):
        setup.give_password("home", person=key, username=f"{key}-pell", password="a-lamp-in-the-window")
    AccessAttempt.objects.create(username=KEY, ip_address="127.0.0.1", failures_since_start=1)
    for user in User.objects.all():
        session = SessionStore()
        session["_auth_user_id"] = str(user.pk)
        session["said"] = f"{GIVEN} begins"
        session.save()


def drawn(colour: str) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (60, 40), colour).save(file, "PNG")
    return file.getvalue()


def papers(home: Home) -> None:
    """Texts for reports, samples, printed sheets of one and of several, and a photograph that waits."""
    span = {"course": "maths-5", "first": NOW.date(), "last": NOW.date(), "saved": NOW}
    for key, text in ((KEY, f"{GIVEN} did well."), ("noa", f"Noa helped {GIVEN}.")):
        Narrative.objects.create(learner_id=home.person(key).id, text=text, **span)
    EarlierYear.objects.create(person_id=home.person(KEY).id, year=4, until=NOW)
    kept = {"day": NOW.date(), "by": "ruth", "at": NOW}
    samples.keep_sample(home, drawn("red"), learner=KEY, words=f"Sums of {GIVEN}", **kept)
    samples.keep_sample(home, drawn("blue"), learner=KEY, **kept)  # the same picture shows Noa's work, too
    samples.keep_sample(home, drawn("blue"), learner="noa", words=f"with {GIVEN}", **kept)
    printing.print_sheets("home", day=NOW.date(), by="ruth", now=NOW, kinds=("day", "marking"), paper="a4")
    row = PaperSheet.objects.get(kind="day sheet", learner=home.person(KEY).id)
    content = scan(read_sheet(row.layout), paper_key.key_of("home"), ["day/presence/full day"])
    photographs.take_in("home", f"{KEY}.png", content + NAME.encode(), by="ruth", now=NOW)
    assert PaperPage.objects.count() == 1


@pytest.fixture(scope="module")
def lived(new_home: Path) -> Path:
    backups.at_another(new_home, live)
    return new_home


@pytest.fixture
def home(lived: Path, tmp_path: Path) -> Path:
    """The folder of the home, with a log, a draft and a backup that hold the name."""
    folder = tmp_path / "home"
    shutil.copytree(lived.parent, folder)
    (folder / erasing.LOG).write_text(f"Traceback: {NAME} is no number\n")
    (folder / erasing.DRAFT).write_text(NAME)
    return folder


def at(folder: Path, work: Callable[[], T]) -> T:
    return backups.at_another(folder / backups.FILE, work)


def backup(folder: Path, now: datetime = NOW) -> str:
    return at(folder, lambda: backups.make(now, day_of=lambda when: when.date())).file


def traces(folder: Path, words: tuple[bytes, ...] = TRACES) -> set[str]:
    """Files in whose bytes one of the words stands, in any letters."""
    return {
        p.name
        for p in folder.rglob("*")
        if p.is_file()
        for data in [p.read_bytes().lower()]
        if any(word in data for word in words)
    }


def erase(folder: Path, person: str, by: str = "ruth") -> erasing.Erased:
    return at(folder, lambda: erasing.erase_person("home", person=person, by=by, at=NOW + timedelta(days=1)))


def test_no_file_of_the_home_holds_the_name_afterwards(home: Path) -> None:
    old = backup(home)
    (waiting,) = (home / paper_key.PICTURES).iterdir()
    assert traces(home) >= {backups.FILE, erasing.LOG, erasing.DRAFT, old, waiting.name}

    gone = erase(home, KEY)

    new = backup(home, NOW + timedelta(days=2))
    assert traces(home) == {old}
    assert (gone.swept, gone.remains, gone.backups) == (True, (), (old,))
    assert new != old
    assert at(home, lambda: upkeep.verify("home")).holds


def test_what_is_not_theirs_stays(home: Path) -> None:
    gone = erase(home, KEY)

    def look() -> tuple[Home, list[str], list[tuple[str, str]], int, int | None, list[str]]:
        row = Household.objects.get(id="home")
        return (
            queries.home_of("home"),
            sorted(Words.objects.values_list("text", flat=True)),
            sorted(Document.objects.filter(kind__in=["calendar", "plan"]).values_list("kind", "text")),
            Plan.objects.count(),
            row.plan_in_force,
            [str(s.get_decoded()["said"]) for s in Session.objects.all()],
        )

    found, words, documents, plans, in_force, sessions = at(home, look)
    texts = [text for _, text in documents]
    assert words == ["The dog had it"]
    assert at(home, lambda: [one.text for one in Narrative.objects.all()]) == ["Noa helped somebody."]
    assert at(home, lambda: [one.words for one in Sample.objects.all()]) == ["with somebody"]
    assert len(list((home / samples.FOLDER).rglob("*.png"))) == 1
    assert at(home, lambda: [one.kind for one in PaperSheet.objects.all()]) == ["day sheet"]
    assert not list((home / paper_key.PICTURES).iterdir())
    assert (plans, in_force) == (1, 2)
    assert found.name == "The home of somebody"
    assert [p.name for p in found.learners] == ["Noa"]
    assert [absence.why for absence in found.calendar.absences] == ["caught it of somebody"]
    assert any("birthday of somebody" in text for text in texts)
    assert [w.learner for w in found.wishes.learners] == [found.person("noa").id]
    assert sessions == ["somebody begins"] * 2
    assert gone.gone["texts"] >= 2


def test_the_record_still_tells_what_happened_by_nobody(home: Path) -> None:
    erase(home, KEY)

    def look() -> list[str]:
        from markstead.records.words import fact_words

        found = queries.home_of("home")
        return [fact_words(note.entry.fact, found) for note in queries.history("home", limit=500)]

    assert "Copy issued to Somebody erased" in at(home, look)


def test_a_grown_up_takes_account_and_sessions_along(home: Path) -> None:
    gone = erase(home, "tobi")

    def look() -> tuple[list[str], int]:
        return list(User.objects.values_list("username", flat=True)), Session.objects.count()

    assert at(home, look) == (["ruth-pell"], 1)
    assert gone.gone["accounts"] == 1
    # A second name that others bear stays theirs.
    assert traces(home, (b"tobi",)) == set()
    assert traces(home, (b"ruth pell",)) == {backups.FILE}


def test_a_whole_household_is_erased(home: Path) -> None:
    gone = at(home, lambda: erasing.erase_household("home", by="ruth"))

    assert traces(home, (*TRACES, b"ruth pell", b"ruth-pell", b"tobi", b"the dog had")) == set()
    assert gone.gone["people"] == 4
    assert at(home, lambda: upkeep.verify("home")).holds
    gone_tables = (User, Words, Plan, Narrative, EarlierYear, Sample, PaperSheet, PaperPage)
    assert at(home, lambda: [table.objects.count() for table in gone_tables]) == [0] * 8
    assert not [p for name in (samples.FOLDER, paper_key.PICTURES) for p in (home / name).rglob("*.*")]


def test_documents_are_guarded_again_afterwards(home: Path) -> None:
    from django.db import IntegrityError

    erase(home, KEY)

    def change() -> None:
        with pytest.raises(IntegrityError, match="stays as it is"):
            Document.objects.update(text="")

    at(home, change)


def test_what_the_programme_holds_is_named_and_left(home: Path) -> None:
    """A workbook may be called as a child is."""

    def rename() -> None:
        text = PAPERS.workbooks.replace("Powers and Roots", "Tobi and the Roots")
        assert text != PAPERS.workbooks
        setup.set_up("home", name="", papers=Papers(PAPERS.programme, text, FILLED), people=CAST, at=NOW)

    at(home, rename)

    gone = erase(home, "tobi")

    assert gone.remains == ("version 2 of the home's workbooks file, which is the programme's",)


@pytest.mark.parametrize(
    ("person", "by", "says"),
    [
        ("ruth", "ruth", "the only educator"),
        ("noa", "tobi", "an educator"),
        ("nobody", "ruth", "person: found 'nobody'"),
    ],
)
def test_who_may_not_erase_or_be_erased_is_told(home: Path, person: str, by: str, says: str) -> None:
    before = traces(home)

    with pytest.raises(InputError, match=says):
        erase(home, person, by)

    assert traces(home) == before


def test_nobody_is_erased_twice_or_taken_back(home: Path) -> None:
    from markstead.records import people

    erase(home, KEY)

    with pytest.raises(InputError, match="somebody who was erased already"):
        erase(home, "erased-1")
    with pytest.raises(InputError, match="nobody any more"):
        at(home, lambda: people.take_back("home", person="erased-1", role="learner"))


def test_every_table_has_its_line() -> None:
    assert set(erasing.COVERED) == set(apps.get_app_config("records").get_models())


def test_on_either_database_a_person_is_erased(house: House) -> None:
    """In the database of the tests; it cannot be swept there, for the test is in a transaction, and that is said."""
    house.bring("asked")
    Person.objects.filter(key="asa").update(name=NAME)
    Household.objects.filter(id="home").update(stamp=setup.new_stamp())

    gone = erasing.erase_person("home", person="asa", by="ruth", at=house.clock)

    assert (gone.swept, gone.remains) == (False, ())
    assert upkeep.verify("home").holds
    assert not Person.objects.filter(name=NAME).exists()
