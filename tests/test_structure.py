"""The folder is the architecture: imports go one way, heavy libraries stay behind their doors, no maker is named."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Collection, Iterator
from functools import cache
from pathlib import Path

import pytest

from dimmplan.sources import SOURCES

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "dimmplan"

LEVELS = {
    "bounded": 0,
    "errors": 0,
    "units": 0,
    "sources": 0,
    "model": 1,
    "docs": 1,
    "rates": 2,
    "rules": 2,
    "boardfile": 3,
    "inventory": 3,
    "interleave": 3,
    "figures": 3,
    "solve": 4,
    "planner": 5,
    "audit": 5,
    "moves": 5,
    "locate": 5,
    "compare": 5,
    "stock": 5,
    "growth": 5,
    "fleet": 5,
    "supply": 5,
    "tables": 5,
    "reasons": 5,
    "plancode": 6,
    "wording": 6,
    "sheet": 7,
    "output": 8,
    "page": 8,
    "cli": 9,
    "__main__": 9,
    "": 9,
}
"""Level of each part of the package; ``""`` is the package itself, which offers names of all levels."""

APART = [
    # these never import those
    ("inventory", "solve"),
    ("solve", "inventory"),
    ("audit", "solve"),
    ("sheet", "solve"),
    ("sheet", "planner"),
    ("sheet", "reasons"),
]
DOORS = {
    # a library, and the only modules that may import it
    "networkx": ("moves",),  # modules that move
    "jinja2": ("page.render",),
    "matplotlib": ("output.compare_chart",),
    "cairocffi": ("output.raster",),
    "typer": ("cli",),
    "click": ("cli",),
    "rich": ("cli.terminal",),
}


def modules() -> list[str]:
    """Every module of the package by its name within it; the package itself is ``""``."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = list(path.relative_to(PACKAGE).with_suffix("").parts)
        found.append(".".join(parts[:-1] if parts[-1] == "__init__" else parts))
    return found


MODULES = modules()


@cache
def imports_of(module: str) -> frozenset[str]:
    """Everything that a module imports, at the top, in functions and for type checking alike, by full names."""
    folder = PACKAGE.joinpath(*module.split(".")) if module else PACKAGE
    path = folder / "__init__.py" if folder.is_dir() else folder.with_suffix(".py")
    package = f"dimmplan.{module}".rstrip(".") if folder.is_dir() else f"dimmplan.{module}".rpartition(".")[0]
    return imported(ast.parse(path.read_text(encoding="utf-8")), package, MODULES)


def imported(tree: ast.Module, package: str, modules: Collection[str]) -> frozenset[str]:
    """What a module of ``package`` imports; ``modules`` are those that there are, by their names within the whole."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, *([base] if base else [])])
            found |= {deepest(base, alias.name, modules) for alias in node.names}
    return frozenset(found)


def deepest(base: str, name: str, modules: Collection[str]) -> str:
    """``from base import name``: the module that this names, which may be ``base.name`` or ``base``."""
    inner = f"{base}.{name}".removeprefix("dimmplan.")
    return f"{base}.{name}" if inner in modules else base


def own_imports(module: str) -> Iterator[str]:
    """The modules of the package that a module imports, by their names within it."""
    for name in sorted(imports_of(module)):
        if name == "dimmplan" or name.startswith("dimmplan."):
            yield name.removeprefix("dimmplan").removeprefix(".")


def part(module: str) -> str:
    """The folder or file of the package that a module belongs to."""
    return module.partition(".")[0]


def test_every_module_has_a_level() -> None:
    """A new folder or file of the package is given a level here before anything else."""
    assert {part(module) for module in MODULES} <= set(LEVELS)
    assert len(MODULES) > 40


@pytest.mark.parametrize("module", MODULES)
def test_no_import_goes_up(module: str) -> None:
    """A module imports from its own level or below, in functions and for type checking too."""
    for name in own_imports(module):
        assert name in MODULES, f"{module} imports {name}, which is not there"
        assert LEVELS[part(name)] <= LEVELS[part(module)], f"{module} imports {name}, which is above it"


def test_the_imports_are_read() -> None:
    """The reader of imports sees plain ones, those in functions, and those for type checking alone."""
    assert "solve.answer" in set(own_imports("planner"))
    assert "boardfile.read" in set(own_imports("cli.plan"))  # in a function
    assert "planner" in set(own_imports(""))  # for type checking
    assert "model.board" in set(own_imports("interleave"))


def test_no_import_goes_in_a_circle() -> None:
    """The modules can be put into one order in which each imports only what stands before it."""
    left = {module: {name for name in own_imports(module) if name != module} for module in MODULES}
    left.pop("")  # the package's own names are loaded when they are first used
    while left:
        free = [module for module, needs in left.items() if not needs & set(left)]
        assert free, f"a circle among {sorted(left)}"
        for module in free:
            del left[module]


@pytest.mark.parametrize(("these", "those"), APART)
def test_some_parts_never_meet(these: str, those: str) -> None:
    """Readers know nothing of the search and the search nothing of readers; audit and sheet never choose."""
    for module in MODULES:
        if part(module) == these:
            assert not any(f"{name}.".startswith(f"{those}.") for name in own_imports(module)), module


def test_the_svg_writer_knows_only_shapes() -> None:
    """``output/svg.py`` imports nothing of the package but the shapes and letters of the sheet."""
    assert set(own_imports("output.svg")) == {"sheet.letters", "sheet.shapes"}


@pytest.mark.parametrize("library", DOORS)
def test_heavy_libraries_have_one_door(library: str) -> None:
    """Each heavy library is imported behind its one door only."""
    for module in MODULES:
        if any(name == library or name.startswith(f"{library}.") for name in imports_of(module)):
            assert any(module == door or module.startswith(f"{door}.") for door in DOORS[library]), module


def test_the_page_for_contributors_names_files_that_are_there() -> None:
    """Every file and folder that DEVELOPERS.md names exists."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`([a-z_/-]+/(?:[a-zA-Z_-]+\.[a-z]+)?|[a-z_]+\.py)`", text)
    assert len(named) > 50
    assert [name for name in named if not (ROOT / name).exists() and not (PACKAGE / name).exists()] == []


