"""What docstrings refer to by a full name exists."""

import ast
import re
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILES = [
    file for folder in ("fem", "meshes", "validation") for file in (ROOT / folder).rglob("*.py")
]
ROLES = r":(?:mod|class|func|meth|attr|data):`~?((?:fem|meshes|validation)\.[\w.]+)`"


def defined(name):
    """Return whether a module, or something that it defines, has this name."""
    module, file, parts = "", ROOT, name.split(".")
    while parts and ((file / parts[0]).is_dir() or (file / f"{parts[0]}.py").exists()):
        file, module = file / parts[0], f"{module}.{parts[0]}".lstrip(".")
        parts.pop(0)
    if not parts:
        return True
    found = import_module(module)
    for part in parts[:-1]:
        found = getattr(found, part)
    return hasattr(found, parts[-1]) or parts[-1] in getattr(found, "__annotations__", {})


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(ROOT)))
def test_targets_exist(file):
    text = file.read_text(encoding="utf-8")
    assert ast.get_docstring(ast.parse(text)), "a module says what it is for"
    assert not [name for name in re.findall(ROLES, text) if not defined(name)]
