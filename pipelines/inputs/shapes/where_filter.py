"""`where`, the filter that a person writes: the words of a plain comparison, and no others.

Databases and GDAL's own dialect take it as it is, so it may hold attributes, numbers, texts, comparisons, arithmetic,
AND, OR, NOT, IN, LIKE, IS NULL and BETWEEN; neither a query nor a call of what a file or a library brings.
"""

import re
from collections.abc import Iterator

from pipelines.inputs.errors import LayerError

MOST_CHARACTERS = 10_000
MOST_DEEP = 30
MOST_WILDCARDS = 6
"""% in one pattern: more make a search that takes for ever. [-]"""
ALLOWED = (
    "attributes, numbers, texts in single quotes, = <> < <= > >= + - * /, AND, OR, NOT, IN, LIKE, IS NULL and BETWEEN"
)
_WORDS = {"and", "or", "not", "in", "like", "ilike", "is", "null", "between", "escape", "true", "false"}
_CALLS = {"lower", "upper", "length", "abs", "round", "trim"}
# words of a query, which an attribute may be called too
_QUERY = {
    "select", "from", "union", "intersect", "except", "values", "with", "recursive", "exists", "case", "cast", "raise",
    "glob", "match", "regexp", "collate", "limit", "order", "group", "having", "join", "attach", "pragma",
}  # fmt: skip
_FID = {"fid", "ogc_fid", "rowid", "ogr_geometry", "ogr_geom_area"}
_TOKEN = re.compile(
    r"""\s*(?:
    (?P<text>'(?:[^']|'')*')
    |(?P<quoted>"(?:[^"]|"")+")
    |(?P<number>(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?(?!\w))
    |(?P<word>[^\W\d]\w*)
    |(?P<sign><>|!=|<=|>=|==|[=<>+*/%(),-])
    )\s*""",
    re.VERBOSE,
)


def refuse_odd_where(where: str, attributes: tuple[str, ...], words: str, *, also: tuple[str, ...] = ()) -> None:
    """Raise unless a filter is a plain comparison of a layer's attributes."""
    if len(where) > MOST_CHARACTERS:
        raise LayerError(f"{words}: where has {len(where):,} characters, and at most {MOST_CHARACTERS:,} are read")
    for fault in _faults(where, {name.lower() for name in (*attributes, *also)} | _FID):
        shown = where if len(where) <= 80 else f"{where[:80]}... ({len(where):,} characters)"
        raise LayerError(
            f'{words}: where = "{shown}" is no expression for this layer: {fault}; its attributes are '
            f"{', '.join(attributes) or 'none'}, and a filter may hold {ALLOWED}"
        )


def _faults(where: str, names: set[str]) -> Iterator[str]:
    deep, after = 0, ""
    for kind, text in _tokens(where):
        lower = text.lower()
        if kind == "odd":
            yield f"{text!r} cannot stand in it"
            return
        if kind == "quoted" and text[1:-1].replace('""', '"').lower() not in names:
            yield f"{text[:80]} is none of its attributes"
        if kind == "word" and lower in _QUERY:
            yield f"{text} begins a query; an attribute of that name stands in double quotes"
        elif kind == "word" and lower not in names | _WORDS | _CALLS:
            yield f"{text[:80]} is none of its attributes and no word of a filter"
        if (after, text) in (("-", "-"), ("/", "*")):
            yield f"{after}{text} begins a comment"
        # what a stranger's layer holds must not be taken for a pattern
        if after in ("like", "ilike") and (kind != "text" or text.count("%") > MOST_WILDCARDS):
            yield f"LIKE takes a text in single quotes with at most {MOST_WILDCARDS} %"
        if text == "(" and after not in {"", *_CALLS, *_WORDS, *"=<>+-*/%(,", "<>", "!=", "<=", ">=", "=="} - {"null"}:
            yield f"{after[:80]} is called, and only {', '.join(sorted(_CALLS))} may be"
        if after in _CALLS and after not in names and text != "(":
            yield f"{after} stands without what it takes in brackets"
        deep += {"(": 1, ")": -1}.get(text, 0)
        if not 0 <= deep <= MOST_DEEP:
            yield f"its brackets don't match, or lie more than {MOST_DEEP} deep"
            return
        after = lower if kind in ("word", "sign") else kind
    if deep:
        yield "its brackets don't match"


def _tokens(where: str) -> Iterator[tuple[str, str]]:
    at = 0
    while at < len(where):
        match = _TOKEN.match(where, at)
        if match is None:
            rest = where[at:].strip()
            if rest:
                yield "odd", rest[:1]
            return
        assert match.lastgroup is not None
        yield match.lastgroup, match[match.lastgroup]
        at = match.end()
