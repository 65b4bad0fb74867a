"""environment.yml has every package that pyproject.toml requires."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]

OTHER_NAMES = {
    "dolfinx-solver-real": "fenics-dolfinx",
    "gmsh": "python-gmsh",
    "matplotlib": "matplotlib-base",
}
"""Packages that conda-forge has under another name."""

LEFT_OUT = {"distributed", "felupe", "imageio-ffmpeg"}
"""Packages of optional extras that environment.yml does not have."""


def name_of(requirement: str) -> str:
    return re.split(r"[ <>=!~\[]", requirement, maxsplit=1)[0]


def required() -> set[str]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    groups = [project["dependencies"], *project["optional-dependencies"].values()]
    return {name_of(line) for group in groups for line in group}


def test_environment_has_what_the_project_requires():
    listed = (ROOT / "environment.yml").read_text().partition("dependencies:")[2]
    names = {name_of(line) for line in re.findall(r"^  - (.+)$", listed, re.MULTILINE)}
    expected = {OTHER_NAMES.get(name, name) for name in required() - LEFT_OUT}
    assert not expected - names


def test_exceptions_are_still_required():
    assert LEFT_OUT | OTHER_NAMES.keys() <= required()
