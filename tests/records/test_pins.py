"""PINs and tablets of the house, and what a learner may take back alone."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
from django.conf import LazySettings
from django.db import connection

from markstead.errors import InputError, UnknownError
from markstead.ledger.facts import Step
from markstead.records import actions as a
from markstead.records import devices, pins, queries
from markstead.records.home import Home
from markstead.records.models import Device, Pin
from markstead.rules.bars import BarKind
from markstead.rules.ruling import OWN_SLIP, RefusedError
from tests.tools.homes import small_home

NOW = datetime(2026, 1, 12, 9, 0, tzinfo=UTC)
PIN = "2746"


@pytest.fixture
def home(db: None) -> Home:
    return small_home()


@pytest.fixture
def quick(settings: LazySettings) -> None:
    """Argon2 takes a third of a second on purpose."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def asa(home: Home, quick: None) -> str:
    """Asa has a PIN."""
    pins.set_pin(home, learner="asa", pin=PIN, by="ruth", now=NOW)
    return home.person("asa").id


def wrong(home: Home, times: int, at: datetime = NOW) -> list[pins.Try]:
    return [pins.try_pin(home, learner="asa", pin="1357", now=at) for _ in range(times)]


class TestPins:
    def test_only_a_digest_is_kept_made_with_argon2(self, home: Home) -> None:
        pins.set_pin(home, learner="asa", pin=PIN, by="ruth", now=NOW)

        digest = Pin.objects.get(person=home.person("asa").id).digest

        assert digest.startswith("argon2$argon2id$")
        assert PIN not in digest
        assert pins.try_pin(home, learner="asa", pin=PIN, now=NOW).right

    def test_another_learners_pin_is_not_this_ones(self, home: Home, asa: str) -> None:
        pins.set_pin(home, learner="noa", pin="864297", by="ruth", now=NOW)

        assert not pins.try_pin(home, learner="asa", pin="864297", now=NOW).right
        assert pins.try_pin(home, learner="noa", pin="864297", now=NOW).right

    def test_without_a_pin_nobody_enters(self, home: Home, quick: None) -> None:
        found = pins.try_pin(home, learner="asa", pin="", now=NOW)

        assert (found.right, found.no_pin) == (False, True)

    def test_every_wrong_try_is_counted_and_a_right_one_forgets_them(self, home: Home, asa: str) -> None:
        assert [t.left for t in wrong(home, 3)] == [4, 3, 2]

        assert pins.try_pin(home, learner="asa", pin=PIN, now=NOW).right

        assert [t.left for t in wrong(home, 1)] == [4]

    def test_after_five_wrong_tries_even_the_right_one_waits(self, home: Home, asa: str) -> None:
        last = wrong(home, 5)[-1]
        assert (last.left, last.until) == (0, NOW + pins.REST)

        just_before = NOW + pins.REST - timedelta(seconds=1)
        assert pins.try_pin(home, learner="asa", pin=PIN, now=just_before) == pins.Try(
            right=False, until=NOW + pins.REST
        )
        assert pins.try_pin(home, learner="asa", pin=PIN, now=NOW + pins.REST).right

    def test_a_rest_that_is_over_gives_five_new_tries(self, home: Home, asa: str) -> None:
        wrong(home, 5)

        assert [t.left for t in wrong(home, 5, NOW + pins.REST)] == [4, 3, 2, 1, 0]

    def test_a_new_pin_ends_the_rest(self, home: Home, asa: str) -> None:
        wrong(home, 5)

        pins.set_pin(home, learner="asa", pin="9753", by="ruth", now=NOW)

        assert not pins.try_pin(home, learner="asa", pin=PIN, now=NOW).right
        assert pins.try_pin(home, learner="asa", pin="9753", now=NOW).right

    @pytest.mark.parametrize("pin", ["", "123", "1234567", "12a4", "12 4", "-123", "٣٤٥٦", "7777"])
    def test_a_pin_has_four_to_six_digits_that_are_not_all_the_same(
        self, home: Home, asa: str, pin: str
    ) -> None:
        with pytest.raises(InputError, match=r"PIN: found .+; allowed is"):
            pins.set_pin(home, learner="asa", pin=pin, by="ruth", now=NOW)

        assert pins.try_pin(home, learner="asa", pin=PIN, now=NOW).right

    def test_what_was_typed_is_not_said_again(self, home: Home, quick: None) -> None:
        with pytest.raises(InputError) as caught:
            pins.set_pin(home, learner="asa", pin="98765432", by="ruth", now=NOW)

        assert "98765432" not in str(caught.value)

    @pytest.mark.parametrize("by", ["tobi", "asa", "noa"])
    def test_only_an_educator_sets_it_or_takes_it_away(self, home: Home, asa: str, by: str) -> None:
        with pytest.raises(InputError, match="an educator"):
            pins.set_pin(home, learner="asa", pin="9753", by=by, now=NOW)
        with pytest.raises(InputError, match="an educator"):
            pins.take_pin_away(home, learner="asa", by=by)

        assert pins.try_pin(home, learner="asa", pin=PIN, now=NOW).right

    def test_a_grown_up_has_none(self, home: Home, quick: None) -> None:
        with pytest.raises(InputError, match="no learner"):
            pins.set_pin(home, learner="tobi", pin=PIN, by="ruth", now=NOW)

    def test_taken_away_it_opens_nothing(self, home: Home, asa: str) -> None:
        assert pins.take_pin_away(home, learner="asa", by="ruth") is True
        assert pins.take_pin_away(home, learner="asa", by="ruth") is False

        assert pins.try_pin(home, learner="asa", pin=PIN, now=NOW).no_pin
        assert pins.pins_set(home) == {}

    def test_nobody_of_another_home_is_found(self, home: Home, quick: None) -> None:
        away = small_home("away")
        pins.set_pin(away, learner="asa", pin=PIN, by="ruth", now=NOW)

        with pytest.raises(UnknownError):
            pins.try_pin(home, learner=away.person("asa").id, pin=PIN, now=NOW)
        assert pins.pins_set(home) == {}


