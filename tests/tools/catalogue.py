"""The sentences of the code and of the templates, and the catalogues that hold them in other languages.

python -m tests.tools.catalogue            say what each catalogue lacks
python -m tests.tools.catalogue --write    bring the catalogues up to date, keeping what is translated, and compile them
"""

import ast
import os
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import django
import typer
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.template import Node, Template, engines
from django.template.base import FilterExpression, Variable
from django.templatetags.i18n import BlockTranslateNode, TranslateNode

from markstead import speech
from markstead.cli.main import app, told_of

SOURCES = Path(speech.__file__).resolve().parent
OTHERS = tuple(code for code in speech.LANGUAGES if not code.startswith("en"))
SENSE_ENDS = "\x04"
"""Between the sense in which a word is meant, `{% translate "Record" context "noun" %}` or `meant`, and the word (as gettext)."""
_UNDERSCORED = re.compile(r"""_\(\s*(?:"([^"]*)"|'([^']*)')\s*\)""")


@dataclass(slots=True)
class Sentence:
    """A sentence as it stands in the sources, with the files in which it stands."""

    one: str
    many: str = ""
    files: list[str] = field(default_factory=list)

    @property
    def key(self) -> str | tuple[str, str]:
        """How a catalogue names it."""
        return (self.one, self.many) if self.many else self.one


def sentences() -> dict[str | tuple[str, str], Sentence]:
    """Every sentence of the sources, in the order of files and lines."""
    found: dict[str | tuple[str, str], Sentence] = {}
    for path in sorted(SOURCES.rglob("*.py")):
        for one, many in _of_code(ast.parse(path.read_text(encoding="utf-8"))):
            _add(found, path, one, many)
    for path in sorted(SOURCES.glob("rules/profiles/*.toml")):
        kept = tomllib.loads(path.read_text(encoding="utf-8"))
        told = [kept["profile"].get(part, "").strip() for part in ("title", "source", "note")]
        for line in [*told, *kept.get("reports", {}).get("asks", [])]:
            if line:
                _add(found, path, line, "")
    for command in told_of(typer.main.get_command(app)):
        _add(found, SOURCES / "cli" / "main.py", command.help, "")
    for path in sorted(SOURCES.rglob("*.html")):
        for one, many in _of_template(path):
            _add(found, path, one, many)
    return found


def _add(found: dict[str | tuple[str, str], Sentence], path: Path, one: str, many: str) -> None:
    new = Sentence(one, many)
    kept = found.setdefault(new.key, new)
    where = path.relative_to(SOURCES).as_posix()
    if where not in kept.files:
        kept.files.append(where)


def _of_code(tree: ast.AST) -> Iterator[tuple[str, str]]:
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    for call in sorted(calls, key=lambda c: (c.lineno, c.col_offset)):
        name = call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")
        words = [
            a.value if isinstance(a, ast.Constant) and isinstance(a.value, str) else None for a in call.args
        ]
        if name in {"say", "later"} and words and words[0]:
            yield words[0], ""
        elif name == "meant" and len(words) == 2 and words[0] and words[1]:
            yield f"{words[1]}{SENSE_ENDS}{words[0]}", ""
        elif name == "counted" and len(words) >= 3 and words[1] and words[2]:
            yield words[1], words[2]
        elif name == "plural" and len(words) >= 2 and words[1]:
            many = words[2] if len(words) > 2 and words[2] else f"{words[1]}s"
            yield f"{{n}} {words[1]}", f"{{n}} {many}"


def _of_template(path: Path) -> Iterator[tuple[str, str]]:
    source = path.read_text(encoding="utf-8")
    template = Template(source, engine=engines["django"].engine)
    for node in template.nodelist.get_nodes_by_type(Node):
        if isinstance(node, TranslateNode):
            literal = _literal(node.filter_expression)
            if literal:
                sense = _literal(node.message_context) if node.message_context else ""
                yield f"{sense}{SENSE_ENDS}{literal}" if sense else literal, ""
        elif isinstance(node, BlockTranslateNode):
            one, _ = node.render_token_list(node.singular)
            many = node.render_token_list(node.plural)[0] if node.plural else ""
            yield _trimmed(node, one), _trimmed(node, many)
    for match in _UNDERSCORED.finditer(source):
        yield match[1] or match[2], ""


