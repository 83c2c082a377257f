"""Every figure by its name: what a notebook draws.

A figure function takes results, accepts ``ax=`` and returns the matplotlib axes; none computes
anything anew. Without ``ax`` it draws a slide of 13.3 x 7.5 in, higher where there is more to show;
``.figure`` of the axes is what a notebook displays, `save` writes it. Every figure carries the
label.

- Of a study, before anything is solved: `placed`, with the findings of `check`.
- Of a comparison: `overview`, `capacity`, `curves`, `weight_bearing`; `tornado`, where it was made
  with alternatives.
- Of a picture, ``comparison["NAME"].picture(1000.0)``: `deformed` (``field`` chooses strain over
  yield strain, von Mises stress or least principal stress), `free_body`,
  `contact_pressure` (with its `LoadResult`), `modulus_map` (its bodies, with the study).
- Of stages: `stages_overview` of all constructs, `stage_pictures`, `screw_forces`.
- Of the table of a sweep, ``summary.to_frame()``: `over_key`, `limit_map`, `envelope`.
- Of a ranking: `paired`, `over_range`; of a search for a better placement: `landscape`.
- An animation of two constructs: `film`, `write_film`.
- For a plot of one's own: `empty` axes on a labelled slide, `listed` adds the legend.
- For a paper: within `paper`, ``with paper(85):`` (mm; one column, 180 over both), figures have
  true width, text of 8 points, no title (its words are in ``.figure.caption``) and the label in its
  lower margin; `save` and ``.figure.savefig`` write PDF and SVG with real text.
"""

from __future__ import annotations

from buttress.draw.bearing import weight_bearing
from buttress.draw.charts import capacity
from buttress.draw.contact import contact_pressure
from buttress.draw.curves import curves
from buttress.draw.film import film, write_film
from buttress.draw.free_body import free_body
from buttress.draw.landscape import landscape
from buttress.draw.map import modulus_map
from buttress.draw.overview import overview
from buttress.draw.page import paper
from buttress.draw.placed import placed
from buttress.draw.primitives import empty, listed, save
from buttress.draw.section import deformed
from buttress.draw.stages import screw_forces, stage_pictures
from buttress.draw.stages_overview import stages_overview
from buttress.draw.sweep import envelope, limit_map, over_key, over_range, paired
from buttress.draw.tornado import tornado

__all__ = ["capacity", "contact_pressure", "curves", "deformed", "empty", "envelope", "film",
           "free_body", "landscape", "limit_map", "listed", "modulus_map", "over_key",
           "over_range", "overview", "paired", "paper", "placed", "save", "screw_forces",
           "stage_pictures", "stages_overview", "tornado", "weight_bearing", "write_film"]