@pytest.mark.django_db(transaction=True)
def test_many_tries_at_the_same_moment_are_no_more_than_five(quick: None) -> None:
    home = small_home()
    pins.set_pin(home, learner="asa", pin=PIN, by="ruth", now=NOW)

    def guess(n: int) -> pins.Try:
        try:
            return pins.try_pin(home, learner="asa", pin=f"{1000 + n}", now=NOW)
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(guess, range(16)))

    # Whoever comes after the fifth is told to wait, and the PIN is not looked at for them.
    assert sorted(t.left for t in found if t.left or t.until is None) == [1, 2, 3, 4]
    assert Pin.objects.get().tries == pins.MOST_TRIES
    assert not pins.try_pin(home, learner="asa", pin=PIN, now=NOW).right


class TestTablets:
    def test_an_open_tablet_is_found_until_it_is_taken_back(self, home: Home) -> None:
        tablet = devices.open_tablet(home, name="  Kitchen   tablet ", by="ruth", now=NOW)
        assert (tablet.name, tablet.idle_minutes) == ("Kitchen tablet", 3)
        assert devices.find(tablet.id) == tablet
        assert devices.tablets(home) == (tablet,)

        devices.take_back(home, tablet=tablet.id, by="ruth", now=NOW + timedelta(hours=1))

        assert devices.find(tablet.id) is None
        assert devices.tablets(home) == ()
        assert Device.objects.get().revoked == NOW + timedelta(hours=1)
        with pytest.raises(UnknownError):
            devices.take_back(home, tablet=tablet.id, by="ruth", now=NOW)

    def test_no_two_ids_are_alike_and_none_is_short(self, home: Home) -> None:
        ids = {devices.open_tablet(home, name="One", by="ruth", now=NOW).id for _ in range(20)}

        assert len(ids) == 20
        assert min(map(len, ids)) >= 32

    def test_when_it_was_seen_is_written_down_once_a_minute(self, home: Home) -> None:
        tablet = devices.open_tablet(home, name="One", by="ruth", now=NOW)

        devices.seen(tablet, NOW + timedelta(seconds=59))
        assert devices.tablets(home)[0].last_seen == NOW
        devices.seen(tablet, NOW + timedelta(seconds=60))
        assert devices.tablets(home)[0].last_seen == NOW + timedelta(seconds=60)

    @pytest.mark.parametrize("by", ["tobi", "asa"])
    def test_only_an_educator_has_to_do_with_it(self, home: Home, by: str) -> None:
        with pytest.raises(InputError, match="an educator"):
            devices.open_tablet(home, name="One", by=by, now=NOW)
        tablet = devices.open_tablet(home, name="One", by="ruth", now=NOW)
        with pytest.raises(InputError, match="an educator"):
            devices.take_back(home, tablet=tablet.id, by=by, now=NOW)
        with pytest.raises(InputError, match="an educator"):
            devices.set_idle(home, tablet=tablet.id, minutes=9, by=by)

        assert devices.find(tablet.id) == tablet

    def test_another_home_cannot_touch_it(self, home: Home) -> None:
        tablet = devices.open_tablet(home, name="One", by="ruth", now=NOW)
        away = small_home("away")

        with pytest.raises(UnknownError):
            devices.take_back(away, tablet=tablet.id, by="ruth", now=NOW)
        with pytest.raises(UnknownError):
            devices.set_idle(away, tablet=tablet.id, minutes=9, by="ruth")
        assert devices.tablets(away) == ()

    @pytest.mark.parametrize("name", ["", "   ", "x" * 61, "Kitchen\u202etablet"])
    def test_a_name_can_be_read(self, home: Home, name: str) -> None:
        with pytest.raises(InputError, match="name of the tablet"):
            devices.open_tablet(home, name=name, by="ruth", now=NOW)

    @pytest.mark.parametrize("minutes", [0, 61])
    def test_minutes_have_their_limits(self, home: Home, minutes: int) -> None:
        tablet = devices.open_tablet(home, name="One", by="ruth", now=NOW)

        with pytest.raises(InputError, match="1 to 60 minutes"):
            devices.set_idle(home, tablet=tablet.id, minutes=minutes, by="ruth")

        assert devices.set_idle(home, tablet=tablet.id, minutes=60, by="ruth").idle == timedelta(hours=1)


