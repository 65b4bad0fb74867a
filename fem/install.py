"""Try out everything that tubewright stands on, and say how to mend what fails.

The wheels bring DOLFINx, gmsh and VTK, but neither the display libraries these
load nor the C compiler that DOLFINx calls for each new form.  What is missing
then shows late, or as a crash without a word.  So each part is tried out at its
real work, all at once, each in a process of its own (`python -m fem.install
NAME`): a crash or a hang of one becomes a finding like any other, with the
command that mends it.
"""

from __future__ import annotations

import ctypes
import os
import shlex
import signal
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib import metadata
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

OLDEST_PYTHON = (3, 12)

# Shared library -> the Debian package that brings it.
MESH_LIBRARIES = {
    "libGLU.so.1": "libglu1-mesa",
    "libXrender.so.1": "libxrender1",
    "libXcursor.so.1": "libxcursor1",
    "libXft.so.2": "libxft2",
    "libXinerama.so.1": "libxinerama1",
    "libgomp.so.1": "libgomp1",
    "libGL.so.1": "libgl1",
}
PICTURE_LIBRARIES = {"libEGL.so.1": "libegl1", "libGL.so.1": "libgl1"}

REINSTALL = "run `make setup` again, or take DOLFINx from conda-forge (environment.yml)"


@dataclass(frozen=True)
class Finding:
    """What one probe found.

    Parameters
    ----------
    name : str
        What was tried.
    ok : bool
        Whether it works.
    found : str
        The versions seen, or the cause of the failure.
    remedy : str
        What mends it; empty when it works.
    packages : tuple of str
        The Debian packages that are missing, for the one line at the end.
    """

    name: str
    ok: bool
    found: str
    remedy: str = ""
    packages: tuple[str, ...] = ()


# --------------------------------------------------------------------- probes
# Each does the real work once and returns the versions it saw, or raises.


def probe_python() -> str:
    """Return the interpreter's version if it is new enough."""
    version = ".".join(map(str, sys.version_info[:3]))
    if sys.version_info[:2] < OLDEST_PYTHON:
        wanted = ".".join(map(str, OLDEST_PYTHON))
        raise RuntimeError(f"this is Python {version}; at least {wanted} is needed")
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
        raise RuntimeError(f"gmsh meshed a cube with {len(tags)} nodes only")
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
            raise RuntimeError("meshio did not read back the points that it wrote")
    return f"meshio {meshio.__version__}"


def probe_solver() -> str:
    """Import DOLFINx and factorise a small matrix with PETSc's MUMPS."""
    from contextlib import suppress

    # The wheel wants to be imported first; conda-forge's DOLFINx has no such module.
    with suppress(ModuleNotFoundError):
        import dolfinx_solver  # noqa: F401
    import dolfinx
    import numpy as np
    from petsc4py import PETSc

    if np.dtype(PETSc.ScalarType) != np.float64:
        raise RuntimeError(f"PETSc has {np.dtype(PETSc.ScalarType)} scalars; float64 is needed")
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
        raise RuntimeError(f"MUMPS solved a 2 by 2 system wrongly: {answer.array}")
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
    """Draw a cone off screen with VTK and look whether anything is on it."""
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
        raise RuntimeError("VTK drew an empty picture")
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


# ------------------------------------------------------------------ judgement


def missing_packages(libraries: dict[str, str]) -> tuple[str, ...]:
    """Return the Debian packages whose shared library does not load here.

    Parameters
    ----------
    libraries : dict of str to str
        File name of each library, and the package that brings it.
    """
    missing = []
    for library, package in libraries.items():
        try:
            ctypes.CDLL(library)
        except OSError:
            missing.append(package)
    return tuple(missing)


def install_line(packages: Sequence[str]) -> str:
    """Return the finished command that installs these Debian packages."""
    become = "" if os.geteuid() == 0 else "sudo "
    return f"{become}apt-get install -y {' '.join(packages)}"


