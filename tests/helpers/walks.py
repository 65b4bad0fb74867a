"""Paths walked by pressure, and paths that end before the last load, on the models of toys.py."""

import pytest

from fem.continuation.path import follow
from fem.continuation.termination import PathEndError
from tests.helpers.toys import loading, through


def pushed(model, *loads):
    """Follow the path by pressure, each load requested."""
    return follow(model, loading(), [through(*loads)])


def up_to_its_end(path, kind):
    """Return the states of a path that ends in the way `kind`, and the error that says so."""
    states = []
    with pytest.raises(PathEndError) as failure:
        states.extend(state for state in path if states.append(state) is not None)
    assert failure.value.kind is kind
    return states, failure.value


def replace_newton(monkeypatch, search):
    """Let paths find each equilibrium by `search` in place of Newton's method."""
    for module in ("path", "stepper"):
        monkeypatch.setattr(f"fem.continuation.{module}.solve_equilibrium", search)
