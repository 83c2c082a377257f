"""Published bench tests against the model: expectations written first, then run, then reported.

For validation only: nothing is tuned to these figures, and a disagreement is a result. The table
of expectations is `expectations.toml`; `expect` reads it and defines the rules of the verdicts,
`readings` extracts the figures from a comparison, `run` combines them, `report` writes them.
"""
