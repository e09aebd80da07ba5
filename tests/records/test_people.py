"""People come, change and leave; the record knows them all."""

import pytest
from django.contrib.auth.models import User

from markstead.errors import InputError
from markstead.ledger.facts import CopySpoiled, Step
from markstead.plan.wishes import TargetWish
from markstead.records import actions as a
from markstead.records import people, plan_asks, queries
from markstead.records.home import Home
from markstead.records.models import Person
from markstead.records.setup import give_password
from markstead.rules.bars import BarKind
from markstead.rules.ruling import RefusedError, Role
from tests.records.house import House, at, entries

SECRET = "a-lamp-in-the-window"
LATER = at("2026-01-20 09:00")


def home() -> Home:
    return queries.home_of("home")


def ids() -> dict[str, str]:
    return {p.key: p.id for p in home().people.values()}


def refusal(**given: object) -> str:
    """What is said of an addition that cannot be."""
    with pytest.raises(InputError) as refused:
        people.add("home", **given)  # type: ignore[arg-type]
    return str(refused.value)


# --- coming ---------------------------------------------------------------------------------------------------


def test_a_second_educator_comes_and_signs_in(house: House) -> None:
    _, maren = people.add("home", name="  Maren   Holt ", role="educator")
    made = people.new_password("home", person=maren.id, real_now=LATER)

    assert (maren.name, maren.key, maren.role) == ("Maren Holt", "maren", Role.EDUCATOR)
    user = User.objects.get(username=made.username)
    assert user.check_password(made.password)
    assert queries.person_of_user(user.pk) == ("home", maren.id)


def test_a_learner_comes_with_year_and_courses(house: House) -> None:
    before = house.home.stamp
    after, ilse = people.add(
        "home", name="Ilse", role="learner", year=7, courses=["maths-9", "reading-5", "maths-9"]
    )
    assert (ilse.year, ilse.courses) == (7, ("maths-9", "reading-5"))
    assert after.stamp != before


def test_two_of_one_first_name_have_two_keys(house: House) -> None:
    _, other = people.add("home", name="Asa Reed", role="helper")
    _, third = people.add("home", name="Ása", role="helper")
    assert (other.key, third.key) == ("asa2", "asa3")


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"name": "  ", "role": "helper"}, "name: found nothing"),
        ({"name": "x" * 81, "role": "helper"}, "a name of 1 to 80 letters"),
        ({"name": "Asa", "role": "helper"}, "a name that nobody else here has"),
        ({"name": "Ilse", "role": "aunt"}, "one of educator, helper, coordinator, learner"),
        ({"name": "Ilse", "role": "left"}, "one of educator, helper, coordinator, learner"),
        ({"name": "Ilse", "role": "learner"}, "school year: found nothing"),
        ({"name": "Ilse", "role": "learner", "year": 21}, "a whole number from 0 to 20"),
        (
            {"name": "Ilse", "role": "learner", "year": 3, "courses": ["alchemy-1"]},
            "course: found 'alchemy-1'",
        ),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(
    house: House, given: dict[str, object], says: str
) -> None:
    before = home().stamp, Person.objects.count()
    assert says in refusal(**given)
    assert (home().stamp, Person.objects.count()) == before


# --- changing -------------------------------------------------------------------------------------------------


def test_a_new_name_is_the_name_everywhere_and_the_id_stays(house: House) -> None:
    asa = ids()["asa"]
    after = people.rename("home", person=asa, name="Asa Vale", year=6)
    assert (after.person("asa").id, after.person("asa").name, after.person("asa").year) == (
        asa,
        "Asa Vale",
        6,
    )


def test_nobody_takes_the_name_of_another(house: House) -> None:
    with pytest.raises(InputError, match="a name that nobody else here has"):
        people.rename("home", person="asa", name="Noa", year=5)
    assert home().person("asa").name == "Asa"


def test_a_helper_becomes_an_educator_and_may_judge(house: House) -> None:
    copy = house.bring("asked")
    leave = {"copy": copy, "step": Step.MARK, "stop": "section-1", "by": "tobi", "at": LATER}
    with pytest.raises(RefusedError):
        a.give_leave("home", **leave)  # type: ignore[arg-type]

    people.change_role("home", person="tobi", role="educator", by="ruth")

    a.give_leave("home", **leave)  # type: ignore[arg-type]


def test_the_last_educator_stays(house: House) -> None:
    only = pytest.raises(InputError, match=r"Ruth, the only educator.* Add a second educator first")
    with only:
        people.change_role("home", person="ruth", role="helper", by="tobi")
    with only:
        people.let_go("home", person="ruth", by="tobi", at=LATER)
    assert home().person("ruth").role is Role.EDUCATOR


