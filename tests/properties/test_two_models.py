"""The gates beside a second, naive telling of them: the same verdict on every one of many thousand acts."""

from collections import Counter

import pytest

from markstead.ledger.facts import KINDS
from markstead.rules.bars import BarKind
from tests.properties.naive import RULES_THAT_MAY_BE_PASSED
from tests.properties.wandering import seeded_weeks, spend
from tests.rules.small_home import kinds

WEEKS, ACTS_EACH = 110, 280
LEAST_ACTS = 20_000


@pytest.mark.slow
def test_the_gates_and_a_naive_telling_of_them_agree_on_every_act() -> None:
    """Same verdict on each of at least 20,000 random acts, and where a gate is shut, the same kinds of bars.

    Of a copy that nobody is working in, the naive home says only that; the gates may say more.
    """
    acts: Counter[str] = Counter()
    allowed: Counter[str] = Counter()
    barred: Counter[str] = Counter()

    for seed in range(WEEKS):
        for proposal in spend(seeded_weeks(seed, ACTS_EACH)):
            fact, when, now = proposal.fact, proposal.when, proposal.now

            answer = proposal.story.ask(fact, when, proposal.by, now=now)
            expected = proposal.naive.bars(fact, proposal.by.id, when, now)

            assert answer.allowed == (not expected), (seed, kinds(answer) ^ expected, str(proposal))
            if "not issued" in expected:
                assert kinds(answer) >= expected, (seed, kinds(answer), str(proposal))
            else:
                assert kinds(answer) == expected, (seed, kinds(answer) ^ expected, str(proposal))
            acts[fact.KIND] += 1
            barred.update(kinds(answer))
            if answer.allowed:
                allowed[fact.KIND] += 1

    # A comparison that never came to a gate has compared nothing.
    assert acts.total() >= LEAST_ACTS
    assert set(allowed) == set(KINDS)
    assert min(allowed.values()) >= 10, allowed
    # Whether a fact is undone already is for the act of undoing to see; a standing does not know it.
    assert set(barred) == set(BarKind) - {BarKind.ALREADY_REVERSED}
    assert min(barred.values()) >= 5, barred


def test_the_naive_telling_names_only_bars_that_there_are() -> None:
    assert set(BarKind) >= RULES_THAT_MAY_BE_PASSED
