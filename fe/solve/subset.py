"""The active part of a condensed problem: some bodies left out, some links held back.

A subset is a separate condensed problem, cut from the arrays of the whole: no body is factorised
or solved again. Answers are transferred back to the numbering of the whole, where inactive links
carry no force and inactive bodies do not move.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from buttress.fe.arrays import BoolArray, FloatArray, IntArray
from buttress.fe.links.condense import Condensed
from buttress.fe.links.link import LinkList
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.capacity import Escape


def link_bodies(problem: Condensed) -> IntArray:
    """Numbers of the two bodies of each link ``(n, 2)``; -1 is the ground."""
    number = {id(b): i for i, b in enumerate(problem.bodies)}
    return np.array([[-1 if end.body is None else number[id(end.body)] for end in (x.a, x.b)]
                     for x in problem.links.links], dtype=np.int64).reshape(-1, 2)


@dataclass(frozen=True)
class Subset:
    """A condensed problem cut from a whole one, with the numbers of the retained parts."""

    whole: Condensed
    problem: Condensed
    links: IntArray     # numbers of the retained links, increasing
    motions: IntArray   # of the retained rigid motions
    hinges: IntArray    # of the retained hinges

    def memory(self, whole: Memory) -> Memory:
        """The memory of the active part."""
        return Memory(whole.offset[self.links], whole.kink[self.hinges], whole.given[self.links])

    def remembered(self, part: Memory, before: Memory) -> Memory:
        """The memory of the whole: unchanged for inactive parts."""
        offset, kink, given = before.offset.copy(), before.kink.copy(), before.given.copy()
        offset[self.links], kink[self.hinges] = part.offset, part.kink
        given[self.links] = part.given
        return Memory(offset, kink, given)

    def prescribed(self, whole: dict[int, float]) -> dict[int, float]:
        """Prescribed forces in the numbering of the subset; KeyError for a link left out."""
        number = {int(link): i for i, link in enumerate(self.links)}
        return {number[i]: force for i, force in whole.items()}

    def narrowed(self, answer: Answer) -> Answer:
        """An answer of the whole as one of the subset."""
        escape = None if answer.escape is None else Escape(answer.escape.rigid[self.motions],
                                                           answer.escape.kink[self.hinges])
        return replace(answer, force=answer.force[self.links], rigid=answer.rigid[self.motions],
                       kink=answer.kink[self.hinges], slack=answer.slack[self.links],
                       kink_step=answer.kink_step[self.hinges], escape=escape)

    def carried_back(self, answer: Answer, memory: Memory) -> Answer:
        """An answer of the subset as one of the whole; ``memory`` is the whole's, for old kinks."""
        def spread(values: FloatArray, where: IntArray, size: int) -> FloatArray:
            out = np.zeros(size)
            out[where] = values
            return out

        n, m, h = self.whole.n, self.whole.rigid.shape[1], self.whole.kinks.shape[1]
        kink = memory.kink.copy()
        kink[self.hinges] = answer.kink
        escape = None if answer.escape is None else Escape(
            spread(answer.escape.rigid, self.motions, m),
            spread(answer.escape.kink, self.hinges, h))
        return replace(answer, force=spread(answer.force, self.links, n),
                       rigid=spread(answer.rigid, self.motions, m), kink=kink,
                       slack=spread(answer.slack, self.links, n),
                       kink_step=spread(answer.kink_step, self.hinges, h), escape=escape,
                       moved=None if answer.moved is None else self._widened(answer.moved))

    def _widened(self, moved: Condensed) -> Condensed:
        """What is read of the moved geometry of the subset (`Placed`, measures), in the numbering
        of the whole; all bodies must be in it. Nothing can be solved with it."""
        if self.motions.size < self.whole.rigid.shape[1]:
            raise ValueError("moved geometry of a subset without all bodies")
        n, old = self.whole.n, moved.placed
        assert old is not None
        reads = np.zeros((len(moved.measure_links), n))
        reads[:, self.links] = moved.measure_links
        direction, at = np.zeros((n, 2)), np.zeros((2, n, 2))
        ground = np.ones((2, n), dtype=bool)
        direction[self.links], at[:, self.links] = old.direction, old.at
        ground[:, self.links] = old.ground
        pushing = tuple(replace(p, links=self.links[p.links]) for p in old.pushing)
        placed = replace(old, pushing=pushing, direction=direction, at=at, ground=ground)
        return replace(self.whole, placed=placed, measure_links=reads,
                       measure_rigid=moved.measure_rigid, measure_kinks=moved.measure_kinks,
                       measure_loads=moved.measure_loads)


