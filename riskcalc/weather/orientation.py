"""Uncertain tilt and azimuth without transposing the sky anew for every draw.

The power of a plane is a smooth function of its two angles. It is worked out on a few angles (nodes) spread over what the
angles may be, and each draw gets its own weights on the nodes on either side: linear interpolation, which never leaves
the range of its nodes, so power stays at or above zero. A fixed angle has one node of weight 1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Widest gap between nodes. Light on a plane changes with the cosine of the angle, whose chord over 10 degrees is at most
#: (10 pi / 180)^2 / 8 = 0.4 % low at its middle (tests/test_orientation.py measures what is left of it in a year).
WIDEST_GAP_DEG = 10.0

#: Most nodes of one angle; an angle of which next to nothing is known gets wider gaps, and then 1 % is lost, not 0.4 %.
MOST_NODES = 11


def angle_nodes(angles_deg: Floats) -> Floats:
    """Return the angles at which a plane is worked out to serve all of these, rising, (nodes,); one if all agree."""
    low, high = float(angles_deg.min()), float(angles_deg.max())
    if low == high:
        return np.array([low])
    return np.linspace(low, high, min(MOST_NODES, 1 + int(np.ceil((high - low) / WIDEST_GAP_DEG))))


def node_weights(angles_deg: Floats, nodes_deg: Floats) -> Floats:
    """Return the weight of each node for each draw, shape (nodes, draws): between 0 and 1, summing to 1 in a draw.

    An angle beyond the last node (one draw in a thousand million of an endless tail) counts as that node's.
    """
    if len(nodes_deg) == 1:
        return np.ones((1, len(angles_deg)))
    gap = nodes_deg[1] - nodes_deg[0]
    inside = np.clip(angles_deg, nodes_deg[0], nodes_deg[-1])
    return np.maximum(0.0, 1.0 - np.abs(inside - nodes_deg[:, None]) / gap)


def pair_weights(tilt_weights: Floats, azimuth_weights: Floats) -> Floats:
    """Return the weight of each (tilt, azimuth) pair of nodes, tilt outermost, shape (tilts * azimuths, draws)."""
    pairs = tilt_weights[:, None, :] * azimuth_weights[None, :, :]
    return pairs.reshape(-1, pairs.shape[-1])
