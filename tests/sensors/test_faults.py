"""Each fault of a simulated sensor does what it says and no more."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from sensors.body_motion import STANDARD_GRAVITY
from sensors.errors import SimulationError
from sensors.faults import SensorFaults, SimulatedSensor, Slip, SoftTissue, Strike, join_samples
from sensors.movement_score import UPRIGHT, MovementScore
from sensors.smooth_path import derivatives
from sensors.swing_shape import SHORT_TURN_EARLY_TRANSITION, write_swing
from tests.support.rotations import rate_by_difference

IDEAL = SensorFaults()


@pytest.fixture(scope="module")
def motion():
    shape = SHORT_TURN_EARLY_TRANSITION
    score = MovementScore(10.0, UPRIGHT | shape.address())
    score.hold(1.0)
    write_swing(score, shape)
    score.hold(1.0)
    return score.motion()


@pytest.fixture(scope="module")
def long_rest():
    score = MovementScore(0.0, UPRIGHT | {"upper_back_tilt": 30.0})
    score.hold(300.0)
    return score.motion()


def sampled(motion, faults=IDEAL, seed=1, impacts_s=(), segment="upper_back"):
    return SimulatedSensor(segment, faults, (seed,)).sample(motion, impacts_s)


def test_an_ideal_sensor_gives_the_true_angular_velocity(motion):
    samples = sampled(motion)
    true = motion.segment("upper_back", samples.time_s)
    np.testing.assert_allclose(samples.gyro, true.angular_velocity, atol=1e-12)
    np.testing.assert_allclose(np.diff(samples.time_s), 0.005, atol=1e-9)
    assert np.array_equal(samples.number, np.arange(len(samples.number)))


def test_a_sensor_at_rest_feels_gravity_upward(long_rest):
    samples = sampled(long_rest)
    to_world = Rotation.from_quat(
        long_rest.segment("upper_back", samples.time_s).orientation, scalar_first=True
    )
    np.testing.assert_allclose(
        to_world.apply(samples.accel),
        [[0.0, STANDARD_GRAVITY, 0.0]] * len(samples.time_s),
        atol=1e-9,
    )
    assert np.degrees(np.arcsin(samples.accel[0, 0] / STANDARD_GRAVITY)) == pytest.approx(-30.0)


def test_the_accelerometer_feels_the_second_derivative_of_its_place(motion):
    arm = (-0.10, 0.15, 0.02)
    samples = sampled(motion, replace(IDEAL, place_m=arm))

    def place(time_s):
        state = motion.segment("upper_back", time_s)
        turned = Rotation.from_quat(state.orientation, scalar_first=True).apply(arm)
        origin = [derivatives(motion.paths[f"upper_back_{axis}"], time_s, 0)[0] for axis in "xyz"]
        return turned + np.stack(origin, axis=-1)

    h = 1e-4
    inside = samples.time_s < motion.end_s - 0.01
    time_s = samples.time_s[inside]
    acceleration = (place(time_s + h) - 2.0 * place(time_s) + place(time_s - h)) / h**2
    state = motion.segment("upper_back", time_s)
    to_world = Rotation.from_quat(state.orientation, scalar_first=True)
    felt = to_world.apply(samples.accel[inside]) - (0.0, STANDARD_GRAVITY, 0.0)
    assert np.abs(felt).max() > 10.0
    np.testing.assert_allclose(felt, acceleration, atol=0.02)


def test_a_mounting_turns_what_the_sensor_sees_into_its_axes(motion):
    mounting = Rotation.from_rotvec([0.3, -0.4, 0.2])
    turned = sampled(motion, replace(IDEAL, mounting=tuple(mounting.as_quat(scalar_first=True))))
    plain = sampled(motion)
    np.testing.assert_allclose(mounting.apply(turned.gyro), plain.gyro, atol=1e-12)
    np.testing.assert_allclose(mounting.apply(turned.accel), plain.accel, atol=1e-12)


def test_a_slip_turns_the_mounting_for_good_and_shows_in_the_gyro(motion):
    slip = Slip(at_s=11.5, angle_deg=12.0, axis=(0.0, 0.0, 2.0))
    slipped, plain = sampled(motion, replace(IDEAL, slip=slip)), sampled(motion)
    before, after = plain.time_s <= 11.5, plain.time_s >= 11.8
    np.testing.assert_array_equal(slipped.accel[before], plain.accel[before])
    turned = Rotation.from_euler("z", 12.0, degrees=True)
    np.testing.assert_allclose(turned.apply(slipped.gyro[after]), plain.gyro[after], atol=1e-12)
    np.testing.assert_allclose(turned.apply(slipped.accel[after]), plain.accel[after], atol=1e-12)
    along = slipped.gyro[:, 2] - plain.gyro[:, 2]
    assert np.degrees(np.trapezoid(along, plain.time_s)) == pytest.approx(12.0, abs=0.01)


def test_a_sensor_that_averages_gives_the_mean_since_the_sample_before(motion):
    samples = sampled(motion, replace(IDEAL, averages=True))
    assert np.array_equal(samples.time_s, sampled(motion).time_s)
    fine_s = samples.time_s[:, None] + np.linspace(-0.005, 0.0, 401)
    true = motion.segment("upper_back", fine_s.ravel()).angular_velocity.reshape(-1, 401, 3)
    means = np.trapezoid(true, dx=1.0 / 400.0, axis=1)
    assert np.degrees(np.abs(true[:, -1] - means)).max() > 5.0
    assert np.degrees(np.abs(samples.gyro - means)).max() < 0.01


def test_a_sensor_that_averages_rides_as_another_does(motion):
    riding = replace(IDEAL, soft_tissue=SoftTissue())
    at_once, mean = sampled(motion, riding), sampled(motion, replace(riding, averages=True))
    between = 0.5 * (at_once.gyro[1:] + at_once.gyro[:-1])
    assert np.degrees(np.abs(mean.gyro[1:] - between)).max() < 1.5
    assert (riding.rate_sample, replace(riding, averages=True).rate_sample) == (None, "mean")


def test_bias_scale_and_misalignment_come_to_the_true_rate(motion):
    wrong = replace(
        IDEAL,
        gyro_bias_dps=(1.0, -2.0, 3.0),
        gyro_scale=(0.01, 0.0, -0.02),
        misalignment=((0.0, 0.003, 0.0), (0.0, 0.0, 0.0), (0.0, -0.004, 0.0)),
        accel_bias=(0.1, 0.0, -0.2),
    )
    true, samples = sampled(motion), sampled(motion, wrong)
    matrix = np.array([[1.01, 0.003, 0.0], [0.0, 1.0, 0.0], [0.0, -0.004, 0.98]])
    expected = true.gyro @ matrix.T + np.radians([1.0, -2.0, 3.0])
    np.testing.assert_allclose(samples.gyro, expected, atol=1e-12)
    np.testing.assert_allclose(samples.accel - true.accel, [[0.1, 0.0, -0.2]] * len(true.accel))


def test_noise_has_the_stated_density(long_rest):
    samples = sampled(long_rest, replace(IDEAL, gyro_noise=0.01, accel_noise=0.002))
    # 60 000 samples an axis: the standard deviation is known to 0.3 %.
    np.testing.assert_allclose(np.degrees(samples.gyro.std(axis=0)), 0.01 * 10.0, rtol=0.015)
    np.testing.assert_allclose(samples.accel.std(axis=0), 0.002 * 10.0, rtol=0.015)


def test_bias_walks_as_far_as_stated(long_rest):
    walking = replace(IDEAL, rate_hz=20.0, gyro_bias_walk=0.01)
    ends = [np.degrees(sampled(long_rest, walking, seed=s).gyro[-1]) for s in range(60)]
    assert np.std(ends) == pytest.approx(0.01 * np.sqrt(300.0), rel=0.2)


def test_the_range_clips_and_counts_are_whole(motion):
    samples = sampled(motion, replace(IDEAL, gyro_range_dps=250.0, accel_range=20.0))
    for values, full in ((samples.gyro, np.radians(250.0)), (samples.accel, 20.0)):
        counts = values / (full / 32768.0)
        np.testing.assert_allclose(counts, np.rint(counts), atol=1e-6)
        assert np.abs(counts).max() <= 32767.0 + 1e-6
    assert np.degrees(samples.gyro).max() == pytest.approx(250.0 * 32767 / 32768)
    true = sampled(motion)
    inside = np.abs(true.gyro) < np.radians(249.0)
    unit = np.radians(250.0) / 32768.0
    assert np.abs(samples.gyro - true.gyro)[inside].max() <= 0.5 * unit + 1e-12


def test_the_clock_has_its_offset_and_drift(long_rest):
    samples = sampled(long_rest, replace(IDEAL, clock_offset_s=12.5, clock_drift_ppm=50.0))
    slope, offset = np.polyfit(samples.time_s, samples.ticks * 0.001, 1)
    assert (slope - 1.0) * 1e6 == pytest.approx(50.0, abs=0.1)
    assert offset == pytest.approx(-12.5, abs=0.003)
    assert 1.0 / np.diff(samples.time_s).mean() == pytest.approx(200.0 * (1 + 50e-6), rel=1e-9)


def test_a_gap_and_lost_batches_leave_holes_in_the_count(long_rest):
    gap = sampled(long_rest, replace(IDEAL, gaps=((10.0, 11.0),)))
    assert not np.any((gap.time_s >= 10.0) & (gap.time_s < 11.0))
    assert np.diff(gap.number).max() == 201
    lossy = sampled(long_rest, replace(IDEAL, batch_loss=0.1, batch_samples=20))
    present = np.unique(lossy.number // 20)
    counts = np.bincount(lossy.number // 20)
    assert set(counts.tolist()) == {0, 20}
    assert 1.0 - len(present) / 3000 == pytest.approx(0.1, abs=0.025)


def test_a_strike_rings_from_impact_and_dies_away(motion):
    impact_s = 12.04
    still, struck = sampled(motion), sampled(motion, replace(IDEAL, strike=Strike()), 1, [impact_s])
    felt = np.linalg.norm(struck.accel - still.accel, axis=1)
    assert felt[struck.time_s < impact_s].max() == 0.0
    assert felt[struck.time_s > impact_s + 0.06].max() == 0.0
    assert 8.0 < felt.max() <= 30.0
    np.testing.assert_array_equal(struck.gyro, still.gyro)


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 400.0])
def test_soft_tissue_rides_like_a_damped_spring(motion, rate_hz):
    """Checked against scipy's solver of differential equations and differences of orientation."""
    tissue = SoftTissue(frequency_hz=9.0, damping=0.15)
    samples = sampled(motion, replace(IDEAL, rate_hz=rate_hz, soft_tissue=tissue))
    natural = 2.0 * np.pi * 9.0

    def spring(at_s, state):
        drive = motion.segment("upper_back", np.array([at_s])).angular_acceleration[0]
        return np.concatenate(
            (state[3:], -drive - 2 * 0.15 * natural * state[3:] - natural**2 * state[:3])
        )

    fine_s = np.arange(motion.start_s, motion.end_s - 0.01, 2e-3)
    solved = solve_ivp(
        spring, (fine_s[0], fine_s[-1]), np.zeros(6), t_eval=fine_s, rtol=1e-6, atol=1e-8
    )
    turned = Rotation.from_quat(
        motion.segment("upper_back", fine_s).orientation, scalar_first=True
    ) * Rotation.from_rotvec(solved.y[:3].T)
    rate = rate_by_difference(turned.as_quat(scalar_first=True), fine_s)
    riding = CubicSpline(0.5 * (fine_s[1:] + fine_s[:-1]), rate)
    inside = (samples.time_s > fine_s[1]) & (samples.time_s < fine_s[-2])
    error = np.degrees(samples.gyro[inside] - riding(samples.time_s[inside]))
    rigid = sampled(motion, replace(IDEAL, rate_hz=rate_hz)).gyro[inside]
    ridden = np.degrees(np.abs(samples.gyro[inside] - rigid).max())
    assert 3.0 < ridden < 60.0
    assert np.abs(error).max() < 0.1 * ridden
    assert np.degrees(np.abs(solved.y[:3]).max()) < 4.0


