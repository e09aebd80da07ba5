"""Break the code on purpose, one place at a time, and see which test notices.

    python -m tests.tools.break_it            every break, in a copy of the tree
    python -m tests.tools.break_it --write    and write the table of docs/explanation/broken-on-purpose.md

A break that no test notices is a hole in the tests; the run then ends with status 1.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "explanation" / "broken-on-purpose.md"


@dataclass(frozen=True, slots=True)
class Break:
    """One fault: where, what stands there, what is put there, and the tests that ought to see it."""

    what: str
    file: str
    old: str
    new: str
    tests: str


SRC = "src/markstead/"
BREAKS = (
    Break(
        "exactly the pass mark fails",
        SRC + "rules/standing.py",
        "return self.scored is not None and self.right >= self.needed",
        "return self.scored is not None and self.right > self.needed",
        "tests/rules tests/properties tests/spec",
    ),
    Break(
        "pass marks are rounded down",
        SRC + "rules/programme.py",
        "return -(-asked * percent // 100)",
        "return asked * percent // 100",
        "tests/rules tests/properties",
    ),
    Break(
        "a unit test on the day of the practice test",
        SRC + "rules/ruling.py",
        "if day < earliest:",
        "if day < passed:",
        "tests/rules tests/properties tests/spec",
    ),
    Break(
        "a sitting at the very end of the morning",
        SRC + "rules/ruling.py",
        "rules.morning_from <= time < rules.morning_until",
        "rules.morning_from <= time <= rules.morning_until",
        "tests/rules tests/properties tests/spec",
    ),
    Break(
        "the morning is read off another clock than the kitchen's",
        SRC + "rules/ruling.py",
        "time = calendar.at_home(c.at).time()",
        "time = c.at.time()",
        "tests/rules tests/properties tests/spec",
    ),
    Break(
        "a helper gives leave",
        SRC + "rules/ruling.py",
        "if c.actor.role is not Role.EDUCATOR:\n        yield bar(BarKind.ONLY_EDUCATOR)",
        "if c.actor.role is Role.LEARNER:\n        yield bar(BarKind.ONLY_EDUCATOR)",
        "tests/rules tests/properties tests/spec",
    ),
    Break(
        "an override passes who may act",
        SRC + "rules/ruling.py",
        "passed = tuple(b for b in bars if b.weight is Weight.RULE and b.kind in override.bars)",
        "passed = tuple(b for b in bars if b.kind in override.bars)",
        "tests/rules tests/properties",
    ),
    Break(
        "an override passes a second time",
        SRC + "rules/standing.py",
        "        b.override = None\n    _STEPS",
        "        pass\n    _STEPS",
        "tests/rules tests/properties",
    ),
    Break(
        "a quiz is not called for at exactly the programme's share",
        SRC + "rules/programme.py",
        "wrong * 100 >= self.quiz_when_wrong_percent * asked",
        "wrong * 100 > self.quiz_when_wrong_percent * asked",
        "tests/rules tests/properties tests/spec",
    ),
    Break(
        "a reversed fact still counts",
        SRC + "rules/standing.py",
        "if kept.seq not in self._reversed and type(kept.fact)",
        "if type(kept.fact)",
        "tests/rules tests/properties tests/records/test_actions.py",
    ),
    Break(
        "the chain forgets the link before",
        SRC + "ledger/serial.py",
        "return sha256(previous.encode() + body).hexdigest()",
        "return sha256(body).hexdigest()",
        "tests/ledger",
    ),
    Break(
        "the record's keys are not sorted",
        SRC + "ledger/serial.py",
        "sort_keys=True",
        "sort_keys=False",
        "tests/ledger",
    ),
    Break(
        "a public holiday is a school day",
        SRC + "calendar/school.py",
        "return DayKind.PUBLIC_HOLIDAY",
        "return taught",
        "tests/calendar",
    ),
    Break(
        "the next school day may be today",
        SRC + "calendar/school.py",
        "day = after + timedelta(days=n)",
        "day = after + timedelta(days=n - 1)",
        "tests/calendar",
    ),
    Break(
        "the database lets entries be changed",
        SRC + "records/triggers.py",
        'TABLES = ("records_entry", "records_document")',
        'TABLES = ("records_document",)',
        "tests/records/test_triggers.py",
    ),
    Break(
        "the same form writes twice",
        SRC + "records/desk.py",
        "        if again is not None:\n            return again\n",
        "",
        "tests/records/test_desk.py tests/records/test_actions.py tests/web/test_pages.py",
    ),
    Break(
        "an old page is not noticed",
        SRC + "records/desk.py",
        "if fold.entries and fold.entries[-1].seq != slip.seen:",
        "if False:",
        "tests/records/test_desk.py tests/web/test_pages.py",
    ),
    Break(
        "verify does not look at the links",
        SRC + "records/upkeep.py",
        "if previous != kept_link:",
        "if False:",
        "tests/records/test_upkeep.py",
    ),
    Break(
        "the signature of a sheet's code is not looked at",
        SRC + "paper/identity.py",
        "if not hmac.compare_digest(tag, _tag(body, key)):",
        "if False:",
        "tests/paper/test_identity.py",
    ),
    Break(
        "the layout that is kept need not be the printed one",
        SRC + "paper/read.py",
        "is_same = not identity.layout or layout_hash(sheet) == identity.layout",
        "is_same = True",
        "tests/records/test_photographs.py",
    ),
    Break(
        "a box with a ring around it counts",
        SRC + "paper/boxes.py",
        "if outside.ring > MOST_RING:",
        "if False:",
        "tests/paper/test_reading.py",
    ),
    Break(
        "a picture is unpacked before its size is looked at",
        SRC + "paper/pictures.py",
        "    _check_size(name, *size)\n",
        "",
        "tests/paper/test_pictures.py",
    ),
    Break(
        "boxes that contradict one another are recorded",
        SRC + "records/paper_meaning.py",
        "kept = tuple(row for copy, row in rows.items() if copy not in against)",
        "kept = tuple(rows.values())",
        "tests/records/test_photographs.py",
    ),
    Break(
        "a sheet is read twice",
        SRC + "records/photographs.py",
        "if row.act and not _is_taken_back(self.home, row.act):",
        "if False:",
        "tests/records/test_photographs.py",
    ),
    Break(
        "a picture stays in the folder when its sheet is recorded",
        SRC + "records/photographs.py",
        "    if done.done is not None:\n        _sweep(names)",
        "    if False:\n        _sweep(names)",
        "tests/records/test_photographs.py",
    ),
    Break(
        "a sheet is recorded with boxes that nobody answered",
        SRC + "web/views/paper.py",
        "if said.open or said.missing:",
        "if False:",
        "tests/web/test_paper.py",
    ),
)


def first_failure(folder: Path, tests: list[str]) -> str | None:
    """Run tests in a copy of the tree; tell the first that fails."""
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "-x", "-q", "-m", "not browser", "-p", "no:cacheprovider", *tests],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder / "src")},
        capture_output=True,
        text=True,
        check=False,
    )
    found = re.search(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", run.stdout, re.MULTILINE)
    return found[1] if found else None


def notice(broken: Break, folder: Path) -> str | None:
    """Break the copy, run the tests, mend it; tell the first test that noticed."""
    path = folder / broken.file
    text = path.read_text()
    if text.count(broken.old) < 1:
        raise SystemExit(f"{broken.file} has no longer {broken.old!r}: bring the list of breaks up to date")
    path.write_text(text.replace(broken.old, broken.new))
    try:
        return first_failure(folder, broken.tests.split())
    finally:
        path.write_text(text)


def main(write: bool) -> int:
    """Try every break; return how many went unnoticed."""
    rows = []
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "tree"
        skip = shutil.ignore_patterns(".git", ".venv", "demo-home", "__pycache__", ".*_cache", ".hypothesis")
        shutil.copytree(ROOT, folder, ignore=skip)
        whole = first_failure(folder, sorted({test for b in BREAKS for test in b.tests.split()}))
        if whole is not None:
            raise SystemExit(f"the unbroken tree fails in {whole}; mend that first")
        for broken in BREAKS:
            test = notice(broken, folder)
            print(f"{broken.what}: {test or 'NOBODY NOTICED'}", flush=True)
            rows.append((broken, test))
    if write:
        lines = [f"| {b.what} | `{b.file.removeprefix(SRC)}` | `{t or 'nobody'}` |" for b, t in rows]
        head = PAGE.read_text().split("| break |")[0] if PAGE.exists() else "# Broken on purpose\n\n"
        table = ["| break | in | first test that noticed |", "| --- | --- | --- |", *lines]
        PAGE.write_text(head + "\n".join(table) + "\n")
    return sum(1 for _, test in rows if test is None)


if __name__ == "__main__":
    raise SystemExit(1 if main("--write" in sys.argv[1:]) else 0)
