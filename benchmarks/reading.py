"""How well photographs of filled-in sheets are read: silent misreads, boxes for a person, places, time and memory.

    python -m benchmarks.reading                    print the tables; some twenty minutes on two idle cores
    python -m benchmarks.reading --write            and write them into docs/explanation/paper.md
    python -m benchmarks.reading --seeds 900 mild   only these rows, on other seeds
    python -m benchmarks.reading --seeds 900 whole  only the whole pictures
    python -m benchmarks.reading --keep scores      keep what was scored, and go on from there when it is called again

Photographs are invented (`tests.paper.photographs`); no picture that a camera took is among them. Thresholds were chosen on
seeds below 10,000. From there to 20,000 lie seeds that were measured before, of which those with a misread box were then
looked at; from 20,000 on nobody looks at any before it is measured. No picture of the severity `apart` was ever used. A kept
score belongs to one reader, one maker of photographs and one printed sheet: once any of them is changed, its pictures are
taken again.
"""

import argparse
import hashlib
import json
import multiprocessing
import resource
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.metadata import version
from pathlib import Path
from time import process_time
from typing import Any

import cv2
import numpy as np

import markstead.paper
from benchmarks.kept_tables import DOCS, put
from markstead.paper.boxes import State
from markstead.paper.draw import draw_pdf
from markstead.paper.layout import Paper, Sheet
from markstead.paper.read import PageReading, Why, read_file
from tests.paper import photographs as p
from tests.paper.cast import KEY, asa, marking, noa, sitting

PAGE = DOCS / "explanation" / "paper.md"
FRESH = 20_000
WHOLE = "whole"
SHEETS = (
    asa(courses=3, questions=24),
    noa(),
    asa(Paper.LETTER, courses=3, questions=40),
    asa(courses=2, questions=96),
    sitting(Paper.LETTER),
    marking(),
    asa(courses=1, questions=240),
)


DECIDING = ("bend", "boxes", "find", "pictures", "read", "rectify", "register", "straighten")
"""Modules of the reader."""


@dataclass(frozen=True, slots=True)
class Trial:
    """A row of the table."""

    name: str
    mix: p.Mix
    how: p.Severity
    pictures: int
    megapixels: float = 12.0
    finger: bool = False


TRIALS = (
    Trial("moderate", p.NATURAL, p.MODERATE, 580),
    Trial("mild", p.NATURAL, p.MILD, 45),
    Trial("hard", p.NATURAL, p.HARD, 45),
    Trial("apart", p.NATURAL, p.APART, 80),
    Trial("stress", p.STRESS, p.MODERATE, 124),
    Trial("oversize", p.OVERSIZE, p.MODERATE, 46),
    Trial("finger", p.NATURAL, p.MODERATE, 48, finger=True),
    Trial("3-megapixels", p.NATURAL, p.MODERATE, 32, 3.0),
    Trial("1-megapixel", p.NATURAL, p.MODERATE, 32, 1.0),
)


@dataclass(slots=True)
class Score:
    """What became of the boxes of some pictures."""

    pictures: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    boxes: int = 0
    silent: Counter[str] = field(default_factory=Counter)
    flagged: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    away: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    flags: list[int] = field(default_factory=list)
    misread: list[str] = field(default_factory=list)

    def add(self, other: "Score") -> None:
        self.pictures += other.pictures
        self.boxes += other.boxes
        for name in ("refused", "silent", "flagged", "kinds"):
            getattr(self, name).update(getattr(other, name))
        for name in ("away", "seconds", "flags", "misread"):
            getattr(self, name).extend(getattr(other, name))


def upper(silent: int, boxes: int) -> float:
    """Upper end of the 95 % interval, Clopper and Pearson's (1934, Biometrika 26, 404-413), two-sided."""
    from scipy.stats import beta

    return float(beta.ppf(0.975, silent + 1, boxes - silent)) if boxes else 1.0


