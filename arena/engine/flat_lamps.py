"""Light of a flat disc near by and far off: a panel that hangs level, a reflector seen askew.

A matt disc of radius a and intensity I along its axis, a flat receiver at the height h before its plane and
at s from its axis:

    E = I / w · [n_axis (1 − 2 s² / (S + w)) + 2 h (n · e) / (S + w)]
    S = h² + s² + a²,   w = √(S² − 4 a² s²)

n_axis is how far the receiver faces the disc's plane, e [m] the way from the receiver to the axis along that
plane. That is L = I / π a² times π times the configuration factors of a plane element to a disc parallel and
square to it, put together as a vector: J. R. Howell, A Catalog of Radiation Heat Transfer Configuration
Factors, sections B-12 and B-13 (from memory), and before him Z. Yamauti's vector of light. It holds while the
receiver's own plane does not cut the disc. On the axis it is I / (a² + h²): within 1 % of I / h² from five
diameters on.

A matt globe gives I / d² · cos exactly, from its centre, at any distance, to a flat receiver that sees all of
it (the same catalogue, sphere and plane element).

Beams of another width, lobes of eyes and discs that the receiver's plane cuts have no such form. The mean
over the disc of f = cos^beam · cos^power / d² is f + a² / 8 · Δf + O(a⁴), Δ along the disc; where that is
more than a few per cent, the mean of points of the disc is taken instead, which from one diameter on is
within 2 % of I / d².
"""

import math
from typing import NamedTuple

import numpy as np

from agents.compiled import kernel, kernel_part
from arena.engine.shadow import disc_points
from arena.scene.records import MATT

# Up to here [-] the second-order share by which a disc differs from its centre is enough.
SMALL_SHARE = 0.02

_POINTS = disc_points(64)


class Facing(NamedTuple):
    """The way d [m] from a receiver to a lamp's centre, the unit vector n and the power of its lobe."""

    dx: float
    dy: float
    dz: float
    nx: float
    ny: float
    nz: float
    power: float


@kernel_part
def part_light(at: Facing, source: np.void) -> float:
    """Light [lx] as if all of a flat lamp sat at the end of d, in front of it."""
    dx, dy, dz, nx, ny, nz, power = at
    square = dx * dx + dy * dy + dz * dz
    facing = dx * nx + dy * ny + dz * nz
    off = -(dx * source["aim_x"] + dy * source["aim_y"] + dz * source["aim_z"])
    if facing <= 0.0 or off <= 0.0:
        return 0.0
    distance = math.sqrt(square)
    light = source["intensity"] * (facing / distance) ** power * (off / distance) ** source["beam"]
    return float(light / square)


@kernel_part
def second_order(at: Facing, source: np.void) -> float:
    """By which share the mean over the disc differs from its centre, to the second order [-]."""
    dx, dy, dz, nx, ny, nz, power = at
    fx, fy, fz = source["face_x"], source["face_y"], source["face_z"]
    square = dx * dx + dy * dy + dz * dz
    # f = (off)^m (facing)^p / d^(m + p + 2) for a step along the disc: what grows, and how fast
    facing = dx * nx + dy * ny + dz * nz
    off = -(dx * source["aim_x"] + dy * source["aim_y"] + dz * source["aim_z"])
    beam = source["beam"]
    out = dx * fx + dy * fy + dz * fz
    along_n = nx * fx + ny * fy + nz * fz
    along_aim = source["aim_x"] * fx + source["aim_y"] * fy + source["aim_z"] * fz
    way = square - out * out
    tilt = 1.0 - along_n * along_n
    lean = 1.0 - along_aim * along_aim
    toward = facing - out * along_n
    aside = -off - out * along_aim
    turned = nx * source["aim_x"] + ny * source["aim_y"] + nz * source["aim_z"] - along_n * along_aim
    k = power + beam + 2.0
    share = power * (power - 1.0) * tilt / (facing * facing) + beam * (beam - 1.0) * lean / (off * off)
    share -= 2.0 * power * beam * turned / (facing * off)
    share -= 2.0 * k * (power * toward / facing - beam * aside / off) / square
    share += k * (k + 2.0) * way / (square * square) - 2.0 * k / square
    return float(0.125 * source["radius"] * source["radius"] * share)


@kernel
def flat_light(at: Facing, source: np.void) -> float:
    """Light [lx] of a flat or matt disc at a receiver as if nothing stood between; 0 behind the disc."""
    dx, dy, dz, nx, ny, nz, power = at
    fx, fy, fz = source["face_x"], source["face_y"], source["face_z"]
    height = -(dx * fx + dy * fy + dz * fz)
    if height <= 0.0:
        return 0.0
    radius = source["radius"]
    axial = -(nx * fx + ny * fy + nz * fz)
    facing = dx * nx + dy * ny + dz * nz
    is_whole = facing >= radius * math.sqrt(max(1.0 - axial * axial, 0.0))
    if is_whole and power == 1.0 and source["form"] == MATT:
        square = radius * radius
        aside = max(dx * dx + dy * dy + dz * dz - height * height, 0.0)
        total = height * height + aside + square
        root = math.sqrt(total * total - 4.0 * square * aside)
        part = 2.0 / (total + root)
        # n · e, with e = d + h f
        inward = facing - height * axial
        return float(source["intensity"] / root * (axial * (1.0 - aside * part) + height * part * inward))
    light = part_light(at, source)
    if is_whole and light > 0.0:
        share = second_order(at, source)
        if abs(share) < SMALL_SHARE:
            return light * (1.0 + share)
    return disc_mean(at, source)


@kernel_part
def disc_mean(at: Facing, source: np.void) -> float:
    """Light [lx] of a flat disc, as the mean of that of its points."""
    dx, dy, dz, nx, ny, nz, power = at
    radius = source["radius"]
    fx, fy, fz = source["face_x"], source["face_y"], source["face_z"]
    span = math.sqrt(fx * fx + fy * fy)
    level_x = 1.0
    level_y = 0.0
    if span > 0.0:
        level_x = -fy / span
        level_y = fx / span
    light = 0.0
    for k in range(len(_POINTS)):
        u = radius * _POINTS[k, 0]
        v = radius * _POINTS[k, 1]
        x = dx + u * level_x - v * level_y * fz
        y = dy + u * level_y + v * level_x * fz
        z = dz + v * span
        light += part_light(Facing(x, y, z, nx, ny, nz, power), source)
    return light / len(_POINTS)
