"""The screw's statics against published values (check values SCR-1 to SCR-3)."""

import math

import pytest

from throwbook.core.simulator.machine import Screw, lowering_torque_nm, raising_torque_nm

# SCR-1: square thread d 32, p 4, 2 starts (mean 30 mm, lead 8 mm), f 0.08, 6.4 kN. Shigley's Mechanical Engineering
# Design, Ex. 8-1; the collar's part (f 0.08 on 40 mm) is worked out here since the actuator has none.
COLLAR_NM = 6400 * 0.08 * 0.040 / 2


def test_scr_1_torque_to_raise():
    assert raising_torque_nm(6400, 0.030, 0.008, 0.08) == pytest.approx(15.937, abs=5e-4)
    assert raising_torque_nm(6400, 0.030, 0.008, 0.08) + COLLAR_NM == pytest.approx(26.18, abs=0.005)


def test_scr_1_torque_to_lower():
    assert lowering_torque_nm(6400, 0.030, 0.008, 0.08) == pytest.approx(-0.466, abs=5e-4)
    assert lowering_torque_nm(6400, 0.030, 0.008, 0.08) + COLLAR_NM == pytest.approx(9.77, abs=0.005)


def test_scr_1_efficiency_without_collar():
    assert 0.008 / (2 * math.pi * raising_torque_nm(1.0, 0.030, 0.008, 0.08)) == pytest.approx(
        0.5113, abs=5e-5
    )


def test_scr_2_acme_thread_as_a_square_one_with_more_friction():
    """SCR-2: 12 500 lb on an Acme 1 1/2-4, f 0.15. Machine Elements in Mechanical Design, 4th ed., Ex. 17-1, eq. 17-10.

    The book prints a lead angle of 3.39 degrees and 1809 lb in to raise. Its equation gives 1814.4 (1814.1 with the cosine
    0.968 and tangent 0.0592 that it prints): the book's figure is 0.3 % below its own equation. The square thread with
    the friction over cos 14.5 degrees is the same equation. The torque to lower is recomputed.
    """
    inch, pound = 0.0254, 4.4482216152605
    d, lead = 1.3429 * inch, 0.25 * inch
    assert math.degrees(math.atan(lead / (math.pi * d))) == pytest.approx(3.39, abs=5e-3)
    book = raising_torque_nm(12_500 * pound, d, 0.0592 * math.pi * d, 0.15 / 0.968) / (pound * inch)
    assert book == pytest.approx(1814.1, abs=0.05)
    assert book / 1809 == pytest.approx(1.003, abs=5e-4)
    friction = 0.15 / math.cos(math.radians(14.5))
    assert raising_torque_nm(12_500 * pound, d, lead, friction) / (pound * inch) == pytest.approx(
        1814.4, abs=0.05
    )
    assert lowering_torque_nm(12_500 * pound, d, lead, friction) / (pound * inch) == pytest.approx(
        795.7, abs=0.05
    )


def test_scr_3_self_locking_condition():
    """SCR-3: it holds where pi f d > lead; 7.54 < 8, so the thread of SCR-1 alone does not, and with a lead of 7.5 it does."""
    assert lowering_torque_nm(1.0, 0.030, 0.008, 0.08) < 0.0 < lowering_torque_nm(1.0, 0.030, 0.0075, 0.08)


def test_a_helping_load_never_drives_the_motor():
    steep = Screw(0.010, 0.010, 0.05, 5)
    assert steep.motor_torque_nm(-500) == 0
    assert Screw(0.012, 0.003, 0.12, 5).motor_torque_nm(-500) > 0
