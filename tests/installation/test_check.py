"""check-install: a broken part is a finding with its cause and its remedy."""

import os
import sys

import pytest

from fem.installation import check as install
from fem.installation import probes
from fem.installation.check import Finding


def ending(code):
    return [sys.executable, "-c", code]


def test_everything_works_here():
    findings = install.check()
    assert [finding.name for finding in findings if not finding.ok] == []
    assert {finding.name for finding in findings} == {name for name, _ in install.PROBES.values()}
    assert all(finding.found and not finding.remedy for finding in findings)


def test_crash_without_the_library_names_its_package(monkeypatch):
    monkeypatch.setattr(install, "PICTURE_LIBRARIES", {"libNowhere.so.1": "libnowhere1"})
    crash = ending("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
    finding = install.run_probe("pictures", command=crash)
    assert (finding.ok, finding.found) == (False, "crashed (SIGSEGV)")
    assert finding.packages == ("libnowhere1",)
    assert finding.remedy.endswith("apt-get install -y libnowhere1")


def test_crash_with_all_libraries_installed_names_the_driver(monkeypatch):
    monkeypatch.setattr(install, "PICTURE_LIBRARIES", {})
    finding = install.run_probe("pictures", command=ending("import os; os.abort()"))
    assert finding.found == "crashed (SIGABRT)"
    assert finding.packages == ("libegl-mesa0", "libgl1-mesa-dri")


def test_probe_that_hangs_is_ended():
    finding = install.run_probe(
        "solver", timeout=0.3, command=ending("import time; time.sleep(60)")
    )
    assert not finding.ok
    assert "0.3 s" in finding.found


def test_cause_is_the_last_line_of_the_error():
    finding = install.run_probe("solver", command=ending("import no_such_solver"))
    assert finding.found == "ModuleNotFoundError: No module named 'no_such_solver'"
    assert "make setup" in finding.remedy
    assert finding.packages == ()


def test_failure_without_a_message_has_a_cause():
    finding = install.run_probe("meshio", command=ending("raise SystemExit(3)"))
    assert "exit status 3" in finding.found


def test_other_output_before_the_version_is_dropped():
    finding = install.run_probe("gmsh", command=ending("print('Info: hello'); print('gmsh 9')"))
    assert finding == Finding("meshing (gmsh)", True, "gmsh 9")


def test_missing_compiler(monkeypatch, tmp_path):
    monkeypatch.delenv("CC", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    finding = install.run_probe("compiler")
    assert "no C compiler" in finding.found
    assert finding.packages == ("gcc", "libc6-dev")


def fake_compiler(folder, message):
    path = folder / "fakecc"
    path.write_text(f"#!/bin/sh\necho 'tiny.c:2:10: fatal error: {message}' >&2\nexit 1\n")
    path.chmod(0o755)
    return str(path)


@pytest.mark.parametrize(
    ("header", "packages"),
    [
        ("Python.h", (f"python3.{sys.version_info.minor}-dev",)),
        ("stdio.h", ("gcc", "libc6-dev")),
    ],
)
def test_missing_headers(monkeypatch, tmp_path, header, packages):
    message = f"{header}: No such file"
    monkeypatch.setenv("CC", fake_compiler(tmp_path, message))
    finding = install.run_probe("compiler")
    assert message in finding.found
    assert finding.packages == packages


def test_compiler_set_by_cc_is_named_as_the_cause(monkeypatch, tmp_path):
    monkeypatch.setenv("CC", str(tmp_path / "nothing"))
    assert "variable CC" in install.run_probe("compiler").remedy


def test_missing_mesh_library(monkeypatch):
    cause = "OSError: libX.so.9: cannot open"
    monkeypatch.setattr(install, "MESH_LIBRARIES", {"libm.so.6": "libc6", "libX.so.9": "libx9"})
    assert install.diagnose("gmsh", cause)[1] == ("libx9",)
    # all of these are installed, so a dependency is missing
    monkeypatch.setattr(install, "MESH_LIBRARIES", {"libm.so.6": "libc6"})
    assert install.diagnose("gmsh", cause)[1] == ("libc6",)


def test_old_python(monkeypatch):
    monkeypatch.setattr(probes, "OLDEST_PYTHON", (99, 0))
    with pytest.raises(RuntimeError, match=r"at least 99\.0"):
        probes.probe_python()


def test_install_line_asks_for_root_only_if_needed(monkeypatch):
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    assert install.install_line(["a", "b"]) == "apt-get install -y a b"
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert install.install_line(["a"]) == "sudo apt-get install -y a"


def test_report_lists_each_package_once_in_one_line(capsys):
    findings = [
        Finding("one", True, "fine"),
        Finding("two", False, "broken", "fix it", ("a", "b")),
        Finding("three", False, "broken [red]too[/red]", "fix it", ("b", "c")),
    ]
    assert install.report(findings) is False
    printed = capsys.readouterr().out
    assert "apt-get install -y a b c\n" in printed
    assert "[red]too" in printed


def test_report_without_failures_names_no_package(capsys):
    assert install.report([Finding("one", True, "fine")]) is True
    assert "apt-get" not in capsys.readouterr().out
