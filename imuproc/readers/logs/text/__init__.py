"""Logs as delimited text.

- ``cells``: Cells of one line of text, and which of them are numbers.
- ``delimited``: Logs as delimited text: separators, decimal marks, missing values; compressed or
  not.
- ``dialect``: Where the table of a delimited log begins, its separator and its columns.
- ``last_line``: The last line of a text log where no line end follows it: is it whole?
- ``line_errors``: Where a delimited log is wrong, for the error text: used only after reading has
  failed.
- ``numbers``: Numbers out of lines of text, block after block: shared by the formats that are
  text.
- ``text_file``: Bytes of a text log: decompressed, as UTF-8, lines ended by a line feed.
"""
