"""The samples of a ranking: two independent sets, and further rows for the sensitivities.

With n rows per set and d inputs: A, B, and for each input the rows of A with that input from B
(Saltelli et al. 2010). A and B together are the paired samples. With bins, a few rows are solved a
second time without them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.ranking.inputs import Uncertain
from buttress.sweeps.design import Design, unit_samples
from buttress.sweeps.ranges import Value

EXACT = 8
"""Rows that are solved a second time without bins, to measure the effect of the bins."""
MOST_BINS = 1000


@dataclass(frozen=True)
class Samples:
    """Rows of the design and their roles: slices of `design.rows`.

    ``coupled``: expressions by key, evaluated in each row; the last columns of the design.
    ``shares (n, d)`` of A and B; ``mixed`` is empty without indices, ``exact`` without bins.
    """

    inputs: tuple[Uncertain, ...]
    design: Design
    n: int
    indices: bool
    bins: int | None
    shares: FloatArray
    coupled: Mapping[str, str] = field(default_factory=dict)

    @property
    def paired(self) -> slice:
        """A and B: the paired samples."""
        return slice(0, 2 * self.n)

    def mixed(self, number: int) -> slice:
        """A with one input from B."""
        start = (2 + number) * self.n
        return slice(start, start + self.n)

    @property
    def exact(self) -> slice:
        """The first rows of A again, without bins."""
        start = (2 + len(self.inputs) * self.indices) * self.n
        return slice(start, len(self.design.rows))


def make_samples(inputs: Sequence[Uncertain], samples: int, seed: int | None, *,
                 indices: bool = True, bins: int | None = None,
                 coupled: Mapping[str, str] | None = None) -> Samples:
    """The design of a ranking with ``samples`` paired samples. Raises InputError.

    ``bins``: number of equally probable steps into which inputs that change the mesh or the modulus
    field are divided, each represented by its middle. ``coupled``: expressions of
    keys that follow the inputs, see `coupling`.
    """
    if not inputs:
        raise InputError("this study has no uncertain input", key="--vary",
                         expected="KEY=DISTRIBUTION")
    if samples < 4:
        raise InputError("the number of samples must be positive" if samples < 1 else
                         "too few samples", key="--samples", value=str(samples),
                         expected="a power of two of at least 4, for example --samples 64")
    if samples & (samples - 1):
        below = 2 ** (samples.bit_length() - 1)
        raise InputError("samples are balanced only for a power of two", key="--samples",
                         value=str(samples), expected=f"{below} or {2 * below}")
    if seed is None:
        raise InputError("sampling without a seed is not reproducible", key="--seed",
                         expected="a whole number, for example --seed 1")
    if bins is not None and not 2 <= bins <= MOST_BINS:
        raise InputError("the number of bins is out of range", key="--bins", value=str(bins),
                         expected=f"a whole number from 2 to {MOST_BINS}")
    d, n = len(inputs), samples // 2
    u = unit_samples(2 * d, "sobol", n, seed)
    a, b = u[:, :d], u[:, d:]
    parts = [a, b]
    if indices:
        for i in range(d):
            mixed = a.copy()
            mixed[:, i] = b[:, i]
            parts.append(mixed)
    shares = np.vstack(parts)
    if bins is not None:
        exact = a[:min(EXACT, n)]
        shares = np.vstack([_binned(shares, inputs, bins), exact])
    columns = [entry.values(shares[:, j]) for j, entry in enumerate(inputs)]
    more = dict(coupled or {})
    columns += [[text] * len(shares) for text in more.values()]
    rows: tuple[tuple[Value, ...], ...] = tuple(zip(*columns, strict=True))
    method = "paired samples" + (" with indices" if indices else "") + (
        f", {bins} bins" if bins else "")
    design = Design(
        keys=(*(e.key for e in inputs), *more),
        ranges=(*(f"{e.law.text}" + ("" if e.of == "value" else f" as {e.of}")
                  for e in inputs), *more.values()),
        method=method, samples=samples, seed=seed, rows=rows)
    return Samples(
        inputs=tuple(inputs), design=design, n=n, indices=indices, bins=bins, shares=shares[:2 * n],
        coupled=more)


def _binned(shares: FloatArray, inputs: Sequence[Uncertain], bins: int) -> FloatArray:
    out = shares.copy()
    for j, entry in enumerate(inputs):
        if entry.geometric:
            out[:, j] = (np.minimum(np.floor(shares[:, j] * bins), bins - 1) + 0.5) / bins
    return out
