"""The catalogues hold every sentence of the sources, and each translation says as much as its sentence."""

import ast
import re
from collections import Counter
from string import Formatter

import pytest
from babel.messages.catalog import Message

from markstead import speech
from tests.tools import catalogue
from tests.tools.catalogue import OTHERS, SOURCES

_TAG = re.compile(r"</?[a-z][^>]*>")
_PERCENT = re.compile(r"%\((\w+)\)s")


@pytest.mark.parametrize("code", OTHERS)
def test_the_catalogue_is_up_to_date_and_whole(code: str) -> None:
    kept = catalogue.read(code)
    fresh = catalogue.fresh(code, kept)
    assert catalogue.lacking(fresh) == [], (
        f"python -m tests.tools.catalogue --write, and translate into {code}"
    )
    assert catalogue.path_of(code).read_bytes() == catalogue.as_text(fresh), (
        "python -m tests.tools.catalogue --write"
    )
    assert catalogue.path_of(code).with_suffix(".mo").read_bytes() == catalogue.compiled(code)


def holes(text: str, *, template: bool) -> Counter[str]:
    """What is filled into a sentence, and its HTML tags."""
    if template:
        return Counter(_PERCENT.findall(text)) + Counter(_TAG.findall(text))
    fields = [f"{name}:{spec}!{how}" for _, name, spec, how in Formatter().parse(text) if name is not None]
    return Counter(fields) + Counter(_TAG.findall(text))


@pytest.mark.parametrize("code", OTHERS)
def test_translations_have_the_holes_and_tags_of_their_sentences(code: str) -> None:
    wrong = []
    for message in catalogue.read(code):
        if not message.id:
            continue
        ids, said = _forms(message)
        template = all(file.endswith(".html") for file, _ in message.locations)
        for number, text in enumerate(said):
            wanted = holes(ids[min(number, len(ids) - 1)], template=template)
            found = holes(text, template=template)
            # "one page" may leave its number out.
            if set(found) != set(wanted) and not (len(ids) > 1 and number == 0 and set(found) <= set(wanted)):
                wrong.append(f"{ids[0]!r} -> {text!r}")
    assert not wrong, "\n".join(wrong)


def _forms(message: Message) -> tuple[tuple[str, ...], tuple[str, ...]]:
    ids = message.id if isinstance(message.id, str) else tuple(message.id)
    said = message.string if isinstance(message.string, str) else tuple(message.string)
    return (ids,) if isinstance(ids, str) else ids, (said,) if isinstance(said, str) else said


def test_sentences_stand_whole_in_the_code_and_are_said_when_they_are_shown() -> None:
    """What is put together before it is said no catalogue can hold; what is said at import stays in one language."""
    wrong = []
    for path in sorted(SOURCES.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node, inside in _walk(tree, inside=False):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
                continue
            where = f"{path.relative_to(SOURCES)}:{node.lineno}"
            name, words = node.func.id, node.args
            if name in {"say", "counted", "later", "plural", "meant"}:
                if any(isinstance(a, ast.JoinedStr | ast.BinOp) for a in words if not _is_number(a, words)):
                    wrong.append(f"{where}: put together before it is said")
                if name != "later" and not inside and path.parent.name != "cli":
                    wrong.append(f"{where}: said when it is loaded; use later()")
    assert not wrong, "\n".join(wrong)


def _is_number(argument: ast.expr, words: list[ast.expr]) -> bool:
    """The first of several arguments: what is counted."""
    return len(words) > 1 and argument is words[0]


def _walk(node: ast.AST, *, inside: bool) -> list[tuple[ast.AST, bool]]:
    found = [(node, inside)]
    for name, value in ast.iter_fields(node):
        deeper = inside or (
            isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda) and name == "body"
        )
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                found += _walk(child, inside=deeper)
    return found


def test_spanish_writes_days_numbers_and_rows_as_its_academy_does() -> None:
    """Real Academia Española, Ortografía de la lengua española (2010): days and months in small letters, y before i is e."""
    from datetime import date

    with speech.spoken("es"):
        assert speech.day_words(date(2026, 1, 27)) == "martes 27 de enero de 2026"
        assert speech.and_words(["Asa", "Ilse"]) == "Asa e Ilse"
        assert speech.and_words(["Asa", "Hielo"]) == "Asa y Hielo"
        assert speech.say("{share:.1f} of {all:,}", share=2.5, all=1234).replace("of", "de") == "2,5 de 1.234"
        assert speech.figure("1,234.5") == "1.234,5"
    assert speech.say("{share:.1f}", share=2.5) == "2.5"
    assert speech.day_words(date(2026, 1, 27)) == "Tuesday 27 January 2026"


def test_a_word_with_several_senses_is_said_in_the_one_that_is_meant() -> None:
    """Spanish has an exam for a test's paper and a document for others; English has one word for both."""
    assert (speech.meant("Papers", "of tests"), speech.say("Papers")) == ("Papers", "Papers")
    with speech.spoken("es"):
        assert (speech.meant("Papers", "of tests"), speech.say("Papers")) == ("Pruebas", "Documentos")


def test_names_of_which_any_will_do_are_written_in_a_row() -> None:
    """Real Academia Española, Ortografía de la lengua española (2010): o before the sound o is u."""
    names = [["Asa"], ["Asa", "Olga"], ["Asa", "Noa", "Hortensia"], ["Olga", "Ilse"]]
    assert [speech.or_words(row) for row in names] == [
        "Asa",
        "Asa or Olga",
        "Asa, Noa or Hortensia",
        "Olga or Ilse",
    ]
    with speech.spoken("es"):
        assert [speech.or_words(row) for row in names] == [
            "Asa",
            "Asa u Olga",
            "Asa, Noa u Hortensia",
            "Olga o Ilse",
        ]


def test_sheets_of_style_know_starts_and_ends_and_no_left_and_right() -> None:
    """CSS Logical Properties and Values Level 1 (W3C): so that a page mirrors for a language written from right to left."""
    physical = re.compile(
        r"(?:margin|padding|border)-(?:left|right)\b|(?<![\w-])(?:left|right)\s*:|(?:text-align|float|clear)\s*:\s*(?:left|right)"
    )
    four = re.compile(r"(?:margin|padding): ?[^ ;}]+ ([^ ;}]+) [^ ;}]+ (?!\1(?![^ ;}]))[^ ;}]+")
    found = [
        f"{path.name}: {match[0]}"
        for path in sorted((SOURCES / "web" / "static").rglob("*.css"))
        for match in [m for kind in (physical, four) for m in kind.finditer(path.read_text(encoding="utf-8"))]
    ]
    assert not found, found


def test_sheets_of_style_hold_no_words() -> None:
    """What a sheet of style writes no catalogue can hold; it takes its words from the page, by `attr()`."""
    found = [
        f"{path.name}: {match[0]}"
        for path in sorted((SOURCES / "web" / "static").rglob("*.css"))
        for match in re.finditer(r"content:[^;}]*", path.read_text(encoding="utf-8"))
        if any(re.search(r"[A-Za-z]{2}", quoted) for quoted in re.findall(r'"([^"]*)"', match[0]))
    ]
    assert not found, found
