"""The condensed problem of bodies that have moved: rows turned, contacts found anew.

Unknown are again all forces, and small motions from where the bodies are now. A link's deformation
is what its ends are apart in space, exactly, plus the elastic displacements of meshed bodies
(linear in their own frames) and of members about the shape that they have:

    w = apart + (elastic displacements, F lam) + G q - gap - offset - C lam.

The direction of a link that joins two points turns with its second body, and its force acts on that
body at the place of the first end: rows of ``G`` are then the exact gradients of what is apart, so
that no energy is lost. Where links meet on a face, see `faces`. Loads keep their direction and
their line in space, as those of a test machine.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.links.condense import Condensed
from buttress.fe.links.placed import OPEN_MM, Placed
from buttress.fe.moved.faces import Face, Meeting, meet
from buttress.fe.moved.pushes import Pushes
from buttress.fe.moved.shape import Config
from buttress.fe.moved.spots import NONE, Layout
from buttress.fe.moved.terms import Joined, Terms
from buttress.fe.moved.vectors import cross, left_of, turned
from buttress.fe.solve.answer import Answer


class Mover:
    """Builds the condensed problem of a layout in any configuration."""

    def __init__(self, layout: Layout, faces: tuple[Face, ...]) -> None:
        self.layout, self.faces = layout, faces
        self.pushes = Pushes(layout)
        p = layout.problem
        self.n = p.n
        self.rub = p.friction > 0.0

    def meeting(self, config: Config, before: Meeting | None = None) -> Meeting:
        """Where faces meet in a configuration."""
        place, angle, _ = config.spots(self.layout)
        return meet(self.faces, self.n, place, self._normals(angle), before)

    def _normals(self, angle: FloatArray) -> FloatArray:
        lay = self.layout
        out = np.zeros((self.n, 2, 2))
        for side, ends in enumerate((lay.a, lay.b)):
            out[:, side] = turned(np.where(ends == NONE, 0.0, angle[ends]), lay.along)
        return out

    def problem(self, config: Config, meeting: Meeting, began: Meeting | None = None) -> Condensed:
        """The problem in a configuration whose faces meet as given.

        ``began``: where they met at the last committed state; what has slid since then is apart.
        """
        lay, p = self.layout, self.layout.problem
        j = self._joined(config, meeting, meeting if began is None else began)
        terms = Terms(self.pushes, config, j)
        terms.fill()
        middle = config.middle(lay)
        modes = np.concatenate([[0], np.cumsum(np.where(lay.free, 3, 0))])
        load_rigid, m_rigid, measured = self.pushes.rigid(config, middle, modes, terms.bent)
        in_shape = terms.in_shape
        return replace(
            p, flexibility=0.5 * (terms.flexibility + terms.flexibility.T),
            rigid=self._rigid(j, middle, modes), kinks=terms.kinks,
            load_deformation=terms.load_deformation, load_rigid=load_rigid,
            load_kinks=terms.load_kinks,
            load_flexibility=0.5 * (terms.load_flexibility + terms.load_flexibility.T),
            measure_links=terms.measure_links, measure_rigid=m_rigid,
            measure_kinks=terms.measure_kinks, measure_loads=terms.measure_loads,
            gap=p.gap - terms.apart + terms.kinks @ in_shape,
            load_base=terms.load_base - terms.load_kinks.T @ in_shape,
            placed=self._placed(config, j, terms, measured - terms.measure_kinks @ in_shape
                                - self._elastic(config, p)))

    def slips(self, config: Config, meeting: Meeting, answer: Answer) -> FloatArray:
        """What the ends of all links are apart ``(n,)`` [mm] under an answer's forces and kinks in
        a configuration, where faces have slid by nothing."""
        terms = Terms(self.pushes, config, self._joined(config, meeting, meeting))
        moved = terms.moved_by(answer.force, answer.load)
        return (terms.apart + moved + terms.kinks @ (answer.kink - terms.in_shape)
                - self.layout.problem.gap - self.layout.problem.compliance * answer.force)

    def patches(self, config: Config, placed: Placed, answer: Answer) -> FloatArray:
        """Motions of the patches of meshed bodies ``(k, 3)`` under the forces of an answer."""
        lay = self.layout
        elastic = np.zeros((len(lay.body), 2))
        for i in np.unique(lay.patches.body):
            table, load, _ = self.pushes.on_piece(i, config.angle[i])
            moved = table @ (load.T @ answer.load - placed.pushing[i].columns(answer.force))
            own = np.flatnonzero(lay.body == i)
            elastic[own] = np.einsum("sji,sj->si", lay.span[own], moved[lay.table[own]])
        return lay.patches.fit(elastic)

    def patched(self, motion: FloatArray) -> FloatArray:
        """Motions of patches as displacements ``(3k,)``, turns times the length of the body."""
        length = self.layout.length[self.layout.patches.body]
        return np.column_stack([motion[:, :2], motion[:, 2] * length]).ravel()

    def _rigid(self, j: Joined, middle: FloatArray, modes: IntArray) -> FloatArray:
        """Rigid motions in the links ``(n, m)``: of body i, those from ``modes[i]`` on."""
        lay = self.layout
        body, d = lay.body[j.spot], j.direction[j.link]
        turn = (cross(j.at - middle[body], d) + j.lever) / lay.length[body]
        rows = np.column_stack([d, turn]) * j.weight[:, None]
        out = np.zeros((self.n, lay.problem.rigid.shape[1]))
        free = lay.free[body]
        for k in range(3):
            np.add.at(out, (j.link[free], modes[body[free]] + k), rows[free, k])
        return out

    def _placed(self, config: Config, j: Joined, terms: Terms, measured: FloatArray) -> Placed:
        """Where bodies and the ends of links are. ``measured (k,)``: what measures read of it."""
        lay = self.layout
        direction, at_ends, ground = self._ends(j)
        return Placed(
            pushing=tuple(part.pushing for part in terms.parts), angle=config.angle,
            centre=config.centre, start=lay.centre, length=lay.length, bent=tuple(terms.bent),
            forces=tuple(terms.forces),
            members=tuple(config.shapes.get(i) for i in range(len(lay.problem.bodies))),
            measured=measured, kinks=terms.in_shape, direction=direction, at=at_ends,
            ground=ground)

    def _elastic(self, config: Config, p: Condensed) -> FloatArray:
        """Of the measures, the elastic displacements in the shapes of members ``(k,)``."""
        out = np.zeros(len(p.measure_names))
        for i, shape in config.shapes.items():
            read = self.pushes.on_member(i)[1]
            if read.nnz:
                out += read @ shape.bent
        return out

    def _ends(self, j: Joined) -> tuple[FloatArray, FloatArray, np.ndarray]:
        at, ground = np.zeros((2, self.n, 2)), np.ones((2, self.n), dtype=bool)
        for side in (0, 1):
            own = (j.weight > 0) if side == 0 else (j.weight < 0)
            at[side, j.link[own]] = j.at[own]
            ground[side, j.link[own]] = False
        return j.direction, at, ground

    def _joined(self, config: Config, meeting: Meeting, began: Meeting) -> Joined:
        lay = self.layout
        place, angle, elastic = config.spots(lay)
        normals = self._normals(angle)
        # Two points: the direction turns with the second body.
        direction = np.where((lay.b == NONE)[:, None], lay.along, normals[:, 1])
        end = np.vstack([place, np.zeros((1, 2))])
        a = np.where((lay.a == NONE)[:, None], lay.ground, end[lay.a])
        b = np.where((lay.b == NONE)[:, None], lay.ground, end[lay.b])
        along_b = np.where(lay.b == NONE, 0.0, np.append(angle, 0.0)[lay.b])
        apart = np.einsum("ij,ij->i", direction, a - b) - lay.start
        spin = np.append(angle, 0.0)
        apart += lay.lever[:, 0] * spin[lay.a] - lay.lever[:, 1] * spin[lay.b]
        # As built each end has its own place; what they are apart since then moves the second's.
        push_b = b + (a - b) - turned(along_b, lay.apart)
        legs = [self._legs(lay.a, np.ones(self.n), lay.lever[:, 0], a),
                self._legs(lay.b, -np.ones(self.n), lay.lever[:, 1], push_b)]
        faces = self._facing(meeting, began, place, direction, apart)
        mask = np.isin(np.arange(self.n), faces[0], invert=True)
        kept = [tuple(x[mask[leg[0]]] for x in leg) for leg in legs]
        link, spot, weight, lever, at = (np.concatenate(x) for x in zip(*kept, *faces[1],
                                                                       strict=True))
        # What is elastic comes with the flexibilities.
        np.subtract.at(apart, link, weight * np.einsum("ij,ij->i", direction[link], elastic[spot]))
        return Joined(link, spot, weight, lever, at, direction, apart)

    @staticmethod
    def _legs(spots: IntArray, weight: FloatArray, lever: FloatArray, at: FloatArray) -> tuple:
        there = np.flatnonzero(spots != NONE)
        return there, spots[there], weight[there], lever[there], at[there]

    @cached_property
    def _on_faces(self) -> IntArray:
        """The links of faces, normal and friction."""
        found = [f.normal for f in self.faces] + [f.friction[f.friction != NONE]
                                                  for f in self.faces]
        return np.concatenate(found) if found else np.zeros(0, dtype=np.int64)

    @cached_property
    def _ends_of(self) -> FloatArray:
        """The spots at the ends of all links ``(2, n)``; of friction those of its contact."""
        lay, p = self.layout, self.layout.problem
        out = np.stack([lay.a, lay.b])
        on = self._on_faces
        rubs = on[self.rub[on]]
        out[:, rubs] = out[:, p.partner[rubs]]
        return out

    def _facing(self, meeting: Meeting, began: Meeting, place: FloatArray, direction: FloatArray,
                apart: FloatArray) -> tuple[IntArray, list[tuple]]:
        """Legs of the links of faces; enters their directions and what they are apart."""
        on = self._on_faces
        none = on[meeting.slave[on] == NONE]
        met = on[meeting.slave[on] != NONE]
        ends = self._ends_of
        normal = meeting.normal[met]
        rubs = self.rub[met]
        direction[met] = np.where(rubs[:, None], left_of(normal), normal)
        slave = meeting.slave[met]
        own = ends[slave, met]
        sign = np.where(slave == 0, 1.0, -1.0)
        x = place[own]
        reach = np.where(rubs[:, None], self._material(began, met, place), meeting.point[met])
        apart[met] = sign * np.einsum("ij,ij->i", direction[met], x - reach)
        # What meets nothing is open, and rests on its own old partner for want of another.
        apart[none[~self.rub[none]]] = -OPEN_MM
        apart[none[self.rub[none]]] = 0.0
        share, zero = meeting.share[met], np.zeros(met.size)
        legs = [(met, own, sign, zero, x), (met, meeting.low[met], -sign * (1.0 - share), zero, x),
                (met, meeting.high[met], -sign * share, zero, x)]
        if none.size:
            at = place[ends[0, none]]
            zero = np.zeros(none.size)
            legs += [(none, ends[0, none], 1.0 + zero, zero, at),
                     (none, ends[1, none], -1.0 - zero, zero, at)]
        return on, legs

    @staticmethod
    def _material(began: Meeting, met: IntArray, place: FloatArray) -> FloatArray:
        """Where the point that was met at the last committed state is now ``(k, 2)``: one between
        the two of its edge, since slip is along the edge."""
        low, high = place[began.low[met]], place[began.high[met]]
        return np.asarray(low + began.share[met][:, None] * (high - low))
