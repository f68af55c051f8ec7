"""The small faults that ``tests.mutations`` can put into the product's source, and who would run them."""

import ast
import copy
import functools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

TOP = Path(__file__).parents[1]
PRODUCT = "logger/throwbook"

COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
SUMS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
PAIRS = (("min", "max"), ("minimum", "maximum"), ("floor", "ceil"), ("any", "all"))
CALLS = dict(PAIRS) | {b: a for a, b in PAIRS}
WHOLE = {"range", "round", "islice", "combinations", "zeros", "ones", "arange", "linspace"}
"""Calls that take whole numbers."""
SCOPES = (ast.FunctionDef, ast.AsyncFunctionDef)


@dataclass(frozen=True)
class Fault:
    """One change of the source: ``start`` and ``end`` are bytes of the file."""

    path: str
    line: int
    start: int
    end: int
    old: str
    new: str
    function: str
    """Its qualified name; empty outside of one, and then ``names`` are what is being set."""
    names: tuple[str, ...]
    statement: range
    """Lines of the statement it stands in; of one with a body, its head."""

    @property
    def name(self) -> str:
        """Stays the same when lines move."""
        return f"{self.path} {self.function or '.'.join(self.names)}: {self.old} -> {self.new}"


def changes(node: ast.AST, whole: bool, returns: str) -> Iterator[tuple[Any, str]]:
    """What may be wrong with ``node``: the part of it that is replaced, and by what."""
    match node:
        case ast.Compare():
            for at, op in enumerate(node.ops):
                for other in COMPARISONS[type(op)]:
                    wrong = copy.deepcopy(node)
                    wrong.ops[at] = other()
                    yield node, f"({ast.unparse(wrong)})"
        case ast.BinOp(op=op) if type(op) in SUMS and not any(
            isinstance(part, ast.JoinedStr)
            or (isinstance(part, ast.Constant) and isinstance(part.value, str))
            for part in (node.left, node.right)
        ):
            yield node, f"({ast.unparse(ast.BinOp(node.left, SUMS[type(op)](), node.right))})"
        case ast.BoolOp():
            other_op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            yield node, f"({ast.unparse(ast.BoolOp(other_op, node.values))})"
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            yield node, f"({ast.unparse(node.operand)})"
        case ast.Constant(value=int() | float() as value) if value and not isinstance(value, bool):
            if whole:
                yield node, f"{value + 1}"
            else:
                yield from ((node, f"{value * factor:.12g}") for factor in (1.05, 0.95))
        case ast.Call(func=ast.Name(id=name) | ast.Attribute(attr=name)):
            if name in CALLS:
                yield node.func, ast.unparse(node.func).removesuffix(name) + CALLS[name]
            if name == "Measured" and len(node.args) == 2:
                yield node.args[1], "0.0"
        case ast.keyword(arg=str(name)) if name == "u" or name.endswith("_u"):
            yield node.value, "0.0"
        case ast.Return(value=ast.expr()):
            yield from ((node.value, "0.0") for _ in "0" if "float" in returns)
            yield from ((node.value, "None") for _ in "0" if "None" in returns)
    if isinstance(node, ast.If | ast.IfExp | ast.While):
        if not isinstance(node.test, ast.Compare | ast.UnaryOp):
            yield node.test, f"(not ({ast.unparse(node.test)}))"
        if (
            isinstance(node, ast.If)
            and not node.orelse
            and isinstance(node.body[0], ast.Return | ast.Raise | ast.Continue)
        ):
            yield node.test, "False"


