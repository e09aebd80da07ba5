"""Take every figure and print it: ``python -m benchmarks [--facts N] [--write]``; some three minutes."""

import argparse
from dataclasses import dataclass
from datetime import UTC, datetime
from time import perf_counter

from benchmarks import estimates, forecasting
from benchmarks import items as item_curves
from benchmarks.fold import Reading, reading
from benchmarks.house import machine, scratch_home
from benchmarks.kept_tables import BARS, between
from benchmarks.page import Case, Size
from benchmarks.writers import Race, race

FACTS = 300_000


@dataclass(frozen=True, slots=True)
class Figures:
    """Everything that was measured in one run."""

    taken: datetime
    machine: str
    facts: int
    built: float
    school_years: int
    school_days: int
    in_hand: int
    calls: int
    sizes: list[Size]
    cases: list[Case]
    reading: Reading
    races: list[Race]
    estimates: list[str]
    items: list[str]
    forecast: list[str]
    plans: str
    live: str
    screens: str
    leaving: str


def take(facts: int) -> Figures:
    """Build the home and measure every line."""
    # First, so that the morning of the estimates does not carry the big home in memory.
    told, curves, years = estimates.lines(), list(item_curves.run()), forecasting.lines()
    with scratch_home():
        from benchmarks import page
        from benchmarks.big_home import BigHome
        from benchmarks.house import HOUSEHOLD
        from markstead.records import queries

        home = BigHome()
        home.begin()
        asks = page.visitor()
        sizes, built = [], 0.0
        for length in sorted({facts // 100, facts // 10, facts}):
            begun = perf_counter()
            home.grow(length - 60)
            home.one_morning()
            home.plan()
            built += perf_counter() - begun
            sizes.append(page.size(home, asks))
        answer = queries.today(HOUSEHOLD, now=home.now)
        cases = page.cases(home, asks)
        read = reading()
        figures = (
            home.school_years,
            home.school_days,
            sum(len(learner.copies) for learner in answer.learners),
            len(answer.calls),
        )
    races = [race("SQLite")]
    from tests.tools.postgres import scratch_postgres

    with scratch_postgres() as url:
        races.append(race("PostgreSQL", url))
    return Figures(
        datetime.now(UTC),
        machine(),
        read.facts,
        built,
        *figures,
        sizes,
        cases,
        read,
        races,
        told,
        curves,
        years,
        _kept("plans"),
        _kept("live"),
        _kept("screens"),
        _kept("leaving"),
    )


def _table(head: str, rows: list[str]) -> list[str]:
    rule = "| " + " | ".join("---" for _ in head.strip("| ").split("|")) + " |"
    return [head, rule, *rows]


def report(f: Figures) -> str:
    """The page of figures."""
    r = f.reading
    sizes = [
        f"| {s.facts:,} | {s.copies:,} | {s.queries} | {s.queries_after_an_act} | {s.bare_queries} | {s.page:.1f} |"
        for s in f.sizes
    ]
    bars = {0: "4", 1: "4"}
    cases = [
        f"| {c.name} | {c.page:.1f} | {c.bare:.2f} | {c.ratio:.1f} | {c.ratio_cpu:.1f} | {bars.get(n, '')} |"
        for n, c in enumerate(f.cases)
    ]
    races = [
        f"| {x.database} | {x.acts:,} | {x.errors} | {x.lost} | {x.p50:.1f} | {x.p95:.1f} | {x.slowest:.0f} "
        f"| {x.acts_a_second:.0f} |"
        for x in f.races
    ]
    lines = [
        "# Benchmarks",
        "",
        f"Taken on {f.taken:%Y-%m-%d} on {f.machine}. To take them again:",
        "",
        "```",
        "make bench                 # prints this page; ARGS=--write writes it anew",
        "```",
        "",
        "Every ratio compares two things measured in the same run on the same machine; milliseconds and seconds by",
        "themselves say little about another machine. No test rests on a time.",
        "",
        "## The home that is measured",
        "",
        "Four learners in six courses each, one educator, an invented programme; pages are noted one by one, papers are",
        "sent monthly, some unit tests fail and are worked again in a new copy. Every act went through the same rulings",
        (
            f"as on screen. The home has {f.facts:,} facts of {f.school_days:,} school days; it is in its school year "
            f"{f.school_years}, with"
        ),
        f"{f.in_hand} workbooks in hand and {f.calls} calls waiting. It was built in {f.built:.0f} s.",
        "",
        "## 1. Today's page",
        "",
        "The bare page goes through the same middleware, session and sign-in, makes one indexed query on the record and",
        "renders four lines: three queries in all (session, user, one fact). Both pages are asked for by turns, inside",
        "the process through the whole WSGI application, without a network. Medians, in milliseconds; the ratio of the",
        "processor's time leaves out what other programs of the machine took meanwhile. The clock of the home moves",
        "on from view to view, and the acts between the views are not timed.",
        "",
        *_table(
            "| case | today's page | bare page | ratio | ratio, processor's time | at most |",
            cases,
        ),
        "",
        "In (b) the act was done by the server itself, as in a home, where one process serves the screens. In (b')",
        "what this process remembers of that copy is dropped after the act, so that its facts are read again: so it is when",
        "another process, such as a command, has acted.",
        "In (c) the programme and calendar are read and the standings of all live copies are folded from their facts.",
        "",
        "The number of queries does not grow with the record (the one more of some rows is asked whenever a learner has",
        "no workbook in some course, whatever the length of the record):",
        "",
        *_table(
            "| facts | copies | queries, nothing new | queries, after an act | bare page | today's page, ms |",
            sizes,
        ),
        "",
        "## 2. Fold and verify",
        "",
        "One core, processor's time, all facts of the home.",
        "",
        *_table(
            "| what | figure | bar |",
            [
                f"| fold, facts a second | {r.facts_a_second:,.0f} | at least 200,000 |",
                f"| `verify`, seconds (by the wall clock) | {r.verify:.2f} ({r.verify_wall:.2f}) | below 10 |",
                f"| hashing and parsing the same bytes once, seconds | {r.hash_and_parse:.2f} | |",
                f"| ratio of the two | {r.ratio:.1f} | at most 4 |",
                f"| memory by which `verify` raised the peak of the process, MB | {r.verify_megabytes:.0f} | |",
            ],
        ),
        "",
        "`verify` reads every row from the database, reads the body back into a fact, hashes the chain, compares the",
        "columns with the body, folds every copy and compares the fold with the cache. The other side of the ratio is",
        "`hashlib` and `json.loads` over bytes that are in memory already.",
        "",
        "## 3. Writers at the same time",
        "",
        "Eight processes, each with its own connection, write to one home as fast as they can; each act is a transaction",
        "of its own. Milliseconds.",
        "",
        *_table("| database | acts | errors | lost | p50 | p95 | slowest | acts a second |", races),
        "",
        "On SQLite one writer holds the database and the others try again after short pauses, so that a few wait long.",
        "",
        "## 4. Estimates",
        "",
        *f.estimates,
        "",
        "## 5. Item curves",
        "",
        *f.items,
        "",
        "## 6. The year's forecast",
        "",
        "The rest of a school year of one learner: six courses of fourteen workbooks, 200 school days.",
        "",
        *f.forecast,
        "",
        "## 7. Plans",
        "",
        "`python -m benchmarks.planning --write` takes these, some twenty minutes; its tables are in",
        "[Planning](../explanation/planning.md), with the homes and what is weak. Seconds are of one core's processor time; figures are",
        "medians over three seeds and three loads.",
        "",
        f"<!-- plans: begin -->{f.plans}<!-- plans: end -->",
        "",
        "## 8. Open pages and acts at once",
        "",
        "`python -m benchmarks.live --write` takes these, some three minutes.",
        "",
        f"<!-- live: begin -->{f.live}<!-- live: end -->",
        "",
        "## 9. Every page of the demo",
        "",
        "`python -m benchmarks.screens --write` takes these, some three minutes: bytes of the page with sheets, scripts and pictures,",
        "uncompressed; the server's median of the processor's time as a multiple of a bare page's in the same run, where nothing is new",
        "and right after an act; first paint in Chromium, which keeps nothing; what moves when news comes (layout shift).",
        "",
        f"<!-- screens: begin -->{f.screens}<!-- screens: end -->",
        "",
        "## 10. Photographs of sheets",
        "",
        "`python -m benchmarks.reading --write` takes synthetic photographs, reads them, and writes silent misreads, boxes for a person, places,",
        "seconds and memory into [Sheets and photographs](../explanation/paper.md); `--keep FILE` lets it be broken off and gone on with.",
        "",
        "## 11. What leaves the house",
        "",
        "`python -m benchmarks.leaving --write` takes these, some five minutes. Every export runs in a process of its own; SQLite's own dump,",
        "deflated, is taken in the same process right after it. Bars are held against the processor's seconds; memory is the most that the",
        "process held for itself (RssAnon, looked at every 20 ms), and flat where five years want hardly more than one.",
        "",
        f"<!-- leaving: begin -->{f.leaving}<!-- leaving: end -->",
        "",
    ]
    return "\n".join(lines)


def _kept(part: str) -> str:
    """What stands on the page already, where it is taken by a command of its own."""
    return between(BARS.read_text(encoding="utf-8"), part)


def main() -> None:
    """Read the arguments, measure, print, and write where that is asked for."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("--facts", type=int, default=FACTS, help="length of the record (default %(default)s)")
    parser.add_argument("--write", action="store_true", help=f"write {BARS.name} anew")
    asked = parser.parse_args()
    if asked.facts < 20_000:
        parser.error(f"--facts is {asked.facts}; a home for these figures has at least 20000")
    page = report(take(asked.facts))
    print(page)
    if asked.write:
        BARS.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
