"""The gates beside a second, naive telling of them: the same verdict on every one of many thousand acts."""

from collections import Counter

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from markstead.ledger.facts import KINDS
from markstead.rules.bars import BarKind
from tests.properties.naive import RULES_THAT_MAY_BE_PASSED
from tests.properties.wandering import Weeks, spend, weeks
from tests.rules.small_home import kinds

LEAST_ACTS = 20_000


@pytest.mark.slow
def test_the_gates_and_a_naive_telling_of_them_agree_on_every_act() -> None:
    """Same verdict on each of at least 20,000 random acts, and where a gate is shut, the same kinds of bars.

    Of a copy that nobody is working in, the naive home says only that; the gates may say more.
    """
    acts: Counter[str] = Counter()
    allowed: Counter[str] = Counter()
    barred: Counter[str] = Counter()

    # No shrinking: the failing act is shown with the dozen before it, and hundreds of dice shrink for minutes.
    @settings(
        max_examples=110,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(some=weeks(250, 300))
    def both_agree(some: Weeks) -> None:
        for proposal in spend(some):
            fact, when, now = proposal.fact, proposal.when, proposal.now

            answer = proposal.story.ask(fact, when, proposal.by, now=now)
            expected = proposal.naive.bars(fact, proposal.by.id, when, now)

            assert answer.allowed == (not expected), (kinds(answer) ^ expected, str(proposal))
            if "not issued" in expected:
                assert kinds(answer) >= expected, (kinds(answer), str(proposal))
            else:
                assert kinds(answer) == expected, (kinds(answer) ^ expected, str(proposal))
            acts[fact.KIND] += 1
            barred.update(kinds(answer))
            if answer.allowed:
                allowed[fact.KIND] += 1

    both_agree()

    # A comparison that never came to a gate has compared nothing.
    assert acts.total() >= LEAST_ACTS
    assert set(allowed) == set(KINDS)
    assert min(allowed.values()) >= 10, allowed
    # Whether a fact is undone already is for the act of undoing to see; a standing does not know it.
    assert set(barred) == set(BarKind) - {BarKind.ALREADY_REVERSED}
    assert min(barred.values()) >= 5, barred


def test_the_naive_telling_names_only_bars_that_there_are() -> None:
    assert set(BarKind) >= RULES_THAT_MAY_BE_PASSED
