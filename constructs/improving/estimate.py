"""The estimate between placements, and where to look next.

Radial basis functions through the solved placements; next come those points of a cloud that do
well by a score of the estimate and of the distance to what was tried, whose weights take turns (as
Regis and Shoemaker, INFORMS J Comput 2007;19:497-509, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import RBFInterpolator
from scipy.spatial.distance import cdist
from scipy.stats import qmc

from buttress.fe.arrays import FloatArray

WEIGHTS = (0.3, 0.5, 0.8, 0.95)
"""Weight of the estimate against distance, in turn: first to explore, then to refine."""
CLOUD, NEAR = 256, 0.08
"""Points of each half of the cloud: over all of the box, and near the best (standard deviation as
a share of the range)."""
FEWEST = 2
"""Solved placements beyond the number of keys before there is an estimate."""


@dataclass(frozen=True)
class Estimate:
    """An estimate from places ``(n, d)`` between the bounds and their values ``(n,)``."""

    places: FloatArray
    values: FloatArray

    @staticmethod
    def of(places: FloatArray, values: FloatArray) -> Estimate | None:
        """None where there are too few different places."""
        places, first = np.unique(places, axis=0, return_index=True)
        wide = np.linalg.matrix_rank(places - places.mean(axis=0)) if len(places) else 0
        if len(places) < places.shape[1] + FEWEST or wide < places.shape[1]:
            return None
        return Estimate(places, values[first])

    def at(self, places: FloatArray) -> FloatArray:
        """Estimated values ``(m,)``, within what was found at the solved places."""
        found = RBFInterpolator(self.places, self.values, kernel="linear")(places)
        return np.clip(found, self.values.min(), self.values.max())

    def misses(self) -> float | None:
        """Median size of the error at a place that is left out; None where too few are left."""
        out = []
        for i in range(len(self.values)):
            rest = Estimate.of(np.delete(self.places, i, axis=0), np.delete(self.values, i))
            if rest is None:
                return None
            out.append(abs(float(rest.at(self.places[i:i + 1])[0]) - float(self.values[i])))
        return float(np.median(out))


def spread_points(dimensions: int, seed: int) -> Iterator[FloatArray]:
    """Points of a scrambled Sobol sequence in the unit cube, one after another."""
    sequence = qmc.Sobol(dimensions, rng=seed)
    while True:
        yield from sequence.random(64)


def next_points(estimate: Estimate | None, tried: FloatArray, seed: int, turn: int) -> FloatArray:
    """Points ``(m, d)`` of a cloud, the most promising first; ``tried (n, d)``: all so far."""
    rng = np.random.default_rng([seed, turn])
    cloud = qmc.Sobol(tried.shape[1], rng=rng).random(CLOUD)
    if estimate is None:
        return cloud
    best = estimate.places[int(np.argmax(estimate.values))]
    near = best + NEAR * rng.standard_normal((CLOUD, tried.shape[1]))
    # Near the best in some keys, the others as they are: valleys often lie along the axes.
    near = np.where(rng.random(near.shape) < 0.5, near, best)
    cloud = np.vstack([cloud, np.clip(near, 0.0, 1.0)])
    far = cdist(cloud, tried).min(axis=1)
    weight = WEIGHTS[turn % len(WEIGHTS)]
    score = weight * _scaled(estimate.at(cloud)) + (1.0 - weight) * _scaled(far)
    return cloud[np.argsort(-score, kind="stable")]


def _scaled(values: FloatArray) -> FloatArray:
    low, high = float(values.min()), float(values.max())
    return (values - low) / (high - low) if high > low else np.ones_like(values)
