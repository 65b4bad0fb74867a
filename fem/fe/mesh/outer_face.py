"""The outer face of a body: the cell under a point, and the basis functions there."""

from __future__ import annotations

import numpy as np

from fem.core.arrays import Array, Index
from fem.fe.mesh.body import NODES, Body, ResolutionError, hexahedron
from meshes.tube import GROUPS


class OuterFace:
    """The cells at the outer face, by azimuth and height at rest.

    Parameters
    ----------
    body, radius
        The mesh, and the radius of its outer face (mm).
    """

    def __init__(self, body: Body, radius: float) -> None:
        self.body, self.radius = body, radius
        self.length = float(body.nodes[:, 2].max())
        self.spacing = 2 * np.pi / (body.sectors * body.cells.around)
        body.mesh.topology.create_connectivity(2, 3)
        cells_at = body.mesh.topology.connectivity(2, 3)
        outer = np.concatenate([cells_at.links(f) for f in body.facets.find(GROUPS["outer"])])
        x, y, z = body.nodes[body.connectivity[outer]].mean(axis=1).T
        self._cells = np.empty((body.cells.around, body.cells.axial), dtype=int)
        self._cells[self._place(np.arctan2(y, x) % (2 * np.pi), z)] = outer

    def _place(self, theta: Array, z: Array) -> tuple[Index, Index]:
        axial = self.body.cells.axial
        column = np.floor(theta / self.spacing).astype(int)
        return column, np.clip((z / self.length * axial).astype(int), 0, axial - 1)

    def find(self, theta: Array, z: Array) -> tuple[Index, Array]:
        """Return the cell under each point, and the rotation from the body to its sector (rad).

        Parameters
        ----------
        theta, z
            Azimuth at rest, in any sector (rad), and height at rest (mm), shape (n,).
        """
        column, floor = self._place(theta, z)
        around = self.body.cells.around
        back = (column // around) * 2 * np.pi / self.body.sectors
        return self._cells[column % around, floor], back

    def basis(self, host: Index, points: Array) -> tuple[Array, Array]:
        """Return the host's basis functions N at points, and their gradients by X.

        Parameters
        ----------
        host
            Cells, shape (n,).
        points
            Positions at rest in each, shape (n, points, 3), mm.

        Returns
        -------
        tuple
            Shapes (n, points, 27) and (n, points, 27, 3), 1/mm.

        Raises
        ------
        ResolutionError
            If the points are not found in the cells, which are too thin or too curved, as on the
            coarse mesh with a bore of a fifteenth of the wall.
        """
        geometry = self.body.mesh.geometry
        pull_back = geometry.cmaps[0].pull_back
        reference = np.empty_like(points)
        try:
            for cell in np.unique(host):  # all points of a cell in one call, which is slow
                x, nodes = points[host == cell], geometry.x[geometry.dofmaps[0][cell]]
                reference[host == cell] = pull_back(x.reshape(-1, 3), nodes, tol=1e-9).reshape(
                    x.shape
                )
        except RuntimeError:
            cells = self.body.cells
            raise ResolutionError(
                f"tube: {cells.radial} x {cells.around * self.body.sectors} x {cells.axial} cells "
                "(through the wall x around it x along the axis) are too thin or too curved for "
                f"threads on the radius of {self.radius:.4g} mm; try a finer mesh"
            ) from None
        table = hexahedron().basix_element.tabulate(1, reference.reshape(-1, 3))[..., 0]
        value, *gradients = (part.reshape(*points.shape[:2], NODES) for part in table)
        by_reference = np.stack(gradients, axis=-1)  # dN/dxi
        nodes = self.body.nodes[self.body.connectivity[host]]
        jacobian = np.einsum("lni,lpnj->lpij", nodes, by_reference)  # dX/dxi
        return value, by_reference @ np.linalg.inv(jacobian)
