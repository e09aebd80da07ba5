"""Sequential tests beside published values and an exact recursion of our own.

Where a row says 'from memory' nobody here has seen the printed page; such a value is fixed by mathematics all the same.
The product's rule counts right answers; the plans below count failures, p1 of them acceptable and p2 not, so 'learnt'
is to accept.
"""

from dataclasses import dataclass
from math import ceil, floor, log, log10

import pytest

from markstead.measure.oral import (
    DEFAULT_RULE,
    HARDER_RULE,
    CardLine,
    QuizRule,
    Verdict,
    card,
    live,
    operating,
)


@dataclass(frozen=True)
class Plan:
    """A sequential probability ratio test of Wald 1947: alpha = P(reject at p1), beta = P(accept at p2)."""

    p1: float
    p2: float
    alpha: float
    beta: float

    @property
    def k(self) -> float:
        return log(self.p2 * (1 - self.p1) / (self.p1 * (1 - self.p2)))

    @property
    def lines(self) -> tuple[float, float, float]:
        """h1, h2, s: accept at d <= -h1 + s n failures, reject at d >= h2 + s n."""
        return (
            log((1 - self.alpha) / self.beta) / self.k,
            log((1 - self.beta) / self.alpha) / self.k,
            log((1 - self.p1) / (1 - self.p2)) / self.k,
        )

    def rule(self, most: int, least: int = 1) -> QuizRule:
        """The same plan as a rule of the product, cut off at `most` questions."""
        return QuizRule(
            learnt=1 - self.p1,
            not_yet=1 - self.p2,
            stop_learnt=log((1 - self.alpha) / self.beta),
            stop_not_yet=log(self.alpha / (1 - self.beta)),
            at_the_end=0.0,
            least=least,
            most=most,
        )

    def exactly(self, p: float) -> tuple[float, float]:
        """P(accept) and mean length at failure rate p, uncut, by recursion over the number of failures."""
        h1, h2, s = self.lines
        going, accepted, mean, n = {0: 1.0}, 0.0, 0.0, 0
        while sum(going.values()) > 1e-13:
            mean += sum(going.values())
            n += 1
            step: dict[int, float] = {}
            for d, weight in going.items():
                step[d] = step.get(d, 0.0) + weight * (1 - p)
                step[d + 1] = step.get(d + 1, 0.0) + weight * p
            accepted += sum(w for d, w in step.items() if d <= -h1 + s * n)
            going = {d: w for d, w in step.items() if -h1 + s * n < d < h2 + s * n}
        return accepted, mean

    def mean_by_wald(self, p: float) -> float:
        """Wald's mean length at p1 or p2, which leaves out how far the last answer overshoots a line."""
        h1, h2, s = self.lines
        if p == self.p1:
            return ((1 - self.alpha) * h1 - self.alpha * h2) / (s - p)
        assert p == self.p2
        return ((1 - self.beta) * h2 - self.beta * h1) / (p - s)


NIST = Plan(0.01, 0.10, 0.05, 0.10)
"""NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.6, what is a sequential sampling plan."""
MASTERY = Plan(0.15, 0.40, 0.20, 0.10)
"""Ferguson 1969, dissertation, University of Pittsburgh: master .85, non-master .60 (design values from memory)."""
FRICK = Plan(0.15, 0.40, 0.025, 0.025)
"""Frick 1989, 1990: sequential mastery tests, .85 and .60 (design values from memory)."""
SHORT = Plan(0.10, 0.40, 0.20, 0.20)
MIDDLE = Plan(0.10, 0.35, 0.10, 0.10)
ALL = (NIST, MASTERY, FRICK, SHORT, MIDDLE)


def lines_of(rule: QuizRule) -> tuple[float, float, float]:
    """The two lines of a rule of the product."""
    k = rule.right_adds - rule.wrong_adds
    return rule.stop_learnt / k, -rule.stop_not_yet / k, rule.right_adds / k


def line(rule: QuizRule, asked: int) -> CardLine:
    return card(0.5, rule).lines[asked - rule.least]


