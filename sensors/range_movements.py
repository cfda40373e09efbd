"""How each activity on the range moves the body: written on a movement score, right-hander."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from sensors.movement_score import UPRIGHT, MovementScore
from sensors.practice_plan import CalibrationPosture
from sensors.smooth_path import Knot
from sensors.wire import SEGMENTS

STEP_S = 0.55
"""One walking step; about 1.8 steps a second."""

SWAY_DEG = 0.1
"""Sway of a standing trunk; from memory, not a measured constant."""

TURNING_DPS = 75.0
"""Mean speed of turning round on one's feet; the peak is about twice that. Own choice."""


def turning_s(angle_deg: float) -> float:
    """Time to turn round by an angle, s."""
    return max(0.9, abs(angle_deg) / TURNING_DPS)


def stood(calibration: CalibrationPosture) -> dict[str, float]:
    """Posture of the calibration's stand, degrees.

    Facing by the bow's offset and turned back by as much, so that bowing is a tilt alone, about an
    axis that is off by just that.
    """
    posture = UPRIGHT | {"facing": calibration.bow_off_deg}
    for i, segment in enumerate(SEGMENTS):
        posture[f"{segment}_tilt"] = calibration.stand_tilt_deg[i]
        posture[f"{segment}_bend"] = calibration.stand_bend_deg[i]
        posture[f"{segment}_turn"] = -calibration.bow_off_deg
    return posture


def relaxed(rng: np.random.Generator) -> dict[str, float]:
    """An easy upright posture."""
    posture = dict(UPRIGHT)
    posture["pelvis_tilt"], posture["upper_back_tilt"] = 5.0 + 2.0 * rng.standard_normal(2)
    return posture


def go_to(score: MovementScore, posture: Mapping[str, float], duration_s: float) -> None:
    """Ease every coordinate to a posture."""
    score.step(posture, duration_s)


def wait(score: MovementScore, rng: np.random.Generator) -> None:
    """Stand about, swaying more than in the calibration."""
    go_to(score, relaxed(rng) | {"facing": score.value("facing")}, 0.9)
    score.hold(rng.uniform(2.0, 5.0), rng, 4.0 * SWAY_DEG)


def stand(
    score: MovementScore, rng: np.random.Generator, posture: CalibrationPosture
) -> tuple[float, float]:
    """Stand still for the calibration; returns the interval held, s."""
    go_to(score, stood(posture), 1.2)
    score.hold(0.5, rng, posture.restless_deg)
    start_s = score.now_s
    score.hold(4.0, rng, posture.restless_deg)
    return start_s, score.now_s


def bow(
    score: MovementScore, rng: np.random.Generator, posture: CalibrationPosture
) -> tuple[float, float]:
    """Bow forward from the hips twice and come back; returns the interval of the bows, s."""
    upright = stood(posture)
    start_s = score.now_s
    score.hold(0.3)
    for _ in range(2):
        depth = {"pelvis": rng.uniform(38.0, 48.0), "upper_back": rng.uniform(55.0, 68.0)}
        down = dict(upright)
        for segment, angle in depth.items():
            down[f"{segment}_tilt"] += angle * posture.bow_depth
        go_to(score, down, 1.3)
        score.hold(0.4)
        go_to(score, upright, 1.3)
        score.hold(0.3)
    end_s = score.now_s
    score.hold(0.8, rng, SWAY_DEG)
    return start_s, end_s


def walk(score: MovementScore, rng: np.random.Generator) -> None:
    """Turn, walk some steps, turn and come back."""
    away = rng.uniform(60.0, 170.0) * rng.choice((-1.0, 1.0))
    for facing in (score.value("facing") + away, score.value("facing")):
        go_to(score, relaxed(rng) | {"facing": facing}, turning_s(away))
        steps(score, rng, int(rng.integers(4, 9)))
    score.hold(0.4)


def steps(score: MovementScore, rng: np.random.Generator, count: int) -> None:
    """Walking steps: counter-rotation, side to side lean and the body's rise and fall."""
    base = score.posture()
    size = rng.uniform(0.8, 1.2)
    for number in range(count):
        side = 1.0 if number % 2 else -1.0
        ends = number == count - 1
        gait = {} if ends else {"pelvis_turn": 5.0, "upper_back_turn": -4.0, "pelvis_bend": 3.0}
        for name in ("pelvis_turn", "upper_back_turn", "pelvis_bend"):
            score.ease({name: base[name] + side * size * gait.get(name, 0.0)}, STEP_S)
        for segment in SEGMENTS:
            score.ease({f"{segment}_y": base[f"{segment}_y"] + 0.035 * size}, STEP_S / 2)
            score.ease({f"{segment}_y": base[f"{segment}_y"]}, STEP_S / 2, after_s=STEP_S / 2)
        score.now_s += STEP_S


