"""`markstead sheets` and `markstead read`: sheets for the printer, and photographs of them."""

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from markstead.cli import files, typed
from markstead.cli.house import House, open_house
from markstead.cli.options import BY, CLOCK, JSON, PAPER, Asked, command
from markstead.errors import InputError, Problem
from markstead.speech import counted, say

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.records.photographs import Outlook, SheetRead, Taken


class KindWord(StrEnum):
    """Kinds of sheets, as they are typed."""

    DAY = "day"
    SITTING = "sitting"
    MARKING = "marking"
    WEEK = "week"
    ROAD = "road"


WHO_PRINTS = {"by": BY}


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @command(app, "sheets", CLOCK, WHO_PRINTS)
    def sheets(
        asked: Asked,
        *,
        date: Annotated[
            str | None,
            typer.Option("--date", metavar="DAY", help="The day that they are for. Default: today."),
        ] = None,
        kind: Annotated[
            list[KindWord] | None,
            typer.Option(
                "--kind", help="What is printed; may be given several times. Default: day and sitting."
            ),
        ] = None,
        learner: Annotated[
            str | None,
            typer.Option("--learner", metavar="KEY", help="Of this learner only. Default: of all."),
        ] = None,
        paper: PAPER = None,
        out: Annotated[
            Path | None,
            typer.Option("--out", metavar="FILE", help="Where the PDF is written. Default: here."),
        ] = None,
        force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
        as_json: JSON = False,
    ) -> None:
        """Print sheets for a day on paper as one PDF: day sheets, sittings, marking, the week, the road."""
        house = open_house(asked)
        from markstead.records import printing

        day = typed.day(date, "--date") if date else house.home.calendar.day_of(house.now)
        done = printing.print_sheets(
            house.household,
            day=day,
            by=house.actor(asked).id,
            now=house.now,
            kinds=[str(one) for one in kind or (KindWord.DAY, KindWord.SITTING)],
            learner=learner,
            paper=paper,
        )
        file = out if out is not None else Path(done.name)
        files.check_free("--out", file, force=force)
        files.write("--out", file, done.content)
        if as_json:
            from markstead.cli import render

            told = [{"kind": what, "whose": whose} for what, whose in done.sheets]
            print(render.text({"file": str(file), "day": day.isoformat(), "sheets": told}))
            return
        for what, whose in done.sheets:
            print(f"{whose}: {say(what)}")
        print(say("The sheets stand in {file}.", file=file))

    @command(app, "read", CLOCK, WHO_PRINTS)
    def read(
        asked: Asked,
        *,
        files: Annotated[
            list[Path],
            typer.Argument(metavar="FILE...", help="Photographs or scans: JPEG, PNG, HEIC or PDF."),
        ],
        typed_id: Annotated[
            str,
            typer.Option("--id", metavar="ID", help="The id at the sheet's foot, where no code can be read."),
        ] = "",
        accept_sure: Annotated[
            bool,
            typer.Option(
                "--accept-sure",
                help="Record each sheet on which nothing is unsure, odd or refused; the others wait.",
            ),
        ] = False,
        keep: Annotated[
            bool,
            typer.Option(
                "--keep",
                help="With --accept-sure: keep the pictures as samples of work, but those of several learners.",
            ),
        ] = False,
        as_json: JSON = False,
    ) -> None:
        """Read photographs of filled-in sheets. What was read waits to be confirmed on the screen."""
        house = open_house(asked)
        by = house.actor(asked).id
        from markstead.records import photographs

        contents = [(file, _content(file)) for file in files]
        taken = [
            photographs.take_in(house.household, file.name, content, by=by, now=house.now, typed=typed_id)
            for file, content in contents
        ]
        ids = list(dict.fromkeys(page.sheet for one in taken for page in one.pages))
        told = [_sheet(house, sheet, by, accept=accept_sure, keep=keep) for sheet in ids]
        _tell(taken, told, as_json=as_json)
        refusals = [(one.name, refusal) for one in taken for refusal in one.refusals]
        if not ids and any(refusal.why != "already read" for _, refusal in refusals):
            raise InputError(
                [
                    Problem(name, refusal.sentence.rstrip("."), say("a sheet of this home that can be read"))
                    for name, refusal in refusals
                ]
            )


def _content(file: Path) -> bytes:
    from markstead.paper.pictures import ALLOWED, MOST_BYTES

    try:
        if file.stat().st_size > MOST_BYTES:
            found = say("{size:.0f} megabytes", size=file.stat().st_size / 1e6)
            raise InputError([Problem(str(file), found, ALLOWED, say("Take it with a lower resolution."))])
        return file.read_bytes()
    except OSError as error:
        raise InputError([Problem(str(file), str(error.strerror), ALLOWED)]) from error


