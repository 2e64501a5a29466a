"""What can go wrong in code: for mutation testing, every small fault of a module, and how it gets into its tree."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

BETWEEN = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
OPPOSITE = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
OTHER = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult, ast.Pow: ast.Mult, ast.MatMult: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
PAIRS = (("min", "max"), ("minimum", "maximum"), ("floor", "ceil"), ("sin", "cos"), ("any", "all"), ("real", "imag"))
NAMES = {a: b for one, two in PAIRS for a, b in ((one, two), (two, one))}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One fault: where it sits, what it is, and how it gets into the tree."""

    module: str
    path: Path
    line: int
    first: int  # line of the statement around it
    lines: tuple[int, int]  # of the function around it, or of the module
    what: str
    inside: bool  # a function
    apply: Callable[[], None]

    def text(self) -> str:
        return self.path.read_text("utf-8").splitlines()[self.line - 1].strip()

    def key(self) -> str:
        return f"{self.path.name} | {self.text()} | {self.what}"


def faults(node: ast.AST) -> Iterator[tuple[str, Callable[[], None]]]:
    """Yield what can go wrong at one node."""
    match node:
        case ast.Compare():
            for k, operator in enumerate(node.ops):
                sides = (node.left if k == 0 else node.comparators[k - 1], node.comparators[k])
                kinds = [OPPOSITE]
                if type(operator) in BETWEEN and any(isinstance(side, ast.Constant) for side in sides):
                    kinds.append(BETWEEN)  # between two measured values, "or equal" says nothing
                for kind in kinds:
                    new = kind[type(operator)]
                    name = f"{type(operator).__name__} -> {new.__name__}"
                    yield name, lambda k=k, new=new: node.ops.__setitem__(k, new())
        case ast.BinOp() | ast.AugAssign() if type(node.op) in OTHER:
            if not (isinstance(node, ast.BinOp) and isinstance(node.left, ast.Constant | ast.JoinedStr)
                    and isinstance(getattr(node.left, "value", ""), str)):  # fmt: skip
                new = OTHER[type(node.op)]
                yield f"{type(node.op).__name__} -> {new.__name__}", lambda: setattr(node, "op", new())
        case ast.Constant(value=bool()):
            yield f"{node.value} -> {not node.value}", lambda: setattr(node, "value", not node.value)
        case ast.Constant(value=int() | float() | complex()) if not 0 < abs(node.value) < 1e-5:  # a guard of rounding
            old = node.value
            nudged = old + 1 if isinstance(old, int) else old * 1.1 or 1.0
            yield f"{old} -> {nudged:g}", lambda: setattr(node, "value", nudged)
        case ast.BoolOp():
            new = ast.Or if isinstance(node.op, ast.And) else ast.And
            yield f"{type(node.op).__name__} -> {new.__name__}", lambda: setattr(node, "op", new())
        case ast.Call(func=ast.Name(id=name) | ast.Attribute(attr=name)) if name in NAMES:
            field = "id" if isinstance(node.func, ast.Name) else "attr"
            yield f"{name} -> {NAMES[name]}", lambda: setattr(node.func, field, NAMES[name])
        case ast.Attribute(attr=name, ctx=ast.Load()) if name in ("real", "imag"):
            yield f"{name} -> {NAMES[name]}", lambda: setattr(node, "attr", NAMES[name])
        case ast.Return(value=value) if value is not None and not (
            isinstance(value, ast.Constant) and value.value is None
        ):
            yield "return None", lambda: setattr(node, "value", ast.Constant(None))
    if isinstance(node, ast.If | ast.IfExp | ast.While) and not isinstance(node.test, ast.Compare | ast.BoolOp):
        yield "condition turned", lambda: setattr(node, "test", ast.UnaryOp(ast.Not(), node.test))


def replacements(node: ast.AST) -> Iterator[tuple[str, ast.AST, ast.AST]]:
    """Yield what a child of a node may be replaced with: signs, nots and `abs` that get lost, statements deleted."""
    for child in ast.iter_child_nodes(node):
        match child:
            case ast.UnaryOp(op=ast.USub() | ast.Not() | ast.Invert()):
                yield f"{type(child.op).__name__} dropped", child, child.operand
            case ast.Call(func=ast.Name(id="abs") | ast.Attribute(attr="abs"), args=[argument]):
                yield "abs dropped", child, argument
            case ast.Expr(value=ast.Call()) | ast.AugAssign() | ast.Raise():
                yield "statement deleted", child, ast.Pass()
            case ast.Continue():
                yield "continue -> break", child, ast.Break()
            case ast.Break():
                yield "break -> continue", child, ast.Continue()


def swap(parent: ast.AST, old: ast.AST, new: ast.AST) -> None:
    """Put one node in the place of another."""
    ast.copy_location(new, old)
    for field, value in ast.iter_fields(parent):
        if value is old:
            setattr(parent, field, new)
        elif isinstance(value, list) and old in value:
            value[value.index(old)] = new


def mutants_of(path: Path, source: Path) -> tuple[ast.Module, list[Mutant]]:
    """Return the tree of a module under `source`, and all its mutants in the order of the text."""
    tree = ast.parse(path.read_text("utf-8"))
    module = ".".join(path.relative_to(source).with_suffix("").parts).removesuffix(".__init__")
    found: list[Mutant] = []

    def walk(node: ast.AST, first: int, lines: tuple[int, int], inside: bool) -> None:
        for what, parent, apply in [
            *((what, node, apply) for what, apply in faults(node)),
            *((what, old, lambda o=old, n=new: swap(node, o, n)) for what, old, new in replacements(node)),
        ]:
            line = getattr(parent, "lineno", first)
            statement = line if isinstance(parent, ast.stmt) else first
            found.append(Mutant(module, path, line, statement, lines, what, inside, apply))
        for field, value in ast.iter_fields(node):
            # What a type says, how a class is made, the words of a complaint and `strict` are no behaviour to test.
            if field in ("annotation", "returns", "decorator_list") or isinstance(node, ast.Raise):
                continue
            if isinstance(node, ast.keyword) and node.arg == "strict":
                continue
            for child in value if isinstance(value, list) else [value]:
                if not isinstance(child, ast.AST):
                    continue
                within = lines, inside
                if isinstance(child, ast.FunctionDef) and not inside:
                    within = (child.lineno, child.end_lineno or child.lineno), True
                walk(child, child.lineno if isinstance(child, ast.stmt) else first, *within)

    walk(tree, 1, (1, len(path.read_text("utf-8").splitlines())), False)
    return tree, found
