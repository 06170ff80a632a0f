"""What a fault is, where one can be planted, and a random sample of them.

A fault changes one node of one module.  Texts, annotations, decorators, what is logged, the words
of an error and `__all__` are left alone, and so is what only type checkers read.
"""

from __future__ import annotations

import ast
import copy
import random
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

MOST_OF_A_FILE: Final = 4
"""So that a long table of numbers does not fill the sample."""

UNCHANGED_CALLS: Final = frozenset({"tr", "tr_n", "later", "cast", "TypeVar", "isinstance"})
"""Sentences, and what any call would fail at; what they are given is changed all the same."""
SILENT: Final = frozenset({"logging", "logger", "log", "warnings"})
# fmt: off
TURNED: Final = {
    "Lt": "LtE GtE", "LtE": "Lt Gt", "Gt": "GtE LtE", "GtE": "Gt Lt", "Eq": "NotEq", "NotEq": "Eq",
    "Is": "IsNot", "IsNot": "Is", "In": "NotIn", "NotIn": "In", "And": "Or", "Or": "And",
    "Add": "Sub", "Sub": "Add", "Mult": "Div", "Div": "Mult", "FloorDiv": "Mult", "Mod": "FloorDiv",
    "Pow": "Mult", "LShift": "RShift", "RShift": "LShift", "BitAnd": "BitOr", "BitOr": "BitAnd",
    "BitXor": "BitOr",
}
"""What may stand in the place of an operator, by `ast`'s names."""
# fmt: on
_PAIRS: Final = ("min max", "minimum maximum", "argmin argmax", "any all", "floor ceil")
SWAPPED: Final = {a: b for pair in map(str.split, _PAIRS) for a, b in (pair, pair[::-1])}
SWAPPED.update(sin="cos", cos="sin", mean="median", median="mean", hypot="maximum")
DROPPED: Final = frozenset({"abs", "sorted", "reversed", "round", "sqrt", "exp", "log"})
"""Functions in whose place the one thing that they are given can stand."""


@dataclass(frozen=True)
class Fault:
    """`before`, which are the bytes from `start` to `end` of a file, became `after`."""

    file: str
    line: int
    last_line: int
    start: int
    end: int
    kind: str
    before: str
    after: str

    def planted(self, source: bytes) -> bytes:
        """The file with the fault in it; ValueError where the file is another."""
        if source[self.start : self.end] != self.before.encode():
            raise ValueError(f"{self.file} is not the file that the fault was drawn from")
        return source[: self.start] + self.after.encode() + source[self.end :]


def faults(file: str, source: str) -> list[list[Fault]]:
    """For every node that can be changed, the ways to change it."""
    return [[_fault(file, source, way) for way in ways] for ways in _sites(source)]


def drawn(sources: Mapping[str, str], count: int, seed: int) -> list[Fault]:
    """Each node is as likely as any other, and so is each way to change it; four a file at most."""
    chance = random.Random(seed)
    every = [(file, ways) for file in sorted(sources) for ways in _sites(sources[file])]
    chance.shuffle(every)
    of_file: Counter[str] = Counter()
    sample: list[Fault] = []
    for file, ways in every:
        if len(sample) < count and of_file[file] < MOST_OF_A_FILE:
            of_file[file] += 1
            sample.append(_fault(file, sources[file], chance.choice(ways)))
    return sample


Way = tuple[str, Any, ast.AST | None]
"""The kind, the part that goes, and what comes in its place; None leaves nothing."""


def _sites(source: str) -> Iterator[list[Way]]:
    for node in _nodes(ast.parse(source)):
        ways = [(kind, part, new) for kind, part, new in _changes(node) if not _same(part, new)]
        if ways:
            yield ways


def _same(part: ast.AST, new: ast.AST | None) -> bool:
    """Two arguments, or two sides, may be the same."""
    return type(part) is type(new) and ast.dump(part) == ast.dump(new)


def _fault(file: str, source: str, way: Way) -> Fault:
    kind, part, new = way
    lines = source.encode().splitlines(keepends=True)
    start = len(b"".join(lines[: part.lineno - 1])) + part.col_offset
    end = len(b"".join(lines[: part.end_lineno - 1])) + part.end_col_offset
    after = "pass" if new is None else ast.unparse(new)
    if isinstance(new, ast.expr):
        after = f"({after})"  # whatever stands round it
    before = source.encode()[start:end].decode()
    return Fault(file, part.lineno, part.end_lineno, start, end, kind, before, after)