def _trimmed(node: BlockTranslateNode, text: str) -> str:
    return (
        " ".join(line.strip() for line in text.strip().splitlines() if line.strip()) if node.trimmed else text
    )


def _literal(expression: FilterExpression) -> str:
    var = expression.var
    if isinstance(var, Variable):
        return var.literal if isinstance(var.literal, str) else ""
    return var if isinstance(var, str) else ""


def path_of(code: str) -> Path:
    """Where the catalogue of a language is."""
    return speech.CATALOGUES[0] / code / "LC_MESSAGES" / f"{speech.DOMAIN}.po"


def read(code: str) -> Catalog:
    """A catalogue as it is kept."""
    with path_of(code).open("rb") as file:
        return read_po(file, locale=code)


def fresh(code: str, old: Catalog | None) -> Catalog:
    """A catalogue of the sentences as they are now, with those translations that there are."""
    new = Catalog(locale=code, project="Markstead", version="", charset="utf-8", header_comment=f"# {code}")
    # CLDR's third form of Spanish is for whole millions, of which nothing here is counted.
    new._num_plurals, new._plural_expr = 2, "(n != 1)"
    for key, sentence in sentences().items():
        sense, words = in_sense(key)
        kept = old.get(words, sense) if old is not None else None
        string = kept.string if kept is not None and _is_for(kept.id, words) else None
        new.add(words, string, context=sense, locations=[(file, 0) for file in sentence.files])
    return new


def in_sense(key: str | tuple[str, str]) -> tuple[str | None, str | tuple[str, str]]:
    if isinstance(key, str) and SENSE_ENDS in key:
        sense, words = key.split(SENSE_ENDS)
        return sense, words
    return None, key


def _is_for(kept: object, key: object) -> bool:
    return (tuple(kept) if isinstance(kept, list | tuple) else kept) == key


def as_text(catalogue: Catalog) -> bytes:
    """The catalogue as a file; nothing in it changes with the day or the line of a sentence."""
    out = BytesIO()
    write_po(out, catalogue, width=0, omit_header=True, include_lineno=False, sort_by_file=False)
    head = f'msgid ""\nmsgstr ""\n"Language: {catalogue.locale_identifier}\\n"\n'
    head += '"MIME-Version: 1.0\\n"\n"Content-Type: text/plain; charset=utf-8\\n"\n"Content-Transfer-Encoding: 8bit\\n"\n'
    head += f'"Plural-Forms: {catalogue.plural_forms}\\n"\n\n'
    return head.encode() + out.getvalue()


def compiled(code: str) -> bytes:
    """The catalogue as programs read it."""
    kept, out = read(code), BytesIO()
    kept.creation_date = kept.revision_date = datetime(
        2026, 1, 1, tzinfo=UTC
    )  # no matter when it is compiled
    write_mo(out, kept)
    return out.getvalue()


def lacking(catalogue: Catalog) -> list[str]:
    """Sentences without a translation."""
    return [
        str(m.id)
        for m in catalogue
        if m.id and not (all(m.string) if isinstance(m.string, tuple) else m.string)
    ]


def main() -> None:
    """Write the catalogues, or say what they lack."""
    django.setup()
    for code in OTHERS:
        path = path_of(code)
        new = fresh(code, read(code) if path.exists() else None)
        if "--write" in sys.argv[1:]:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(as_text(new))
            path.with_suffix(".mo").write_bytes(compiled(code))
        missing = lacking(new)
        print(f"{code}: {len(list(new)) - 1} sentences, {len(missing)} not translated")
        if "--list" in sys.argv[1:]:
            print("\n".join(missing))


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "markstead.web.settings")
    main()