def _sheet(house: House, sheet: str, by: str, *, accept: bool, keep: bool) -> dict[str, Any]:
    """A sheet that was read as plain values; recorded where that is asked for and nothing stands in the way."""
    from markstead.cli import render
    from markstead.records import photographs

    found = photographs.sheet_read(house.household, sheet)
    outlook = photographs.look(house.household, sheet, found.marked, by=by, now=house.now)
    told: dict[str, Any] = {
        "id": found.id,
        "kind": str(found.sheet.kind),
        "whose": found.whose,
        "day": found.day.isoformat(),
        "missing_pages": list(found.missing),
        "unsure": [
            {"box": photographs.box_words(found, box.id), "why": say(box.reason)} for box in found.unsure
        ],
        "would_record": [{"what": one.name, "facts": list(one.facts)} for one in outlook.tries if one.facts],
        "refused": [
            {"what": one.who, "act": one.what, "says": list(one.says), "bars": render.bars(one.bars)}
            for one in outlook.refused
        ],
        "doubts": list(outlook.doubts),
        "by_hand": list(outlook.by_hand),
        "notes": list(found.notes),
        "recorded": None,
        "picture": None,
        "waits_for": _waits_for(found, outlook),
    }
    if accept and not told["waits_for"]:
        kept = keep and found.is_of_one
        done = photographs.record(house.household, sheet, found.marked, by=by, now=house.now, keep=kept)
        told["recorded"] = done.done.act if done.done is not None else None
        if keep and done.done is not None:
            told["picture"] = "kept" if kept else "of several learners"
    return told


def _waits_for(found: "SheetRead", outlook: "Outlook") -> list[str]:
    """Why a person has to look at a sheet before it may be recorded."""
    unsure = len(found.unsure)
    reasons = {
        counted(unsure, "{n} box unsure", "{n} boxes unsure"): bool(unsure),
        say("a page is missing"): bool(found.missing),
        say("an id that was typed"): any(page.typed for page in found.pages),
        say("what does not go together"): bool(outlook.doubts),
        say("a line written by hand"): bool(outlook.by_hand),
        say("a shut gate"): bool(outlook.refused),
        say("what has changed since it was printed"): bool(found.notes),
        say("nothing is marked"): outlook.empty,
    }
    return [reason for reason, holds in reasons.items() if holds]


def _tell(taken: "Sequence[Taken]", told: Sequence[dict[str, Any]], *, as_json: bool) -> None:
    """Print what was read."""
    from markstead.cli import render, show

    if as_json:
        files = [
            {
                "file": one.name,
                "pages": [
                    {
                        "sheet": p.sheet,
                        "page": p.page,
                        "boxes": p.boxes,
                        "marked": p.marked,
                        "unsure": p.unsure,
                    }
                    for p in one.pages
                ],
                "refused": [{"why": str(r.why), "says": r.sentence} for r in one.refusals],
            }
            for one in taken
        ]
        print(render.text({"files": files, "sheets": list(told)}))
        return
    out = show.console()
    for one in taken:
        for page in one.pages:
            out.print(
                say(
                    "{file}: {kind} of {whose} for {day}, page {page}: {marked} of {boxes} boxes are marked.",
                    file=one.name,
                    kind=say(page.kind),
                    whose=page.whose,
                    day=page.day,
                    page=page.page,
                    marked=page.marked,
                    boxes=page.boxes,
                ),
                soft_wrap=True,
            )
        for refusal in one.refusals:
            out.print(f"{one.name}: {refusal.sentence}", soft_wrap=True)
    for sheet in told:
        _tell_sheet(sheet, out)


def _tell_sheet(sheet: dict[str, Any], out: Any) -> None:
    for one in sheet["would_record"]:
        for fact in one["facts"]:
            line = (
                say("Recorded: {fact} ({row}).", fact=fact, row=one["what"])
                if sheet["recorded"]
                else say("Would be recorded: {fact} ({row}).", fact=fact, row=one["what"])
            )
            out.print(line, soft_wrap=True)
    for one in sheet["refused"]:
        bars = " ".join([*one["says"], *(f"{bar['says']} {bar['lifts']}" for bar in one["bars"])])
        what = one["act"] or one["what"]
        out.print(say("Refused: {what}. {bars}", what=what, bars=bars), soft_wrap=True)
    for box in sheet["unsure"]:
        out.print(say("Unsure: {box} ({why}).", box=box["box"], why=box["why"]), soft_wrap=True)
    for line in (*sheet["doubts"], *sheet["notes"]):
        out.print(line, soft_wrap=True)
    for page in sheet["missing_pages"]:
        out.print(say("Page {page} is missing: take its picture as well.", page=page), soft_wrap=True)
    if sheet["picture"] == "kept":
        out.print(say("The picture is kept as a sample of work."), soft_wrap=True)
    elif sheet["picture"]:
        out.print(
            say("Its picture is of several learners, so it is not kept as a sample of one."), soft_wrap=True
        )
    if not sheet["recorded"]:
        why = ", ".join(sheet["waits_for"])
        out.print(
            say("It waits to be confirmed on the screen, at /on-paper/: {why}.", why=why)
            if why
            else say("It waits to be confirmed on the screen, at /on-paper/."),
            soft_wrap=True,
        )
