"""The first evening below the screens: a draft that loses nothing, one account, and a home made whole or not at all."""

import json
import stat
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.contrib.auth.models import User

from markstead.errors import InputError, MarksteadError
from markstead.records import first_evening as first
from markstead.records import placements, queries, upkeep
from markstead.records.first_evening import NewHome, State, keys_for, make_home
from markstead.records.models import Document, Entry, Household, Person
from markstead.records.openings import Opening, Where
from markstead.records.setup import Newcomer, Papers
from markstead.rules.ruling import Role
from tests.records.house import CALENDAR, House
from tests.tools.homes import RULES, WORKBOOKS

NOW = datetime(2026, 1, 12, 19, 30, tzinfo=UTC)
PASSWORD = "a-lamp-in-the-window"
PAPERS = Papers(RULES, WORKBOOKS, CALENDAR)
ASA = Newcomer("asa", "Asa", Role.LEARNER, 5, ("sums-5", "words-5"))


def new_home(*openings: Opening, papers: Papers = PAPERS, learner: Newcomer = ASA) -> NewHome:
    return NewHome("Tarn End", "Ruth Tarn", (learner,), papers, openings)


@pytest.fixture
def ruth(db: None) -> int:
    return int(first.first_account("ruth", PASSWORD).pk)


# --- the draft ---------------------------------------------------------------------------------------------


def test_a_draft_reads_back_as_it_was_typed(tmp_path: Path) -> None:
    first.save_step(tmp_path, "you", {"name": ["Ruth — “R”\n"], "home": [""]})
    first.save_step(tmp_path, "school", {"weekday": ["0", "4"]})

    assert first.read_draft(tmp_path).steps == {
        "you": {"name": ["Ruth — “R”\n"], "home": [""]},
        "school": {"weekday": ["0", "4"]},
    }


def test_saving_a_step_again_leaves_the_others_alone(tmp_path: Path) -> None:
    first.save_step(tmp_path, "you", {"name": ["Ruth"]})
    first.save_step(tmp_path, "learners", {"name-0": ["Asa"]})
    first.save_step(tmp_path, "learners", {"name-0": ["Noa"]})

    draft = first.read_draft(tmp_path)
    assert draft.step("you") == {"name": ["Ruth"]}
    assert draft.step("learners") == {"name-0": ["Noa"]}
    assert draft.step("school") == {}


def test_a_draft_is_for_its_owners_eyes_and_leaves_no_scraps(tmp_path: Path) -> None:
    for name in ("you", "school"):
        first.save_step(tmp_path, name, {})

    assert [path.name for path in tmp_path.iterdir()] == [first.DRAFT]
    assert stat.S_IMODE((tmp_path / first.DRAFT).stat().st_mode) == 0o600


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"v": 9, "steps": {}}', '{"v": 1}', '{"v": 1, "steps": {"you": 3}}']
)
def test_a_draft_that_cannot_be_read_is_an_empty_one(tmp_path: Path, text: str) -> None:
    (tmp_path / first.DRAFT).write_text(text)

    assert first.read_draft(tmp_path).steps == {}


def test_a_folder_that_cannot_be_written_is_said_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(MarksteadError, match="What you typed cannot be kept"):
        first.save_step(tmp_path / "nowhere", "you", {})


def test_a_draft_does_not_grow_without_end(tmp_path: Path) -> None:
    first.save_step(tmp_path, "you", {"name": ["Ruth"]})
    with pytest.raises(MarksteadError, match=str(first.MOST)):
        first.save_step(tmp_path, "files", {"books": ["x" * first.MOST]})
    assert list(first.read_draft(tmp_path).steps) == ["you"]


def test_a_draft_that_is_forgotten_is_gone(tmp_path: Path) -> None:
    first.save_step(tmp_path, "you", {})
    first.forget_draft(tmp_path)
    first.forget_draft(tmp_path)
    assert list(tmp_path.iterdir()) == []


# --- the account -------------------------------------------------------------------------------------------


def test_an_empty_record_is_claimed_once(db: None) -> None:
    assert first.state() is State.EMPTY
    first.first_account("ruth", PASSWORD)
    assert first.state() is State.BEGUN

    with pytest.raises(InputError, match="an account already"):
        first.first_account("mallory", PASSWORD)
    assert [user.username for user in User.objects.all()] == ["ruth"]


