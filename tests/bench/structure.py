"""The shape of the code: modules, lines, the longest functions, imports that go up, names on the public surface.

Run: python -m tests.bench structure [-- FOLDER]

``FOLDER`` is another checkout, to set beside this one. Lines are all lines of the package's files.
"""

from __future__ import annotations

import argparse
import ast
import statistics
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from tests.test_structure import LEVELS, ROOT, imported, part

LONG_FUNCTION, LONG_MODULE = 50, 400


class Function(NamedTuple):
    """One function or method: its lines, those of its options left out."""

    lines: int
    name: str


def functions(tree: ast.Module, module: str) -> Iterator[Function]:
    """Every function of a module, from the first line of its body to its last."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            yield Function((node.end_lineno or 0) - node.body[0].lineno + 1, f"{module}.{node.name}")


def imports_up(trees: dict[str, ast.Module], module: str) -> Iterator[str]:
    """Modules of the package that stand above this one and are imported by it, in functions too."""
    package = f"dimmplan.{module}".rpartition(".")[0]
    for name in sorted(imported(trees[module], package, trees)):
        top = part(name.removeprefix("dimmplan.")) if name.startswith("dimmplan.") else ""
        if top and LEVELS.get(top, 0) > LEVELS.get(part(module), 9):
            yield f"{module} -> {top}"


def public_names(tree: ast.Module) -> int:
    """Functions, classes and values of a module that others may use."""
    names: set[str] = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign):
            names |= {target.id for target in node.targets if isinstance(target, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names.add(node.target.id)
    return sum(not name.startswith("_") for name in names)


def offered(package: Path) -> int:
    """Names that ``import dimmplan`` offers."""
    for node in ast.parse((package / "__init__.py").read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__":
            return len(ast.literal_eval(node.value))
    return 0


def main(argv: Sequence[str] = ()) -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench structure --",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("folder", type=Path, nargs="?", default=ROOT)
    package = parser.parse_args(argv).folder / "dimmplan"
    paths = {
        ".".join(path.relative_to(package).with_suffix("").parts).removesuffix("__init__").rstrip("."): path
        for path in sorted(package.rglob("*.py"))
    }
    texts = {module: path.read_text(encoding="utf-8") for module, path in paths.items()}
    trees = {module: ast.parse(text) for module, text in texts.items()}
    lines = {module: len(text.splitlines()) for module, text in texts.items() if text.strip()}
    longest = sorted((each for module, tree in trees.items() for each in functions(tree, module)), reverse=True)
    up = [each for module in trees for each in imports_up(trees, module)]
    rows = {
        "modules": len(lines),
        "lines": sum(lines.values()),
        "median lines of a module": int(statistics.median(lines.values())),
        f"modules above {LONG_MODULE} lines": listed(lines, LONG_MODULE),
        "functions": len(longest),
        f"functions above {LONG_FUNCTION} lines": listed({f.name: f.lines for f in longest}, LONG_FUNCTION),
        "longest functions": ", ".join(f"{name} {count}" for count, name in longest[:5]),
        "imports that go up": ", ".join(up) or 0,
        "public names of a module, median": statistics.median(public_names(tree) for tree in trees.values()),
        "names that the package offers": offered(package),
    }
    for name, value in rows.items():
        print(f"{name:<36} {value}")  # noqa: T201
    return 0


def listed(lengths: dict[str, int], above: int) -> str:
    """How many are longer, and which."""
    long = sorted(((count, name) for name, count in lengths.items() if count > above), reverse=True)
    return f"{len(long)}{': ' if long else ''}{', '.join(f'{name} {count}' for count, name in long[:8])}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
