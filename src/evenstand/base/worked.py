"""`@worked`: a formula stands beside its function as text, is tested against it, and any page can show the working."""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, ParamSpec, TypeVar

from evenstand.base.units import rounded

P = ParamSpec("P")
R = TypeVar("R")

_FUNCTIONS: dict[str, Callable[..., float]] = {
    "sqrt": math.sqrt, "exp": math.exp, "log": math.log, "log10": math.log10, "sin": math.sin, "cos": math.cos,
    "tan": math.tan, "asin": math.asin, "acos": math.acos, "atan": math.atan, "min": min, "max": max, "abs": abs,
}  # fmt: skip
_CONSTANTS = {"pi": math.pi}
_OPERATORS: dict[type[ast.AST], Callable[[Any, Any], Any]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
    ast.Pow: lambda a, b: a**b,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """What `@worked` attaches: the expression in the parameter names, its source key and the place in it."""

    name: str
    formula: str
    source: str
    where: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """One calculation laid open: formula, inputs, the formula with numbers in it, the result, and the source."""

    name: str
    formula: str
    inputs: tuple[tuple[str, float | str], ...]
    substituted: str
    result: float
    source: str
    where: str


WORKED: dict[str, tuple[Callable[..., Any], Worked]] = {}


def worked(*, formula: str, source: str, where: str = "") -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Attach a formula to a scalar function and list it in `WORKED`.

    Parameters
    ----------
    formula : str
        An arithmetic expression in the function's parameter names. [-]
    source : str
        Key in `reference/sources.toml`, or 'definition' for an identity. [-]
    where : str
        Page, table or equation in the source. [-]
    """
    ast.parse(formula, mode="eval")

    def attach(function: Callable[P, R]) -> Callable[P, R]:
        note = Worked(name=function.__name__, formula=formula, source=source, where=where)
        WORKED[f"{function.__module__}.{function.__name__}"] = (function, note)
        function.worked = note  # type: ignore[attr-defined]
        return function

    return attach


def evaluate(formula: str, values: Mapping[str, float]) -> float:
    """The value of an arithmetic expression; only numbers, names, + - * / **, and a few functions are allowed.

    Raises
    ------
    ValueError
        If the expression holds anything else.
    """

    def walk(node: ast.AST) -> float:
        if isinstance(node, ast.Expression):
            return walk(node.body)
        if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
            return node.value
        if isinstance(node, ast.Name):
            return values[node.id] if node.id in values else _CONSTANTS[node.id]
        if isinstance(node, ast.BinOp) and type(node.op) in _OPERATORS:
            return float(_OPERATORS[type(node.op)](walk(node.left), walk(node.right)))
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            return -walk(node.operand)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _FUNCTIONS:
            return float(_FUNCTIONS[node.func.id](*(walk(a) for a in node.args)))
        raise ValueError(f"not allowed in a formula: {ast.dump(node)}")

    return walk(ast.parse(formula, mode="eval"))


def working(function: Callable[..., float], **values: float | str) -> Working:
    """Call a worked function and lay the calculation open.

    Returns
    -------
    Working
        With the numbers set into the formula in place of the names. [function's own units]
    """
    note: Worked = function.worked  # type: ignore[attr-defined]
    result = float(function(**values))
    names = {n.id for n in ast.walk(ast.parse(note.formula, mode="eval")) if isinstance(n, ast.Name)}

    class _Fill(ast.NodeTransformer):
        def visit_Name(self, node: ast.Name) -> ast.AST:
            value = values.get(node.id)
            if not isinstance(value, int | float):
                return node
            text = rounded(float(value), None if abs(value) >= 0.001 or value == 0 else 6)
            return ast.copy_location(ast.Name(id=text.replace("\u202f", ""), ctx=ast.Load()), node)

    filled = ast.unparse(_Fill().visit(ast.parse(note.formula, mode="eval")))
    return Working(
        name=note.name,
        formula=note.formula,
        inputs=tuple((k, v) for k, v in values.items() if k in names or not isinstance(v, int | float)),
        substituted=filled,
        result=result,
        source=note.source,
        where=note.where,
    )