@pytest.fixture
def begun(home: Home) -> str:
    """A workbook in Asa's hands, its opening talk held."""
    at = NOW - timedelta(hours=1)
    done = a.order_copy("home", workbook="sums-5-01", learner="asa", by="ruth", at=at)
    copy = str(getattr(done.entries[0].fact, "copy", ""))
    a.receive_copy("home", copy=copy, by="ruth", at=at)
    a.issue_copy("home", copy=copy, learner="asa", by="ruth", at=at)
    a.hold_opening_talk("home", copy=copy, by="ruth", at=at)
    return copy


def pages(copy: str, first: int = 1, last: int = 4, by: str = "asa") -> str:
    return a.work_pages("home", copy=copy, first=first, last=last, by=by, at=NOW).act


def worked(copy: str) -> set[int]:
    return set(queries.copy_page("home", copy, now=NOW).copy.standing.pages)


class TestWhatALearnerTakesBackAlone:
    def test_their_own_latest_act_for_a_minute(self, begun: str) -> None:
        act = pages(begun)

        a.undo("home", act=act, by="asa", at=NOW + OWN_SLIP)

        assert worked(begun) == set()

    def test_a_second_later_only_an_educator(self, begun: str) -> None:
        act = pages(begun)
        late = NOW + OWN_SLIP + timedelta(seconds=1)

        with pytest.raises(RefusedError) as caught:
            a.undo("home", act=act, by="asa", at=late)
        assert [b.kind for b in caught.value.ruling.bars] == [BarKind.ONLY_EDUCATOR]

        a.undo("home", act=act, by="ruth", at=late)
        assert worked(begun) == set()

    def test_what_another_wrote_is_not_theirs(self, begun: str) -> None:
        act = pages(begun, by="ruth")

        with pytest.raises(RefusedError):
            a.undo("home", act=act, by="asa", at=NOW)

    def test_nobody_elses_copy(self, begun: str) -> None:
        act = pages(begun)

        with pytest.raises(RefusedError):
            a.undo("home", act=act, by="noa", at=NOW)

    def test_not_once_an_educator_has_answered(self, begun: str) -> None:
        pages(begun)
        asked = a.ask_leave("home", copy=begun, step=Step.MARK, stop="section-1", by="asa", at=NOW).act
        a.give_leave("home", copy=begun, step=Step.MARK, stop="section-1", by="ruth", at=NOW)

        with pytest.raises(RefusedError):
            a.undo("home", act=asked, by="asa", at=NOW)

    def test_not_once_help_has_come(self, begun: str) -> None:
        asked = a.ask_help("home", copy=begun, by="asa", at=NOW).act
        a.give_help("home", copy=begun, by="ruth", at=NOW)

        with pytest.raises(RefusedError):
            a.undo("home", act=asked, by="asa", at=NOW)

    def test_not_an_earlier_act_before_the_latest_is_taken_back(self, begun: str) -> None:
        first, second = pages(begun, 1, 2), pages(begun, 3, 4)

        with pytest.raises(RefusedError):
            a.undo("home", act=first, by="asa", at=NOW)
        a.undo("home", act=second, by="asa", at=NOW)
        a.undo("home", act=first, by="asa", at=NOW)

        assert worked(begun) == set()

    def test_no_older_act_in_the_shadow_of_a_new_one(self, begun: str) -> None:
        """Asking for help hinders no reversal; it opens none either."""
        act = pages(begun)
        later = NOW + timedelta(minutes=5)
        a.ask_help("home", copy=begun, by="asa", at=later)

        with pytest.raises(RefusedError):
            a.undo("home", act=act, by="asa", at=later)

    def test_a_helper_has_no_such_minute(self, begun: str) -> None:
        act = pages(begun, by="tobi")

        with pytest.raises(RefusedError):
            a.undo("home", act=act, by="tobi", at=NOW)

    def test_an_act_written_down_later_counts_from_when_it_was_written(self, begun: str) -> None:
        """Pages of this morning, written down at noon, are taken back at noon."""
        from markstead.records.desk import Slip

        noon = NOW + timedelta(hours=3)
        act = a.work_pages("home", copy=begun, first=1, last=2, by="asa", at=NOW, slip=Slip(now=noon)).act

        a.undo("home", act=act, by="asa", at=noon + OWN_SLIP)

        assert worked(begun) == set()
