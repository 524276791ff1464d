"""The two-edge construction of vanes: W. J. Smith, Modern Optical Engineering, 4th ed., ch. 9, fig. 9.6 and 9.7."""

from __future__ import annotations

import pytest

from shadewright.light.vanes import EdgeLine, hidden_from_glass, lay_out_vanes
from shadewright.model.shape import RoundWall

TUBE = RoundWall((0.0,), (50.0,))


def test_vanes_of_a_tube_stand_where_the_construction_puts_them() -> None:
    """Wall radius 50, edges 40, glass 20 at z = 0, front 150. By hand from the construction: the shadow of a vane at z ends
    at zB = z - (W - r)(L - z) / 2r, and the next stands at zB / (1 + (W - r) / (r + a)).
    """
    found = lay_out_vanes(TUBE, EdgeLine(0.0, 40.0, 150.0, 40.0), glass_radius=20.0, glass_z=0.0, front=150.0)
    assert [v.z for v in found.vanes] == pytest.approx(
        [150.0, 128.571, 107.908, 87.983, 68.769, 50.242, 32.376, 15.148], abs=1e-3
    )
    assert found.complete
    assert found.depth == pytest.approx(10.0)


def test_a_drawn_look_finds_no_lit_wall_in_sight_of_the_glass() -> None:
    found = lay_out_vanes(TUBE, EdgeLine(0.0, 40.0, 150.0, 40.0), glass_radius=20.0, glass_z=0.0, front=150.0)
    assert hidden_from_glass(found, TUBE, glass_radius=20.0, glass_z=0.0) == 0.0
