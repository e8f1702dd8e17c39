"""All changes of a module that are worth trying, by the operators of cosmic-ray."""

import difflib
import re
from dataclasses import dataclass
from typing import Any

import cosmic_ray.plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import MutationVisitor, mutate_code

# What is left out: of each operator all but one other, since tests that notice one notice them all; the | of
# types, and decorators, which do nothing in plain Python.
_IDLE = re.compile(
    r"core/ReplaceBinaryOperator_(?!(Add_Sub|Sub_Add|Mul_Div|Div_Mul|Pow_Mul)$)"
    r"|core/ReplaceComparisonOperator_(?!(Lt_LtE|LtE_Lt|Gt_GtE|GtE_Gt|Lt_GtE|LtE_Gt|Gt_LtE|GtE_Lt)$)(?!Eq_NotEq$)"
    r"|core/ReplaceUnaryOperator_(?!USub_UAdd$|Delete_)"
    r"|core/RemoveDecorator"
)


@dataclass(frozen=True)
class Change:
    """One change of a module: the n-th place, ``occurrence``, at which an ``operator`` can be used."""

    line: int
    column: int
    operator: str
    occurrence: int

    @property
    def key(self) -> str:
        """What it is called in a session."""
        return f"{self.operator}:{self.occurrence}"


def changes_of(source: str) -> list[Change]:
    """All changes of a module's ``source``, from its first line to its last."""
    nodes = list(ast_nodes(get_ast(source)))
    found = []
    for name in cosmic_ray.plugins.operator_names():
        operator = cosmic_ray.plugins.get_operator(name)
        if _IDLE.match(name) or operator.arguments():
            continue
        places = (start for node in nodes for start, _ in operator().mutation_positions(node))
        found += [Change(*start, name, number) for number, start in enumerate(places)]
    return sorted(found, key=lambda one: (one.line, one.column, one.operator))


def changed_source(tree: Any, change: Change) -> str:
    """The source with a ``change``; ``tree``, as ``get_ast`` gives it, is of no use after that."""
    visitor = MutationVisitor(change.occurrence, _operator(change))
    changed: str = visitor.walk(tree).get_code()
    return changed


def changed_rows(source: str, change: Change) -> list[str]:
    """The lines that a ``change`` takes out of ``source``, with a - in front, and puts in, with a +."""
    changed = mutate_code(source, _operator(change), change.occurrence)
    rows = difflib.unified_diff(source.splitlines(), changed.splitlines(), n=0, lineterm="")
    return [row for row in rows if row[:1] in "+-" and row[:3] not in ("+++", "---")]


def _operator(change: Change) -> Any:
    return cosmic_ray.plugins.get_operator(change.operator)()
