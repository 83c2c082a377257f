"""Small random problems of frictional contacts and springs, and every state that solves them.

A rigid body on two or three frictional contacts and up to one spring, with flexibilities drawn at
random: small enough that sticking, slipping either way, open and crushed can all be tried.
"""

from itertools import product

import numpy as np

from buttress.fe.bodies.body import FARTHEST_MM
from buttress.fe.links.condense import Condensed
from buttress.fe.links.link import LinkList

FORCE = np.array([1000.0])


def problem(seed, hardens=False):
    """A condensed problem drawn from a seed; ``hardens``: bounds of contacts and springs rise."""
    rng = np.random.default_rng(seed)
    rises = np.random.default_rng([seed, 1])
    rows, lower, upper, gap, friction, partner, soft = [], [], [], [], [], [], []

    def link(place, angle, **law):
        x, y = np.cos(angle), np.sin(angle)
        # The body is the second end: a contact pushes it along the direction.
        rows.append([-x, -y, (place[1] * x - place[0] * y) / 10])
        for values, name, default in ((lower, "lower", 0.0), (upper, "upper", 0.0),
                                      (gap, "gap", 0.0), (friction, "friction", 0.0),
                                      (partner, "partner", -1), (soft, "soft", 0.0)):
            values.append(law.get(name, default))

    for _ in range(rng.integers(2, 4)):
        place, angle = rng.uniform(-10, 10, 2), rng.normal(np.pi / 2, 0.8)
        strength = np.inf if rng.random() < 0.8 else rng.uniform(200, 2000)
        link(place, angle, upper=strength, gap=rng.choice([0.0, 0.0, 0.01, -0.01, 0.1]))
        rub = rng.choice([0.0, 0.2, 0.4])
        if rub:
            link(place, angle + np.pi / 2, friction=rub, partner=len(rows) - 1)
    if rng.random() < 0.7:
        strength = rng.choice([np.inf, 300.0])
        link(rng.uniform(-10, 10, 2), rng.uniform(0, np.pi), lower=-strength, upper=strength,
             soft=10.0 ** rng.uniform(-5, -3))
    n = len(rows)
    root = rng.normal(size=(n, n + 2))
    tilt, none = rng.normal(0, 0.4), np.zeros
    push = np.array([[np.sin(tilt)], [-np.cos(tilt)], [rng.uniform(-0.3, 0.3)]])
    lower_array, friction_array = np.array(lower), np.array(friction)
    flexibility = 1e-5 * root @ root.T / n
    of_load = 1e-6 * rng.normal(size=(n, 1))
    # As of one body: the load's own flexibility is not less than what the links feel of it.
    own = of_load.T @ np.linalg.solve(flexibility, of_load) + 1e-6
    return Condensed(
        links=LinkList(), bodies=(), loads=(), flexibility=flexibility,
        rigid=np.array(rows), kinks=none((n, 0)), kink_limit=none(0),
        load_deformation=of_load, load_rigid=push, load_kinks=none((0, 1)),
        load_flexibility=own,
        rigid_body=np.zeros(3, dtype=int), farthest=np.full(3, FARTHEST_MM), measure_names=(),
        measure_links=none((0, n)),
        measure_rigid=none((0, 3)), measure_kinks=none((0, 0)), measure_loads=none((0, 1)),
        compliance=np.array(soft), lower=lower_array, upper=np.array(upper), gap=np.array(gap),
        kink_slope=none(0), friction=friction_array, partner=np.array(partner),
        slope=np.where((friction_array == 0) & hardens, 10.0 ** rises.uniform(1, 5, n), 0.0),
        soften=none(n), residual=np.ones(n),
        opens=(lower_array == 0) & (friction_array == 0))


def violation(p, force, rigid, load=FORCE, size=FORCE[0]):
    """Largest breach of balance, bounds or complementarity, over ``size`` [N]."""
    stiff = p.flexibility + np.diag(p.compliance)
    slack = (p.load_deformation @ load - p.gap - stiff @ force + p.rigid @ rigid) / np.diag(stiff)
    width = np.where(p.friction > 0, p.friction * np.maximum(force[p.partner], 0.0), 0.0)
    rise = p.slope * slack * np.diag(stiff)
    low = p.lower - width + np.where(p.lower < 0, np.minimum(rise, 0.0), 0.0)
    high = p.upper + width + np.maximum(rise, 0.0)
    low, high = (bound + np.where(p.lower < 0, other, 0.0) for bound, other in (
        (low, np.maximum(rise, 0.0)), (high, np.minimum(rise, 0.0))))
    breach = np.concatenate([p.load_rigid @ load - p.rigid.T @ force, np.maximum(low - force, 0),
                             np.maximum(force - high, 0), np.minimum(slack.clip(0), high - force),
                             np.minimum((-slack).clip(0), force - low)])
    return np.abs(breach).max() / size


def solutions(p, load=FORCE, size=FORCE[0]):
    """Every state that solves the problem, as (force, rigid)."""
    n, m = p.rigid.shape
    stiff = p.flexibility + np.diag(p.compliance)
    moves = [[0] + [1] * bool(p.friction[i] or np.isfinite(p.upper[i]))
             + [-1] * bool(p.friction[i] or np.isfinite(p.lower[i])) for i in range(n)]
    for state in product(*moves):
        matrix, right = np.zeros((n + m, n + m)), np.zeros(n + m)
        matrix[n:, :n], right[n:] = p.rigid.T, p.load_rigid @ load
        for i, s in enumerate(state):
            if s:
                matrix[i, i], right[i] = 1.0, p.upper[i] if s > 0 else p.lower[i]
                if p.friction[i]:
                    matrix[i, p.partner[i]] = -s * p.friction[i]
                if p.slope[i] and (s > 0 or p.lower[i] < 0):
                    matrix[i, :n] += p.slope[i] * stiff[i]
                    matrix[i, n:] -= 1e-5 * p.slope[i] * p.rigid[i]
                    right[i] += p.slope[i] * (p.load_deformation[i] @ load - p.gap[i])
            else:
                scale = stiff[i, i]
                matrix[i, :n], matrix[i, n:] = stiff[i] / scale, -1e-5 * p.rigid[i] / scale
                right[i] = (p.load_deformation[i] @ load - p.gap[i]) / scale
        if np.linalg.cond(matrix) > 1e12:
            continue
        found = np.linalg.solve(matrix, right)
        force, rigid = found[:n], 1e-5 * found[n:]
        if violation(p, force, rigid, load, size) < 1e-8:
            yield force, rigid
