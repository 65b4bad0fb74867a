"""The series of shapes in a folder: a VTU file to each step, and shape.pvd, which lists them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.text_file import text_of
from fem.quantities.shape import Shape, read_shape, whole_tube
from fem.results.consistency import misfit
from fem.results.run import Run

INDEX = "shape.pvd"
"""File that lists the shapes, by their numbers."""

SHAPE_FILE = r"shape_[0-9]+\.vtu"
"""What the files of shapes are called."""


def read_series(folder: Path, case: Case, run: Run) -> list[Shape]:
    """Return the shapes in a folder, a whole tube to each row; none where there is no index.

    Raises
    ------
    InputError
        If a file cannot be read, or is not what belongs to the case and to its row.
    """
    if not (folder / INDEX).exists():
        return []
    files = _listed(folder / INDEX)
    if len(files) != len(run.rows):
        raise InputError(
            f"{folder / INDEX}: {len(files)} shapes to {len(run.rows)} steps of the FE model"
        )
    names = [family.name for family in case.threads]
    meshed = run.mesh.get("threads_meshed", {})
    shapes: list[Shape] = []
    for file, row in zip(files, run.rows, strict=True):
        shapes.append(read_shape(file, names, row["pressure_kPa"] / 1000))
        fault = misfit(shapes[-1], case, row, meshed)
        if not fault and not np.array_equal(shapes[-1].connectivity, shapes[0].connectivity):
            fault = f"its mesh is not that of {files[0].name}"
        if fault:
            raise InputError(f"{file}: {fault}; it is not the shape of this step")
    return shapes


def _listed(index: Path) -> list[Path]:
    """Return the files that the index lists."""
    try:
        entries = ElementTree.fromstring(text_of(index).encode()).iter("DataSet")
        names = [entry.get("file", "") for entry in entries]
    except ElementTree.ParseError as error:
        raise InputError(f"{index}: not valid XML: {error}") from None
    strange = [name for name in names if not re.fullmatch(SHAPE_FILE, name)]
    if strange:
        raise InputError(f'{index}: "{strange[0]}" is no file of this result')
    return [index.parent / name for name in names]


def remove_series(folder: Path) -> None:
    """Remove the index, where there is one, and the files of ours that it lists."""
    index = folder / INDEX
    if not index.exists():
        return
    with suppress(ElementTree.ParseError):
        for entry in ElementTree.parse(index).iter("DataSet"):
            name = entry.get("file", "")
            if re.fullmatch(SHAPE_FILE, name):
                (folder / name).unlink(missing_ok=True)
    index.unlink()


def save_series(shapes: Sequence[Shape], folder: Path) -> None:
    """Write a VTU file to each shape and a PVD file that lists them, by their numbers."""
    root = ElementTree.Element("VTKFile", type="Collection", version="0.1")
    collection = ElementTree.SubElement(root, "Collection")
    for step, shape in enumerate(shapes):
        name = f"shape_{step:03d}.vtu"
        whole_tube(shape).save(folder / name)
        ElementTree.SubElement(collection, "DataSet", timestep=str(step), part="0", file=name)
    ElementTree.indent(root)
    ElementTree.ElementTree(root).write(folder / INDEX, encoding="utf-8", xml_declaration=True)