def test_nobody_changes_their_own_part_or_takes_themselves_off(house: House) -> None:
    people.add("home", name="Maren", role="educator")
    with pytest.raises(InputError, match="your own"):
        people.change_role("home", person="ruth", role="helper", by="ruth")
    with pytest.raises(InputError, match="yourself"):
        people.let_go("home", person="ruth", by="ruth", at=LATER)


def test_a_learner_does_not_become_a_helper(house: House) -> None:
    with pytest.raises(InputError, match="what a learner has done stays a learner's"):
        people.change_role("home", person="asa", role="helper", by="ruth")


# --- leaving --------------------------------------------------------------------------------------------------


def test_a_learner_who_leaves_stays_on_the_record_and_the_copy_is_written_off(house: House) -> None:
    copy = house.bring("marked")
    before = len(entries())

    after = people.let_go("home", person="asa", by="ruth", at=LATER)

    assert [p.key for p in after.learners] == ["noa"]
    assert after.person("asa").role is Role.LEFT
    added = entries()[before:]
    assert [(type(e.fact), getattr(e.fact, "copy", "")) for e in added] == [(CopySpoiled, copy)]
    told = [note.words for note in queries.history("home", copy=copy, limit=1)]
    assert told == ["Left the home."]
    assert [day.learner.key for day in queries.today("home", now=LATER).learners] == ["noa"]


def test_a_test_that_waits_to_be_marked_keeps_its_learner(house: House) -> None:
    copy = house.bring("sat")
    before = entries()
    with pytest.raises(InputError, match=r"a unit test that is not marked .* Mark it first"):
        people.let_go("home", person="asa", by="ruth", at=LATER)
    assert entries() == before
    assert home().person("asa").role is Role.LEARNER
    assert copy


def test_whoever_has_left_notes_nothing_and_signs_in_nowhere(house: House) -> None:
    give_password("home", person="tobi", username="tobi", password=SECRET)
    people.let_go("home", person="tobi", by="ruth", at=LATER)

    assert not User.objects.get(username="tobi").is_active
    assert people.sign_in_names(home()) == {}
    copy = house.bring("issued")
    with pytest.raises(RefusedError) as refused:
        a.ask_help("home", copy=copy, by="tobi", at=LATER)
    assert {bar.kind for bar in refused.value.ruling.bars} == {BarKind.HAS_LEFT}
    with pytest.raises(InputError, match="who has left"):
        people.let_go("home", person="tobi", by="ruth", at=LATER)
    with pytest.raises(InputError, match="for Tobi, left"):
        people.new_password("home", person="tobi", real_now=LATER)


def test_whoever_left_watches_no_sitting(house: House) -> None:
    people.let_go("home", person="tobi", by="ruth", at=LATER)
    assert home().watchers == {ids()["ruth"]}


def test_coming_back_is_possible_in_the_old_part(house: House) -> None:
    people.let_go("home", person="asa", by="ruth", at=LATER)
    with pytest.raises(InputError, match="one of learner"):
        people.take_back("home", person="asa", role="educator")
    after = people.take_back("home", person="asa", role="learner")
    assert after.person("asa").courses == ("maths-5", "reading-5")
    with pytest.raises(InputError, match="who is here"):
        people.take_back("home", person="asa", role="learner")


def test_targets_of_who_has_left_are_asked_for_no_more(house: House) -> None:
    by = at("2026-03-20 09:00").date()
    ask = plan_asks.TargetBy("asa", "maths-5", "maths-5-01", by)
    kept = plan_asks.write_down("home", [ask], today=LATER.date(), at=LATER)
    assert kept.wishes.targets == (TargetWish(ids()["asa"], "maths-5", "maths-5-01", by),)
    assert people.let_go("home", person="asa", by="ruth", at=LATER).wishes.targets == ()
    assert people.take_back("home", person="asa", role="learner").wishes.targets != ()


# --- signing in -----------------------------------------------------------------------------------------------


def test_a_new_password_ends_the_old_one_and_is_kept_as_a_hash_only(house: House) -> None:
    give_password("home", person="tobi", username="tobi", password=SECRET)
    made = people.new_password("home", person="tobi", real_now=LATER)
    user = User.objects.get(username="tobi")
    assert made.username == "tobi"
    assert not user.check_password(SECRET)
    assert user.check_password(made.password)
    assert made.password not in user.password
    assert len(set(made.password.replace("-", ""))) > 4
    assert people.new_password("home", person="tobi", real_now=LATER).password != made.password


def test_a_name_to_sign_in_with_is_nobodys_elses(house: House) -> None:
    User.objects.create(username="tobi")
    assert people.new_password("home", person="tobi", real_now=LATER).username == "tobi2"


def test_a_learner_gets_no_password(house: House) -> None:
    with pytest.raises(InputError, match="for Asa, learner"):
        people.new_password("home", person="asa", real_now=LATER)