def _nodes(node: ast.AST) -> Iterator[ast.AST]:
    """Every node that may be changed, from the top down."""
    yield node
    for name, value in ast.iter_fields(node):
        if name not in ("annotation", "returns", "decorator_list"):
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST) and not _left_alone(child):
                    yield from _nodes(child)


def _left_alone(node: ast.AST) -> bool:
    match node:
        case ast.JoinedStr():
            return True
        case ast.If():
            return "TYPE_CHECKING" in ast.unparse(node.test)
        case ast.Assign(targets=[target]) | ast.AnnAssign(target=target):
            return ast.unparse(target) in ("__all__", "__slots__")
        case ast.Expr():
            return ast.unparse(node).partition(".")[0] in SILENT
    return False


def _changes(node: ast.AST) -> Iterator[Way]:
    match node:
        case ast.Compare():
            for at, each in enumerate(node.ops):
                for other in _turned(each):
                    ops = [*node.ops[:at], other, *node.ops[at + 1 :]]
                    yield "comparison", node, _with(node, ops=ops)
        case ast.BinOp() | ast.BoolOp() | ast.AugAssign():
            for other in _turned(node.op):
                yield "operator", node, _with(node, op=other)
    match node:
        case ast.BinOp(op=ast.Sub() | ast.Div() | ast.MatMult() | ast.Pow()):
            yield "sides swapped", node, _with(node, left=node.right, right=node.left)
        case ast.BoolOp():
            for at in range(len(node.values)):
                rest = node.values[:at] + node.values[at + 1 :]
                yield "less asked", node, rest[0] if len(rest) == 1 else _with(node, values=rest)
        case ast.UnaryOp(op=ast.USub() | ast.Not() | ast.Invert()):
            yield "sign dropped", node, node.operand
        case ast.Constant(value=bool(value)):
            yield "constant", node, ast.Constant(not value)
        case ast.Constant(value=int(value)):
            for by in (1, -1):
                yield "constant", node, ast.Constant(value + by)
        case ast.Constant(value=float(value)):
            for part in (1.25, 0.8):
                yield "constant", node, ast.Constant(value * part if value else part)
        case ast.If(test=test) | ast.IfExp(test=test) | ast.While(test=test):
            yield "negated", test, ast.UnaryOp(ast.Not(), test)
            yield "forced", test, ast.Constant(False)
            if not isinstance(node, ast.While):
                yield "forced", test, ast.Constant(True)
        case ast.comprehension():
            for test in node.ifs:
                yield "negated", test, ast.UnaryOp(ast.Not(), test)
                yield "forced", test, ast.Constant(True)
        case ast.Break() | ast.Continue():
            yield "loop", node, ast.Continue() if isinstance(node, ast.Break) else ast.Break()
            yield "dropped", node, None
        case (
            ast.AugAssign()
            | ast.Raise()
            | ast.Expr(value=ast.Call())
            | ast.Assign(targets=[ast.Subscript() | ast.Attribute()])
        ):
            yield "dropped", node, None
        case ast.Call():
            for kind, new in _calls(node):
                yield kind, node, new


def _calls(node: ast.Call) -> Iterator[tuple[str, ast.AST]]:
    field = "attr" if isinstance(node.func, ast.Attribute) else "id"
    name = getattr(node.func, field, "")
    if name in UNCHANGED_CALLS:
        return
    if name in SWAPPED:
        yield "other function", _with(node, func=_with(node.func, **{field: SWAPPED[name]}))
    if name in DROPPED and len(node.args) == 1 and not isinstance(node.args[0], ast.GeneratorExp):
        yield "function dropped", node.args[0]
    for at, (one, two) in enumerate(pairwise(node.args)):
        if not isinstance(one, ast.Starred) and not isinstance(two, ast.Starred):
            args = [*node.args[:at], two, one, *node.args[at + 2 :]]
            yield "arguments swapped", _with(node, args=args)
    for at, given in enumerate(node.keywords):
        if given.arg is not None:
            yield (
                "argument dropped",
                _with(node, keywords=[*node.keywords[:at], *node.keywords[at + 1 :]]),
            )


def _turned(operator: ast.AST) -> Iterator[ast.AST]:
    for name in TURNED.get(type(operator).__name__, "").split():
        yield getattr(ast, name)()


def _with(node: ast.AST, **fields: Any) -> Any:
    new = copy.copy(node)
    for name, value in fields.items():
        setattr(new, name, value)
    return new
