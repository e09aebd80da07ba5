"""What leaves the house: seconds and memory of every export of one, three and five school years, and of a year's papers.

    python -m benchmarks.leaving             some five minutes; prints the tables
    python -m benchmarks.leaving --write     and writes them into docs/reference/benchmarks.md

The home is the long one of `benchmarks.big_home`, with photographs of work and an educator's words beside its record. Every
export runs in a process of its own, so that its peak of memory is its own. Beside its seconds stand those of what anybody could
do without Markstead, in the same process right after: SQLite's own dump of the database (`iterdump`), deflated at the same level.
"""

import argparse
import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from statistics import median
from threading import Event, Thread
from time import perf_counter, process_time
from typing import TYPE_CHECKING, Any

from benchmarks.house import HOUSEHOLD, machine, scratch_home, wake
from benchmarks.kept_tables import BARS, put

if TYPE_CHECKING:  # models can be loaded only when Django is set up
    from benchmarks.big_home import BigHome

FACTS_A_YEAR = 60_000
YEARS = (1, 3, 5)
PHOTOGRAPHS_A_YEAR = 40
LOCKED = "backup with a passphrase"
EXPORTS = ("archive", "csv", "oneroster", "calendar", "backup", LOCKED)
PASSPHRASE = "nine grey herons by the weir"
PAPERS = ("report", "attendance", "transcript", "dispatch")
MOST_SECONDS, MOST_SECONDS_PAPER, MOST_GROWTH = 30.0, 2.0, 1.25
AGAIN = 5
NOW = "MARKSTEAD_BENCH_NOW"


@dataclass(frozen=True, slots=True)
class Export:
    """One export of one home: seconds, and megabytes of memory and on the disk."""

    what: str
    wall: float
    cpu: float
    dump: float
    """Processor's seconds of SQLite's own dump of the same home."""
    before: float
    """What the process held for itself with the home opened, and at most."""
    peak: float
    file: float


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper of a learner's school year: processor's seconds, the first time in a process and again."""

    what: str
    wall: float
    first: float
    again: float
    pages: int


def _megabytes() -> float:
    """What the program holds for itself now: pages of the database that the system lays over its file are not its own."""
    told = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(next(line for line in told.splitlines() if line.startswith("RssAnon")).split()[1]) / 1024


class _Peak:
    """The most that the program held for itself, looked at every few milliseconds.

    Not while a passphrase is tried: that holds the interpreter for its second, and its memory is the same for any record.
    """

    def __enter__(self) -> "_Peak":
        self.most, self.over = _megabytes(), Event()
        self.watch = Thread(target=self._look, daemon=True)
        self.watch.start()
        return self

    def _look(self) -> None:
        while not self.over.wait(0.02):
            self.most = max(self.most, _megabytes())

    def __exit__(self, *_: object) -> None:
        self.over.set()
        self.watch.join()


def _now() -> datetime:
    return datetime.fromisoformat(os.environ[NOW])


def _export(what: str, into: Path) -> None:
    from markstead.records import archive, backups, feeds, rosters, tables
    from markstead.records.queries import home_of

    home = home_of(HOUSEHOLD)
    today = home.calendar.day_of(_now())
    if what == "archive":
        archive.write_archive(HOUSEHOLD, into)
    elif what == "csv":
        tables.write_tables(HOUSEHOLD, into)
    elif what == "oneroster":
        rosters.write_roster(HOUSEHOLD, into)
    elif what == "calendar":
        found = feeds.events(home, today, parts=tuple(feeds.Part), naming=feeds.Naming.NAMES)
        into.write_bytes(feeds.calendar_bytes(found, name="School", salt="salt", now=_now()))
    else:
        secret = PASSPHRASE if what == LOCKED else None
        backups.make(_now(), day_of=home.calendar.day_of, passphrase=secret, household=HOUSEHOLD)


def _dump(into: Path) -> None:
    """SQLite's own dump, deflated: what anybody could do without Markstead."""
    there = Path(os.environ["MARKSTEAD_HOME"], "markstead.sqlite3")
    with (
        sqlite3.connect(f"file:{there}?mode=ro", uri=True) as database,
        zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as packed,
        packed.open("dump.sql", "w") as member,
    ):
        for line in database.iterdump():
            member.write(line.encode() + b"\n")


