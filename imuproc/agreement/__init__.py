"""Step tables held against references: how far they agree.

- ``alignment/``: The clock of a reference against that of a step table, and which contacts are the
  same.
- ``statistics/``: Statistics of agreement and change, each with its source.
- ``compare``: One run's step table beside a reference: what pairs, what does not and why.
- ``events``: Touchdowns and toe-offs of a table or a reference in one row of times.
- ``judging``: One processed run held against its truth: which steps were found, and every figure's
  error.
- ``run_results``: What ``imuproc process`` left of a run: its steps, what was recorded, and its
  archive.
- ``study``: Every run of a study beside its reference; one that cannot be compared does not stop
  others.
- ``summing``: Tables of agreement of a study: every figure, per step and per run, whole and in
  parts.
"""
