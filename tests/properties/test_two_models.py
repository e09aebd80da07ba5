"""The gates beside a second, naive telling of them: the same verdict on every one of many thousand acts."""

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from markstead.ledger.facts import KINDS
from markstead.rules.bars import BarKind
from markstead.rules.programme import MarkingRules, Marks, Programme, Rework
from tests.properties.naive import Naive
from tests.properties.wandering import Wanderer
from tests.rules.small_home import CAST, PROGRAMME, Story, kinds

LEAST_ACTS = 20_000

RULES = st.fixed_dictionaries(
    {
        "practice percent": st.sampled_from([80, 80, 70, 100]),
        "unit percent": st.sampled_from([80, 80, 90]),
        "exactly passes": st.sampled_from([True, True, False]),
        "quiz percent": st.sampled_from([40, 20, 60]),
        "ahead": st.sampled_from([0, 0, 1]),
        "days after": st.sampled_from([1, 1, 2]),
        "a learner a day": st.sampled_from([1, 1, 2]),
        "a morning": st.sampled_from([2, 1]),
        "educator decides": st.sampled_from([True, True, False]),
        "same copy": st.booleans(),
    }
)


def programme_of(rules: dict[str, Any]) -> Programme:
    """The small home's programme with these numbers."""
    return replace(
        PROGRAMME,
        marks=Marks(rules["practice percent"], rules["unit percent"], rules["exactly passes"]),
        marking=MarkingRules(rules["quiz percent"], rules["ahead"]),
        unit_test=replace(
            PROGRAMME.unit_test,
            school_days_after_practice=rules["days after"],
            most_a_learner_a_day=rules["a learner a day"],
            most_watched_a_morning=rules["a morning"],
            readiness_decision=rules["educator decides"],
        ),
        rework=Rework.SAME_COPY if rules["same copy"] else Rework.NEW_COPY,
    )


@pytest.mark.slow
def test_the_gates_and_a_naive_telling_of_them_agree_on_every_act() -> None:
    """Same verdict on each of at least 20,000 random acts, and where a gate is shut, the same kinds of bars.

    Of a copy that nobody is working in, the naive home says only that; the gates may say more.
    """
    acts: Counter[str] = Counter()
    allowed: Counter[str] = Counter()
    seen: Counter[str] = Counter()

    @settings(
        max_examples=110, deadline=None, database=None, suppress_health_check=list(HealthCheck), derandomize=True
    )
    @given(
        rules=RULES,
        start=st.integers(min_value=0, max_value=42),
        passes=st.sampled_from([0, 3, 15]),
        far_on=st.booleans(),
        dice=st.lists(st.integers(min_value=0, max_value=2**32 - 1), min_size=250, max_size=300),
    )
    def spend_some_weeks(rules: dict[str, Any], start: int, passes: int, far_on: bool, dice: list[int]) -> None:
        story, naive = Story(programme_of(rules)), Naive(rules)
        # 20:00 in UTC is nine in the morning at home.
        begin = datetime(2026, 1, 25, 20, 0, tzinfo=UTC) + timedelta(days=start)
        wanderer = Wanderer(naive, begin, passes)
        for fact in wanderer.begin_far_on() if far_on else []:
            naive.happen(story.tell(fact, begin).seq, begin, fact)
        for die in dice:
            fact, who, when, now = wanderer.next_act(Random(die))

            answer = story.ask(fact, when, CAST[who], now=now)
            expected = naive.bars(fact, who, when, now)

            told = [f"{w:%d %b %H:%M} {f}" for _, w, f in naive.happened[-12:]]
            case = f"{fact} by {who} at {when}\n{rules}\nafter " + "\n".join(told)
            assert answer.allowed == (not expected), (kinds(answer) ^ expected, case)
            if "not issued" in expected:
                assert kinds(answer) >= expected, (kinds(answer), case)
            else:
                assert kinds(answer) == expected, (kinds(answer) ^ expected, case)

            acts[fact.KIND] += 1
            seen.update(kinds(answer))
            if answer.allowed:
                allowed[fact.KIND] += 1
                entry = story.tell(fact, when, CAST[who])
                naive.happen(entry.seq, when, fact)

    spend_some_weeks()

    # A comparison that never came to a gate has compared nothing.
    print(acts, allowed, seen, sep="\n\n")
    assert acts.total() >= LEAST_ACTS
    assert set(allowed) == set(KINDS)
    assert min(allowed.values()) >= 20, allowed
    assert set(seen) == set(BarKind) - {BarKind.ALREADY_REVERSED}, set(BarKind) - set(seen)
    assert min(seen.values()) >= 5, seen
