"""Files in and out: written whole or not at all, TOML, wording, worker processes.

- ``disk_errors``: Words for what the disk refuses: the file, why, and what to do.
- ``settings_model``: Settings of a stage as a pydantic model: each number with its unit, meaning,
  range and basis.
- ``text``: Words for people: free text made safe, numbers rounded, uncertainties beside them.
- ``toml_reading``: A TOML file that people write, and its check against a pydantic model.
- ``toml_writing``: What a TOML file holds, as text again: the standard library only reads TOML.
- ``whole``: Files appear whole or not at all.
- ``wording``: How errors word what was found and what is allowed.
- ``workers``: Worker processes of this machine: the same ones for all that a command shares out.
"""
