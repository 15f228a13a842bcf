"""Small changes to a module, each of which some test should notice."""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
}
KEY = re.compile("[a-z][a-z_]*")  # a string like this is a name that must be spelt the same elsewhere


@dataclass(frozen=True, slots=True)
class Change:
    """Bytes `start` to `end` of `file` become `after`.

    `where` is the function or class, `text` the original line, `column` the place in it. `lines` are those of the
    statement, which runs as a whole.
    """

    file: str
    where: str
    line: int
    lines: tuple[int, ...]
    text: str
    column: int
    start: int
    end: int
    before: str
    after: str

    @property
    def key(self) -> tuple[str, str, str, int, str]:
        """The change's identity, unaffected by additions elsewhere in the file."""
        return (self.file, self.where, self.text, self.column, f"{self.before} -> {self.after}")

    def applied(self, source: bytes) -> bytes:
        """The module with this change."""
        return source[: self.start] + self.after.encode() + source[self.end :]

    def __str__(self) -> str:
        return f"{self.file}:{self.line} {self.where}: {self.before} -> {self.after}"


def changes_of(file: str, source: bytes) -> list[Change]:
    """Every change to a module, in the order of its lines."""
    return sorted(set(_Finder(file, source).found()), key=lambda change: (change.start, change.end, change.after))


class _Finder:
    """Walks the tree of one module."""

    def __init__(self, file: str, source: bytes) -> None:
        self._file = file
        self._source = source
        self._lines = source.splitlines(keepends=True)
        self._starts = [0]
        for line in self._lines:
            self._starts.append(self._starts[-1] + len(line))

    def found(self) -> Iterator[Change]:
        """All changes."""
        for statement in ast.parse(self._source).body:
            yield from self._walk(statement, [], ())

    def _walk(self, node: ast.AST, names: list[str], lines: tuple[int, ...]) -> Iterator[Change]:
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
            names = [*names, node.name]
        if isinstance(node, ast.stmt):
            lines = _lines(node)
        inside = bool(names) and not isinstance(node, ast.ClassDef)
        for after in _others(node, inside=inside):
            yield self._change(node, ".".join(names) or "module", lines, after)
        for name, value in ast.iter_fields(node):
            if name in {"annotation", "returns", "decorator_list", "bases", "keywords"} and not _is_argument(node, name):
                continue
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST) and not _is_left_alone(child):
                    yield from self._walk(child, names, lines)

    def _change(self, node: ast.AST, where: str, lines: tuple[int, ...], after: str) -> Change:
        assert isinstance(node, (ast.expr, ast.stmt))
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        start = self._starts[node.lineno - 1] + node.col_offset
        end = self._starts[node.end_lineno - 1] + node.end_col_offset
        line = self._lines[node.lineno - 1]
        text, column = line.decode().strip(), node.col_offset - (len(line) - len(line.lstrip()))
        before = " ".join(self._source[start:end].decode().split())
        return Change(self._file, where, node.lineno, lines, text, column, start, end, before, after)


def _lines(statement: ast.stmt) -> tuple[int, ...]:
    """The lines of a statement, without those of statements inside it."""
    inner = [child.lineno for child in ast.walk(statement) if isinstance(child, ast.stmt) and child is not statement]
    assert statement.end_lineno is not None
    return tuple(range(statement.lineno, max(statement.lineno + 1, min([statement.end_lineno + 1, *inner]))))


def _is_argument(node: ast.AST, field: str) -> bool:
    """The named arguments of a call are changed, those of a class are not."""
    return field == "keywords" and isinstance(node, ast.Call)


def _is_left_alone(node: ast.AST) -> bool:
    """Docstrings, imports, f-strings, and checks of impossible cases: asserts and `strict=True`."""
    if isinstance(node, ast.Expr):
        return isinstance(node.value, ast.Constant)
    if isinstance(node, ast.keyword):
        return node.arg == "strict"
    return isinstance(node, (ast.Import, ast.ImportFrom, ast.JoinedStr, ast.Assert))


def _others(node: ast.AST, *, inside: bool) -> Iterator[str]:
    """Replacements for a node; statements are removed only `inside` functions."""
    match node:
        case ast.Compare(left, [op], [right]) if type(op) in COMPARISONS:
            yield f"({ast.unparse(ast.Compare(left, [COMPARISONS[type(op)]()], [right]))})"
        case ast.BoolOp(op, values):
            yield f"({ast.unparse(ast.BoolOp(ast.Or() if isinstance(op, ast.And) else ast.And(), values))})"
        case ast.UnaryOp(ast.Not() | ast.USub(), operand):
            yield f"({ast.unparse(operand)})"
        case ast.BinOp(left, op, right) if type(op) in ARITHMETIC and not _is_union(node):
            yield f"({ast.unparse(ast.BinOp(left, ARITHMETIC[type(op)](), right))})"
        case ast.IfExp(test, body, orelse):
            yield f"({ast.unparse(ast.IfExp(test, orelse, body))})"
        case ast.Constant(value):
            yield from _other_values(value)
        case ast.stmt() if inside:
            yield from _other_statements(node)


def _other_values(value: object) -> Iterator[str]:
    """Replacements for a constant."""
    match value:
        case bool():
            yield str(not value)
        case int() | float():
            yield from (repr(value + 1), f"({value - 1!r})")
        case str() if KEY.fullmatch(value):
            yield repr(value + "_x")


def _other_statements(node: ast.stmt) -> Iterator[str]:
    """Replacements for a statement."""
    match node:
        case ast.Expr(ast.Call()) | ast.AugAssign() | ast.Raise() | ast.Delete() | ast.Continue() | ast.Break():
            yield "pass"
        case ast.Assign(targets) if any(not isinstance(target, (ast.Name, ast.Tuple)) for target in targets):
            yield "pass"
        case ast.Return(ast.expr() as value) if not (isinstance(value, ast.Constant) and value.value is None):
            yield "return None"


def _is_union(node: ast.BinOp) -> bool:
    """Whether `|` joins types, as in `int | None`."""
    return isinstance(node.op, ast.BitOr) and any(
        isinstance(side, ast.Constant) and side.value is None for side in (node.left, node.right)
    )
