"""The check of sensors in a terminal, and as JSON.

- ``columns``: Columns of the table that a check prints.
- ``machine``: The check of sensors as JSON, for scripts.
- ``table``: The check of sensors in a terminal: a verdict in words, figures, and what to do.
"""