def subset(problem: Condensed, bodies: BoolArray, links: BoolArray) -> Subset:
    """The subset of the bodies ``(b,)`` and links ``(n,)`` that are True.

    Raises ValueError where a link is kept without its body or friction partner, or where a loaded
    or measured body is left out.
    """
    ends = link_bodies(problem)
    there = np.append(np.asarray(bodies, dtype=bool), True)     # the ground is always active
    kept = np.flatnonzero(links)
    if not there[ends[kept]].all():
        raise ValueError("a link of an inactive body")
    rubs = problem.friction[kept] > 0
    if not np.isin(problem.partner[kept][rubs], kept).all():
        raise ValueError("a friction link without its partner")
    motions = np.flatnonzero(there[problem.rigid_body])
    out = np.setdiff1d(np.arange(problem.rigid.shape[1]), motions)
    if problem.load_rigid[out].any() or problem.measure_rigid[:, out].any():
        raise ValueError("a loaded or measured body must be active")
    number = {id(b): i for i, b in enumerate(problem.bodies)}
    hinges = np.array([i for i, hinge in enumerate(problem.links.hinges)
                       if there[number[id(hinge.member)]]], dtype=np.int64)
    renumbered = np.full(problem.n + 1, -1)
    renumbered[kept] = np.arange(kept.size)
    # A link without friction has no partner (-1), which the last entry stands for.
    partner = renumbered[problem.partner[kept]]
    new_body = np.cumsum(there) - 1
    listed = LinkList([replace(problem.links.links[i], partner=int(p))
                       for i, p in zip(kept, partner, strict=True)],
                      [problem.links.hinges[i] for i in hinges])
    part = replace(
        problem, links=listed, bodies=tuple(b for b, t in zip(problem.bodies, there, strict=False)
                                            if t),
        flexibility=problem.flexibility[np.ix_(kept, kept)],
        rigid=problem.rigid[np.ix_(kept, motions)], kinks=problem.kinks[np.ix_(kept, hinges)],
        kink_limit=problem.kink_limit[hinges], kink_slope=problem.kink_slope[hinges],
        load_deformation=problem.load_deformation[kept],
        load_rigid=problem.load_rigid[motions], load_kinks=problem.load_kinks[hinges],
        rigid_body=new_body[problem.rigid_body[motions]], farthest=problem.farthest[motions],
        measure_links=problem.measure_links[:, kept],
        measure_rigid=problem.measure_rigid[:, motions],
        measure_kinks=problem.measure_kinks[:, hinges], partner=partner,
        **{name: getattr(problem, name)[kept]
           for name in ("compliance", "lower", "upper", "gap", "friction", "slope", "soften",
                        "residual", "opens")})
    return Subset(whole=problem, problem=part, links=kept, motions=motions, hinges=hinges)


def frictionless(problem: Condensed) -> Subset:
    """The problem with friction lost: without the links that then carry no force at all.

    What of a friction link has bounds of its own (adhesion, say) stays as a link without friction.
    """
    none = (problem.lower == 0.0) & (problem.upper == 0.0) & (problem.slope == 0.0)
    lost = problem.with_law(friction=np.zeros_like(problem.friction))
    return subset(lost, np.ones(len(problem.bodies), dtype=bool),
                  ~(none & (problem.friction > 0.0)))
