"""The tables of docs/explanation/readiness.md as Markdown."""

from collections.abc import Iterable, Sequence

import numpy as np

from tests.worlds.generate import PRACTICE_ASKED, SECTIONS_ASKED
from tests.worlds.judge import brier, calibration_error, covered, log_loss, reliability
from tests.worlds.trial import (
    APART,
    BASE_RATE,
    COSTS,
    LOGISTIC,
    NO_LEADS,
    PRODUCT,
    TEST_HOMES,
    TRUTH,
    TWO_RATES,
    days,
    sharing,
    trial,
    tried_homes,
)
from tests.worlds.world import BASE, FIVE, NOISY, World

PREDICTORS = (BASE_RATE, TWO_RATES, LOGISTIC, APART, NO_LEADS, PRODUCT, TRUTH)
RULES = ("gate", "sit at once", "look ahead", "gate and look ahead", "knows the truth")
FORMS = (0.0, 0.2)


def tables() -> str:
    """Run all trials and set out what they gave."""
    parts = (
        ("The worlds", _worlds()),
        ("Forecasts: Brier score (log-loss; calibration error)", _scores()),
        (
            "By how much the Brier score of the others is above that of readiness (standard error by homes)",
            _differences(),
        ),
        ("Said and happened", _reliability()),
        ("Ranges that nominally hold nine in ten", _coverage()),
        ("Days lost for each workbook, by what a failed test costs", _days()),
        ("Sharing the difficulty of workbooks between homes, base world", _sharing()),
    )
    return "\n\n".join(f"### {title}\n\n{table}" for title, table in parts)


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Set out one table."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def _letters(worlds: Iterable[World]) -> list[str]:
    """Head the columns by the letters of the worlds."""
    return [world.name[0] for world in worlds]


def _worlds() -> str:
    """Say what each world's marks look like."""
    rows = []
    for world in FIVE:
        r = tried_homes(world)
        unit = r.unit[..., 0].ravel()
        rows.append(
            [
                world.name,
                str(r.sections.size),
                f"{trial(world).passed.mean():.2f}",
                f"{np.corrcoef(r.sections.ravel(), unit)[0, 1]:.2f}",
                f"{np.corrcoef(r.practice[..., 0].ravel(), unit)[0, 1]:.2f}",
                f"{100 * r.sections.mean() / SECTIONS_ASKED:.0f}",
                f"{100 * r.practice[..., 0].mean() / PRACTICE_ASKED:.0f}",
                f"{100 * unit.mean() / 40:.0f}",
            ]
        )
    head = "world|workbooks|would pass|r sections, unit|r practice, unit|sections %|practice %|unit %"
    return f"{TEST_HOMES} homes in each.\n\n" + _table(head.split("|"), rows)


def _scores() -> str:
    """Score every predictor in every world."""
    rows = []
    for name in PREDICTORS:
        cells = []
        for world in FIVE:
            run = trial(world)
            p, y = run.said[name], run.passed
            cells.append(f"{brier(p, y):.4f} ({log_loss(p, y):.3f}; {calibration_error(p, y):.3f})")
        rows.append([name, *cells])
    return _table(["", *_letters(FIVE)], rows)


def _differences() -> str:
    """Set the others against readiness."""
    rows = []
    for name in (TWO_RATES, LOGISTIC, APART, NO_LEADS):
        found = [trial(world).worse(name) for world in FIVE]
        rows.append([name, *(f"{f.mean:+.4f} ({f.error:.4f})" for f in found)])
    return _table(["", *_letters(FIVE)], rows)


def _reliability() -> str:
    """Show said and happened in ten groups of the base and the noisy world."""
    rows = []
    for world in (BASE, NOISY):
        groups = reliability(trial(world).said[PRODUCT], trial(world).passed)
        rows.append([f"{world.name}: said", *(f"{said:.2f}" for said, _, _ in groups)])
        rows.append([f"{world.name}: happened", *(f"{was:.2f}" for _, was, _ in groups)])
    return _table(["tenth of the forecasts, lowest first", *map(str, range(1, 11))], rows)


def _coverage() -> str:
    """Show how often the ranges held."""
    rows: dict[str, list[str]] = {
        "score range holds the score": [],
        "its mean width, questions of 40": [],
        "range of the chance holds the generator's chance on the eve": [],
        "range of the chance holds the generator's chance on the morning": [],
        "its mean width": [],
    }
    for world in FIVE:
        run = trial(world)
        p, r = run.product, run.records
        cells = (
            f"{covered(p.score_low, p.score_high, r.unit[..., 0].ravel()):.3f}",
            f"{np.mean(p.score_high - p.score_low):.1f}",
            f"{covered(p.chance_low, p.chance_high, r.unit_chance[..., 0].ravel()):.3f}",
            f"{covered(p.chance_low, p.chance_high, r.morning_chance[..., 0].ravel()):.3f}",
            f"{np.mean(p.chance_high - p.chance_low):.2f}",
        )
        for row, cell in zip(rows.values(), cells, strict=True):
            row.append(cell)
    return _table(["", *_letters(FIVE)], [[name, *cells] for name, cells in rows.items()])


def _days() -> str:
    """Set the rules for when to sit against each other."""
    rows = []
    for world in FIVE:
        for cost in COSTS:
            found = {rule: days(world, cost, rule) for rule in RULES}
            ahead, gate = found["look ahead"], found["gate"]
            rows.append(
                [
                    f"{world.name[0]}, {cost}",
                    *(f"{found[rule].mean:.2f}" for rule in RULES),
                    f"{100 * ahead.change:+.1f} % ({100 * ahead.against_gate.error / gate.mean:.1f})",
                    f"{gate.failed:.2f} / {ahead.failed:.2f}",
                ]
            )
    return _table(
        ["world, cost", *RULES, "look ahead against gate (standard error)", "failed: gate / look ahead"], rows
    )


def _sharing() -> str:
    """Show what shared difficulties bring."""
    rows = []
    for form_sd in FORMS:
        for homes in (5, 20):
            found = sharing(form_sd=form_sd, homes=homes)
            rows.append(
                [
                    f"{form_sd:.1f}",
                    str(homes),
                    f"{found.without:.4f}",
                    f"{found.shared:.4f}",
                    f"{found.gain.mean:.4f} ({found.gain.error:.4f})",
                ]
            )
    head = [
        "forms differ by, logits",
        "homes that share",
        "Brier alone",
        "Brier shared",
        "gain (standard error)",
    ]
    return _table(head, rows)
