"""The mutants of a file: each has one change, in a comparison, a condition, a sum, a factor or a constant."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

#: What a comparison is replaced by: its neighbour, and its opposite.
_COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
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
#: What an operator is replaced by.
_OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: the file, its source, the line, what was there and what is there now, and what is around it.

    ``function`` is the name and first line of the outermost function around it, None for what runs at import; ``block``
    the first line of the innermost list of statements; ``names`` are the module's names that take their values from it.
    ``place`` is the number of the expression among those that may be changed, ``change`` that of its change.
    """

    path: Path
    source: str
    line: int
    before: str
    after: str
    function: tuple[str, int] | None
    block: int
    names: frozenset[str]
    place: int
    change: int

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.before}  ->  {self.after}"

    def tree(self) -> ast.Module:
        """Return the changed source."""
        tree = ast.parse(self.source)
        target = list(_changeable(tree, _Around()))[self.place][0]
        _replace(tree, target, list(_changes(target))[self.change])
        return ast.fix_missing_locations(tree)


@dataclass(frozen=True)
class _Around:
    """What is around an expression."""

    function: tuple[str, int] | None = None
    block: int = 0
    names: frozenset[str] = frozenset()

    def within(self, tree: ast.AST, field: str) -> "_Around":
        """Return what is around the values of a field."""
        around = self
        if self.function is None:
            targets = tree.targets if isinstance(tree, ast.Assign) else [getattr(tree, "target", None)]
            names = {name.id for target in targets if target for name in ast.walk(target) if isinstance(name, ast.Name)}
            if isinstance(tree, ast.ClassDef | ast.FunctionDef):
                names = {tree.name}
            around = replace(around, names=self.names | names)
            if isinstance(tree, ast.FunctionDef) and field == "body":
                first = min([tree.lineno, *(decorator.lineno for decorator in tree.decorator_list)])
                around = replace(around, function=(tree.name, first))
        body = getattr(tree, field)
        if around.function is not None and isinstance(body, list) and body and isinstance(body[0], ast.stmt):
            around = replace(around, block=body[0].lineno)
        return around


def mutants(path: Path) -> list[Mutant]:
    """Return every mutant of a file, in the order of its lines."""
    made = []
    source = path.read_text()
    for place, (node, around) in enumerate(_changeable(ast.parse(source), _Around())):
        before = ast.unparse(node)
        for change, after in enumerate(_changes(node)):
            where = (around.function, around.block, around.names)
            made.append(Mutant(path, source, node.lineno, before, ast.unparse(after), *where, place, change))
    return made


def blocks(tree: ast.Module) -> Iterator[list[ast.stmt]]:
    """Yield the lists of statements in functions, for each function its own and those of its branches and loops."""
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef):
            for node in ast.walk(function):
                for _, value in ast.iter_fields(node):
                    if isinstance(value, list) and value and isinstance(value[0], ast.stmt):
                        yield value


def mentions(tree: ast.Module, names: frozenset[str]) -> Iterator[int]:
    """Yield the first lines of the innermost blocks that mention one of these names."""
    for block in blocks(tree):
        for statement in block:
            for node in _of_one_block(statement):
                if (isinstance(node, ast.Name) and node.id in names) or (
                    isinstance(node, ast.Attribute) and node.attr in names
                ):
                    yield block[0].lineno


def _of_one_block(node: ast.AST) -> Iterator[ast.AST]:
    yield node
    for _, value in ast.iter_fields(node):
        if isinstance(value, list) and value and isinstance(value[0], ast.stmt):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _of_one_block(child)


def _changeable(tree: ast.AST, around: _Around) -> Iterator[tuple[ast.expr, _Around]]:
    """Yield the expressions that may be changed, none of annotations, texts and decorators, and what is around them."""
    if isinstance(tree, ast.JoinedStr):
        return
    if isinstance(tree, ast.AnnAssign) and isinstance(tree.annotation, ast.Name) and tree.annotation.id == "TypeAlias":
        return
    for field, value in ast.iter_fields(tree):
        if field in {"annotation", "returns", "decorator_list", "type_params", "bases"}:
            continue
        inside = around.within(tree, field)
        for node in value if isinstance(value, list) else [value]:
            if isinstance(node, ast.expr) and any(True for _ in _changes(node)):
                yield node, inside
            if isinstance(node, ast.AST):
                yield from _changeable(node, inside)


def _changes(node: ast.expr) -> Iterator[ast.expr]:
    """Yield what an expression may be changed to."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        for other in _COMPARISONS[type(node.ops[0])]:
            yield ast.Compare(node.left, [other()], node.comparators)
    elif isinstance(node, ast.BoolOp):
        yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        for left_out in range(len(node.values)):
            kept = [value for place, value in enumerate(node.values) if place != left_out]
            yield kept[0] if len(kept) == 1 else ast.BoolOp(node.op, kept)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield node.operand
    elif (
        isinstance(node, ast.BinOp)
        and type(node.op) in _OPERATORS
        and not isinstance(node.left, ast.Constant | ast.JoinedStr)
    ):
        yield node.left
        yield ast.BinOp(node.left, _OPERATORS[type(node.op)](), node.right)
    elif isinstance(node, ast.IfExp):
        yield ast.IfExp(node.test, node.orelse, node.body)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
        yield ast.Constant(node.value + 1)
        yield ast.Constant(node.value - 1)
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield ast.Constant(not node.value)


def _replace(tree: ast.AST, old: ast.expr, new: ast.expr) -> None:
    for parent in ast.walk(tree):
        for field, value in ast.iter_fields(parent):
            if value is old:
                setattr(parent, field, new)
            elif isinstance(value, list) and any(item is old for item in value):
                setattr(parent, field, [new if item is old else item for item in value])
