"""The ``imuproc`` command: a file for each of its own commands.

- ``agree``: ``imuproc agree``: step tables held against video, force plates or photocells.
- ``bar``: A bar on stderr while something is worked on, where that is a terminal.
- ``check``: ``imuproc check``: are these logs and sensors fit, before the session and after it?
- ``compare``: ``imuproc compare``: two runs side by side.
- ``convert``: ``imuproc convert``: a session's logs in an open format.
- ``exit_codes``: What the exit code of a command says.
- ``found_runs``: A line on stderr for each run found in a log of several, from whatever process
  works on it.
- ``guide``: ``imuproc guide``: the guides of the folder ``imuproc/guides``, to read without a
  network.
- ``main``: The ``imuproc`` command; each sub-command has its own file.
- ``options``: Options of a command as a frozen dataclass: one parameter, however many options
  there are.
- ``planning``: ``imuproc simulate --plan``: what to expect of a study before it is made.
- ``process``: ``imuproc process``: session file and logs in, step table out.
- ``progress``: Work as it goes on, on stderr: a bar on a terminal, and a line for each run.
- ``report``: ``imuproc report``: pages, pictures and spreadsheet remade from the archives.
- ``settings``: ``imuproc settings``: every number of the method, as a file to start from.
- ``simulate``: ``imuproc simulate``: recordings with known truth.
- ``squad``: ``imuproc squad``: the runs of all athletes side by side.
- ``workers``: How many worker processes a command uses.
"""
