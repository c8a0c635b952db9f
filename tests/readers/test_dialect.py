"""Where the table of a delimited log begins, its separator and its columns."""

import pytest

from tests.readers.samples import (
    NAMES,
    NUMBERED,
    assert_sample_values,
    layout,
    read,
    refusal,
    text,
    values,
)

G = 9.80665


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|", " ", "   "])
def test_separator_is_recognised(tmp_path, delimiter):
    assert_sample_values(read(tmp_path, text(delimiter)))


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|", " "])
def test_separator_may_be_stated(tmp_path, delimiter):
    assert_sample_values(read(tmp_path, text(delimiter), layout(delimiter=delimiter)))


def test_wrong_separator_is_named(tmp_path):
    found = refusal(tmp_path, text(";"), layout(delimiter=","))
    assert "delimiter ',' does not fit: line 1 holds every column with ';'" in found


def test_comment_lines_anywhere(tmp_path):
    lines = text().splitlines()
    lines = ["# made by hand", *lines[:3], "#a,b", "  # c", *lines[3:], "# end"]
    assert_sample_values(read(tmp_path, "\n".join(lines)))


def test_another_mark_for_comments(tmp_path):
    content = "% one\n" + text() + "% two\n"
    assert_sample_values(read(tmp_path, content, layout(comment="%")))


def test_header_inside_a_comment(tmp_path):
    assert_sample_values(read(tmp_path, "# run 1\n# " + text()))
    assert_sample_values(read(tmp_path, "#" + text()))


def test_column_whose_name_begins_with_the_comment_mark(tmp_path):
    how = layout(time={"column": "#time", "unit": "s"})
    assert_sample_values(read(tmp_path, text().replace("time_s", "#time"), how))


def test_blank_lines(tmp_path):
    content = "\n\n" + text().replace("\n", "\n\n   \n") + "\n"
    assert_sample_values(read(tmp_path, content))
    assert_sample_values(read(tmp_path, content.replace(",", " ")))


def test_lines_above_the_header(tmp_path):
    junk = "Logger 12, firmware 3\nrate,500\n\n"
    assert_sample_values(read(tmp_path, junk + text()))
    assert_sample_values(read(tmp_path, junk + text(";", ",")))


def test_skip_rows_takes_lines_away(tmp_path):
    first = ",".join(NAMES) + "\n9,9,9,9,9,9,9\n"
    assert_sample_values(read(tmp_path, first + text(), layout(skip_rows=2)))
    found = refusal(tmp_path, text(), layout(skip_rows=100))
    assert found == "found 7 lines; skip_rows = 100 leaves none"


def test_samples_above_the_header_are_not_dropped_in_silence(tmp_path):
    lines = text().splitlines()
    found = refusal(tmp_path, "\n".join([*lines[1:3], lines[0], *lines[3:]]))
    assert found.startswith("line 2 holds numbers, but the header stands in line 3; allowed: one")


def test_header_again_among_the_samples(tmp_path):
    found = refusal(tmp_path, text() + text())
    assert found.startswith("line 7, column 'time_s': found 'time_s'; allowed: a number")


@pytest.mark.parametrize("units", ["s,g,g,g,deg/s,deg/s,deg/s", "[s],[G],,-,dps,°/s,(deg/s)"])
def test_unit_line_that_agrees(tmp_path, units):
    header, rest = text().split("\n", 1)
    assert_sample_values(read(tmp_path, f"{header}\n{units}\n{rest}"))
    # One more line of words, as some loggers write.
    assert_sample_values(read(tmp_path, f"{header}\nCAL,CAL,CAL,CAL,CAL,CAL,CAL\n{units}\n{rest}"))


@pytest.mark.parametrize(
    ("units", "expected"),
    [
        ("s,m/s2,g,g,deg/s,deg/s,deg/s", "line 2, column 'ax': the log states the unit 'm/s2', th"),
        ("s,g,g,g,deg/s,rad/s,deg/s", "line 2, column 'gy': the log states the unit 'rad/s', the"),
        ("ms,g,g,g,dps,dps,dps", "the log states the unit 'ms', the layout 's'; allowed: the same"),
        ("ns,g,g,g,dps,dps,dps", "the log states the unit 'ns', the layout 's'; allowed: the same"),
    ],
)
def test_unit_line_that_contradicts_the_layout(tmp_path, units, expected):
    header, rest = text().split("\n", 1)
    assert expected in refusal(tmp_path, f"{header}\n{units}\n{rest}")


def test_unit_in_a_name_that_contradicts_the_layout(tmp_path):
    how = layout(accel={"columns": ["ax [mg]", "ay", "az"], "unit": "g"})
    found = refusal(tmp_path, text().replace("ax", "ax [mg]"), how)
    assert "column 'ax [mg]': the log states the unit '[mg]', the layout 'g'" in found


def test_a_broken_first_sample_is_no_unit_line(tmp_path):
    header, rest = text().split("\n", 1)
    found = refusal(tmp_path, f"{header}\nx,y,z,g,g,g,12\n{rest}")
    assert found.startswith("line 2, column 'time_s': found 'x'; allowed: a number")


def test_quoted_header_and_blanks_around_names(tmp_path):
    header = ", ".join(f'"{name}"' for name in NAMES)
    assert_sample_values(read(tmp_path, text(header=header)))
    assert_sample_values(read(tmp_path, text(header="  ,  ".join(NAMES) + "  ")))
    assert_sample_values(read(tmp_path, text(header=",".join(f"'{n}'" for n in NAMES))))


