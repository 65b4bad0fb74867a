"""The shapes of a result in its folder: one VTU file per step, and an index for ParaView."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from fem.case.case import Case
from fem.core.errors import InputError
from fem.quantities import table
from fem.quantities.shape import Shape, ThreadCurves, whole_tube
from fem.results.folder import RECORD, check_files
from fem.results.run import Run
from fem.results.run_record import ResultRecord

INDEX = "shape.pvd"
"""File that lists the shape files by their numbers."""


def read_series(folder: Path, record: ResultRecord, case: Case, run: Run) -> list[Shape]:
    """Return the shapes in a folder, a whole tube for each row; none if there is no index.

    Raises
    ------
    InputError
        If a file is missing or differs from the written one.
    """
    if not (folder / INDEX).exists():
        return []
    if len(record.shapes) != len(run.rows):
        shapes, steps = len(record.shapes), len(run.rows)
        text = f"{folder / RECORD}: files: {shapes} shapes, but {steps} steps of the FE model"
        raise InputError(text)
    check_files(folder, record, record.shapes)
    return [
        _read_shape(folder / file, case, row[table.pressure.column] / 1000)
        for file, row in zip(record.shapes, run.rows, strict=True)
    ]


def _read_shape(file: Path, case: Case, pressure: float) -> Shape:
    """Return the whole tube in a file, in the layout of :func:`whole_tube`."""
    from meshio import vtu  # meshio.read ends the process at a damaged file

    try:
        grid = vtu.read(str(file))
        deformed = np.asarray(grid.points, dtype=float)
        displacement = np.asarray(grid.point_data["displacement"], dtype=float)
        cells = grid.cells_dict["hexahedron27"]
        lines = grid.cells_dict.get("line", np.empty((0, 2), dtype=int))
        ends, rest = deformed[lines], (deformed - displacement)[lines]
        part = grid.cell_data_dict["part"].get("line", np.empty(0, dtype=int))
        tension = grid.cell_data_dict["tension_N"].get("line", np.empty(0))
        stretch = np.asarray(grid.point_data["stretch"], dtype=float)
    except Exception as error:  # a foreign file raises many kinds of error
        raise InputError(f"{file}: this is not the shape of a tube") from error
    nodes = cells.max() + 1
    return Shape(
        pressure=pressure,
        sectors=1,
        nodes=(deformed - displacement)[:nodes],
        displacement=displacement[:nodes],
        connectivity=cells,
        stretch=stretch[:nodes],
        threads=[
            ThreadCurves(family.name, *(array[part == number] for array in (rest, ends, tension)))
            for number, family in enumerate(case.threads, start=1)
        ],
    )


def file_name(step: int) -> str:
    """Return the name of the shape file of a step."""
    return f"shape_{step:03d}.vtu"


def vtu_bytes(shape: Shape) -> bytes:
    """Return the bytes of a shape file; VTK itself ends the process if the disk is full."""
    from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridWriter

    writer = vtkXMLUnstructuredGridWriter()
    writer.SetInputData(whole_tube(shape))
    writer.SetDataModeToBinary()
    writer.WriteToOutputStringOn()
    writer.Write()
    return writer.GetOutputString().encode()


def index_bytes(files: Sequence[str]) -> bytes:
    """Return the bytes of the index of the shape files."""
    root = ElementTree.Element("VTKFile", type="Collection", version="0.1")
    collection = ElementTree.SubElement(root, "Collection")
    for step, name in enumerate(files):
        ElementTree.SubElement(collection, "DataSet", timestep=str(step), part="0", file=name)
    ElementTree.indent(root)
    return ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)


def indexed(folder: Path) -> list[Path]:
    """Return the index of an earlier result, if there is one, and its shape files."""
    index = folder / INDEX
    if not index.exists():
        return []
    text = index.read_text(encoding="utf-8", errors="replace")
    return [*(folder / name for name in re.findall(r'"(shape_[0-9]+\.vtu)"', text)), index]