def tee_up(score: MovementScore, rng: np.random.Generator) -> None:
    """Bend down to the ball, fiddle, come up."""
    up = relaxed(rng) | {"facing": score.value("facing")}
    down = up | {
        "pelvis_tilt": rng.uniform(45.0, 65.0),
        "upper_back_tilt": rng.uniform(75.0, 100.0),
        "upper_back_turn": rng.uniform(-20.0, 10.0),
        "pelvis_turn": rng.uniform(-10.0, 5.0),
    }
    go_to(score, down, rng.uniform(0.9, 1.3))
    for _ in range(int(rng.integers(1, 4))):
        nudge = {"upper_back_turn": down["upper_back_turn"] + rng.uniform(-6.0, 6.0)}
        score.step(nudge, rng.uniform(0.3, 0.6))
    go_to(score, up, rng.uniform(1.0, 1.4))
    score.hold(rng.uniform(0.2, 0.8))


def look(score: MovementScore, rng: np.random.Generator) -> None:
    """Turn the trunk toward the target and back."""
    base = score.posture()
    for _ in range(int(rng.integers(1, 3))):
        turn = rng.uniform(12.0, 30.0)
        there = {"upper_back_turn": base["upper_back_turn"] + turn}
        there["pelvis_turn"] = base["pelvis_turn"] + 0.4 * turn
        score.step(there, rng.uniform(0.5, 0.8))
        score.hold(rng.uniform(0.4, 1.0), rng, SWAY_DEG)
        score.step({name: base[name] for name in there}, rng.uniform(0.5, 0.8))
        score.hold(rng.uniform(0.2, 0.5))


def talk(score: MovementScore, rng: np.random.Generator) -> None:
    """Turn to somebody, move while talking, turn back."""
    facing = score.value("facing")
    away = rng.uniform(-150.0, 100.0)
    go_to(score, relaxed(rng) | {"facing": facing + away}, turning_s(away))
    for _ in range(int(rng.integers(2, 6))):
        turn = rng.uniform(-20.0, 20.0)
        score.step({"upper_back_turn": turn, "pelvis_turn": 0.3 * turn}, rng.uniform(0.5, 1.0))
        score.hold(rng.uniform(0.3, 1.2), rng, 3.0 * SWAY_DEG)
    go_to(score, relaxed(rng) | {"facing": facing}, turning_s(away))
    score.hold(0.4)


def waggle(score: MovementScore, rng: np.random.Generator, *, times: int | None = None) -> None:
    """Small quick turns of the trunk over the ball."""
    base = score.posture()
    for number in range(times if times is not None else int(rng.integers(2, 5))):
        size = rng.uniform(2.0, 6.0) * (-1.0 if number % 2 == 0 else 0.5)
        there = {"upper_back_turn": base["upper_back_turn"] + size}
        there["pelvis_turn"] = base["pelvis_turn"] + 0.25 * size
        score.step(there, rng.uniform(0.25, 0.4))
    score.step({name: base[name] for name in ("upper_back_turn", "pelvis_turn")}, 0.35)


def putt(score: MovementScore, rng: np.random.Generator) -> None:
    """A putting stroke: the upper back rocks, the pelvis stays."""
    go_to(score, relaxed(rng) | {"facing": 0.0} | {"upper_back_tilt": 42.0, "pelvis_tilt": 22.0}, 1)
    score.hold(rng.uniform(0.8, 1.6), rng, SWAY_DEG)
    back, through = rng.uniform(5.0, 9.0), rng.uniform(6.0, 11.0)
    start_s = score.now_s
    score.rest("upper_back_turn", start_s)
    score.knot("upper_back_turn", Knot(start_s + 0.65, -back, 0.0, 250.0))
    score.knot("upper_back_turn", Knot(start_s + 1.25, through))
    score.now_s = start_s + 1.25
    score.hold(0.8, rng, SWAY_DEG)
    go_to(score, relaxed(rng), 1.0)


def drill(score: MovementScore, rng: np.random.Generator) -> None:
    """Slow turns: either the whole trunk to and fro, or the pelvis alone under a still trunk."""
    go_to(score, relaxed(rng) | {"facing": score.value("facing")}, 0.8)
    whole = rng.random() < 0.5
    size, time_s = (rng.uniform(40.0, 60.0), 1.0) if whole else (rng.uniform(15.0, 25.0), 0.6)
    for number in range(int(rng.integers(4, 8))):
        side = size if number % 2 else -size
        upper = side if whole else 0.1 * side
        pelvis = 0.45 * side if whole else side
        score.step({"pelvis_turn": pelvis, "upper_back_turn": upper}, time_s)
    score.step({"pelvis_turn": 0.0, "upper_back_turn": 0.0}, time_s)
    score.hold(0.5)
