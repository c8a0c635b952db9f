"""What people read: terminal, pages, pictures, spreadsheets, JSON. It draws and words only.

- ``agreement/``: A study in words, tables, pictures and a page.
- ``check/``: The check of sensors in a terminal, and as JSON.
- ``pages/``: Pages in HTML: a run, and the squad.
- ``expectation``: What to expect of a study, in a terminal.
- ``guide_view``: A guide set for a terminal: headings, tables and code from its Markdown.
- ``machine``: The summary of a session as JSON, for scripts.
- ``picture``: The main picture of a run as PNG, for a message to the athlete.
- ``sheet``: A sheet to draw on that becomes a PNG file: boxes, lines, discs, wedges, words.
- ``spreadsheet``: The step table as a spreadsheet: frozen header, units, marks where a step is off
  target.
- ``squad_view``: A squad's runs in a terminal: one line a run, readable at 80 columns and without
  colour.
- ``terminal``: The step table of one run in a terminal: 80 columns, readable without colour.
- ``terminal_figures``: How the figures of steps and runs stand in a terminal: heading, unit,
  decimals.
- ``terminal_table``: A table in a terminal: as many columns as there is room for, readable
  without colour.
- ``two_runs_view``: Two runs side by side in a terminal.
"""
