"""Where a module uses one of its own names while it is imported, before the name is replaced."""

from __future__ import annotations

import ast
from collections.abc import Iterator

_LATER = (
    ast.FunctionDef,
    ast.AsyncFunctionDef,
    ast.Lambda,
)  # their bodies run when they are called


def early_uses(source: str, name: str) -> tuple[int, ...]:
    """The lines, from 1, of a module's source that read `name` while the module is imported.

    Leaves out what a function does that the module calls meanwhile. Raises SyntaxError.
    """
    return tuple(sorted({node.lineno for node in _reads(ast.parse(source), name)}))


def _reads(tree: ast.AST, name: str) -> Iterator[ast.Name]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Name) and node.id == name and isinstance(node.ctx, ast.Load):
            yield node
        elif not isinstance(node, _LATER):
            yield from _reads(node, name)
