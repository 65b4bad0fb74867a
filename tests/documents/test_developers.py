"""What DEVELOPERS.md names exists: files, folders, classes and functions."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FOLDERS = ("fem", "meshes", "validation", "tests", "tools", "cases", "benchmarks", ".github")
FILES = [file for folder in FOLDERS for file in (ROOT / folder).rglob("*") if file.is_file()]
PLACES = [f"/{file.relative_to(ROOT)}" for file in FILES]
CODE = "\n".join(file.read_text(encoding="utf-8") for file in FILES if file.suffix == ".py")

SPANS = sorted(set(re.findall(r"`([^`]+)`", TEXT)))
PATHS = [span for span in SPANS if re.fullmatch(r"[\w./-]+(/|\.(py|js|html|toml|md|lock))", span)]
NAMES = [span for span in SPANS if re.fullmatch(r"[A-Z]\w+|\w+\(\)|[\w/]+\.\w+", span)]


@pytest.mark.parametrize("path", PATHS)
def test_path_exists(path):
    """It may begin at the root, in `fem/`, or in the package that its section is about."""
    found = (place for place in PLACES if f"/{path}" in f"{place}/")
    assert (ROOT / path).exists() or any(path.endswith("/") or f.endswith(path) for f in found)


@pytest.mark.parametrize("name", sorted(set(NAMES) - set(PATHS)))
def test_name_is_defined(name):
    own = re.findall(r"\w+", name)[-1]
    assert re.search(rf"^ *((class|def|type) {own}\b|{own}\b.* = |self\.{own}\b.* = )", CODE, re.M)


def test_table_has_all_packages():
    packages = {file.parent.name for file in (ROOT / "fem").glob("*/__init__.py")}
    rows = re.findall(r"^\| ((?:`\w+/` )+)\|", TEXT, re.MULTILINE)
    assert {name for row in rows for name in re.findall(r"\w+", row)} == packages