# What a fresh interpreter loads


def loaded_by(code: str) -> set[str]:
    """The modules that a fresh interpreter has loaded after some code, which must not fail."""
    report = "import sys; print(*sorted(sys.modules), file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{report}"], capture_output=True, text=True, cwd=ROOT, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    return set(done.stderr.split())


HEAVY = {"typer", "networkx", "cairocffi", "pydantic", "click", "rich"}


def test_importing_the_package_is_light() -> None:
    """``import dimmplan`` loads none of the heavy libraries; its public names are still there."""
    assert loaded_by("import dimmplan") & HEAVY == set()
    names = loaded_by("import dimmplan\nfor name in dimmplan.__all__: getattr(dimmplan, name)")
    assert "pydantic" in names
    assert "typer" not in names


def test_planning_is_light() -> None:
    """``plan --json`` loads neither what draws nor any other command."""
    call = "run(['plan', 'skerry-16', '--capacity', '384GiB', '--json'])"
    found = loaded_by(f"from dimmplan.cli.run import run\nassert {call} == 0")
    assert found & {"networkx", "cairosvg", "rich", "jinja2", "matplotlib", "ortools", "segno"} == set()
    assert not found & {f"dimmplan.cli.{name}" for name in ("boards", "compare", "why", "rules")}


def test_help_is_light() -> None:
    """``--help`` does not even load the model."""
    found = loaded_by("from dimmplan.cli.run import run\nassert run(['--help']) == 0")
    assert not {name for name in found if name.startswith(("dimmplan.model", "dimmplan.output", "dimmplan.solve"))}


# Names

NO_MAKERS = {
    "CXL",
    "Consortium",
    # bodies that make standards, projects, people's initials, and ordinary words of the publishers' names
    "ANSI",
    "Association",
    "ESD",
    "IEC",
    "ISO",
    "JEDEC",
    "Instruments",
    "Learn",
    "Linux",
    "W3C",
    "kernel",
    "org",
}
READ = (".py", ".toml", ".md", ".cfg", ".txt", ".yml", ".yaml", ".json", ".csv", ".svg", "")


def maker_words() -> set[str]:
    """The words of the publishers in the project's own source list that name a maker, and ids made of them."""
    words = {word for source in SOURCES.values() for word in re.findall(r"[\w-]{3,}", source.publisher)}
    words |= {piece for word in words for piece in word.split("-") if len(piece) > 3}
    return words - NO_MAKERS | {source.formerly for source in SOURCES.values() if source.id.startswith("guide")}


def project_files() -> Iterator[Path]:
    """The files of the project that people read: code, tests, boards, documents."""
    for folder in ("dimmplan", "boards", "tests", "docs", ".ci"):
        for path in sorted((ROOT / folder).rglob("*")):
            if path.is_file() and path.suffix in READ and "__pycache__" not in path.parts:
                yield path
    yield from (path for path in sorted(ROOT.iterdir()) if path.is_file() and path.suffix in READ)


def test_no_maker_is_named_outside_the_source_list() -> None:
    """The publishers' names stand in ``sources.py`` alone: everywhere else a source is cited by its id."""
    words = maker_words()
    assert len(words) > 8
    pattern = re.compile(rf"(?<![\w-])(?:{'|'.join(map(re.escape, sorted(words)))})(?![\w-])", re.IGNORECASE)
    assert pattern.search((PACKAGE / "sources.py").read_text(encoding="utf-8"))
    named = []
    for path in project_files():
        if path == PACKAGE / "sources.py":
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        named += [f"{path.relative_to(ROOT)}: {match[0]}" for match in pattern.finditer(text)]
    assert named == []


def test_every_cited_source_resolves() -> None:
    """Every source id that a shipped board cites is in the list."""
    for path in sorted((ROOT / "boards").glob("*.toml")):
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
        rows = [*raw.get("rules", []), *raw["rates"], *raw.get("processors", []), raw["electrical"]["interleave"]]
        assert {row["source"] for row in rows} <= {*SOURCES, *raw.get("sources", {})}, path.name