def one_export(what: str, into: Path) -> Export:
    """Run in a process of its own."""
    wake()
    from markstead.records.queries import home_of

    home_of(HOUSEHOLD)
    before, wall, cpu = _megabytes(), perf_counter(), process_time()
    with _Peak() as peak:
        _export(what, into)
    wall, cpu = perf_counter() - wall, process_time() - cpu
    begun = process_time()
    _dump(into.with_name("dump.zip"))
    dump = process_time() - begun
    size = (
        into.stat().st_size if into.exists() else _folder_size(Path(os.environ["MARKSTEAD_HOME"], "backups"))
    )
    return Export(what, wall, cpu, dump, before, peak.most, size / 1_000_000)


def _folder_size(folder: Path) -> int:
    return sum(file.stat().st_size for file in folder.rglob("*") if file.is_file())


def _paper(what: str, year: Any, today: date) -> bytes:
    from markstead.records import (
        attendance,
        attendance_words,
        dispatch_words,
        dispatches,
        report_words,
        term_reports,
        transcripts,
    )
    from markstead.records.queries import home_of

    home = home_of(HOUSEHOLD)
    who = home.learner("asa").id
    if what == "report":
        report = report_words.report_view(term_reports.term_report(home, who, year, as_of=today))
        return report_words.as_pdf(report, day=today, paper="a4")
    if what == "attendance":
        register = attendance_words.attendance_view(
            attendance.attendance_year(home, who, year.first, as_of=today)
        )
        return attendance_words.as_pdf(register, day=today, paper="a4")
    if what == "transcript":
        found = transcripts.transcript(home, who, as_of=today)
        return transcripts.as_pdf(transcripts.transcript_view(found), day=today, paper="a4")
    pack = dispatches.pack(home, dispatches.month_of(home, today), today)
    return dispatch_words.as_pdf(dispatch_words.dispatch_view(pack), day=today, paper="a4")


def one_paper(what: str) -> Paper:
    """Run in a process of its own."""
    wake()
    import pypdfium2

    from markstead.records.queries import home_of
    from markstead.rules.spans import school_year

    calendar = home_of(HOUSEHOLD).calendar
    today = calendar.day_of(_now())
    year = school_year(calendar, today)
    wall, begun = perf_counter(), process_time()
    made = _paper(what, year, today)
    wall, first = perf_counter() - wall, process_time() - begun
    return Paper(
        what, wall, first, _again(lambda: _paper(what, year, today)), len(pypdfium2.PdfDocument(made))
    )


def _again(work: Callable[[], Any]) -> float:
    found = []
    for _ in range(AGAIN):
        begun = process_time()
        work()
        found.append(process_time() - begun)
    return median(found)


def _child(*words: str, now: datetime) -> dict[str, Any]:
    command = [sys.executable, "-m", "benchmarks.leaving", *words]
    environment = {**os.environ, NOW: now.isoformat()}
    said = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if said.returncode:
        raise SystemExit(said.stderr)
    found: dict[str, Any] = json.loads(said.stdout)
    return found


def _photograph(seed: int) -> bytes:
    """A page of noise and strokes that no compression makes small: some 300 kB, as a camera's."""
    import numpy as np
    from PIL import Image

    rng = np.random.default_rng(seed)
    paper = rng.normal(225, 9, (1400, 1000, 3))
    for row in range(80, 1400, 45):
        paper[row : row + 3, 60 : int(rng.integers(300, 950))] = 60
    into = io.BytesIO()
    Image.fromarray(paper.clip(0, 255).astype("uint8")).save(into, "JPEG", quality=82)
    return into.getvalue()


def _beside_the_record(home: "BigHome", year: int) -> None:
    """What a year leaves beside its facts: photographs of work, and words for three terms of every course."""
    from markstead.records import samples, term_reports
    from markstead.records.queries import home_of
    from markstead.rules.spans import school_year

    here = home_of(HOUSEHOLD)
    today = here.calendar.day_of(home.now)
    learners = [one for one in here.people.values() if one.key in ("asa", "noa", "lio", "mika")]
    ruth = here.person("ruth").id
    for n in range(PHOTOGRAPHS_A_YEAR):
        samples.keep_sample(
            here,
            _photograph(1000 * year + n),
            learner=learners[n % len(learners)].id,
            day=today - timedelta(days=5 * n),
            by=ruth,
            at=home.now,
            words="A page that went well",
        )
    span = school_year(here.calendar, today)
    for one in learners:
        for course in one.courses:
            term_reports.keep_narrative(
                here,
                learner=one.id,
                course=course,
                span=span,
                text="Steady work all year; long sums want patience yet. " * 8,
                at=home.now,
            )


