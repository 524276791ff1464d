"""A tree of boxes over a triangle mesh, in depth-first order with skips, so that tracing needs no stack."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEAF = 4
"""Most triangles in a leaf."""


def tree_of(triangles: Array) -> tuple[Array, Array, NDArray[np.int64]]:
    """The tree over triangles (m, 3, 3) mm.

    Returns the triangles as corner and two edges (m, 9) in the tree's order, the boxes (k, 6) low and high corner, and
    (k, 3): where to go on when a box is missed, first triangle, number of triangles (0 within the tree).
    """
    if len(triangles) == 0:
        return np.zeros((0, 9)), np.zeros((0, 6)), np.zeros((0, 3), np.int64)
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    middle = 0.5 * (low + high)
    boxes: list[Array] = []
    links: list[list[int]] = []
    order: list[NDArray[np.int64]] = []
    placed = 0
    # Each entry is a set of triangles to place, or the number of a node whose skip is now known.
    stack: list[NDArray[np.int64] | int] = [np.arange(len(triangles))]
    while stack:
        entry = stack.pop()
        if isinstance(entry, int):
            links[entry][0] = len(links)
            continue
        box = np.concatenate([low[entry].min(axis=0), high[entry].max(axis=0)])
        span = np.ptp(middle[entry], axis=0)
        boxes.append(box)
        node = len(links)
        if len(entry) <= LEAF or span.max() == 0.0:
            links.append([node + 1, placed, len(entry)])
            order.append(entry)
            placed += len(entry)
            continue
        links.append([0, 0, 0])
        half = len(entry) // 2
        ranked = entry[np.argpartition(middle[entry, int(np.argmax(span))], half)]
        stack += [node, ranked[half:], ranked[:half]]
    sorted_triangles = triangles[np.concatenate(order)]
    corner = sorted_triangles[:, 0]
    edges = np.concatenate([corner, sorted_triangles[:, 1] - corner, sorted_triangles[:, 2] - corner], axis=1)
    grown = np.array(boxes)
    grown[:, :3] -= 1e-9
    grown[:, 3:] += 1e-9
    return np.ascontiguousarray(edges), grown, np.array(links, dtype=np.int64)
