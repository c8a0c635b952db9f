"""Statistics of agreement and change, each with its source.

- ``change``: What change can be seen: typical error, smallest detectable and smallest worthwhile
  change.
- ``concordance``: Lin's concordance correlation and proportional bias.
- ``icc``: Intraclass correlation, with the model named.
- ``limits``: Bias and 95 % limits of agreement of independent pairs.
- ``nested``: Limits of agreement of steps nested in athletes.
- ``resolution``: What the reference's own resolution explains of a difference.
- ``shares``: Shares and their intervals: precision, recall, F1, coverage.
"""
