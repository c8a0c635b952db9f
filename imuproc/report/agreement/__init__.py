"""A study in words, tables, pictures and a page.

- ``brief``: What a study says in plain words: how many steps were found, and how far figures
  differ.
- ``charts``: The pictures of a study: as files, and as they stand in the page.
- ``citations``: Published sources of the statistics, and which of them a study has used.
- ``moments``: Signals around the contacts where two methods disagree most, with the events of
  both.
- ``page``: The page of a study for people: self-contained, everything escaped.
- ``pictures``: Pictures of agreement: difference against mean, and error by step number.
- ``quantities``: How figures of agreement are named and rounded for people: finer than the figures
  themselves.
- ``tables``: The tables of a study as files: CSV for people and spreadsheets, JSON for programs.
- ``wording``: Methods and results of a study as paragraphs for a paper, every number from the
  data.
"""
