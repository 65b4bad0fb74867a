"""`import fem` does not change the host process; workers use one thread for linear algebra."""

import multiprocessing
import subprocess
import sys

import pytest
from pebble import ProcessPool

import fem
from fem.core.processes import use_one_thread

HOST = """
import os
import numpy
from threadpoolctl import threadpool_info

before = dict(os.environ), threadpool_info()
import fem
fem.solve(fem.Case.load({case!r}).changed(pressure__steps=1), "fast")
assert (dict(os.environ), threadpool_info()) == before
"""


def test_import_and_a_fast_solve_change_no_setting_of_the_host(cases_folder):
    script = HOST.format(case=str(cases_folder / "greenhouse_wrist.toml"))
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_dir_lists_exactly_the_public_names():
    assert set(dir(fem)) == {*fem.__all__, "__version__"}
    for name in fem.__all__:
        assert getattr(fem, name).__name__ == name
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = fem.no_such_name


def _threads() -> set[int]:
    import numpy  # noqa: F401 - loads a library for linear algebra
    from threadpoolctl import threadpool_info

    return {library["num_threads"] for library in threadpool_info()}


def test_workers_use_one_thread():
    context = multiprocessing.get_context("spawn")
    with ProcessPool(1, context=context, initializer=use_one_thread) as pool:
        assert pool.schedule(_threads).result() == {1}