def diagnose(key: str, cause: str) -> tuple[str, tuple[str, ...]]:
    """Return what mends a failure, and the Debian packages that it needs.

    Parameters
    ----------
    key : str
        Which probe failed, a key of `PROBES`.
    cause : str
        Its last words.
    """
    packages: tuple[str, ...] = ()
    otherwise = REINSTALL
    if key == "python":
        otherwise = "run `make setup PYTHON=...` with a newer Python (uv, pyenv, conda)"
    elif "No module named" in cause:
        pass  # a Python package is missing: no system package helps
    elif key == "gmsh":
        packages = missing_packages(MESH_LIBRARIES)
        if not packages and ".so" in cause:  # one that these bring along
            packages = tuple(MESH_LIBRARIES.values())
    elif key == "pictures":
        packages = missing_packages(PICTURE_LIBRARIES)
        if not packages:  # the front is there: then it is the driver behind it
            packages = ("libegl-mesa0", "libgl1-mesa-dri")
    elif key == "compiler" and "Python.h: No such file" in cause:
        packages = (f"python3.{sys.version_info.minor}-dev",)
    elif key == "compiler":
        packages = ("gcc", "libc6-dev")
        if os.environ.get("CC"):
            otherwise = "the variable CC names this compiler: unset it, or"
            return f"{otherwise} {install_line(packages)}", packages
    return (install_line(packages) if packages else otherwise), packages


def run_probe(key: str, timeout: float = 120.0, command: Sequence[str] | None = None) -> Finding:
    """Try one part in a process of its own and read how that ended.

    Parameters
    ----------
    key : str
        A key of `PROBES`.
    timeout : float
        Seconds after which the probe counts as hung.  The first import after an
        installation reads hundreds of MB, so this is long.
    command : sequence of str, optional
        What to run instead (for tests).
    """
    name = PROBES[key][0]
    try:
        done = subprocess.run(
            command or [sys.executable, "-m", "fem.install", key],
            capture_output=True,
            text=True,
            errors="replace",
            stdin=subprocess.DEVNULL,
            timeout=timeout,
            check=False,
        )
    except subprocess.TimeoutExpired:
        cause = f"no answer within {timeout:g} s"
    else:
        if done.returncode == 0:
            return Finding(name, True, last_line(done.stdout))
        if done.returncode < 0:
            cause = f"crashed ({signal.Signals(-done.returncode).name})"
        else:
            cause = last_line(done.stderr) or f"ended with exit status {done.returncode}"
    remedy, packages = diagnose(key, cause)
    return Finding(name, False, cause, remedy, packages)


def last_line(text: str) -> str:
    """Return the last line that says something (libraries may chatter before it)."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1] if lines else ""


def check() -> list[Finding]:
    """Try everything, at the same time.

    Returns
    -------
    list of Finding
        One for each of `PROBES`, in the order that a reader expects.
    """
    with ThreadPoolExecutor(max_workers=max(2, os.cpu_count() or 1)) as pool:
        findings = list(pool.map(run_probe, PROBES))
    return findings[::-1]


def report(findings: Sequence[Finding]) -> bool:
    """Print the findings, and how to mend what failed.

    Parameters
    ----------
    findings : sequence of Finding
        What `check` returned.

    Returns
    -------
    bool
        Whether everything works.
    """
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False, soft_wrap=True)
    width = max((len(finding.name) for finding in findings), default=0)
    for finding in findings:
        word, style = ("ok", "green") if finding.ok else ("FAILS", "bold red")
        console.print(Text(f"{word:<6}", style), Text(f"{finding.name:<{width}}  {finding.found}"))
        if finding.remedy:
            console.print(Text(f"       -> {finding.remedy}", "yellow"))
    packages = list(dict.fromkeys(name for finding in findings for name in finding.packages))
    if packages:
        console.print("\nAll missing system packages in one line (Debian, Ubuntu; on a fresh")
        console.print("machine run apt-get update before it):")
        console.print(Text(f"    {install_line(packages)}", "bold"))
    return all(finding.ok for finding in findings)


def main(arguments: Sequence[str]) -> int:
    """Run the one probe that is named, or check and report all."""
    if not arguments:
        return 0 if report(check()) else 1
    print(PROBES[arguments[0]][1](), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
