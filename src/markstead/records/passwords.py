"""Passwords: what is too easy to find, and how somebody changes their own.

How long one must be and the list of common ones stand in the settings. These two look at what such a list cannot hold: a
common password made longer, and the words that everybody in this house would try first.
"""

import re
import unicodedata
from datetime import datetime, timedelta
from itertools import pairwise

from django.contrib.auth.models import User
from django.contrib.auth.password_validation import CommonPasswordValidator, validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from markstead.errors import InputError, Problem
from markstead.records.models import Person
from markstead.speech import say

LASTS = timedelta(days=7)
"""A password that was made here is to be replaced by one of one's own within this time."""
MOST = 200
"""Letters of a password: more is no safer, and each costs time to digest."""
LEFT = 6
"""So many letters must be left of a password when the words of the house are taken out of it."""
OF_THE_HOUSE = ("markstead", "workbook", "workbooks", "homeschool", "educator", "password", "passwort")


class NoCommonOneMadeLonger:
    """Refuse a common password with digits and signs around it, one said twice, and runs such as 9876543210."""

    def __init__(self) -> None:
        self.common = CommonPasswordValidator().passwords

    def validate(self, password: str, user: User | None = None) -> None:  # noqa: ARG002  # Django's form
        plain = _plain(password)
        core = re.sub(r"^[^a-z]+|[^a-z]+$", "", plain)
        whole = re.sub(r"[^a-z]+", "", plain)
        if any(self._is_common(text) for text in (core, whole, core[::-1])) or _is_run(plain):
            raise ValidationError(self.get_help_text(), code="common_made_longer")

    def _is_common(self, text: str) -> bool:
        return len(text) >= 4 and (text in self.common or _root(text) in self.common)

    def get_help_text(self) -> str:
        return say(
            "It is a common password made longer. Three or four words that do not belong together are better."
        )


class NotOfThisHouse:
    """Refuse what is little more than names of the home, of the person, or words of this trade."""

    def validate(self, password: str, user: User | None = None) -> None:
        left = _plain(password)
        names = (user.username, user.first_name, user.last_name) if user is not None else ()
        words = {word for name in names for word in re.findall(r"\w{3,}", _plain(name))} | set(OF_THE_HOUSE)
        for word in sorted(words, key=len, reverse=True):
            left = left.replace(word, "")
        if len(re.sub(r"[\W\d_]", "", left)) < LEFT and len(left) < len(_plain(password)):
            raise ValidationError(self.get_help_text(), code="of_this_house")

    def get_help_text(self) -> str:
        return say("It is made of names and words that everybody in this home would try.")


class NotTooLong:
    """Refuse more letters than anybody types: each try of it costs the machine."""

    def validate(self, password: str, user: User | None = None) -> None:  # noqa: ARG002  # Django's form
        if len(password) > MOST:
            raise ValidationError(self.get_help_text(), code="too_long")

    def get_help_text(self) -> str:
        return say("It has more than {most} letters.", most=MOST)


def _plain(text: str) -> str:
    return unicodedata.normalize("NFKC", text).casefold()


def _root(text: str) -> str:
    """What is said again and again, where the whole is nothing but that."""
    return next((text[:n] for n in range(1, len(text) // 2 + 1) if text == text[:n] * (len(text) // n)), text)


def _is_run(text: str) -> bool:
    """Few signs again and again, or each the next of the one before."""
    steps = {ord(b) - ord(a) for a, b in pairwise(text)}
    return len(set(text)) <= 3 or (len(steps) == 1 and steps <= {-1, 1}) or len(_root(text)) <= 3


def account_name(typed: str) -> str:
    """The name of the account that is meant, in small or capital letters; as it was typed where none or several may be."""
    names = list(User.objects.filter(username__iexact=typed).values_list("username", flat=True)[:2])
    return str(names[0]) if len(names) == 1 else typed


def problems_of(password: str, *, username: str = "", name: str = "", home: str = "") -> list[Problem]:
    """What is against a password for somebody; nothing where it may be taken."""
    try:
        validate_password(password, User(username=username, first_name=name[:150], last_name=home[:150]))
    except ValidationError as error:
        allowed = say("a better one: {why}", why=" ".join(error.messages))
        return [Problem(say("password"), say("a weak one"), allowed, key="password")]
    return []


def choose_own(user: User, *, now: str, new: str, again: str, right: bool) -> None:
    """Let somebody take a password of their own; everybody else who is signed in by the old one is signed out.

    Args:
        user: who signs in by it.
        now: the password as it is, as typed.
        new: the one that is wanted, and `again` the same once more.
        right: whether `now` was found right, by whoever counts the tries.

    Raises:
        InputError: something of it cannot be; nothing is changed then.
    """
    person = Person.objects.select_related("household").get(user=user)
    problems = []
    if not right:
        problems.append(
            Problem(say("password as it is"), say("another one"), say("the one by which you signed in"))
        )
    if new != again:
        problems.append(Problem(say("new password"), say("two that differ"), say("the same one twice")))
    elif right and new == now:
        problems.append(Problem(say("new password"), say("the one that you have"), say("another one")))
    else:
        problems += problems_of(new, username=user.username, name=person.name, home=person.household.name)
    if problems:
        raise InputError(problems)
    with transaction.atomic():
        user.set_password(new)
        user.save(update_fields=["password"])
        Person.objects.filter(id=person.id).update(password_made=None)


def is_over(made: datetime | None, real_now: datetime) -> bool:
    """Whether a password that was made here lets nobody in any more."""
    return made is not None and real_now - made > LASTS


def made_at(user_id: int) -> datetime | None:
    """When the password of somebody was made here, if it is not one of their own."""
    return Person.objects.filter(user=user_id).values_list("password_made", flat=True).first()