class TestPublishedPlan:
    """The worked plan of the NIST handbook: p1 .01, p2 .10, alpha .05, beta .10."""

    RULE = NIST.rule(most=60)

    def test_its_lines(self) -> None:
        """xa = -0.939 + 0.0397 n, xr = 1.205 + 0.0397 n (from memory; the page shows its equations as images)."""
        h1, h2, s = lines_of(self.RULE)

        assert (round(-h1, 3), round(h2, 3), round(s, 4)) == (-0.939, 1.205, 0.0397)

    def test_its_constant(self) -> None:
        """k = 1.0414 in logarithms to base 10 (from memory)."""
        rule = self.RULE

        assert (rule.right_adds - rule.wrong_adds) / log(10) == pytest.approx(1.0414, abs=5e-5)
        assert log10(11) == pytest.approx(1.0414, abs=5e-5)

    def test_at_24_it_accepts_with_no_failure_and_rejects_with_three(self) -> None:
        """Seen at http://www.sbtionline.com/nist/pmc/section2/pmc26.htm: 'for n = 24 the acceptance number is 0 and the
        rejection number is 3'."""
        at = line(self.RULE, 24)

        assert at.right_needed == 24 - 0
        assert at.wrong_ends == 3

    def test_at_1_it_does_neither_and_at_2_it_can_first_reject(self) -> None:
        """The table of the handbook (from memory): rejection from n = 2 on with two failures, acceptance from n = 24."""
        assert (line(self.RULE, 1).right_needed, line(self.RULE, 1).wrong_ends) == (None, None)
        assert line(self.RULE, 2).wrong_ends == 2
        assert all(line(self.RULE, n).right_needed is None for n in range(1, 24))

    def test_its_card_is_rounded_as_the_handbook_says(self) -> None:
        """Acceptance numbers are rounded down, rejection numbers up; a cut-off at 200 is not felt before 50."""
        h1, h2, s = NIST.lines
        lines = card(0.5, NIST.rule(most=200)).lines
        for n in range(1, 50):
            accept, reject = floor(-h1 + s * n), ceil(h2 + s * n)
            at = lines[n - 1]
            assert at.right_needed == (n - accept if accept >= 0 else None)
            assert at.wrong_ends == (reject if reject <= n else None)


class TestMasteryTests:
    """Sequential mastery tests of the literature."""

    def test_likelihood_ratio_bounds_of_39_and_a_39th(self) -> None:
        """Frick 1989 (from memory): alpha = beta = .025 gives 39 and 1/39."""
        rule = FRICK.rule(most=60)

        assert rule.stop_learnt == pytest.approx(log(39))
        assert rule.stop_not_yet == pytest.approx(-log(39))

    @pytest.mark.parametrize(
        ("plan", "right", "wrong"), [(MASTERY, 6, 2), (FRICK, 11, 4)], ids=["alpha .20, beta .10", ".025"]
    )
    def test_shortest_ways_to_the_end(self, plan: Plan, right: int, wrong: int) -> None:
        """Own values: ceil(h1 / s) right in a row, ceil(h2 / (1 - s)) wrong in a row."""
        start = live((), 0.5, plan.rule(most=80))

        assert (start.right_to_go, start.wrong_to_go) == (right, wrong)

    @pytest.mark.parametrize(("right", "verdict"), [(12, Verdict.GO_ON), (14, Verdict.LEARNT)])
    def test_the_likelihood_ratio_decides(self, right: int, verdict: Verdict) -> None:
        """Own values: with one wrong, 12 right have a ratio of 24.5 and 14 right one of 49.2; the bound is 39."""
        ratio = (0.85 / 0.60) ** right * (0.15 / 0.40)

        assert (ratio >= 39) is (verdict is Verdict.LEARNT)
        assert live([False, *[True] * right], 0.5, FRICK.rule(most=80)).verdict is verdict

    @pytest.mark.parametrize(
        ("p", "accepted", "mean"), [(0.15, 0.856511, 10.679235), (0.40, 0.099124, 8.010804)]
    )
    def test_exact_errors_and_length(self, p: float, accepted: float, mean: float) -> None:
        """Own values, six digits: the cut-off at 200 is met with probability below 1e-9."""
        found = operating(1 - p, 0.5, MASTERY.rule(most=200))

        assert (found.learnt, found.mean_questions) == pytest.approx((accepted, mean), abs=1e-6)