def one(trial: Trial, seed: int) -> Score:
    """Take a picture, read it, and compare."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([sum(map(ord, trial.name)), seed])
    sheet = sheet_of(seed)
    page = 1 + (seed // len(SHEETS)) % len(sheet.pages)
    paper, truth = p.filled(sheet, page, trial.mix, rng)
    taken = p.photograph(
        sheet, page, paper, truth, trial.how, rng, megapixels=trial.megapixels, finger=trial.finger
    )
    begun = process_time()
    reading = read_file(f"{trial.name} {seed}", taken.content, key=KEY, known=lambda _: sheet)
    score = Score(1, seconds=[process_time() - begun])
    for refusal in reading.refusals:
        score.refused[refusal.why] += 1
    for read in reading.pages:
        compare(score, read, taken, f"{trial.name} {seed}")
    return score


def compare(score: Score, read: PageReading, taken: p.Photograph, name: str) -> None:
    """Count silent misreads and flags by kind of mark, and how far boxes were found from where they are."""
    flags = 0
    for box in read.boxes:
        kind = taken.truth[box.id]
        right = State.MARKED if kind in p.MARKED else State.EMPTY
        score.boxes += 1
        score.kinds[kind] += 1
        if box.state is State.UNSURE:
            score.flagged[kind] += 1
            flags += 1
        elif box.state is not right:
            score.silent[kind] += 1
            score.misread.append(
                f"{name}: {box.id} is {kind}, read as {box.state}, {box.confidence:.2f}, own {box.own:.2f}"
            )
    score.flags.append(flags)
    score.away += away(read, taken)


def away(read: PageReading, taken: p.Photograph) -> list[float]:
    """Millimetres between where each box was found in the picture and where it is."""
    seen = dict(zip((box.id for box in read.boxes), read.in_picture, strict=True))
    scale = _pixels_a_mm(read)
    return [
        float(np.linalg.norm(np.array(seen[one]) - place)) / scale for one, place in taken.middles.items()
    ]


def _pixels_a_mm(read: PageReading) -> float:
    places, boxes = np.array(read.in_picture), read.boxes
    steps = np.linalg.norm(np.diff(places, axis=0), axis=1)
    plan = np.linalg.norm(np.diff([(box.x, box.y) for box in boxes], axis=0), axis=1)
    return float(np.median(steps / plan))


Work = tuple[Trial, int]


def sheet_of(seed: int) -> Sheet:
    """The sheet of a picture: each in turn."""
    return SHEETS[seed % len(SHEETS)]


@cache
def stamp(sheet: Sheet) -> str:
    """Name the reader, the maker of photographs, their libraries and the printed sheet that a score belongs to."""
    folder = Path(markstead.paper.__path__[0])
    told = [Path(p.__file__).read_bytes(), *((folder / f"{name}.py").read_bytes() for name in DECIDING)]
    told += [version(name).encode() for name in ("numpy", "opencv-python-headless", "zxing-cpp")]
    return hashlib.sha256(b"\0".join([*told, draw_pdf(sheet, KEY)])).hexdigest()[:16]


def kept_scores(kept: Path | None) -> list[dict[str, Any]]:
    """What is kept and belongs to the reader and the sheets of today."""
    lines = [json.loads(line) for line in kept.read_text().splitlines()] if kept and kept.exists() else []
    known = [line for line in lines if line.get("stamp") == stamp(sheet_of(line["seed"]))]
    if len(known) < len(lines):
        print(
            f"{len(lines) - len(known)} of {len(lines)} kept scores belong to another reader or sheet.",
            flush=True,
        )
    return known


def work_of(trials: Sequence[Trial], first: int) -> list[Work]:
    """Every picture, the rows interleaved, so that a run that is broken off has told something of each."""
    shares = [(n / trial.pictures, at, n) for at, trial in enumerate(trials) for n in range(trial.pictures)]
    return [(trials[at], first + n) for _, at, n in sorted(shares)]


def run(work: Sequence[Work], jobs: int, kept: Path | None) -> dict[str, Score]:
    """Take and read pictures, and gather the scores by row; those that are kept from before are not taken again."""
    known = kept_scores(kept)
    totals: dict[str, Score] = {trial.name: Score() for trial, _ in work}
    done = {(line["trial"], line["seed"]) for line in known}
    for line in known:
        if line["trial"] in totals:
            totals[line["trial"]].add(_read(line["score"]))
    left = [(trial, seed) for trial, seed in work if (trial.name, seed) not in done]
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for trial, seed, score in pool.imap_unordered(_one, left):
            totals[trial.name].add(score)
            for line in score.misread:
                print(line, flush=True)
            if kept is not None:
                told = {
                    "trial": trial.name,
                    "seed": seed,
                    "stamp": stamp(sheet_of(seed)),
                    "score": {name: getattr(score, name) for name in Score.__slots__},
                }
                with kept.open("a") as file:
                    file.write(json.dumps(told) + "\n")
    return totals


def _one(work: Work) -> tuple[Trial, int, Score]:
    return (*work, one(*work))


def _read(kept: dict[str, Any]) -> Score:
    counted = {name: Counter(kept[name]) for name in ("refused", "silent", "flagged", "kinds")}
    return Score(**{**kept, **counted})


# --- tables -----------------------------------------------------------------------------------------------


def main_table(scores: dict[str, Score]) -> Iterator[str]:
    """Silent misreads and flags, a row a trial."""
    yield "| pictures of | pictures, taken again | boxes read | silent misreads | 95 % upper | for a person | clean for a person | a page: mean, 95 % |"
    yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
    for name, s in scores.items():
        silent, boxes = s.silent.total(), max(s.boxes, 1)
        kinds = ", ".join(f"{n} {kind}" for kind, n in s.silent.most_common())
        clean = s.flagged["clean"] / max(1, s.kinds["clean"])
        flags = f"{np.mean(s.flags):.1f}, {np.quantile(s.flags, 0.95):.0f}" if s.flags else "-"
        yield (
            f"| {name} | {s.pictures}, {s.refused.total()} | {s.boxes:,} | {silent}{f' ({kinds})' if kinds else ''} "
            f"| {upper(silent, s.boxes):.1e} | {s.flagged.total() / boxes:.2%} | {clean:.3%} | {flags} |"
        )


def kind_table(scores: dict[str, Score]) -> Iterator[str]:
    """Flags and silent misreads by kind of mark, for the rows `moderate` and `stress`."""
    yield "| mark | " + " | ".join(f"{name}: boxes, silent, for a person" for name in scores) + " |"
    yield "| --- |" + " --- |" * len(scores)
    for kind in p.KINDS:
        cells = [
            f"{s.kinds[kind]:,}, {s.silent[kind]}, {s.flagged[kind] / max(1, s.kinds[kind]):.2%}"
            for s in scores.values()
        ]
        yield f"| {kind} | {' | '.join(cells)} |"


def place_table(scores: dict[str, Score]) -> Iterator[str]:
    """How far boxes were found from where they are, and CPU seconds a picture."""
    yield "| pictures of | box found beside its place, mm: median, 99 %, 99.9 %, most | CPU s a picture: mean, 95 % |"
    yield "| --- | --- | --- |"
    for name, s in scores.items():
        if s.away:
            d = np.quantile(s.away, [0.5, 0.99, 0.999, 1.0])
            yield f"| {name} | {d[0]:.2f}, {d[1]:.2f}, {d[2]:.2f}, {d[3]:.2f} | {np.mean(s.seconds):.2f}, {np.quantile(s.seconds, 0.95):.2f} |"


# --- whole pictures ---------------------------------------------------------------------------------------


def whole_pictures(count: int = 40, first: int = FRESH) -> Iterator[str]:
    """Two sheets in a picture, four turns, a covered corner, boxes on which something lies."""
    yield "| what | found and known | too unclear, to be taken again |"
    yield "| --- | --- | --- |"
    for what, taken in (
        ("a moderate picture in each of four turns", _turned),
        ("two sheets in a moderate picture", _two),
        ("one corner covered, each in turn, moderate", _corner),
    ):
        results = [taken(first + n, n % 4) for n in range(count)]
        yield f"| {what} | {sum(known for known, _ in results)} of {count} | {sum(again for _, again in results)} |"
    silent, covered, refused = _covered(first, 22)
    yield f"| boxes fully covered, read as empty or marked | {silent} of {covered} | {refused} |"


def _picture(seed: int, sheet: Any, **options: Any) -> p.Photograph:
    rng = np.random.default_rng([3, seed])
    paper, truth = p.filled(sheet, 1, p.NATURAL, rng)
    return p.photograph(sheet, 1, paper, truth, p.MODERATE, rng, **options)


def _looked_for(content: bytes, *sheets: Sheet) -> tuple[bool, bool]:
    """Whether just these sheets were found and known in a picture, and whether one of them is to be taken again."""
    by_id = {sheet.id: sheet for sheet in sheets}
    read = read_file("picture", content, key=KEY, known=lambda identity: by_id[identity.sheet])
    unclear = [refusal for refusal in read.refusals if refusal.why is Why.UNCLEAR]
    known = [page.sheet.id for page in read.pages] + [refusal.sheet for refusal in unclear]
    return sorted(known) == sorted(by_id) and len(unclear) == len(read.refusals), bool(unclear)


def _turned(seed: int, quarter: int) -> tuple[bool, bool]:
    return _looked_for(_picture(seed, SHEETS[0], quarter=quarter).content, SHEETS[0])


def _two(seed: int, _: int) -> tuple[bool, bool]:
    first, second = (_picture(seed + 1000 * n, SHEETS[n], megapixels=6.0, quarter=0) for n in (0, 1))
    return _looked_for(p.side_by_side(first, second), SHEETS[0], SHEETS[1])


def _corner(seed: int, corner: int) -> tuple[bool, bool]:
    sheet = SHEETS[0]
    x = 0.0 if corner in (0, 3) else sheet.paper.width - 50
    y = 0.0 if corner in (0, 1) else sheet.paper.height - 32
    return _looked_for(_picture(seed, sheet, covered=[(x, y, 50.0, 32.0)]).content, sheet)


def _covered(first: int, count: int) -> tuple[int, int, int]:
    silent = boxes = refused = 0
    sheet = SHEETS[0]
    for seed in range(first, first + count):
        rng = np.random.default_rng([4, seed])
        hidden = [sheet.page(1).boxes[int(n)] for n in rng.integers(0, len(sheet.page(1).boxes), 3)]
        over = [(box.x - 3.5, box.y - 5.5, box.side + 7, box.side + 8) for box in hidden]
        taken = _picture(seed, sheet, covered=over)
        read = read_file("picture", taken.content, key=KEY, known=lambda _: sheet)
        refused += len(read.refusals)
        for page in read.pages:
            states = [page.box(box.id).state for box in hidden]
            boxes += len(states)
            silent += sum(state is not State.UNSURE for state in states)
    return silent, boxes, refused


def cost() -> Iterator[str]:
    """Time and memory of a 12-megapixel picture, and time of a page."""
    sheet = SHEETS[0]
    draw_pdf(sheet, KEY)
    begun = process_time()
    for _ in range(20):
        draw_pdf(sheet, KEY)
    yield f"A page to print takes {(process_time() - begun) / 20 * 1000:.0f} ms of CPU, warm."
    # The picture is made in one process and read in another, so that only the reading is measured.
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        content = pool.apply(_some_content)
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        empty, most = pool.apply(_memory, (content,))
    yield f"A process that reads one 12-megapixel picture grows to {most:.0f} MB at most ({empty:.0f} MB before it reads)."


def _memory(content: bytes) -> tuple[float, float]:
    """Peak memory of this process in megabytes before and after reading."""
    before = _most_memory()
    read_file("picture", content, key=KEY, known=lambda _: SHEETS[0])
    return before, _most_memory()


def _most_memory() -> float:
    """As Linux counts it for this program; what `getrusage` gives begins with the size of whoever started it."""
    status = Path("/proc/self/status")
    if status.is_file():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _some_content() -> bytes:
    return _picture(1, SHEETS[0]).content


# --- the command ------------------------------------------------------------------------------------------


def main() -> None:
    """Read the arguments, run, print."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("rows", nargs="*", help=f"rows to run, or {WHOLE!r}; all, if none is named")
    ask.add_argument("--write", action="store_true")
    ask.add_argument(
        "--seeds",
        type=int,
        default=FRESH,
        help="first seed; below 10,000 are seeds for fitting, below 20,000 some that were looked at",
    )
    ask.add_argument("--pictures", type=int, help="pictures a row")
    ask.add_argument("--jobs", type=int, default=2)
    ask.add_argument(
        "--keep", type=Path, help="file in which scores are kept: broken off, it goes on from there"
    )
    ask.add_argument("--only-kept", action="store_true", help="take no picture: tables of what is kept")
    ask.add_argument("--whole", type=int, default=40, help="whole pictures of each kind")
    given = ask.parse_args()
    trials = [t for t in TRIALS if not given.rows or t.name in given.rows]
    if given.pictures:
        trials = [replace(t, pictures=given.pictures) for t in trials]
    work = work_of(trials, given.seeds)
    if given.only_kept:
        known = {(line["trial"], line["seed"]) for line in kept_scores(given.keep)}
        work = [(trial, seed) for trial, seed in work if (trial.name, seed) in known]
    found = run(work, given.jobs, given.keep)
    scores = {trial.name: found[trial.name] for trial in trials if trial.name in found}
    detail = {name: scores[name] for name in ("moderate", "stress") if name in scores}
    tables = {
        "rows": list(main_table(scores)),
        "kinds": list(kind_table(detail)),
        "places": list(place_table(scores)),
    }
    if not trials:
        tables = {}
    if given.whole and (not given.rows or WHOLE in given.rows):
        tables["whole"] = list(whole_pictures(given.whole, given.seeds))
    if not given.rows:
        tables["cost"] = list(cost())
    print("\n\n".join("\n".join(lines) for lines in tables.values()))
    if given.write:
        for name, lines in tables.items():
            put(name, "\n".join(lines), PAGE)


if __name__ == "__main__":
    main()
