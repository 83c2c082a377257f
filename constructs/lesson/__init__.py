"""The lesson: one page that teaches, and solves what it shows.

`grid` says which condensed problems the page holds, `problem` and `reading` export them, `look`
solves the states that `words` and `own_words` put into sentences, `page` writes the page, whose
script (`page/press.js` and its neighbours) is a port of the solver.
"""