def faults_of(path: str) -> list[Fault]:
    """Every fault that can be put into the file ``path``, in the order of its lines."""
    source = (TOP / path).read_bytes()
    lines = [0]
    for line in source.splitlines(keepends=True):
        lines.append(lines[-1] + len(line))
    made: list[Fault] = []

    def walk(
        node: ast.AST, function: str, names: tuple[str, ...], whole: bool, returns: str, statement: range
    ) -> None:
        if isinstance(node, ast.stmt):
            statement = range(node.lineno, 1 + (_head_end(node) or node.end_lineno))
        if isinstance(node, SCOPES):
            # Values of arguments are reckoned where the function is made, not in it.
            walk(node.args, function, (*names, node.name), whole, "", statement)
            function = f"{function}.<locals>.{node.name}" if function else ".".join([*names, node.name])
            returns = ast.unparse(node.returns) if node.returns else ""
        elif isinstance(node, ast.ClassDef):
            names = (*names, node.name)
        elif isinstance(node, ast.Assign | ast.AnnAssign) and not function:
            names += tuple(sorted(_targets(node)))
        elif isinstance(node, ast.Call):
            whole = whole or ast.unparse(node.func).rpartition(".")[2] in WHOLE
        for part, new in changes(node, whole, returns):
            start = lines[part.lineno - 1] + part.col_offset
            end = lines[part.end_lineno - 1] + part.end_col_offset
            old = ast.unparse(part)
            if old != new:
                made.append(Fault(path, part.lineno, start, end, old, new, function, names, statement))
        for part, value in ast.iter_fields(node):
            if part in ("annotation", "returns", "decorator_list"):
                continue
            if isinstance(node, SCOPES) and part == "args":
                continue
            for child in value if isinstance(value, list) else [value]:
                # Places inside of an f-string aren't those of the file.
                if isinstance(child, ast.AST) and not isinstance(child, ast.JoinedStr):
                    walk(child, function, names, whole or part == "slice", returns, statement)

    walk(ast.parse(source), "", (), False, "", range(0))
    return sorted(set(made), key=lambda fault: (fault.start, fault.end, fault.new))


def _head_end(node: ast.stmt) -> int:
    """Last line of the head of a statement with a body; 0 for one without."""
    match node:
        case ast.Match(cases=[first, *_]):
            return max(node.lineno, first.pattern.lineno - 1)
        case ast.stmt(body=[first, *_]):
            return max(node.lineno, first.lineno - 1)
    return 0


@functools.cache
def places(path: str) -> dict[int, str]:
    """Where each line in a function of the file ``path`` stands: stays the same when other functions grow or shrink.

    As ``path:name`` of the outermost function, ``+`` and the lines from its first.
    """
    found: dict[int, str] = {}

    def walk(node: ast.AST, above: tuple[str, ...]) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, SCOPES):
                name = f"{path}:{'.'.join([*above, child.name])}"
                lines = range(child.lineno, child.end_lineno + 1)
                found.update({line: f"{name}+{line - child.lineno}" for line in lines})
            elif isinstance(child, ast.ClassDef):
                walk(child, (*above, child.name))

    walk(ast.parse((TOP / path).read_bytes()), ())
    return found


@functools.cache
def _names() -> tuple[dict[str, set[str]], list[tuple[set[str], set[str]]]]:
    """Names used by each function of the product; and those set outside of functions, with those they are set from."""
    uses: dict[str, set[str]] = {}
    sets: list[tuple[set[str], set[str]]] = []

    def walk(node: ast.AST, path: str, above: tuple[str, ...]) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, SCOPES):
                uses[f"{path}:{'.'.join([*above, child.name])}"] = _used(child)
            elif isinstance(child, ast.ClassDef):
                walk(child, path, (*above, child.name))
            elif isinstance(child, ast.Assign | ast.AnnAssign):
                sets.append((_targets(child) | set(above), _used(child)))

    for file in (TOP / PRODUCT).rglob("*.py"):
        walk(ast.parse(file.read_bytes()), file.relative_to(TOP).as_posix(), ())
    return uses, sets


def _used(node: ast.AST) -> set[str]:
    return {n.id for n in ast.walk(node) if isinstance(n, ast.Name)} | {
        n.attr for n in ast.walk(node) if isinstance(n, ast.Attribute)
    }


def _targets(node: ast.Assign | ast.AnnAssign) -> set[str]:
    return set().union(*map(_used, node.targets if isinstance(node, ast.Assign) else [node.target]))


def functions_that_use(fault: Fault) -> set[str]:
    """Functions, as ``path:name``, that use what a fault outside of functions sets, or what is set from that; of a value that
    an argument has by default its function too."""
    uses, sets = _names()
    names, before = set(fault.names[-1:]), set[str]()
    while names != before:
        before = set(names)
        names |= {target for targets, sources in sets if sources & names for target in targets}
    own = f"{fault.path}:{'.'.join(fault.names)}"
    return {function for function, used in uses.items() if used & names or function == own}
