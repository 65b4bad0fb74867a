"""Probes: each uses one part once and returns its versions, or raises.

`fem.installation.check` runs each in a separate process and reports the result.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Callable
from importlib import metadata
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

OLDEST_PYTHON = (3, 12)


def probe_python() -> str:
    """Return the version of the interpreter if it is new enough."""
    version = ".".join(map(str, sys.version_info[:3]))
    if sys.version_info[:2] < OLDEST_PYTHON:
        wanted = ".".join(map(str, OLDEST_PYTHON))
        raise RuntimeError(f"this is Python {version}; at least {wanted} is required")
    return f"Python {version}"


def probe_gmsh() -> str:
    """Mesh a cube with gmsh."""
    import gmsh

    gmsh.initialize(interruptible=False)
    gmsh.option.setNumber("General.Terminal", 0)
    gmsh.model.occ.addBox(0, 0, 0, 1, 1, 1)
    gmsh.model.occ.synchronize()
    gmsh.model.mesh.generate(3)
    tags, _, _ = gmsh.model.mesh.getNodes()
    gmsh.finalize()
    if len(tags) < 8:
        raise RuntimeError(f"gmsh meshed a cube with only {len(tags)} nodes")
    return f"gmsh {gmsh.__version__}"


def probe_meshio() -> str:
    """Write a triangle with meshio and read it back."""
    import meshio
    import numpy as np

    points = np.eye(3)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "triangle.vtu"
        meshio.write(path, meshio.Mesh(points, [("triangle", np.array([[0, 1, 2]]))]))
        if not np.array_equal(meshio.read(path).points, points):
            raise RuntimeError("meshio read other points than it wrote")
    return f"meshio {meshio.__version__}"


def probe_solver() -> str:
    """Import DOLFINx and factorise a small matrix with PETSc's MUMPS."""
    from contextlib import suppress

    # The wheel must be imported first; DOLFINx from conda-forge has no such module.
    with suppress(ModuleNotFoundError):
        import dolfinx_solver  # noqa: F401
    import dolfinx
    import numpy as np
    from petsc4py import PETSc

    if np.dtype(PETSc.ScalarType) != np.float64:
        raise RuntimeError(f"PETSc has {np.dtype(PETSc.ScalarType)} scalars; float64 is required")
    if not PETSc.Sys.hasExternalPackage("mumps"):
        raise RuntimeError("PETSc was built without MUMPS")
    matrix = PETSc.Mat().createAIJ((2, 2), nnz=1)
    matrix.setValue(0, 0, 2.0)
    matrix.setValue(1, 1, 4.0)
    matrix.assemble()
    solver = PETSc.KSP().create()
    solver.setOperators(matrix)
    solver.setType("preonly")
    solver.getPC().setType("lu")
    solver.getPC().setFactorSolverType("mumps")
    right, answer = matrix.createVecLeft(), matrix.createVecRight()
    right.set(4.0)
    solver.solve(right, answer)
    if not np.allclose(answer.array, [2.0, 1.0]):
        raise RuntimeError(f"MUMPS solved a 2 x 2 system incorrectly: {answer.array}")
    petsc = ".".join(map(str, PETSc.Sys.getVersion()))
    return f"DOLFINx {dolfinx.__version__}, PETSc {petsc} with MUMPS, float64"


def probe_compiler() -> str:
    """Compile, link and import a Python extension, as DOLFINx does for each form."""
    source = """
        #include <Python.h>
        #include <math.h>
        static struct PyModuleDef module = {PyModuleDef_HEAD_INIT, "tiny", NULL, -1, NULL};
        PyMODINIT_FUNC PyInit_tiny(void) { return PyModule_Create(&module); }
    """
    compiler = os.environ.get("CC") or sysconfig.get_config_var("CC") or "cc"
    include = sysconfig.get_paths()["include"]
    with tempfile.TemporaryDirectory() as folder:
        path, library = f"{folder}/tiny.c", f"{folder}/tiny.so"
        Path(path).write_text(source)
        command = [*shlex.split(compiler), "-shared", "-fPIC", f"-I{include}", "-o", library, path]
        try:
            english = {**os.environ, "LC_ALL": "C"}  # `diagnose` reads the message
            done = subprocess.run(command, capture_output=True, text=True, check=False, env=english)
        except OSError as problem:
            raise RuntimeError(f"no C compiler: {problem}") from None
        if done.returncode:
            lines = [line for line in done.stderr.splitlines() if "error" in line.lower()]
            raise RuntimeError(f"{compiler} failed: {(lines or ['no message'])[0].strip()}")
        spec = spec_from_file_location("tiny", library)
        assert spec is not None
        module_from_spec(spec)
    return f"{compiler} with Python.h"


def probe_pictures() -> str:
    """Render a cone off screen with VTK and check that the picture is not empty."""
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  (the drawing back end)
    from vtkmodules.vtkFiltersSources import vtkConeSource
    from vtkmodules.vtkRenderingCore import (
        vtkActor,
        vtkPolyDataMapper,
        vtkRenderer,
        vtkRenderWindow,
        vtkWindowToImageFilter,
    )

    cone, mapper, actor, scene = vtkConeSource(), vtkPolyDataMapper(), vtkActor(), vtkRenderer()
    mapper.SetInputConnection(cone.GetOutputPort())
    actor.SetMapper(mapper)
    scene.AddActor(actor)
    window = vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetSize(32, 32)
    window.AddRenderer(scene)
    window.Render()
    image = vtkWindowToImageFilter()
    image.SetInput(window)
    image.Update()
    darkest, brightest = image.GetOutput().GetScalarRange()
    if brightest <= darkest:
        raise RuntimeError("VTK rendered an empty picture")
    return f"VTK {metadata.version('vtk')} draws off screen, PyVista {metadata.version('pyvista')}"


PROBES: dict[str, tuple[str, Callable[[], str]]] = {
    # pictures and solver take longest, so they start first
    "pictures": ("pictures (VTK)", probe_pictures),
    "solver": ("FE solver (DOLFINx)", probe_solver),
    "compiler": ("C compiler", probe_compiler),
    "gmsh": ("meshing (gmsh)", probe_gmsh),
    "meshio": ("mesh files (meshio)", probe_meshio),
    "python": ("Python", probe_python),
}
