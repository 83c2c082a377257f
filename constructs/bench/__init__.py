"""Published bench tests beside the model: expectations written first, then run, then reported.

For validation only: nothing is tuned to these figures, and a disagreement is a result. The table
of expectations is `expectations.toml`; `expect` reads it and holds the rules of the verdicts,
`readings` takes the figures from a comparison, `run` puts them together, `report` writes them.
"""
