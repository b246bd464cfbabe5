"""Areas of the service meet only through what an area's `__init__` names."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.house.files import CHECKOUT

PACKAGE = "shimstock_server"
SERVER = CHECKOUT / "server" / PACKAGE
SHARED = {"web", "database"}  # every area uses these, module by module
AREAS = {path.parent.name for path in SERVER.glob("*/__init__.py")} - SHARED
# What the service calls by name: each area's routes, and the operator's command line.
ASSEMBLING = {"app", "worker", "operations"}


def imported(module: Path, tree: ast.Module) -> list[tuple[int, list[str]]]:
    """Return the line and the name, in parts below the package, of each import from the service."""
    package = [PACKAGE, *module.parent.parts]
    found: list[tuple[int, list[str]]] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            start = package[: len(package) - node.level + 1] if node.level else []
            base = [*start, *(node.module.split(".") if node.module else [])]
            found += [(node.lineno, [*base, alias.name]) for alias in node.names]
        elif isinstance(node, ast.Import):
            found += [(node.lineno, alias.name.split(".")) for alias in node.names]
    return [(line, parts[1:]) for line, parts in found if parts[0] == PACKAGE and len(parts) > 1]


def is_reached_past(parts: list[str]) -> bool:
    """Tell whether a name stands in a module of an area, and is not what the area's `__init__` names."""
    area = SERVER / parts[0]
    inside = (area / parts[1]).with_suffix(".py").exists() or (area / parts[1]).is_dir()
    return inside and (len(parts) > 2 or parts[1] not in named_by(parts[0]))


def named_by(area: str) -> set[str]:
    """Return what the `__init__` of an area takes out of its modules."""
    tree = ast.parse((SERVER / area / "__init__.py").read_text())
    froms = [node for node in tree.body if isinstance(node, ast.ImportFrom) and node.module]
    return {alias.asname or alias.name for node in froms for alias in node.names}


def trespasses(module: Path, source: str) -> list[str]:
    """Return the imports that reach into another area past its `__init__`."""
    own = module.parts[0].removesuffix(".py")
    return [
        f"line {line}: {'.'.join(parts)}"
        for line, parts in imported(module, ast.parse(source))
        if parts[0] in AREAS - {own} and len(parts) > 1 and is_reached_past(parts)
    ]


def modules() -> list[Path]:
    """Return the modules of the areas and of what they share."""
    found = sorted(path.relative_to(SERVER) for path in SERVER.rglob("*.py"))
    return [path for path in found if path.parts[0].removesuffix(".py") not in ASSEMBLING]


@pytest.mark.parametrize("module", modules(), ids=str)
def test_no_area_reaches_into_another(module: Path) -> None:
    found = trespasses(module, (SERVER / module).read_text())
    assert not found, f"{module} reaches past the __init__ of another area: {found}"


@pytest.mark.parametrize("module", [path for path in modules() if path.parts[0] in SHARED], ids=str)
def test_what_is_shared_knows_no_area(module: Path) -> None:
    known = [
        parts for _, parts in imported(module, ast.parse((SERVER / module).read_text())) if parts[0] in AREAS
    ]
    assert not known, f"{module} imports {known}"


def test_a_trespass_is_found() -> None:
    here = Path("bench/sheets.py")
    assert trespasses(here, "from shimstock_server.jobs.claims import held") == ["line 1: jobs.claims.held"]
    assert trespasses(here, "from ..jobs import claims") == ["line 1: jobs.claims"]
    assert trespasses(here, "import shimstock_server.jobs.claims") == ["line 1: jobs.claims"]
    assert not trespasses(
        here, "from ..jobs import holder\nfrom .sheets import record\nfrom ..web.fields import Text"
    )
