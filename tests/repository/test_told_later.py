"""What was said and kept is told in the language of whoever reads it, exactly as if it had been said in that language."""

import copy
import json
import pickle
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from pathlib import PurePosixPath
from string import Formatter
from typing import Any

import numpy as np
import pytest
from django.template import engines
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead import speech
from markstead.errors import InputError, Problem
from markstead.speech import (
    Sentence,
    counted,
    plural,
    read_sentence,
    remembering,
    say,
    spoken,
    tell,
    write_sentence,
)
from tests.tools import catalogue

Recipe = Callable[[], str]
"""Says something, in whatever language is spoken then."""

CODES = tuple(speech.LANGUAGES)
_DAY_WORDS = (
    "day_words",
    "date_words",
    "day_short",
    "day_of_month",
    "short_day_of_month",
    "short_date",
    "month_words",
    "month_name",
    "month_short",
    "weekday",
    "weekday_short",
    "weekday_least",
)
_NUMBER = frozenset({".0f", ".1f", ".2f", ".3f", ",", ",.0f", "+z.2f", "g"})
_WHOLE = frozenset({"02d", "#04x"})


def _spoken_in_code() -> list[tuple[str, str, str]]:
    """What the code says and Spanish has: the sentence, its plural where it has one, and the sense of a word."""
    found = []
    for message in catalogue.read("es"):
        if message.id and all(file.endswith(".py") for file, _ in message.locations):
            one, many = (message.id, "") if isinstance(message.id, str) else message.id
            found.append((one, many, message.context or ""))
    return found


IN_CODE = _spoken_in_code()
names = st.text(max_size=8) | st.sampled_from(
    ["Asa {n}", "100 % of {0}", '<b>Noa</b> & "Ilse"', "{", "}}", "Iris"]
)
days = st.dates(date(1990, 1, 1), date(2060, 12, 31))
numbers = st.integers(-(10**6), 10**6) | st.floats(-1e6, 1e6) | st.decimals(-1000, 1000, places=2)


def _value(spec: str, texts: st.SearchStrategy[Recipe]) -> st.SearchStrategy[Callable[[], object]]:
    if "%" in spec:
        return st.datetimes().map(lambda at: lambda: at)
    if spec in _WHOLE:
        return st.integers(0, 99).map(lambda n: lambda: n)
    if spec in _NUMBER:
        return (numbers if spec != "g" else st.floats(-1e6, 1e6)).map(lambda n: lambda: n)
    return (names | numbers | days | st.fractions() | st.none()).map(lambda one: lambda: one) | texts


@st.composite
def _filled(draw: st.DrawFn, texts: st.SearchStrategy[Recipe]) -> Recipe:
    one, many, sense = draw(st.sampled_from(IN_CODE))
    if sense:
        return lambda: speech.meant(one, sense)
    try:
        fields = {n: spec for _, n, spec, _ in Formatter().parse(many or one) if n is not None}
    except ValueError:  # a text that is never filled, with braces of its own
        return lambda: say(one)
    if any(spec not in _NUMBER | _WHOLE | {""} and "%" not in spec for spec in fields.values()):
        return lambda: say(one)
    values = {name: draw(_value(spec, texts)) for name, spec in fields.items() if not (many and name == "n")}
    count = draw(st.integers(0, 3))
    if many:
        return lambda: counted(count, one, many, **{name: value() for name, value in values.items()})
    return lambda: say(one, **{name: value() for name, value in values.items()})


def _rows(texts: st.SearchStrategy[Recipe]) -> st.SearchStrategy[Recipe]:
    parts = st.lists(texts, min_size=1, max_size=3)
    rows = (speech.and_words, speech.or_words, speech.joined)
    return st.builds(lambda row, some: lambda: row(one() for one in some), st.sampled_from(rows), parts)


_plain_words = (
    st.builds(lambda name, day: lambda: getattr(speech, name)(day), st.sampled_from(_DAY_WORDS), days)
    | st.builds(lambda a, b: lambda: speech.span_words(min(a, b), max(a, b)), days, days)
    | st.builds(lambda n: lambda: plural(n, "page"), st.integers(0, 3) | st.floats(0, 5000))
    | st.builds(lambda n: lambda: speech.ordinal(n), st.integers(1, 40))
    | st.builds(lambda n: lambda: speech.figure(f"{n:,.2f}"), st.floats(-1e6, 1e6))
    | names.map(lambda text: lambda: text)
)
recipes = st.recursive(
    _plain_words,
    lambda texts: _filled(texts) | _rows(texts) | texts.map(lambda one: lambda: speech.begun(one())),
    max_leaves=6,
)


@given(recipes, st.sampled_from(CODES), st.sampled_from(CODES))
@settings(max_examples=400, deadline=None)
def test_what_was_kept_in_one_language_is_told_in_another_as_if_it_were_said_in_it(
    recipe: Recipe, writer: str, reader: str
) -> None:
    with spoken(writer):
        said = recipe()
        with remembering():
            remembered = recipe()
    with spoken(reader):
        wanted = recipe()
        kept = json.dumps(write_sentence(remembered))
        read = read_sentence(json.loads(kept))
        assert str(remembered) == said  # whoever writes reads the same as ever
        assert tell(remembered) == wanted
        assert (tell(read), read) == (wanted, wanted)
        assert json.dumps(write_sentence(read)) == kept


