"""The lesson: one page that teaches from states solved beforehand by the solver.

`grid` says which states, `solve` solves them, `states` packs them, `interpolate` reads between
them, `check` measures how well, `words` says what they show, `page` writes the page.
"""