class TestExactRecursion:
    """The product's dynamic programme beside a recursion over failures that knows nothing of cards."""

    @pytest.mark.parametrize("plan", [MASTERY, SHORT, MIDDLE], ids=str)
    @pytest.mark.parametrize("p", [0.05, 0.15, 0.25, 0.40, 0.70])
    def test_a_cut_off_far_away_changes_nothing(self, plan: Plan, p: float) -> None:
        found = operating(1 - p, 0.5, plan.rule(most=250))

        assert (found.learnt, found.mean_questions) == pytest.approx(plan.exactly(p), abs=1e-6)

    @pytest.mark.parametrize(
        ("plan", "p", "accepted", "mean"),
        [
            (NIST, 0.01, 0.977953, 30.212726),
            (NIST, 0.10, 0.099579, 22.369155),
            (Plan(0.10, 0.30, 0.02, 0.03), 0.10, 0.986308, 29.901808),
            (Plan(0.10, 0.30, 0.02, 0.03), 0.30, 0.027424, 26.602207),
            (Plan(0.01, 0.04, 0.05, 0.05), 0.01, 0.968592, 165.918571),
            (Plan(0.01, 0.04, 0.05, 0.05), 0.04, 0.050563, 121.119338),
        ],
    )
    def test_the_recursion_stays_what_it_was(
        self, plan: Plan, p: float, accepted: float, mean: float
    ) -> None:
        """Own values, six digits. Plans of Wald 1947 (from memory) and of the example in R package Dodge."""
        assert plan.exactly(p) == pytest.approx((accepted, mean), abs=1e-6)

    @pytest.mark.parametrize("plan", ALL, ids=str)
    def test_errors_keep_within_walds_bounds(self, plan: Plan) -> None:
        """Wald 1947, section 3.2 (from memory): alpha' <= alpha / (1 - beta), beta' <= beta / (1 - alpha), and the two
        real errors together are no more than the two nominal ones."""
        alpha, beta = 1 - plan.exactly(plan.p1)[0], plan.exactly(plan.p2)[0]

        assert alpha <= plan.alpha / (1 - plan.beta)
        assert beta <= plan.beta / (1 - plan.alpha)
        assert alpha + beta <= plan.alpha + plan.beta


class TestWhyNotWaldsFormulas:
    """His approximations do not hold for so short a test, which is why the exact ones are shown."""

    @pytest.mark.parametrize("plan", [SHORT, MIDDLE, MASTERY], ids=str)
    def test_his_mean_length_is_a_tenth_to_a_third_too_low(self, plan: Plan) -> None:
        for p in (plan.p1, plan.p2):
            assert 0.67 <= plan.mean_by_wald(p) / plan.exactly(p)[1] <= 0.90

    def test_his_mean_lengths_of_the_nist_plan(self) -> None:
        """By his formula (from memory), six digits."""
        assert NIST.mean_by_wald(0.01) == pytest.approx(27.957021, abs=1e-6)
        assert NIST.mean_by_wald(0.10) == pytest.approx(16.446679, abs=1e-6)

    def test_a_cut_off_at_twelve_doubles_a_nominal_error(self) -> None:
        """.90 against .70 with errors of .10: twelve questions pass a quarter of those who should not."""
        close = Plan(0.10, 0.30, 0.10, 0.10)

        assert operating(0.70, 0.5, close.rule(most=12)).learnt > 0.20

    @pytest.mark.parametrize("rule", [DEFAULT_RULE, HARDER_RULE])
    def test_the_rule_of_the_house_is_such_a_test_in_short(self, rule: QuizRule) -> None:
        """Its bounds are those of alpha and beta in Wald's notation, its cut-off costs what `operating` says."""
        found = operating(rule.learnt, 0.5, rule).mean_questions

        assert rule.least <= found <= rule.most