def test_samples_do_not_depend_on_what_was_sampled_before_them(motion):
    """Two adjoining stretches join to one count and one clock, and keep their own noise."""
    score = MovementScore(motion.end_s, UPRIGHT)
    score.hold(3.0)
    after = score.motion()
    faults = replace(IDEAL, gyro_noise=0.01, clock_drift_ppm=40.0)
    sensor = SimulatedSensor("pelvis", faults, (3,))
    both = join_samples([sensor.sample(motion), sensor.sample(after)])
    assert np.array_equal(both.number, np.arange(len(both.number)))
    np.testing.assert_allclose(np.diff(both.time_s), 1.0 / (200.0 * (1 + 40e-6)), rtol=1e-9)
    again = sampled(motion, faults, 3, segment="pelvis")
    np.testing.assert_array_equal(both.gyro[: len(again.gyro)], again.gyro)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"rate_hz": 0.0}, "rate_hz: expected 10.0 to 8000.0, received 0.0"),
        ({"batch_loss": 1.5}, "batch_loss: expected 0.0 to 1.0, received 1.5"),
        ({"mounting": (1.0, 1.0, 0.0, 0.0)}, "mounting: expected a unit quaternion"),
    ],
)
def test_a_sensor_that_cannot_be_is_refused(wrong, said):
    with pytest.raises(SimulationError, match=said):
        SensorFaults(**wrong)
