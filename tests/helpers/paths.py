"""Paths through given pressures, and paths that end early, of the models in toys.py."""

import pytest

from fem.continuation.path import follow
from fem.continuation.termination import PathEndError
from tests.helpers.toys import loading, through


def follow_pressures(model, *loads):
    """Follow the path through requested pressures."""
    return follow(model, loading(), [through(*loads)])


def states_and_end(path, kind):
    """Return the states of a path that ends early with `kind`, and its error."""
    states = []
    with pytest.raises(PathEndError) as failure:
        states.extend(state for state in path if states.append(state) is not None)
    assert failure.value.kind is kind
    return states, failure.value


def replace_newton(monkeypatch, search):
    """Make paths use `search` in place of Newton's method."""
    for module in ("path", "stepper"):
        monkeypatch.setattr(f"fem.continuation.{module}.solve_equilibrium", search)