def test_quoted_name_with_the_separator_in_it(tmp_path):
    how = layout(accel={"columns": ["accel, x", "ay", "az"], "unit": "g"})
    assert_sample_values(read(tmp_path, text().replace("ax", '"accel, x"'), how))


def test_columns_in_any_order_among_others(tmp_path):
    rows = values()
    names = ["note", "gz", "gy", "gx", "temperature", "az", "ay", "ax", "time_s"]
    lines = [",".join(names)]
    for row in rows:
        t, ax, ay, az, gx, gy, gz = map(repr, map(float, row))
        lines.append(",".join(['"a, b"', gz, gy, gx, "n/a", az, ay, ax, t]))
    assert_sample_values(read(tmp_path, "\n".join(lines) + "\n"))


@pytest.mark.parametrize("where", ["both", "header", "samples"])
def test_trailing_separator(tmp_path, where):
    header, *rows = text().splitlines()
    header += "," * (where in ("both", "header"))
    rows = [row + "," * (where in ("both", "samples")) for row in rows]
    assert_sample_values(read(tmp_path, "\n".join([header, *rows]) + "\n"))


def test_columns_by_number(tmp_path):
    samples = text().split("\n", 1)[1]
    how = layout(NUMBERED)
    for delimiter, decimal in ((",", "."), (";", ","), ("\t", ","), (" ", "."), (" ", ",")):
        body = text(delimiter, decimal).split("\n", 1)[1]
        assert_sample_values(read(tmp_path, body, how))
    assert_sample_values(read(tmp_path, "# comment\n\n" + samples, how))
    assert_sample_values(read(tmp_path, "12,logger\n" + samples, layout(NUMBERED, skip_rows=1)))
    # A header may stand there all the same, and a line of units.
    assert_sample_values(read(tmp_path, text(), how))
    header = ",".join(NAMES) + "\ns,g,g,g,dps,dps,dps"
    assert_sample_values(read(tmp_path, text(header=header), how))


def test_columns_by_number_that_do_not_fit(tmp_path):
    how = layout(NUMBERED)
    found = refusal(tmp_path, "0,1,2,3,4,5\n1,1,2,3,4,5\n", how)
    assert found.startswith("line 1: found 6 cells; allowed: at least 7, which the layout's column")
    found = refusal(tmp_path, "12,logger\n" + text().split("\n", 1)[1], how)
    assert "if line 1 is no sample, set the layout's skip_rows to 1" in found
    found = refusal(tmp_path, "0,1,x2,3,4,5,6\n" + text().split("\n", 1)[1], how)
    assert found.startswith("line 1, column 3: found 'x2'; allowed: a number")
    found = refusal(tmp_path, "s,mg,g,g,dps,dps,dps\n" + text().split("\n", 1)[1], how)
    assert found.startswith("line 1, column '2': the log states the unit 'mg', the layout 'g'")
    assert refusal(tmp_path, ",".join(NAMES) + "\n", how).startswith("found no samples")


def test_no_header(tmp_path):
    found = refusal(tmp_path, text().split("\n", 1)[1])
    assert found.startswith("found no header: line 1 holds numbers already; allowed: a header with")


def test_missing_column_says_what_there_is(tmp_path):
    found = refusal(tmp_path, text().replace("gx", "gyr_x"))
    assert found == (
        "line 1: missing columns: 'gx'; found columns: 'time_s', 'ax', 'ay', 'az', 'gyr_x', 'gy', "
        "'gz'"
    )
    found = refusal(tmp_path, text().replace("time_s", "Time_S"))
    assert found.startswith("line 1: missing columns: 'time_s' (did you mean 'Time_S'?); found")


def test_no_gyroscope(tmp_path):
    lines = [line.rsplit(",", 3)[0] for line in text().splitlines()]
    found = refusal(tmp_path, "\n".join(lines))
    assert found.startswith("line 1: missing columns: 'gx'")
    assert "found columns: 'time_s', 'ax', 'ay', 'az'" in found
    assert found.endswith("no gyroscope column was found, and both sensors are needed")


def test_column_there_twice(tmp_path):
    content = text().replace("gz\n", "gz,ax\n").replace("\n", ",1\n").replace("ax,1\n", "ax\n")
    found = refusal(tmp_path, content)
    assert found == "line 1: the column 'ax' is there 2 times; allowed: once"


def test_select_is_a_prefix(tmp_path):
    content = text(header="time_s," + ",".join(f"LF.{name}" for name in NAMES[1:]))
    assert_sample_values(read(tmp_path, content, select="LF."))
    own_time = text(header=",".join(f"LF.{name}" for name in NAMES))
    assert_sample_values(read(tmp_path, own_time, select="LF."))
    found = refusal(tmp_path, content, select="RF.")
    assert "missing columns: 'RF.ax' (did you mean 'LF.ax'?)" in found


def test_a_wrong_select_is_told_what_the_sensors_columns_begin_with(tmp_path):
    names = [f"{begin}_{name}" for begin in ("LF", "LS") for name in NAMES[1:]]
    content = ",".join(["time_s", *names]) + "\n" + ",".join(["0.1"] * 13) + "\n"
    allowed = "state as select what all columns of this sensor begin with, here one of 'LF_', 'LS_'"
    for select in ("LF", "RS_", None):
        found = refusal(tmp_path, content, select=select)
        assert found.startswith("line 1: missing columns: ")
        assert found.endswith(allowed)
    lacking = content.replace("LF_gz", "LF_z").replace("LS_gz", "LS_z")
    assert "state as select" not in refusal(tmp_path, lacking, select="LF")
    untimed = content.replace("time_s", "when")
    assert "state as select" not in refusal(tmp_path, untimed, select="LF_")
