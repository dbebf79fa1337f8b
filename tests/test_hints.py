"""Public functions and methods say the type of every argument and of what they give."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "linkage"
GENERATED = PACKAGE / "motion" / "kernels.py"


def public(tree):
    """Public functions of a file, methods of its public classes and how these are made."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name[0] != "_":
            yield node
        elif isinstance(node, ast.ClassDef) and node.name[0] != "_":
            yield from (method for method in node.body if isinstance(method, ast.FunctionDef)
                        and (method.name[0] != "_" or method.name == "__init__"))


def bare_words(function) -> list[str]:
    each = function.args
    words = [*each.posonlyargs, *each.args, *each.kwonlyargs, *filter(None, [each.vararg,
                                                                             each.kwarg])]
    bare = [word.arg for word in words if word.annotation is None
            and word.arg not in ("self", "cls")]
    return bare + ["return"] * (function.returns is None and function.name != "__init__")


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: path.stem)
def test_public_functions_say_their_types(path):
    if path == GENERATED:
        return
    bare = {function.name: words for function in public(ast.parse(path.read_text("utf-8")))
            if (words := bare_words(function))}
    assert not bare, bare
