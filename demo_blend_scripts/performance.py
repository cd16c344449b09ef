# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What she does, frame by frame: the key tables of the clean performance.

Two crates from the quay onto the cart. Angles are degrees, lengths metres. The camera
looks along +Y, so screen right is +X; a heading of 0 faces the camera, +90 screen right.
Each table is one part of her with its own frames: parts that start and stop together
look like a puppet. None leaves a channel without a key on that frame.

    1- 16  looks at the cart, reaches for the first crate
   16- 24  dips and lifts it
   22- 50  opens, three steps, winds up and slings on the heavy left foot
   50- 70  follow-through on one leg, lands back, turns to the second crate
   70- 86  squats, takes it
   86-105  lifts, winds up over the right hip, steps and slings
  105-150  follow-through, settles, wipes her brow, watches the light
"""

from __future__ import annotations

from typing import NamedTuple

FIRST_FRAME = 1
LAST_FRAME = 150
FPS = 24

GRIP_A, RELEASE_A_LEFT, RELEASE_A_RIGHT, LANDING_A = 15, 48, 50, 60
GRIP_B, RELEASE_B_LEFT, RELEASE_B_RIGHT, LANDING_B = 83, 103, 105, 115
LIFT_A, LIFT_B = 17, 86
REST_A_RIGHT, REACH_B_RIGHT = 13, 80

# frame, x, y, height of the hip joint line, turn, bend, side (+: left hip up)
HIPS = (
    (1, -2.020, 0.000, 0.916, -56.0, 6.0, 3.0),
    (9, -2.036, -0.008, 0.909, -58.0, 7.0, 3.6),
    (16, -2.070, -0.010, 0.868, -64.0, 14.0, 0.5),
    (20, -2.030, 0.006, 0.892, -58.0, 8.0, -2.0),
    (24, -1.930, 0.020, 0.910, -42.0, 2.0, -4.0),
    (28, -1.770, 0.010, 0.890, -18.0, 2.0, -3.0),
    (32, -1.500, -0.070, 0.862, 6.0, 4.0, 3.0),
    (35, -1.265, -0.080, 0.886, 15.0, 4.0, 4.5),
    (39, -0.970, -0.050, 0.858, 17.0, 4.0, -2.0),
    (43, -0.700, -0.040, 0.872, 24.0, 4.0, -5.0),
    (46, -0.480, -0.060, 0.858, 44.0, 7.0, -1.0),
    (49, -0.290, -0.090, 0.832, 68.0, 11.0, 4.0),
    (53, -0.205, -0.105, 0.838, 78.0, 12.0, 5.5),
    (59, -0.195, -0.095, 0.876, 66.0, 5.0, 3.0),
    (64, -0.280, -0.060, 0.878, 40.0, 4.0, -1.0),
    (69, -0.420, -0.010, 0.838, 14.0, 12.0, -3.5),
    (75, -0.520, 0.040, 0.712, -4.0, 26.0, -2.5),
    (82, -0.555, 0.060, 0.632, -13.0, 34.0, -2.0),
    (86, -0.565, 0.055, 0.646, -17.0, 33.0, -2.0),
    (91, -0.590, 0.025, 0.822, -27.0, 13.0, -3.5),
    (96, -0.530, 0.000, 0.885, -28.0, 3.0, -5.0),
    (100, -0.320, -0.030, 0.878, -2.0, 4.0, -4.0),
    (103, -0.085, -0.070, 0.848, 34.0, 8.0, 1.0),
    (106, 0.080, -0.105, 0.828, 58.0, 11.0, 4.5),
    (110, 0.165, -0.120, 0.842, 66.0, 10.0, 5.5),
    (117, 0.150, -0.105, 0.884, 50.0, 4.0, 1.5),
    (124, 0.165, -0.110, 0.898, 36.0, 1.0, 4.0),
    (132, 0.182, -0.118, 0.904, 31.0, 0.5, 5.2),
    (141, 0.188, -0.121, 0.899, 29.0, 1.0, 4.7),
    (150, 0.193, -0.122, 0.902, 27.5, 0.6, 5.3),
)

# frame, bend, twist (+: to her left), side (+: to her right)
SPINE = (
    (1, 6.0, 6.0, -2.0),
    (10, 6.5, 7.0, -2.5),
    (17, 14.0, -2.0, 0.0),
    (21, 6.0, -4.0, 1.0),
    (26, -2.0, 0.0, 2.0),
    (31, 2.0, 0.0, -1.0),
    (36, 1.0, -8.0, -3.0),
    (41, -1.0, -16.0, 2.0),
    (45, 2.0, -11.0, 4.0),
    (48, 7.0, 6.0, 1.0),
    (51, 11.0, 15.0, -3.0),
    (57, 7.0, 12.0, -4.0),
    (63, 2.0, 3.0, -1.0),
    (69, 6.0, -6.0, 2.0),
    (75, 16.0, -8.0, 3.0),
    (83, 25.0, -5.0, 2.0),
    (87, 23.0, -5.0, 2.0),
    (92, 6.0, -10.0, 2.0),
    (97, -3.0, -16.0, 3.0),
    (101, -1.0, -11.0, 4.0),
    (104, 6.0, 5.0, 1.0),
    (107, 10.0, 14.0, -3.0),
    (113, 6.0, 11.0, -4.0),
    (119, 1.0, 2.0, -1.0),
    (126, -2.0, -3.0, -3.5),
    (135, -2.6, -4.2, -4.3),
    (143, -1.9, -3.6, -3.8),
    (150, -2.3, -4.1, -4.2),
)

# frame, bend, twist, side: two frames behind the spine, farther round
CHEST = (
    (1, 4.0, 10.0, -2.0),
    (12, 4.5, 11.5, -2.5),
    (18, 10.0, -2.0, 1.0),
    (22, 4.0, -8.0, 2.0),
    (27, -3.0, 0.0, 2.0),
    (32, 1.0, -2.0, -2.0),
    (37, -1.0, -12.0, -3.0),
    (42, -4.0, -22.0, 7.0),
    (46, 1.0, -13.0, 5.0),
    (49, 6.0, 7.0, 0.0),
    (52, 9.0, 19.0, -4.0),
    (58, 5.0, 16.0, -4.0),
    (65, 1.0, 2.0, -1.0),
    (71, 5.0, -9.0, 2.0),
    (77, 12.0, -12.0, 3.0),
    (84, 17.0, -6.0, 2.0),
    (88, 15.0, -7.0, 3.0),
    (93, 3.0, -14.0, 3.0),
    (98, -5.0, -22.0, 7.0),
    (102, -1.0, -13.0, 4.0),
    (105, 5.0, 7.0, 0.0),
    (108, 8.0, 18.0, -4.0),
    (114, 4.0, 14.0, -4.0),
    (121, 0.0, 2.0, 0.0),
    (128, -3.0, -4.0, -3.0),
    (137, -3.6, -6.0, -3.8),
    (144, -2.8, -5.0, -3.2),
    (150, -3.2, -5.6, -3.5),
)

# frame, heading of the eyes in the world, pitch (+: down), tilt: she looks before she goes
LOOK = (
    (1, 20.0, 6.0, -2.0),
    (6, 24.0, 5.0, -3.0),
    (13, -48.0, 30.0, 3.0),
    (18, -56.0, 32.0, 2.0),
    (23, -20.0, 14.0, 0.0),
    (28, 38.0, 8.0, -3.0),
    (36, 52.0, 8.0, -4.0),
    (43, 60.0, 10.0, -2.0),
    (51, 80.0, 14.0, 4.0),
    (60, 82.0, 10.0, 3.0),
    (66, 30.0, 24.0, -2.0),
    (72, -10.0, 40.0, -4.0),
    (82, -18.0, 50.0, -2.0),
    (89, -8.0, 22.0, 0.0),
    (95, 34.0, 8.0, -4.0),
    (102, 54.0, 10.0, -3.0),
    (108, 76.0, 13.0, 4.0),
    (117, 80.0, 9.0, 3.0),
    (123, 60.0, 14.0, -2.0),
    (130, 42.0, 4.0, -5.0),
    (137, 56.0, -3.0, -3.0),
    (143, 60.0, -4.0, -2.2),
    (150, 62.0, -4.6, -2.6),
)


class Step(NamedTuple):
    """One step: frames of lift and contact, where the ball of the foot lands, its heading.

    `rise` is the height in the middle, `toes_up` the angle of the sole at heel contact,
    `flat_after` the frames from contact to a flat sole.
    """

    side: str
    lift: int
    contact: int
    x: float
    y: float
    heading: float
    rise: float = 0.10
    toes_up: float = 18.0
    flat_after: int = 2


START_FEET = {"L": (-2.150, -0.195, -55.0), "R": (-2.205, 0.105, -78.0)}
"""Ball of each foot and its heading on the first frame."""

STEPS = (
    Step("L", 22, 28, -1.380, -0.270, 8.0, 0.09),
    Step("R", 29, 36, -0.905, -0.050, 22.0, 0.09),
    Step("L", 37, 45, -0.060, -0.210, 60.0, 0.19, 20.0),
    Step("R", 45, 63, -0.655, -0.050, -30.0, 0.15, 0.0, 1),
    Step("L", 93, 101, 0.270, -0.240, 56.0, 0.19, 20.0),
    Step("R", 101, 117, -0.070, -0.110, -8.0, 0.16, 0.0, 1),
)


class Pivot(NamedTuple):
    """A turn of a planted foot on its ball."""

    side: str
    first: int
    last: int
    heading: float


PIVOTS = (
    Pivot("R", 22, 29, -30.0),
    Pivot("R", 42, 49, 50.0),
    Pivot("L", 62, 71, 22.0),
    Pivot("R", 97, 105, 18.0),
)


class HeelRise(NamedTuple):
    """The heel of a planted foot at a frame, degrees about the ball."""

    side: str
    frame: int
    angle: float


HEELS = (
    HeelRise("R", 23, 0.0),
    HeelRise("R", 27, 28.0),
    HeelRise("R", 30, 46.0),
    HeelRise("R", 40, 0.0),
    HeelRise("R", 45, 24.0),
    HeelRise("R", 50, 54.0),
    HeelRise("R", 95, 0.0),
    HeelRise("R", 100, 24.0),
    HeelRise("R", 105, 54.0),
)


class Reach(NamedTuple):
    """A free hand at a frame: where the wrist is and which way the elbow points.

    Places are outward, forward and up: from the hip joint line and turned with the hips,
    or, `from_chest`, from between the shoulders and turned with the chest.
    """

    frame: int
    place: tuple[float, float, float]
    elbow: tuple[float, float, float] = (0.5, -0.6, -0.5)
    twist: float = 0.0
    flex: float = 4.0
    deviation: float = 0.0
    from_chest: bool = False


ARM_LEFT = (
    Reach(1, (0.255, 0.015, 0.150), (1.0, -0.35, 0.05), 10.0, 32.0, -8.0),
    Reach(7, (0.252, 0.020, 0.142), (1.0, -0.38, 0.02), 10.0, 34.0, -9.0),
    Reach(11, (0.300, 0.200, 0.060), (0.9, -0.5, -0.2), -20.0, -14.0, 4.0),
    Reach(51, (0.390, 0.360, -0.110), (0.5, -0.4, -0.8), -50.0, -14.0, 0.0, True),
    Reach(55, (0.500, 0.140, -0.130), (0.4, -0.7, -0.6), -40.0, -22.0, 4.0, True),
    Reach(61, (0.440, -0.130, 0.150), (0.4, -0.8, -0.2), -25.0, 6.0, 4.0),
    Reach(67, (0.310, 0.060, -0.010), (0.4, -0.8, -0.2), -20.0, 14.0),
    Reach(73, (0.260, 0.260, 0.040), (0.7, -0.6, -0.3), -30.0, -8.0),
    Reach(78, (0.280, 0.400, -0.080), (0.8, -0.4, -0.2), -50.0, -12.0),
    Reach(106, (0.400, 0.350, -0.080), (0.5, -0.4, -0.8), -50.0, -16.0, 0.0, True),
    Reach(110, (0.490, 0.110, -0.060), (0.4, -0.7, -0.6), -40.0, -24.0, 4.0, True),
    Reach(116, (0.420, -0.130, 0.120), (0.4, -0.8, -0.2), -22.0, 8.0, 4.0),
    Reach(122, (0.330, 0.100, 0.060), (0.7, -0.6, -0.2), -10.0, 10.0),
    Reach(128, (0.252, 0.020, 0.150), (1.0, -0.40, 0.05), 10.0, 30.0, -8.0),
    Reach(138, (0.250, 0.012, 0.144), (1.0, -0.44, 0.02), 11.0, 33.0, -9.0),
    Reach(150, (0.253, 0.018, 0.149), (1.0, -0.41, 0.06), 10.0, 31.0, -8.0),
)

ARM_RIGHT = (
    Reach(1, (0.205, 0.350, 0.010), (0.8, -0.6, -0.2), 10.0, -24.0),
    Reach(8, (0.200, 0.352, 0.004), (0.8, -0.62, -0.2), 10.0, -26.0),
    Reach(53, (-0.030, 0.460, -0.020), (0.6, -0.1, -0.8), -22.0, 4.0, 0.0, True),
    Reach(57, (-0.010, 0.440, -0.140), (0.6, -0.1, -0.8), 6.0, 18.0, 0.0, True),
    Reach(62, (0.130, 0.420, 0.080), (0.7, -0.3, -0.5), 4.0, 2.0),
    Reach(67, (0.330, 0.170, -0.020), (0.5, -0.8, -0.2), -14.0, -14.0),
    Reach(72, (0.335, 0.150, 0.020), (0.6, -0.7, -0.2), -20.0, 4.0),
    Reach(76, (0.300, 0.330, -0.040), (0.8, -0.5, -0.2), -22.0, -10.0),
    Reach(108, (-0.040, 0.460, 0.020), (0.6, -0.1, -0.8), -24.0, 4.0, 0.0, True),
    Reach(112, (-0.030, 0.430, -0.100), (0.6, -0.1, -0.8), 2.0, 20.0, 0.0, True),
    Reach(117, (0.080, 0.400, 0.160), (0.7, -0.3, -0.5), -4.0, 4.0),
    Reach(122, (0.230, 0.290, 0.180), (0.8, -0.4, -0.5), -16.0, -14.0),
    Reach(127, (0.105, 0.235, 0.660), (0.9, 0.1, -0.3), -40.0, 10.0, 6.0),
    Reach(132, (0.200, 0.170, 0.700), (1.0, 0.0, -0.1), -40.0, 16.0, 10.0),
    Reach(138, (0.350, 0.250, 0.360), (0.8, -0.3, -0.6), -20.0, 22.0),
    Reach(143, (0.300, 0.060, -0.030), (0.5, -0.8, -0.2), -16.0, 14.0),
    Reach(147, (0.285, 0.040, -0.036), (0.5, -0.8, -0.2), -16.0, 6.0),
    Reach(150, (0.288, 0.050, -0.034), (0.5, -0.8, -0.2), -16.0, 8.0),
)


class Carry(NamedTuple):
    """The crate in her hands: to her left, forward and up from between her shoulders.

    Directions turn with the chest. `yaw` turns the crate with the chest as zero, `tilt`
    raises its left end, `pitch` tips its top away.
    """

    frame: int
    left: float
    forward: float
    up: float
    yaw: float
    tilt: float = 0.0
    pitch: float = 0.0


CARRY_A = (
    Carry(21, 0.010, 0.360, -0.430, 2.0, -5.0, -4.0),
    Carry(24, 0.000, 0.340, -0.370, -3.0, -7.0, -8.0),
    Carry(28, -0.030, 0.330, -0.370, -5.0, -4.0, -6.0),
    Carry(33, -0.080, 0.310, -0.400, -8.0, 4.0, -2.0),
    Carry(38, -0.140, 0.260, -0.430, -13.0, 9.0, 3.0),
    Carry(42, -0.165, 0.230, -0.440, -16.0, 11.0, 5.0),
    Carry(45, -0.090, 0.300, -0.480, -10.0, 6.0, 6.0),
    Carry(48, 0.070, 0.380, -0.340, 2.0, -3.0, -2.0),
    Carry(50, 0.170, 0.430, -0.160, 8.0, -8.0, -8.0),
)

CARRY_B = (
    Carry(90, -0.010, 0.330, -0.460, -2.0, -5.0, -3.0),
    Carry(92, -0.050, 0.320, -0.420, -7.0, -5.0, -5.0),
    Carry(95, -0.120, 0.270, -0.430, -12.0, 6.0, 0.0),
    Carry(98, -0.160, 0.235, -0.440, -16.0, 10.0, 4.0),
    Carry(101, -0.090, 0.300, -0.480, -10.0, 6.0, 6.0),
    Carry(103, 0.010, 0.360, -0.400, -3.0, 1.0, 2.0),
    Carry(105, 0.150, 0.420, -0.190, 7.0, -7.0, -7.0),
)

# frame, pose of the fingers
FINGERS_LEFT = (
    (1, "on hip"),
    (8, "on hip"),
    (12, "open"),
    (16, "hook"),
    (47, "hook"),
    (50, "splay"),
    (57, "open"),
    (65, "loose"),
    (77, "open"),
    (84, "hook"),
    (102, "hook"),
    (105, "splay"),
    (112, "open"),
    (119, "loose"),
    (128, "on hip"),
    (139, "on hip soft"),
    (150, "on hip"),
)
FINGERS_RIGHT = (
    (1, "resting"),
    (9, "loose"),
    (14, "hook"),
    (49, "hook"),
    (52, "splay"),
    (60, "loose"),
    (69, "half"),
    (76, "open"),
    (81, "hook"),
    (104, "hook"),
    (107, "splay"),
    (114, "loose"),
    (121, "half"),
    (128, "flat"),
    (134, "flat"),
    (140, "open"),
    (145, "loose"),
    (150, "half"),
)

# thumb curl; curl of the knuckle, the middle and the last joint; spread between fingers
HAND_POSES = {
    "loose": (12.0, (16.0, 24.0, 16.0), 2.0),
    "half": (20.0, (32.0, 38.0, 24.0), 0.0),
    "open": (2.0, (4.0, 10.0, 8.0), 7.0),
    "splay": (-14.0, (-10.0, 6.0, 4.0), 13.0),
    "hook": (26.0, (52.0, 62.0, 38.0), 0.0),
    "flat": (8.0, (10.0, 8.0, 6.0), 1.0),
    "resting": (6.0, (22.0, 16.0, 10.0), 5.0),
    "on hip": (-8.0, (34.0, 30.0, 18.0), 3.0),
    "on hip soft": (-2.0, (26.0, 40.0, 24.0), 1.0),
}
