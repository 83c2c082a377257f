"""Figures that several tests mesh: a rectangle, a tibia-like section, random fractures of it."""

from __future__ import annotations

import numpy as np

SIZE = 1.5  # mm


def rectangle(width: float = 20.0, height: float = 30.0):
    """Corner at the origin; labels base, right, top, left."""
    return (np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]),
            ("base", "right", "top", "left"))


def half_width(y):
    """Half the width of the section [mm] at height y [mm]: 38 at the joint, 14 from -60 down."""
    return 14.0 + 24.0 * np.clip((60.0 + np.asarray(y, dtype=float)) / 60.0, 0.0, 1.0) ** 2.2


def tibia(step: float = 2.5):
    """Outline 76 mm wide at y = 0, 28 mm from y = -60 to -120, with a vertex about every step."""
    y = np.linspace(0.0, -120.0, round(120.0 / step) + 1)
    x = np.linspace(38.0, -38.0, round(76.0 / step) + 1)[1:-1]
    medial = np.column_stack([-half_width(y), y])
    lateral = np.column_stack([half_width(y), y])[::-1]
    joint = np.column_stack([x, np.zeros(len(x))])
    labels = (["medial"] * (len(medial) - 1) + ["base"] + ["lateral"] * (len(lateral) - 1)
              + ["joint"] * (len(joint) + 1))
    return np.vstack([medial, lateral, joint]), tuple(labels)


def graded(xy):
    """1.5 mm down to y = -40, then growing to 3 mm."""
    return np.clip(SIZE + 0.06 * np.maximum(0.0, -40.0 - xy[:, 1]), SIZE, 3.0)


def random_fracture(seed: int):
    """Cuts, voids and regions of a random fracture from the joint to a cortex.

    A quarter has a second line that ends on the first, a quarter a void on the line, of which
    some hold a graft.
    """
    rng = np.random.default_rng(seed)
    start = np.array([rng.uniform(-34.0, 34.0), rng.choice([0.0, 2.0, -0.05])])
    depth = rng.uniform(-85.0, -8.0)
    end = np.array([rng.choice([-1, 1]) * half_width(depth) * rng.choice([1.0, 1.03, 0.998]),
                    depth])
    share = np.sort(rng.uniform(0.15, 0.85, rng.integers(0, 4)))
    middle = start + share[:, None] * (end - start) + rng.normal(0.0, 0.7, (len(share), 2))
    cuts = {"main": np.vstack([start, middle, end])}
    voids, regions = {}, {}
    kind = rng.random()
    if kind < 0.25:
        meet = middle[0] if len(middle) else 0.5 * (start + end)
        cuts["second"] = np.array([[rng.uniform(-34.0, 34.0), 0.5], meet])
    elif kind < 0.5:
        radius, sides = rng.uniform(2.0, 6.0), int(rng.integers(6, 30))
        turn = np.linspace(0.0, 2.0 * np.pi, sides, endpoint=False)
        centre = start + rng.uniform(0.3, 0.7) * (end - start)
        voids["void"] = centre + radius * np.column_stack([np.cos(turn), np.sin(turn)])
        if rng.random() < 0.4:
            corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
            regions["graft"] = centre + 0.5 * radius * corners
    return cuts, voids, regions
