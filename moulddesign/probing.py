"""What planes and light find on a closed mesh (manifold3d)."""

import numpy as np

from moulddesign.mesh import Mesh, Points, manifold_of


def overlaps_mm3(moving: Mesh, standing: Mesh, shifts_mm: Points, *, step: str) -> Points:
    """Return the volume that a closed mesh shares with another after each of several moves.

    Parameters
    ----------
    moving, standing : Mesh
        Closed.
    shifts_mm : ndarray, shape (n, 3)
        Moves of the first, each from where it is [mm].
    step : str
        Names it in a `KernelError`.

    Returns
    -------
    ndarray, shape (n,)
        Volumes [mm^3].

    Examples
    --------
    >>> from moulddesign.mesh import box
    >>> cube = box((0, 0, 0), (2, 2, 2))
    >>> overlaps_mm3(cube, cube, np.array([[0, 0, 0], [1, 0, 0], [3, 0, 0]]), step="x").tolist()
    [8.0, 4.0, 0.0]
    """
    one, other = manifold_of(moving, step), manifold_of(standing, step)
    shared = [one.translate(shift) ^ other for shift in shifts_mm.tolist()]
    return np.array([body.volume() for body in shared], dtype=np.float64)


def section(mesh: Mesh, height_mm: float, step: str) -> tuple[Points, ...]:
    """Return the loops in which a level plane cuts a closed mesh.

    Parameters
    ----------
    mesh : Mesh
        Closed.
    height_mm : float
        z of the plane [mm].
    step : str
        Names it in a `KernelError`.

    Returns
    -------
    tuple of ndarray, shape (n_i, 2)
        Outer loops counter-clockwise, holes clockwise; none where the plane misses [mm].

    Examples
    --------
    >>> from moulddesign.mesh import box
    >>> [loop.max(axis=0).tolist() for loop in section(box((0, 0, 0), (2, 3, 4)), 1.0, "a box")]
    [[2.0, 3.0]]
    """
    return tuple(map(np.asarray, manifold_of(mesh, step).slice(height_mm).to_polygons()))


def silhouette(mesh: Mesh, step: str) -> tuple[Points, ...]:
    """Return the loops of a closed mesh's shadow on the table, lit from straight above.

    Parameters
    ----------
    mesh : Mesh
        Closed.
    step : str
        Names it in a `KernelError`.

    Returns
    -------
    tuple of ndarray, shape (n_i, 2)
        Outer loops counter-clockwise, holes clockwise [mm].
    """
    return tuple(map(np.asarray, manifold_of(mesh, step).project().to_polygons()))
