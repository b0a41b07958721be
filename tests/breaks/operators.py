"""Small breaks of one place in the code or in a table: what a slip of the hand would leave."""

import ast
import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOMS = ("terrain", "pipelines/hydrology", "pipelines/hydraulics", "pipelines/layout", "pipelines/inputs/trade")
_COMPARES = {ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">", ast.Eq: "!=", ast.NotEq: "=="}
_SUMS = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*"}
_CHOICES = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "floor": "ceil", "ceil": "floor"}


@dataclass(frozen=True, slots=True)
class Break:
    """One break: the characters of a file from `start` to `end` become `new`."""

    file: str
    line: int
    kind: str
    start: int
    end: int
    old: str
    new: str

    def applied_to(self, text: str) -> str:
        """The file's text with the break in it."""
        assert text[self.start : self.end] == self.old
        return text[: self.start] + self.new + text[self.end :]


def breaks_of(root: Path) -> dict[str, list[Break]]:
    """Every break that could be made, by file."""
    found = {}
    for room in ROOMS:
        for path in sorted((root / room).rglob("*")):
            name = path.relative_to(root).as_posix()
            if path.suffix == ".py":
                made = list(_in_code(name, path.read_text(encoding="utf-8")))
            elif path.suffix == ".csv":
                made = list(_in_table(name, path.read_text(encoding="utf-8")))
            else:
                continue
            if made:
                found[name] = made
    return found


def _in_code(name: str, text: str) -> Iterator[Break]:
    # columns of the syntax tree count bytes, which are characters in the lines where nothing else than ASCII stands
    begins = [0]
    for line in text.splitlines(keepends=True):
        begins.append(begins[-1] + len(line))
    lines = text.splitlines()

    def at(node: ast.expr, kind: str, new: str) -> Iterator[Break]:
        if all(line.isascii() for line in lines[node.lineno - 1 : node.end_lineno]):
            start = begins[node.lineno - 1] + node.col_offset
            end = begins[(node.end_lineno or node.lineno) - 1] + (node.end_col_offset or 0)
            yield Break(name, node.lineno, kind, start, end, text[start:end], new)

    tree = ast.parse(text)
    said = {id(inner) for node in ast.walk(tree) if _is_said(node) for inner in ast.walk(node)}
    for node in ast.walk(tree):
        if id(node) in said:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
            new = repr(node.value * 0.9) if isinstance(node.value, float) and node.value else repr(node.value + 1)
            yield from at(node, "constant", new)
        elif isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _COMPARES:
            swapped = f"({ast.unparse(node.left)} {_COMPARES[type(node.ops[0])]} {ast.unparse(node.comparators[0])})"
            yield from at(node, "comparison", swapped)
        elif isinstance(node, ast.BinOp) and type(node.op) in _SUMS:
            other = f"({ast.unparse(node.left)}) {_SUMS[type(node.op)]} ({ast.unparse(node.right)})"
            yield from at(node, "arithmetic", f"({other})")
        elif isinstance(node, ast.BoolOp):
            word = " or " if isinstance(node.op, ast.And) else " and "
            yield from at(node, "logic", "(" + word.join(f"({ast.unparse(value)})" for value in node.values) + ")")
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
            yield from at(node, "sign", f"({ast.unparse(node.operand)})")
        elif isinstance(node, ast.Name | ast.Attribute):
            last = node.id if isinstance(node, ast.Name) else node.attr
            if last in _CHOICES:
                yield from at(node, "choice", ast.unparse(node)[: -len(last)] + _CHOICES[last])
        elif isinstance(node, ast.IfExp):
            turned = f"({ast.unparse(node.orelse)} if {ast.unparse(node.test)} else {ast.unparse(node.body)})"
            yield from at(node, "branch", turned)


def _is_said(node: ast.AST) -> bool:
    """Docstrings, annotations, assertions and raised messages: to break them breaks no answer."""
    return isinstance(node, ast.Raise | ast.Assert | ast.arg | ast.AnnAssign | ast.ImportFrom | ast.Import)


def _in_table(name: str, text: str) -> Iterator[Break]:
    rows = list(csv.reader(io.StringIO(text)))
    at = text.index("\n") + 1
    for number, row in enumerate(rows[1:], start=2):
        line = text[at:].split("\n", 1)[0]
        for column, cell in zip(rows[0], row, strict=False):
            if column != "unit" and _is_number(cell) and f",{cell}," in line:
                start = at + line.index(f",{cell},") + 1
                less = f"{float(cell) * 0.9:.6g}"
                yield Break(name, number, f"table, {column}", start, start + len(cell), cell, less)
        at += len(line) + 1


def _is_number(cell: str) -> bool:
    """Whether a cell holds a number that a tenth less of it changes."""
    try:
        return 0.0 < abs(float(cell)) < float("inf")
    except ValueError:
        return False
