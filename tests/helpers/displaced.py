"""Displaced states of the mesh of a tube, and tolerances for arrays of the FE model.

Differences are of fourth order: with steps of a thousandth of a cell their error is at most 1e-9 of
the largest entry. The project requires 1e-6.
"""

import numpy as np

LIMIT = 1e-6
ROUND_OFF = 1e-11  # of sums over a mesh, in code compiled for speed
B, L = 6.5, 60.0


def close(found, expected, rel):
    """Return whether arrays differ by at most `rel` of the largest entry."""
    return np.abs(found - expected).max() <= rel * np.abs(expected).max()


def moved(nodes, bulge, stretch, twist):
    """Return the nodes of a tube that is inflated, stretched and twisted (rad) uniformly."""
    x, y, z = nodes.T
    cos, sin = np.cos(twist * z / L), np.sin(twist * z / L)
    return np.column_stack([bulge * (x * cos - y * sin), bulge * (x * sin + y * cos), stretch * z])


def perturbed(body, bulge=1.3, stretch=1.1, twist=2.0):
    """Return such displacements, with noise at every node."""
    noise = np.random.default_rng(1).uniform(-0.05, 0.05, body.nodes.shape)
    return moved(body.nodes, bulge, stretch, twist) + noise - body.nodes


def _unknowns(body):
    """Return the numbers of the 85 entries of each cell among all displacements and pressures."""
    cells = len(body.connectivity)
    nodes = (3 * body.connectivity[..., None] + np.arange(3)).reshape(cells, -1)
    return np.column_stack([nodes, body.nodes.size + np.arange(4 * cells).reshape(cells, 4)])


def forces_of(part, body, at):
    """Return the first derivative of a part by nodal displacements and cell pressures."""
    unknowns = _unknowns(body)
    forces = np.zeros(unknowns.shape)
    part.add_forces(forces, at)
    return np.bincount(unknowns.ravel(), forces.ravel(), unknowns.max() + 1)


def stiffness_of(part, body, at):
    """Return the second derivative of a part as a dense matrix, with its low-rank terms."""
    unknowns = _unknowns(body)
    cells, size = unknowns.shape
    matrices = np.zeros((cells, size, size))
    part.add_stiffness(matrices, at)
    dense = np.zeros(2 * [unknowns.max() + 1])
    for entries, matrix in zip(unknowns, matrices, strict=True):
        dense[np.ix_(entries, entries)] += matrix
    for terms in part.low_rank(at):
        columns = np.zeros((len(dense), len(terms.weights)))
        for cell, vector, term in zip(terms.cells, terms.vectors, terms.term, strict=True):
            columns[unknowns[cell, : len(vector)], term] += vector
        dense += columns @ np.diag(terms.weights) @ columns.T
    return dense