def test_outside_of_it_nothing_is_remembered() -> None:
    with remembering(), remembering():
        pass
    assert type(say("a file that can be read")) is str
    assert type(speech.day_words(date(2026, 1, 27))) is str


@pytest.mark.parametrize("text", ["", "Asa, Sums: Counting Boats is late.", "{n} pages <b>", "⟦…⟧ \u2028 %s"])
def test_mere_text_is_kept_and_told_as_it_is(text: str) -> None:
    """So are the plans that were kept before sentences were remembered."""
    assert write_sentence(text) == text
    with spoken("es"):
        assert (tell(text), tell(read_sentence(text))) == (text, text)


def test_what_no_catalogue_has_any_more_is_told_in_english() -> None:
    with remembering():
        kept = write_sentence(say("An earlier Markstead counted {n:,} of them.", n=1234))
    with spoken("es"):
        assert tell(read_sentence(kept)) == "An earlier Markstead counted 1.234 of them."


@pytest.mark.parametrize(
    ("kept", "told"),
    [
        ({"sung": ["Nobody sings {n}."], "with": {"n": 3}}, "Nobody sings {n}."),
        ({"say": ["{n} pages"], "with": {"m": 3}}, "{n} pages"),
        ({"say": ["{n.real.__class__} {0}"], "with": {"n": 3}}, "{n.real.__class__} {0}"),
        ({"say": ["{n:%Q%Q}"], "with": {"n": 3}}, "{n:%Q%Q}"),
        ({"say": []}, ""),
        ({"say": "none"}, ""),
        ({"counted": ["three", "{n} page", "{n} pages"]}, "three pages"),
        ({"day_words": [{"date": "31 November"}]}, "31 November"),
        ({"and_words": [[]]}, ""),
        ({"with": {"n": 3}}, ""),
        ({}, ""),
        ([], ""),
        (None, ""),
        (7, ""),
    ],
    ids=str,
)
def test_what_cannot_be_told_is_what_english_there_is(kept: Any, told: str) -> None:
    found = read_sentence(kept)
    assert (found, tell(found)) == (told, told)


class _Step(StrEnum):
    SIT = "sit"


def test_values_of_other_kinds_are_kept_as_what_is_read_of_them() -> None:
    at = datetime(2026, 1, 27, 9, 5, tzinfo=timezone(timedelta(hours=1)))
    values = {
        "step": _Step.SIT,
        "pages": np.int64(1200),
        "share": np.float64(0.5),
        "money": Decimal("12.50"),
        "part": Fraction(3, 4),
        "at": time(9, 5),
        "day": at,
        "file": PurePosixPath("b/a"),
        "row": [1, "two"],
        "sure": True,
    }
    text = "{step} {pages:,} {share:.1f} {money} {part} {at:%H:%M} {day:%H:%M} {file} {row} {sure}"
    with remembering():
        said = say(text, **values)
    read = read_sentence(json.loads(json.dumps(write_sentence(said))))
    assert tell(read) == said == say(text, **values)
    with spoken("es"):
        assert tell(read) == "sit 1.200 0,5 12,50 3/4 09:05 09:05 b/a [1, 'two'] True"


def test_errors_are_told_again_with_all_their_problems() -> None:
    def error() -> InputError:
        inner = OSError("no room")
        return InputError(
            [
                Problem(
                    say("plan"),
                    say("none in force"),
                    say("a plan that was taken"),
                    say("Enter the next term."),
                ),
                Problem("FROM", str(inner), say("one of {learners}", learners=say("no learners"))),
            ]
        )

    with remembering():
        remembered = error()
        within = say("{file} was not restored, and nothing was changed. {error}", file="b", error=remembered)
    with spoken("es"):
        assert tell(remembered.sentence) == str(error()) != str(remembered)
        assert str(error()) in tell(within)
    assert str(remembered) == str(error()) == remembered.sentence


@dataclass(frozen=True)
class _Line:
    words: str


def test_a_sentence_is_a_text_like_any_other() -> None:
    with remembering():
        said = say(
            "{learner} is away on {day}", learner="<b>Asa</b>", day=speech.date_words(date(2026, 1, 27))
        )
    assert isinstance(said, Sentence)
    drawn = engines["django"].from_string("{{ said }}").render({"said": said})
    assert drawn == "&lt;b&gt;Asa&lt;/b&gt; is away on 27 January 2026"
    for other in (copy.deepcopy(said), pickle.loads(pickle.dumps(said)), asdict(_Line(said))["words"]):
        assert (other, write_sentence(other)) == (said, write_sentence(said))


def test_instants_keep_their_zone() -> None:
    at = datetime(2026, 1, 27, 9, 5, tzinfo=UTC)
    with remembering():
        kept = write_sentence(say("{at:%H:%M %z}", at=at))
    assert tell(read_sentence(json.loads(json.dumps(kept)))) == "09:05 +0000"
