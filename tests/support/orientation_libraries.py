"""General-purpose orientation libraries from the registry, all giving sensor-to-world (n, 4).

vqf 2.1: Laidig, Seel 2023, Information Fusion 91:187-204. imufusion 1.3: the revised form of the
filter of Madgwick's thesis (2014). Neither knows of golf, of torsos or of this project.
"""

from __future__ import annotations

import imufusion
import numpy as np
import vqf

STANDARD_GRAVITY = 9.80665


def gyro_only_vqf(rate, step_s):
    """Strapdown integration of the gyro by vqf's compiled code."""
    integrator = vqf.VQF(step_s)
    out = np.empty((len(rate), 4))
    for row, sample in enumerate(np.ascontiguousarray(rate)):
        integrator.updateGyr(sample)
        out[row] = integrator.getQuat3D()
    return out


def gyro_only_imufusion(rate, step_s):
    """imufusion with a gain of 0, which leaves the gyro alone (single precision inside)."""
    return _imufusion(rate, np.tile([0.0, 0.0, STANDARD_GRAVITY], (len(rate), 1)), step_s, 0.0)


def filter_vqf(samples, step_s):
    """vqf as it comes: gyro, accelerometer, its own bias estimation; forwards only."""
    gyro, accel = np.ascontiguousarray(samples.gyro), np.ascontiguousarray(samples.accel)
    return vqf.VQF(step_s).updateBatch(gyro, accel)["quat6D"]


def offline_vqf(samples, step_s):
    """vqf forwards and backwards over the whole record."""
    gyro, accel = np.ascontiguousarray(samples.gyro), np.ascontiguousarray(samples.accel)
    return vqf.offlineVQF(gyro, accel, None, step_s)["quat6D"]


def filter_imufusion(samples, step_s, bias):
    """imufusion with its default gain, given the bias of the first rest."""
    return _imufusion(samples.gyro - bias, samples.accel, step_s, imufusion.AhrsSettings().gain)


def _imufusion(rate, accel, step_s, gain):
    ahrs, settings = imufusion.Ahrs(), imufusion.AhrsSettings()
    settings.gain, settings.sample_rate = gain, 1.0 / step_s
    ahrs.set_settings(settings)
    if gain == 0.0:
        ahrs.skip_startup()
    out = np.empty((len(rate), 4))
    for row, (turn, force) in enumerate(
        zip(np.degrees(rate), accel / STANDARD_GRAVITY, strict=True)
    ):
        ahrs.update_no_magnetometer(turn, force)
        out[row] = ahrs.get_quaternion()
    return out
