"""Setting up a home: its people, its papers, and who may sign in."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User

from markstead.calendar import DayKind
from markstead.errors import InputError, UnknownError
from markstead.records.models import Copy, Document, Enrolment, Entry, Household, Person, Words
from markstead.records.queries import person_of_user, sign_in_name
from markstead.records.setup import Newcomer, Papers, give_password, put_demo_clock_forward, set_up
from markstead.rules.ruling import Role
from tests.records.house import CALENDAR, CAST, MOVED_IN, PAPERS, House

SECRET = "a-lamp-in-the-window"


def move_in(papers: Papers = PAPERS, people: tuple[Newcomer, ...] = CAST, **other: Any) -> Any:
    return set_up("home", name="Tarn End", papers=papers, people=people, at=MOVED_IN, **other)


def everything() -> list[Any]:
    tables = (Household, Document, Person, Enrolment, Entry, Copy, Words)
    return [list(table.objects.order_by("pk").values()) for table in tables]


def refusal(**given: Any) -> list[str]:
    with pytest.raises(InputError) as refused:
        move_in(**given)
    return [problem.where for problem in refused.value.problems]


def test_a_new_home_has_its_people_its_courses_and_its_papers(house: House) -> None:
    home = house.home
    assert [(p.key, p.name, p.role, p.year) for p in home.people.values()] == [
        ("ruth", "Ruth", Role.EDUCATOR, None),
        ("tobi", "Tobi", Role.HELPER, None),
        ("asa", "Asa", Role.LEARNER, 5),
        ("noa", "Noa", Role.LEARNER, 9),
    ]
    assert [p.key for p in home.learners] == ["asa", "noa"]
    assert home.person("asa").courses == ("maths-5", "reading-5")
    assert home.watchers == {home.person("ruth").id, home.person("tobi").id}
    assert len(home.programme.workbooks) == 216
    kept = Document.objects.order_by("id").values_list("kind", "version", "text")
    assert list(kept) == [(kind, 1, text) for kind, text in PAPERS.items()]


def test_nobody_is_on_the_record_before_anything_has_happened(house: House) -> None:
    assert not Entry.objects.exists()
    assert Household.objects.get().head_seq == 0


def test_set_up_twice_changes_nothing(house: House) -> None:
    before = everything()

    again = move_in()

    assert everything() == before
    assert again.stamp == house.home.stamp


def test_a_changed_paper_is_a_new_version_beside_the_old_one(house: House) -> None:
    longer = replace(PAPERS, calendar=CALENDAR.replace("2026-03-27", "2026-04-02"))

    home = move_in(longer)

    kept = Document.objects.filter(kind="calendar").order_by("version").values_list("version", "text")
    assert list(kept) == [(1, PAPERS.calendar), (2, longer.calendar)]
    assert Document.objects.exclude(kind="calendar").count() == 2
    assert home.stamp != house.home.stamp
    assert home.calendar.is_school_day(date(2026, 4, 1))
    assert not house.home.calendar.is_school_day(date(2026, 4, 1))


def test_a_person_who_changes_keeps_the_id_that_the_record_knows(house: House) -> None:
    older = Newcomer("asa", "Asa Vale", Role.LEARNER, 6, ("reading-5", "maths-5"))

    home = move_in(people=(CAST[0], older))

    asa = home.person("asa")
    assert (asa.id, asa.name, asa.year) == (house.person("asa"), "Asa Vale", 6)
    assert asa.courses == ("reading-5", "maths-5")
    assert home.person("tobi").id == house.person("tobi")
    assert home.stamp != house.home.stamp


def test_a_home_may_change_its_name(house: House) -> None:
    home = set_up("home", name="Beck Side", papers=PAPERS, people=CAST, at=MOVED_IN)

    assert home.name == "Beck Side"
    assert Person.objects.count() == len(CAST)


def test_an_absence_in_the_calendar_finds_its_learner_by_the_key(db: None) -> None:
    ill = CALENDAR + '[[absence]]\nlearner = "asa"\nfirst = 2026-01-14\nlast = 2026-01-14\nwhy = "a cold"\n'

    home = move_in(replace(PAPERS, calendar=ill))

    wednesday = date(2026, 1, 14)
    assert home.calendar.kind(wednesday, home.person("asa").id) is DayKind.ABSENT
    assert home.calendar.kind(wednesday, home.person("noa").id) is DayKind.SCHOOL


def test_everything_that_is_wrong_with_people_is_said_at_once(db: None) -> None:
    people = (
        Newcomer("tobi", "Tobi", Role.HELPER),
        Newcomer("asa", "Asa", Role.LEARNER, None, ("maths-5", "juggling-1")),
        Newcomer("tobi", "Another", Role.HELPER),
    )

    said = refusal(people=people)

    assert said == ["person 'asa', year", "person 'asa', courses", "person 'tobi', key", "people"]
    assert not Household.objects.exists()


def test_faults_of_papers_and_of_people_are_said_at_once(db: None) -> None:
    papers = Papers(
        PAPERS.programme.replace("day = 1 ", "day = 31 "),
        PAPERS.workbooks.replace(
            "maths,2,1,Numbers to a Hundred,33,", "maths,2,1,Numbers to a Hundred,many,"
        ),
        PAPERS.calendar.replace("Europe/London", "Europe/Atlantis"),
    )

    said = refusal(papers=papers, people=(CAST[1], replace(CAST[2], year=None)))

    assert said == [
        "programme.toml, dispatch, day",
        "workbooks.csv, row 2, column pages",
        "calendar.toml, zone",
        "person 'asa', year",
        "people",
    ]
    assert not Household.objects.exists()


def test_a_refused_change_leaves_the_home_as_it_was(house: House) -> None:
    before = everything()

    refusal(people=(*CAST, Newcomer("lu", "Lu", Role.LEARNER)))

    assert everything() == before


def test_a_neighbour_is_nobody_here(house: House, next_door: House) -> None:
    for wanted in ("mallory", next_door.person("mallory")):
        with pytest.raises(UnknownError, match="one of ruth, tobi, asa, noa"):
            house.home.person(wanted)


def test_two_homes_may_use_the_same_key(house: House) -> None:
    other = set_up("beck", name="Beck Side", papers=PAPERS, people=CAST, at=MOVED_IN)

    assert other.person("asa").id != house.person("asa")


# --- signing in -------------------------------------------------------------------------------------------


def sign_in(
    house: House, person: str = "ruth", username: str = "ruth-of-tarn", password: str = SECRET
) -> User:
    give_password(house.id, person=person, username=username, password=password)
    return User.objects.get(username=username)


def test_a_grown_up_with_a_password_can_sign_in(house: House) -> None:
    user = sign_in(house)

    assert user.check_password(SECRET)
    assert user.password.startswith("argon2")
    assert person_of_user(user.pk) == ("home", house.person("ruth"))
    assert sign_in_name(house.person("ruth")) == "ruth-of-tarn"
    assert sign_in_name(house.person("tobi")) is None


def test_a_helper_may_have_a_password_too(house: House) -> None:
    assert person_of_user(sign_in(house, "tobi", "tobi").pk) == ("home", house.person("tobi"))


def test_a_new_password_and_name_take_the_place_of_the_old_ones(house: House) -> None:
    first = sign_in(house)

    second = sign_in(house, username="ruth-anew", password="another-lamp-in-it")

    assert second.pk == first.pk
    assert User.objects.count() == 1
    assert second.check_password("another-lamp-in-it")
    assert not second.check_password(SECRET)


def test_a_new_password_may_go_with_the_old_name(house: House) -> None:
    sign_in(house)

    again = sign_in(house, password="another-lamp-in-it")

    assert User.objects.count() == 1
    assert again.check_password("another-lamp-in-it")


def test_a_learner_gets_no_password(house: House) -> None:
    with pytest.raises(InputError, match="asa, a learner; allowed is an educator or a helper"):
        sign_in(house, "asa", "asa")
    assert not User.objects.exists()


def test_what_is_wrong_with_a_sign_in_is_said_at_once(house: House, next_door: House) -> None:
    sign_in(next_door, "mallory", "lamp")

    with pytest.raises(InputError) as refused:
        sign_in(house, "noa", "lamp", "password")

    assert [p.where for p in refused.value.problems] == ["person", "sign-in name", "password"]
    assert [p.key for p in refused.value.problems] == ["", "username", "password"]
    assert "password" in refused.value.problems[2].allowed
    assert User.objects.count() == 1


def test_a_blank_sign_in_name_is_refused(house: House) -> None:
    with pytest.raises(InputError, match="sign-in name"):
        sign_in(house, username="  ")


def test_a_password_never_stands_in_a_refusal(house: House) -> None:
    with pytest.raises(InputError) as refused:
        sign_in(house, password="sesame77")
    assert "sesame77" not in str(refused.value)


def test_a_programme_keeps_the_workbooks_of_which_there_are_copies(house: House) -> None:
    """Else every page that shows such a copy would know nothing of it."""
    house.bring("sat", workbook="maths-5-01")
    fewer = "\n".join(line for line in PAPERS.workbooks.splitlines() if not line.startswith("maths,5,"))
    before = everything()

    with pytest.raises(InputError, match="no maths-5-01; allowed is every workbook of which") as refused:
        move_in(papers=replace(PAPERS, workbooks=fewer), people=(CAST[0],))

    assert len(refused.value.problems) == 1
    assert everything() == before


# --- the clock of a demonstration -------------------------------------------------------------------------


def test_only_a_demonstration_has_a_clock_to_move(house: House) -> None:
    with pytest.raises(InputError, match="a demonstration home"):
        put_demo_clock_forward("home", by=timedelta(hours=1))


def test_the_clock_of_a_demonstration_runs_ahead(db: None) -> None:
    before = move_in(demo_shift=7200)

    put_demo_clock_forward("home", by=timedelta(minutes=90))

    after = move_in(demo_shift=7200)
    assert (before.demo_shift, after.demo_shift) == (7200, 1800)
    assert after.stamp != before.stamp
