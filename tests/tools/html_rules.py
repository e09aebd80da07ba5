"""What is wrong in a page: html5lib's strict parser, and rules of the HTML standard that a parser does not look at.

HTML Living Standard: ids are unique (3.2.6), a label's `for` names a field (4.10.4), interactive content is not nested in
`a`, `button` or `label` (4.5.1, 4.10.6, 4.10.4), one visible `main` (4.4.14); WAI-ARIA 1.2: what an attribute names is on the
page (6.4). Headings without a gap are the house's own rule (WCAG 2.2, technique H42), and so are attributes with a name of
their own: htmx reads them with `data-` too, and only so they are valid.
"""

import re
from collections import Counter
from collections.abc import Iterator
from xml.etree.ElementTree import Element

import html5lib
from html5lib.html5parser import ParseError

INTERACTIVE = {"a", "button", "input", "select", "textarea", "details", "iframe", "label"}
FIELDS = {"button", "input", "meter", "output", "progress", "select", "textarea"}
NAMES_OTHERS = (
    "aria-labelledby",
    "aria-describedby",
    "aria-controls",
    "aria-owns",
    "aria-errormessage",
    "headers",
)


def faults(html: str, *, whole: bool = True) -> list[str]:
    """Everything that is wrong in a page, or in a part of one."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    try:
        root = parser.parse(html) if whole else parser.parseFragment(html, container="div")
    except ParseError as error:
        return [f"{error.__class__.__name__}: {error} at {_where(parser)}"]
    found = [*_ids(root, whole=whole), *_labels(root), *_nested(root), *_attributes(root)]
    return [*found, *_headings(root), *_mains(root)] if whole else found


def _where(parser: html5lib.HTMLParser) -> str:
    (line, column), code, more = parser.errors[-1]
    return f"line {line}, column {column} ({code} {more or ''})"


def _all(root: Element) -> Iterator[Element]:
    return (e for e in root.iter() if isinstance(e.tag, str))


def _ids(root: Element, *, whole: bool) -> Iterator[str]:
    count = Counter(e.get("id") for e in _all(root) if e.get("id") is not None)
    yield from (f"id {one!r} stands {n} times" for one, n in count.items() if n > 1)
    yield from (f"id {one!r} has a blank" for one in count if not one or len(one.split()) != 1)
    for element in _all(root) if whole else ():
        for name in NAMES_OTHERS:
            for wanted in (element.get(name) or "").split():
                if wanted not in count:
                    yield f"{_tag(element)}: {name} names {wanted!r}, which is not there"
        if element.tag == "input" and element.get("list") not in (None, *count):
            yield f"{_tag(element)}: list names {element.get('list')!r}, which is not there"
        target = element.get("href") or ""
        if element.tag == "a" and target.startswith("#") and len(target) > 1 and target[1:] not in count:
            yield f"{_tag(element)}: leads to {target!r}, which is not there"


def _labels(root: Element) -> Iterator[str]:
    fields = {e.get("id"): e for e in _all(root) if e.tag in FIELDS and e.get("type") != "hidden"}
    for label in root.iter("label"):
        inside = [e for e in label.iter() if e.tag in FIELDS and e.get("type") != "hidden"]
        wanted = label.get("for")
        if wanted is not None and wanted not in fields:
            yield f"a label is for {wanted!r}, which is no field of the page"
        if wanted is None and not inside:
            yield f"a label is for nothing: {''.join(label.itertext()).strip()[:40]!r}"
        if len(inside) > 1 or (wanted is not None and inside and inside[0].get("id") != wanted):
            yield f"a label holds a field that is not its own: {''.join(label.itertext()).strip()[:40]!r}"


def _nested(root: Element) -> Iterator[str]:
    for outer in _all(root):
        if outer.tag not in ("a", "button", "label"):
            continue
        for inner in outer.iter():
            mine = outer.tag == "label" and inner.tag in FIELDS
            if inner is not outer and inner.tag in INTERACTIVE and not mine and inner.get("type") != "hidden":
                yield f"{_tag(inner)} stands inside {_tag(outer)}"
            if inner is not outer and outer.tag != "label" and inner.get("tabindex") is not None:
                yield f"{_tag(inner)} with tabindex stands inside {_tag(outer)}"


def _attributes(root: Element) -> Iterator[str]:
    for element in _all(root):
        for name in element.attrib:
            if isinstance(name, str) and name.startswith(("hx-", "sse-", "ws-")):
                yield f"{_tag(element)}: {name} is no attribute of HTML; htmx reads data-{name}"
        refresh = element.get("http-equiv", "").lower() == "refresh"
        if refresh and not re.fullmatch(r"\d+(; url=\S+)?", element.get("content", "")):
            yield f"{_tag(element)}: a refresh is written as seconds, or as seconds; url=address"
        if element.tag == "img" and element.get("alt") is None:
            yield f"{_tag(element)}: an image without alt"


def _headings(root: Element) -> Iterator[str]:
    levels = [(int(e.tag[1]), "".join(e.itertext()).strip()) for e in _all(root) if e.tag in _LEVELS]
    if [level for level, _ in levels].count(1) != 1:
        yield f"{[level for level, _ in levels].count(1)} headings of the first level"
    before = 0
    for level, words in levels:
        if not words:
            yield f"an empty heading of level {level}"
        if level > before + 1:
            yield f"heading {words[:40]!r} of level {level} comes after one of level {before}"
        before = level


_LEVELS = {f"h{n}" for n in range(1, 7)}


def _mains(root: Element) -> Iterator[str]:
    if sum(1 for _ in root.iter("main")) != 1:
        yield "not one main part"
    title = root.find(".//head/title")
    if title is None or not (title.text or "").strip():
        yield "no title"
    html = root if root.tag == "html" else root.find(".//html")
    if html is not None and not html.get("lang"):
        yield "no language"


def _tag(element: Element) -> str:
    more = element.get("id") or element.get("name") or element.get("class") or ""
    return f"{element.tag} {more}".strip()
