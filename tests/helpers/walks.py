"""Paths walked by pressure, and paths that end before the last load, on the models of toys.py."""

import pytest

from fem.continuation.path import follow
from tests.helpers.toys import loading, through


def pushed(model, *loads):
    """Follow the path by pressure, each load demanded."""
    return follow(model, loading(), [through(*loads)])


def up_to_its_end(path, end):
    """Return the states of a path that ends with the error `end`, and the error."""
    states = []
    with pytest.raises(end) as failure:
        states.extend(state for state in path if states.append(state) is not None)
    return states, failure.value
