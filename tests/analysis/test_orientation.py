"""From the samples around a swing to how the segment moved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from analysis import rotation
from analysis.errors import SampleError
from analysis.orientation import segment_motion, segment_motions
from analysis.results import Interval, Mounting
from analysis.samples import SampleTable
from tests.support.moving_segment import swing

IDENTITY = Mounting(rotation.IDENTITY)
NOISE = np.radians(0.1)
BIAS = np.radians([1.5, -2.0, 0.7])


def sampled(*, rate_hz=200.0, mounting=None, bias=BIAS, noise=NOISE, seed=0, turned_deg=0.0):
    """Samples of a swing; also the segment and the time of the top."""
    segment, top_s, end_s = swing(quiet_s=4.0)
    segment = replace(segment, angles_deg=segment.angles_deg + np.array([turned_deg, 0.0, 0.0]))
    time_s = np.arange(0.0, end_s, 1.0 / rate_hz)
    samples = segment.samples(time_s, mounting=mounting, bias=bias, noise=noise, seed=seed)
    return samples, segment, top_s


def angles_deg(motion, at_s):
    """Turn since the first sample, obliquity, tilt at a time, degrees."""
    angles = np.degrees(np.unwrap(rotation.cardan_yxz(motion.orientation), axis=0))
    return np.array([np.interp(at_s, motion.time_s, column) for column in angles.T])


def true_angles_deg(segment, at_s):
    quaternion = segment.orientation(np.array([0.0, at_s]))
    angles = np.degrees(rotation.cardan_yxz(quaternion))
    return angles[1] - [angles[0, 0], 0.0, 0.0]


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 400.0])
def test_the_top_of_the_swing_is_where_it_really_is(rate_hz):
    samples, segment, top_s = sampled(rate_hz=rate_hz)
    found = angles_deg(segment_motion(samples, IDENTITY), top_s)
    assert found == pytest.approx(true_angles_deg(segment, top_s), abs=0.35)


def test_with_a_perfect_sensor_it_is_exact_all_along():
    samples, segment, _ = sampled(bias=np.zeros(3), noise=0.0)
    motion = segment_motion(samples, IDENTITY)
    level = rotation.from_axis(
        1, -rotation.cardan_yxz(segment.orientation(samples.time_s[:1]))[0, 0]
    )
    truth = rotation.multiply(level, segment.orientation(samples.time_s))
    error = rotation.multiply(rotation.conjugate(truth), motion.orientation)
    assert np.degrees(np.linalg.norm(rotation.to_rotation_vector(error), axis=1)).max() < 0.05
    assert motion.angular_velocity == pytest.approx(
        segment.rate(samples.time_s), abs=np.radians(0.02)
    )


@settings(deadline=None, max_examples=12)
@given(st.integers(0, 100_000))
def test_a_remounted_sensor_shows_the_same_motion(seed):
    rng = np.random.default_rng(seed)
    mounting = Rotation.random(rng=rng)
    worn, segment, top_s = sampled(mounting=mounting, seed=seed)
    motion = segment_motion(worn, Mounting(mounting.as_quat(scalar_first=True)))
    assert angles_deg(motion, top_s) == pytest.approx(true_angles_deg(segment, top_s), abs=0.5)


@settings(deadline=None, max_examples=8)
@given(st.floats(-180.0, 180.0), st.floats(-1e4, 1e6))
def test_where_the_golfer_faces_and_when_it_was_make_no_difference(facing_deg, later_s):
    here, _, top_s = sampled()
    there, _, _ = sampled(turned_deg=facing_deg)
    there = SampleTable(there.time_s + later_s, there.gyro, there.accel)
    first = angles_deg(segment_motion(here, IDENTITY), top_s)
    second = angles_deg(segment_motion(there, IDENTITY), top_s + later_s)
    assert second == pytest.approx(first, abs=1e-3)


def test_a_swing_to_the_other_side_is_the_mirror_image():
    samples, _, top_s = sampled(noise=0.0)
    mirrored = SampleTable(
        samples.time_s, samples.gyro * [-1.0, -1.0, 1.0], samples.accel * [1.0, 1.0, -1.0]
    )
    right = angles_deg(segment_motion(samples, IDENTITY), top_s)
    left = angles_deg(segment_motion(mirrored, IDENTITY), top_s)
    assert left == pytest.approx(right * [-1.0, -1.0, 1.0], abs=1e-6)


def test_specific_force_is_in_segment_axes():
    mounting = Rotation.from_rotvec([0.3, 1.0, -0.4])
    samples, _, _ = sampled(mounting=mounting, noise=0.0)
    motion = segment_motion(samples, Mounting(mounting.as_quat(scalar_first=True)))
    plain, _, _ = sampled(noise=0.0)
    assert motion.specific_force == pytest.approx(plain.accel, abs=1e-9)


def test_lost_samples_are_bridged_by_their_times_and_reported():
    samples, segment, top_s = sampled()
    keep = (samples.time_s < 4.3) | (samples.time_s > 4.34)
    holed = SampleTable(samples.time_s[keep], samples.gyro[keep], samples.accel[keep])
    motion = segment_motion(holed, IDENTITY)
    assert motion.gaps == (Interval(pytest.approx(4.295), pytest.approx(4.345)),)
    assert "gap" in {flag.code for flag in motion.flags}
    assert angles_deg(motion, top_s) == pytest.approx(true_angles_deg(segment, top_s), abs=0.6)


def test_uneven_sample_times_are_no_gaps():
    samples, segment, top_s = sampled()
    rng = np.random.default_rng(0)
    time_s = samples.time_s + rng.uniform(-0.0015, 0.0015, len(samples))
    jittered = segment.samples(time_s, bias=BIAS, noise=NOISE)
    motion = segment_motion(jittered, IDENTITY)
    assert motion.gaps == ()
    assert angles_deg(motion, top_s) == pytest.approx(true_angles_deg(segment, top_s), abs=0.35)


@pytest.mark.parametrize("known", [True, False])
def test_a_gyro_at_the_end_of_its_range_is_marked_with_or_without_knowing_the_range(known):
    samples, _, _ = sampled(noise=0.0)
    limit = np.radians(250.0)
    beyond = (np.abs(samples.gyro) >= limit).any(axis=1)
    assert beyond.sum() > 5
    clipped = replace(samples, gyro=np.clip(samples.gyro, -limit, limit))
    motion = segment_motion(clipped, IDENTITY, gyro_range=limit if known else None)
    assert motion.clipped[beyond].all()
    # within a thousandth of the range counts as its end
    assert motion.clipped.sum() <= beyond.sum() + 2
    assert "clipped" in {flag.code for flag in motion.flags}


def test_a_single_highest_sample_is_no_clipping():
    motion = segment_motion(sampled()[0], IDENTITY)
    assert not motion.clipped.any()
    assert motion.flags == ()


def test_the_stated_uncertainties_hold_bias_and_noise():
    errors = []
    for seed in range(12):
        samples, _, _ = sampled(seed=seed)
        motion = segment_motion(samples, IDENTITY)
        removed = samples.gyro[0] - motion.angular_velocity[0]
        errors.append((removed - BIAS) / np.sqrt(np.diag(motion.bias_covariance)))
        assert motion.noise_density == pytest.approx(NOISE * np.sqrt(2.0 / 200.0), rel=0.15)
        assert np.degrees(motion.tilt_u_rad) < 1.0
    assert np.abs(errors).max() < 3.0


def test_gyro_and_accelerometer_in_different_axes_are_flagged():
    samples, _, _ = sampled()
    swapped = replace(samples, gyro=samples.gyro[:, [1, 0, 2]])
    codes = {flag.code for flag in segment_motion(swapped, IDENTITY).flags}
    assert "gravity_disagrees" in codes


@pytest.mark.parametrize("factor", [0.0, 1.0 / 9.80665, 9.80665])
def test_an_accelerometer_that_does_not_show_gravity_is_flagged(factor):
    """Dead, or in g where m/s^2 was expected, or the other way about."""
    samples, _, _ = sampled(noise=0.0)
    motion = segment_motion(replace(samples, accel=factor * samples.accel), IDENTITY)
    assert "no_gravity" in {flag.code for flag in motion.flags}
    assert np.isfinite(motion.orientation).all()


def test_a_window_without_any_quiet_is_flagged_not_refused():
    samples, _, top_s = sampled()
    middle = samples.between(4.1, 5.7)
    motion = segment_motion(middle, IDENTITY)
    assert "no_quiet" in {flag.code for flag in motion.flags}
    assert np.isfinite(angles_deg(motion, top_s)).all()
    assert np.degrees(np.sqrt(motion.bias_covariance[1, 1])) > 1.0


@pytest.mark.parametrize("count", [0, 1])
def test_fewer_than_two_samples_are_refused(count):
    samples = sampled()[0]
    with pytest.raises(SampleError, match=f"at least 2 samples, received {count}"):
        segment_motion(samples.between(0.0, 0.005 * count - 0.001), IDENTITY)


@pytest.mark.parametrize("count", [2, 3, 5])
def test_next_to_nothing_gives_finite_numbers(count):
    samples = sampled()[0]
    motion = segment_motion(samples.between(0.0, 0.005 * count - 0.001), IDENTITY)
    assert motion.orientation.shape == (count, 4)
    assert np.isfinite(motion.orientation).all()


def test_segments_taken_together_have_the_same_bits_as_each_by_itself():
    """Whatever the other sensor's samples are like: fewer, shorter, or off by a bias of 2 deg/s."""
    samples, _, _ = sampled()
    short = samples.between(0.5, 5.0)
    off = replace(samples, gyro=samples.gyro + np.radians(2.0)).between(0.013, 99.0)
    for other in (short, off):
        together = segment_motions([samples, other], [IDENTITY, IDENTITY])
        for motion, table in zip(together, (samples, other), strict=True):
            alone = segment_motion(table, IDENTITY)
            assert motion.orientation.tobytes() == alone.orientation.tobytes()
            assert motion.bias_covariance.tobytes() == alone.bias_covariance.tobytes()
            assert motion.tilt_u_rad == alone.tilt_u_rad