def take() -> tuple[dict[int, int], dict[int, list[Export]], list[Paper]]:
    """Build the home year by year and measure: facts and exports by school years, and a year's papers of the longest."""
    facts, exports = {}, {}
    with scratch_home() as folder:
        from benchmarks.big_home import BigHome

        home, out = BigHome(), folder / "out"
        out.mkdir()
        home.begin()
        for year in range(1, max(YEARS) + 1):
            home.grow(year * FACTS_A_YEAR)
            _beside_the_record(home, year)
            if year not in YEARS:
                continue
            if year == min(YEARS):
                home.plan()
            facts[year] = home.facts
            exports[year] = list(_each_export(out, home.now))
        papers = [Paper(**_child("--paper", what, now=home.now)) for what in PAPERS]
    return facts, exports, papers


def _each_export(out: Path, now: datetime) -> Iterator[Export]:
    for what in EXPORTS:
        yield Export(**_child("--export", what, "--into", str(out / what), now=now))
        for file in out.iterdir():
            file.unlink()
        shutil.rmtree(Path(os.environ["MARKSTEAD_HOME"], "backups"), ignore_errors=True)


def _crowd() -> str:
    """How crowded the machine is: seconds by the clock say little where other programs want the same cores."""
    return f"{os.getloadavg()[1]:.1f} programs at once wanted the {os.cpu_count()} cores meanwhile, this one among them."


def tables(facts: dict[int, int], exports: dict[int, list[Export]], papers: list[Paper]) -> str:
    """Both tables, and what they say."""
    most = max(exports)
    small, large = exports[min(exports)], exports[most]
    lines = [
        "",
        f"Taken on {datetime.now(UTC):%Y-%m-%d} on {machine()}. Four learners in six courses; "
        + ", ".join(
            f"{count:,} facts after {year} school year{'s' * (year > 1)}" for year, count in facts.items()
        )
        + f"; {PHOTOGRAPHS_A_YEAR} photographs a year. {_crowd()}",
        "",
        f"| export of {most} years | seconds | processor's | SQLite's dump | ratio | at most, s | MB of the file |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| {e.what}{' **over**' if e.cpu > MOST_SECONDS else ''} | {e.wall:.1f} | {e.cpu:.1f} | {e.dump:.1f} "
        f"| {e.cpu / e.dump:.1f} | {MOST_SECONDS:.0f} | {e.file:.1f} |"
        for e in large
    ]
    lines += [
        f"| all of them | {sum(e.wall for e in large):.1f} | {sum(e.cpu for e in large):.1f} | | | | |",
        "",
        "| peak of memory, MB | home opened | "
        + " | ".join(f"after {year}" for year in exports)
        + " | of the first |",
        "| --- | --- | " + "--- | " * len(exports) + "--- |",
    ]
    for n, first in enumerate(small):
        peaks = [found[n].peak for found in exports.values()]
        growth = peaks[-1] / peaks[0]
        lines.append(
            f"| {first.what}{' **over**' if growth > MOST_GROWTH else ''} | {first.before:.0f} | "
            + " | ".join(f"{peak:.0f}" for peak in peaks)
            + f" | {growth:.2f} |"
        )
    lines += [
        f"| at most | | {'| ' * len(exports)}{MOST_GROWTH} |",
        "",
        f"| a school year's paper of a learner, of {most} years | pages | seconds, first | processor's, first | again | at most, s |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| {p.what}{' **over**' if p.first > MOST_SECONDS_PAPER else ''} | {p.pages} | {p.wall:.2f} | {p.first:.2f} "
        f"| {p.again:.2f} | {MOST_SECONDS_PAPER:.0f} |"
        for p in papers
    ]
    return "\n".join([*lines, ""])


def main() -> None:
    """Read the arguments, measure, print, and write where that is asked for."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.leaving",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--write", action="store_true", help=f"write it into {BARS.name}")
    parser.add_argument("--export", choices=EXPORTS, help=argparse.SUPPRESS)
    parser.add_argument("--into", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--paper", choices=PAPERS, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.export:
        print(json.dumps(asdict(one_export(asked.export, asked.into))))
        return
    if asked.paper:
        print(json.dumps(asdict(one_paper(asked.paper))))
        return
    found = tables(*take())
    print(found)
    if asked.write:
        put("leaving", found)


if __name__ == "__main__":
    main()