def test_a_record_with_a_home_cannot_be_claimed(house: House) -> None:
    assert first.state() is State.MADE
    with pytest.raises(InputError, match="a home that nobody has claimed"):
        first.first_account("mallory", PASSWORD)


@pytest.mark.parametrize(
    ("username", "password", "says"),
    [
        ("", PASSWORD, "sign-in name: found nothing"),
        ("ruth tarn", PASSWORD, "without blanks"),
        ("r" * 151, PASSWORD, "sign-in name"),
        ("ruth", "short", "password: found a weak one"),
        ("ruth", "password123", "password: found a weak one"),
    ],
)
def test_a_name_or_a_password_that_cannot_be_taken_is_said(
    db: None, username: str, password: str, says: str
) -> None:
    with pytest.raises(InputError, match=says):
        first.first_account(username, password)
    assert first.state() is State.EMPTY


# --- the home -----------------------------------------------------------------------------------------------


def test_a_home_is_made_with_its_people_files_and_standings(ruth: int) -> None:
    home = make_home(new_home(Opening("asa", "sums-5", Where.HAND, "sums-5-02", 4)), ruth, at=NOW)

    assert (home.id, home.name) == ("home", "Tarn End")
    assert {(p.key, p.name, p.role, p.year) for p in home.people.values()} == {
        ("ruth", "Ruth Tarn", Role.EDUCATOR, None),
        ("asa", "Asa", Role.LEARNER, 5),
    }
    assert home.learners[0].courses == ("sums-5", "words-5")
    assert Person.objects.get(key="ruth").user_id == ruth
    (copy,) = queries.copies("home", learner=home.learners[0].id)
    assert (copy.label, copy.next.what) == ("sums-5-02", "Work pages 5-8")
    assert upkeep.verify("home").holds


def test_a_course_to_be_found_out_is_remembered(ruth: int) -> None:
    home = make_home(new_home(Opening("asa", "words-5", Where.FIND)), ruth, at=NOW)

    (kept,) = placements.kept_placements("home")
    assert (kept.learner, kept.course, kept.results) == (home.learners[0].id, "words-5", ())
    assert Entry.objects.count() == 0


@pytest.mark.parametrize(
    "new",
    [
        new_home(papers=Papers(RULES, WORKBOOKS, "zone = 3")),
        new_home(Opening("asa", "sums-5", Where.HAND, "sums-5-02", 99)),
        new_home(learner=Newcomer("asa", "Asa", Role.LEARNER, 5, ("latin-5",))),
    ],
    ids=["calendar", "page", "course"],
)
def test_a_home_is_made_whole_or_not_at_all(ruth: int, new: NewHome) -> None:
    with pytest.raises(InputError):
        make_home(new, ruth, at=NOW)

    assert first.state() is State.BEGUN
    assert not Household.objects.exists()
    assert not Person.objects.exists()
    assert not Document.objects.exists()


def test_a_home_is_made_once(ruth: int) -> None:
    make_home(new_home(), ruth, at=NOW)
    with pytest.raises(InputError, match="a home already"):
        make_home(new_home(), ruth, at=NOW)
    assert Household.objects.count() == 1


def test_an_educator_with_a_learners_name_gets_a_key_of_their_own(ruth: int) -> None:
    learner = Newcomer("ruth", "Ruth", Role.LEARNER, 5, ("sums-5",))
    home = make_home(new_home(learner=learner), ruth, at=NOW)

    assert {(p.key, p.role) for p in home.people.values()} == {
        ("educator", Role.EDUCATOR),
        ("ruth", Role.LEARNER),
    }


def test_keys_are_short_and_nobody_shares_one() -> None:
    assert keys_for(["Asa Tarn", "Asa", "Élise", "Ng", "…", "…"]) == (
        "asa",
        "asa2",
        "élise",
        "ng",
        "somebody",
        "somebody2",
    )


def test_no_password_is_in_anything_that_is_kept(ruth: int, tmp_path: Path) -> None:
    make_home(new_home(), ruth, at=NOW)

    assert PASSWORD not in User.objects.get(pk=ruth).password
    texts = [*Document.objects.values_list("text", flat=True), *Entry.objects.values_list("body", flat=True)]
    assert PASSWORD not in json.dumps(texts)
