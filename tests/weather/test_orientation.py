"""Uncertain angles by interpolation between nodes."""

import numpy as np
import pytest

from riskcalc.weather import array as orientation
from riskcalc.weather.array import array_power_w
from riskcalc.weather.climates import climate
from riskcalc.weather.generator import generated_years
from riskcalc.weather.module import Module
from riskcalc.weather.solar import sun_path

MODULE = Module(430, 38.9, 13.9, 32.6, 13.2, 54, -0.0030, -0.0025, 0.00045)


def test_fixed_angle_has_one_node():
    """Draws that agree need one plane, at weight 1."""
    angles = np.full(5, 33.0)
    nodes = orientation.angle_nodes(angles)
    assert nodes.tolist() == [33.0]
    assert orientation.node_weights(angles, nodes).tolist() == [[1.0] * 5]


def test_weights_are_shares_that_give_the_angle_back():
    """Weights lie in [0, 1], sum to 1 and average the nodes to the draw's own angle."""
    angles = np.random.default_rng(1).uniform(10, 55, 200)
    nodes = orientation.angle_nodes(angles)
    weights = orientation.node_weights(angles, nodes)
    assert np.diff(nodes).max() <= orientation.WIDEST_GAP_DEG
    assert weights.min() >= 0.0
    assert weights.sum(axis=0) == pytest.approx(np.ones(200))
    assert nodes @ weights == pytest.approx(angles)


def test_an_unknown_angle_keeps_to_the_most_nodes():
    """An azimuth of which nothing is known needs no more nodes than dispatch has room for."""
    assert len(orientation.angle_nodes(np.array([0.0, 360.0]))) == orientation.MOST_NODES


def test_pairs_run_tilt_outermost():
    """The pair (tilt i, azimuth j) stands in row i * azimuths + j."""
    pairs = orientation.pair_weights(np.array([[0.25], [0.75]]), np.array([[0.1], [0.2], [0.7]]))
    assert pairs[:, 0] == pytest.approx([0.025, 0.05, 0.175, 0.075, 0.15, 0.525])


def test_interpolated_year_is_close_to_the_direct_one():
    """Midway between nodes, the worst place, the yearly energy is within 0.5 % of the plane worked out at that angle."""
    pool = generated_years(climate("thames"), years=1, seed=3)
    sun = sun_path(
        latitude_deg=pool.latitude_deg,
        longitude_deg=pool.longitude_deg,
        altitude_m=pool.altitude_m,
        utc_offset_hours=pool.utc_offset_hours,
    )

    def year_kwh(tilt_deg, azimuth_deg):
        power = array_power_w(pool, sun, module=MODULE, modules_in_series=1, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
        return power.sum(dtype=float) / 1000.0

    direct = year_kwh(35.0, 205.0)
    corners = np.mean([year_kwh(tilt, azimuth) for tilt in (30.0, 40.0) for azimuth in (200.0, 210.0)])
    assert corners == pytest.approx(direct, rel=0.005)
