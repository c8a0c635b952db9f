"""Every mistake in a session file is named: file, key, what was found, what is allowed."""

import os
import re

import pytest

from imuproc.core.errors import SessionError
from imuproc.readers.session import read_session
from tests.readers.samples import SESSION, link, write_session


def complaint(folder, content):
    path = write_session(folder, content)
    with pytest.raises(SessionError, match=re.escape(str(path))) as caught:
        read_session(path)
    return str(caught.value).replace(f"{path}: ", "")


LAYOUT_KEYS = "'format', 'time', 'rate_hz', 'accel', 'gyro'"
SITES = (
    "'left_shank', 'left_foot', 'right_shank', 'right_foot', 'pelvis', 'left_thigh', "
    "'right_thigh', 'trunk'"
)
ONE_TO_64 = "allowed: 1 to 64 letters A to Z, digits or hyphens"


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        # Keys that are unknown or missing.
        (
            'athlete = "R07"',
            'athelete = "R07"',
            "run[1].athelete (id 'R07-01'): found unknown key 'athelete'; allowed: 'id', 'athlete'",
        ),
        ("[session]", "[sesion]", "sesion: found unknown key 'sesion'; allowed: 'session'"),
        ("gyro = {", "gyr = {", f"gyr: found unknown key 'gyr'; allowed: {LAYOUT_KEYS}"),
        ("range = 16", "rang = 16", "accel.rang: found unknown key 'rang'; allowed: 'columns'"),
        (
            "left_foot =",
            "left_fot =",
            f"run[2].logs.left_fot (id 'R08-01'): found unknown key 'left_fot'; allowed: {SITES}"
            " - did you mean 'left_foot'?",
        ),
        (
            '{ file = "logs/1_ls.csv" }',
            '{ file = "logs/1_ls.csv", selekt = "a" }',
            "run[1].logs.left_shank.selekt (id 'R07-01'): found unknown key 'selekt'; allowed: "
            "'file', 'select', 'layout' - did you mean 'select'?",
        ),
        ("date = 2031-04-12\n", "", "session.date: this key is missing; allowed: a date without"),
        ('surface = "track"\n', "", "session.surface: this key is missing; allowed: 'track', 't"),
        ('start = "blocks"\n', "", "run[2].start (id 'R08-01'): this key is missing; allowed: 'bl"),
        ('clock = "shared"\n', "", "run[1].clock (id 'R07-01'): this key is missing; allowed: 'sh"),
        ('id = "R07-01"\n', "", f"run[1].id: this key is missing; {ONE_TO_64}"),
        (
            '{ file = "logs/1_ls.csv" }',
            '{ select = "a" }',
            "run[1].logs.left_shank.file (id 'R07-01'): this key is missing; allowed: a path rel",
        ),
        ("[[run]]", "[run]", "this is not TOML: Cannot declare ('run',) twice"),
        (
            'layout = "field-logger"\nclock = "shared"',
            'clock = "shared"',
            "run[1].layout (id 'R07-01'): this key is missing (the log of right_foot needs it); "
            "allowed: 'field-logger'",
        ),
        # The number of the schema.
        ("schema = 1", "schema = 2", "schema: found the number 2; allowed: the number 1"),
        ("schema = 1", "schema = true", "schema: found true; allowed: the number 1"),
        ("schema = 1", "schema = 1.0", "schema: found the number 1.0; allowed: the number 1"),
        ("schema = 1\n", "", "schema: found nothing; allowed: the number 1"),
        # Kinds of values.
        (
            "stature_m = 1.74",
            'stature_m = "1.74"',
            "athlete[1].stature_m (id 'R07'): found the text '1.74'; allowed: metres, above 0",
        ),
        ("stature_m = 1.74", "stature_m = true", "found true; allowed: metres, above 0"),
        ("stature_m = 1.74", "stature_m = [1.74]", "found a list of 1; allowed: metres"),
        ("stature_m = 1.74", "stature_m = {a = 1}", "found a table; allowed: metres"),
        ("birth_year = 2009", "birth_year = 2009.5", "found the number 2009.5; allowed: a year"),
        ("date = 2031-04-12", 'date = "2031-04-12"', "found the text '2031-04-12'; allowed: a dat"),
        ("date = 2031-04-12", "date = 2031-04-12T10:00:00", "found datetime 2031-04-12 10:00:00"),
        ('note = "wind still"', "note = 3", "session.note: found the number 3; allowed: a text"),
        ('group = "sprint-a"', 'group = ""', "group (id 'R07'): found the text ''; allowed: a te"),
        (
            '"logs/2_lf.csv"',
            "3",
            "run[2].logs.left_foot (id 'R08-01'): found the number 3; allowed",
        ),
        ('{ left_foot = "logs/2_lf.csv" }', "[]", "run[2].logs (id 'R08-01'): found a list of 0"),
        ('{ left_foot = "logs/2_lf.csv" }', "{}", "run[2].logs (id 'R08-01'): found a table; all"),
        # Numbers out of range.
        ("stature_m = 1.74", "stature_m = 174", "found the number 174; allowed: metres, above 0"),
        ("stature_m = 1.74", "stature_m = 0", "found the number 0; allowed: metres, above 0"),
        ("stature_m = 1.74", "stature_m = nan", "found the number nan; allowed: metres, above 0"),
        ("shank_length_m = 0.41", "shank_length_m = -0.41", "found the number -0.41; allowed: m"),
        ("foot_length_m = 0.26", "foot_length_m = 26", "found the number 26; allowed: metres"),
        ("standing_lean_deg = 2.5", "standing_lean_deg = 90", "found the number 90; allowed: deg"),
        ("latitude_deg = 45.0", "latitude_deg = 90.01", "found the number 90.01; allowed: degrees"),
        ("latitude_deg = 45.0", "latitude_deg = -inf", "found the number -inf; allowed: degrees"),
        ("distance_m = 30", "distance_m = -30", "found the number -30; allowed: metres, above 0"),
        ("distance_m = 30", f"distance_m = 1{'0' * 400}", "the number of more than 30 digits"),
        ("curve_radius_m = 36.5", "curve_radius_m = 0", "found the number 0; allowed: metres"),
        ("curve_radius_m = 36.5", "belt_speed_mps = -1", "found the number -1; allowed: m/s, ab"),
        (
            "curve_radius_m = 36.5",
            "belt_speed_mps = 5",
            "run[1].belt_speed_mps (id 'R07-01'): found a belt speed on surface 'track'; allowed: "
            "only on surface 'treadmill'",
        ),
        ("range = 2000", "range = 0", "gyro.range: found the number 0; allowed: the sensor's full"),
        # Words out of a list.
        (
            '"three-point"',
            '"threepoint"',
            "run[1].start (id 'R07-01'): found the text 'threepoint'; allowed: 'blocks', "
            "'three-point', 'crouch', 'standing', 'rolling' - did you mean 'three-point'?",
        ),
        ('"track"', '"sand"', "session.surface: found the text 'sand'; allowed: 'track', 'turf'"),
        ('clock = "shared"', 'clock = "GPS"', "allowed: 'shared', 'jump', 'separate'"),
        (
            'unit = "deg/s"',
            'unit = "dps"',
            "gyro.unit: found the text 'dps'; allowed: 'deg/s', 'rad/s' - did you mean 'deg/s'?",
        ),
        ('unit = "g"', 'unit = "m/s2"', "allowed: 'g', 'mg', 'm/s^2' - did you mean 'm/s^2'?"),
        ('unit = "s"', 'unit = "min"', "time.unit: found the text 'min'; allowed: 's', 'ms', 'us'"),
        ('"delimited"', '"csv"', "format: found the text 'csv'; allowed: 'delimited', 'hdf5'"),
        # Ids.
        (
            'id = "R07-01"',
            'id = "R07/01"',
            f"run[1].id (id 'R07/01'): found the text 'R07/01'; {ONE_TO_64}",
        ),
        ('id = "R07-01"', 'id = ""', f"found the text ''; {ONE_TO_64}"),
        ('id = "R07-01"', 'id = "R07-01\\n"', rf"found the text 'R07-01\n'; {ONE_TO_64}"),
        ('id = "R07-01"', f'id = "{"x" * 65}"', ONE_TO_64),
        (
            'id = "harbour-2031-04-12"',
            'id = "../x"',
            f"session.id: found the text '../x'; {ONE_TO_64}",
        ),
        ('id = "R08"', 'id = "Zoë"', f"found the text 'Zoë'; {ONE_TO_64}"),
        (
            'id = "R08-01"',
            'id = "r07-01"',
            "run[2].id (id 'r07-01'): found the id 'r07-01' again; allowed: ids that differ by "
            "more than case (there is 'R07-01' already)",
        ),
        ('id = "R08"', 'id = "R07"', "athlete[2].id (id 'R07'): found the id 'R07' again"),
        # Names that lead nowhere.
        (
            'athlete = "R08"',
            'athlete = "R80"',
            "run[2].athlete (id 'R08-01'): found the text 'R80'; allowed: 'R07', 'R08' - did",
        ),
        (
            'layout = "field-logger"\nclock = "shared"',
            'layout = "feild-logger"\nclock = "shared"',
            "run[1].layout (id 'R07-01'): found the text 'feild-logger'; allowed: 'field-logger' -",
        ),
        (
            '{ file = "logs/1_ls.csv" }',
            '{ file = "logs/1_ls.csv", layout = "lab" }',
            "run[1].logs.left_shank.layout (id 'R07-01'): found the text 'lab'; allowed: 'field-l",
        ),
        (
            '"logs/1_ls.csv"',
            '"logs/../logs/1_rf.csv"',
            "run[1].logs.left_shank (id 'R07-01'): found the path 'logs/../logs/1_rf.csv', which "
            "right_foot reads too; allowed: a log for each sensor, or a different select for each",
        ),
    ],
)
def test_mistake_is_named(tmp_path, old, new, expected):
    assert old in SESSION
    count = -1 if old == "[[run]]" else 1
    assert expected in complaint(tmp_path, SESSION.replace(old, new, count))


def test_a_misspelt_key_is_one_problem_not_two(tmp_path):
    text = complaint(tmp_path, SESSION.replace('athlete = "R07"', 'athelete = "R07"'))
    assert text.count("\n") == 0
    assert text.endswith("- did you mean 'athlete'?")


def test_all_problems_are_listed_at_once(tmp_path):
    content = SESSION.replace("1.74", "-1").replace('"track"', '"sand"').replace('"blocks"', "4")
    lines = complaint(tmp_path, content).splitlines()
    assert [line.split(":")[0] for line in lines] == [
        "session.surface",
        "athlete[1].stature_m (id 'R07')",
        "run[2].start (id 'R08-01')",
    ]


def test_a_file_full_of_problems_is_cut_short(tmp_path):
    extra = "".join(f"key{i} = 1\n" for i in range(50))
    text = complaint(tmp_path, extra + SESSION)
    assert text.endswith("and 30 more problems")


@pytest.mark.parametrize(
    ("name", "allowed"),
    [
        ("../outside.csv", "a path that stays inside the session file's folder"),
        ("logs/../../outside.csv", "a path that stays inside the session file's folder"),
        ("link.csv", "a path that stays inside the session file's folder"),
        ("away/outside.csv", "a path that stays inside the session file's folder"),
        ("/etc/hostname", "a path relative to the session file's folder"),
        ("C:/logs/1.csv", "a path relative to the session file's folder"),
        ("C:1.csv", "a path relative to the session file's folder"),
        ("logs\\\\1_ls.csv", "a path with / between folders"),
        ("//server/share/1.csv", "a path relative to the session file's folder"),
        ("logs/\\u0000.csv", "a path without control characters"),
        ("logs/a\\nb.csv", "a path without control characters"),
    ],
)
def test_logs_stay_inside_the_folder(tmp_path, name, allowed):
    (tmp_path / "outside.csv").write_text("secret")
    folder = tmp_path / "session"
    folder.mkdir()
    link(folder / "link.csv", tmp_path / "outside.csv")
    link(folder / "away", tmp_path)
    text = complaint(folder, SESSION.replace("logs/2_lf.csv", name))
    assert text.startswith("run[2].logs.left_foot (id 'R08-01'): found the path ")
    assert f"; allowed: {allowed}" in text


def test_links_that_go_in_circles_are_no_crash(tmp_path):
    path = write_session(tmp_path, SESSION.replace("logs/2_lf.csv", "round.csv"))
    link(tmp_path / "round.csv", tmp_path / "round.csv")
    with pytest.raises(Exception, match=r"round\.csv") as caught:
        read_session(path).read_run("R08-01")
    assert type(caught.value).__module__ == "imuproc.core.errors"


LAYOUT_LINES = SESSION[SESSION.index("format =") : SESSION.index("[[athlete]]")]
ACCEL = 'accel = { columns = ["ax", "ay", "az"], unit = "g" }\n'
GYRO = 'gyro = { columns = ["gx", "gy", "gz"], unit = "deg/s" }\n'
TIME = 'time = { column = "time_s", unit = "s" }\n'
PLACE = "layout.field-logger"


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (TIME + ACCEL, f"{PLACE}.gyro: this key is missing; allowed: a table such as {{ columns"),
        (TIME + GYRO, f"{PLACE}.accel: this key is missing; allowed: a table such as {{ columns"),
        (ACCEL + GYRO, f"{PLACE}: found neither time nor rate_hz; allowed: one of the two"),
        (
            TIME + ACCEL + GYRO + "rate_hz = 500\n",
            f"{PLACE}: found both time and rate_hz; allowed: one of the two",
        ),
        (ACCEL + GYRO + "rate_hz = 0\n", f"{PLACE}.rate_hz: found the number 0; allowed: a sampl"),
        (ACCEL + GYRO + "rate_hz = inf\n", f"{PLACE}.rate_hz: found the number inf; allowed: a s"),
        (TIME + GYRO + ACCEL.replace(', "az"', ""), "accel.columns: found a list of 2; allowed:"),
        (TIME + GYRO + ACCEL.replace('"az"', '"az", "b"'), "accel.columns: found a list of 4; al"),
        (TIME + GYRO + ACCEL.replace('"az"', "true"), "accel.columns[3]: found true; allowed: a c"),
        (TIME + GYRO + ACCEL.replace('"az"', '""'), "accel.columns[3]: found the text ''; allowed"),
        (TIME + GYRO + ACCEL.replace('"az"', "3"), "found both names and numbers of columns"),
        (TIME + GYRO + ACCEL.replace('"az"', '"gx"'), "found the column 'gx' twice; allowed: a c"),
        (
            (TIME + GYRO).replace('"time_s"', "0") + ACCEL,
            "time.column: found the number 0; allowed: a column's name, or its number counted from",
        ),
        (
            TIME.replace('"s"', '"s", zero = "noon"') + ACCEL + GYRO,
            "time.zero: found the text 'noon'; allowed: \"unix\" (stamps count from 1970-01-01 UT",
        ),
        (
            TIME.replace('"s"', '"s", zero = 2031-04-12') + ACCEL + GYRO,
            'time.zero: found date 2031-04-12; allowed: "unix"',
        ),
        ("format = 'delimited'\n", f"{PLACE}.accel: this key is missing; allowed: a table such"),
        ("rate_hz = 500\n", f"{PLACE}.accel: this key is missing; allowed: a table such"),
        (
            "format = 'bids-motion'\nrate_hz = 500\n" + ACCEL + GYRO,
            f"{PLACE}: found columns; allowed: no columns with format 'bids-motion'",
        ),
        (
            "format = 'xdf'\n" + TIME + ACCEL + GYRO,
            f"{PLACE}: found time; allowed: neither time nor rate_hz with format 'xdf'",
        ),
        (
            TIME + GYRO + 'accel = { columns = ["acc"], unit = "g" }\n',
            f"{PLACE}: found a list of 1; allowed: a list of three columns for x, y and z",
        ),
        (
            'format = "hdf5"\nrate_hz = 5\n'
            + 'accel = { columns = [1], unit = "g" }\ngyro = { columns = [2], unit = "rad/s" }\n',
            f"{PLACE}: found numbers of columns; allowed: paths of datasets, such as 'imu/accel'",
        ),
        (
            TIME + ACCEL + GYRO + 'delimiter = ":"\n',
            "delimiter: found the text ':'; allowed: one o",
        ),
        (TIME + ACCEL + GYRO + 'decimal = "·"\n', "decimal: found the text '·'; allowed: \".\" or"),
        (TIME + ACCEL + GYRO + "skip_rows = -1\n", "skip_rows: found the number -1; allowed: a nu"),
        (
            TIME + ACCEL + GYRO + 'comment = ""\n',
            "comment: found the text ''; allowed: a mark that",
        ),
        (TIME + ACCEL + GYRO + 'comment = "-"\n', "comment: found the text '-'; allowed: a mark"),
        (TIME + ACCEL + GYRO + "missing = true\n", "missing: found true; allowed: a text or a num"),
        (TIME + ACCEL + GYRO + 'encoding = "utf-9"\n', "encoding: found the text 'utf-9'; allowed"),
        (TIME + ACCEL + GYRO + 'encoding = "hex"\n', "encoding: found the text 'hex'; allowed: a"),
        (TIME + ACCEL + GYRO + 'encoding = "\\u0000"\n', "; allowed: a text encoding that Python"),
    ],
)
def test_mistake_in_a_layout_is_named(tmp_path, lines, expected):
    assert expected in complaint(tmp_path, SESSION.replace(LAYOUT_LINES, lines + "\n"))


def test_select_needs_names_of_columns(tmp_path):
    lines = (
        "rate_hz = 500\n"
        'accel = { columns = [1, 2, 3], unit = "g" }\n'
        'gyro = { columns = [4, 5, 6], unit = "deg/s" }\n\n'
    )
    content = SESSION.replace(LAYOUT_LINES, lines).replace(
        '"logs/2_lf.csv"', '{ file = "logs/2_lf.csv", select = "LF_" }'
    )
    text = complaint(tmp_path, content)
    assert text.startswith("run[2].logs.left_foot.select (id 'R08-01'): found 'LF_'; allowed: sel")


def test_a_single_table_where_a_list_is_meant(tmp_path):
    content = SESSION[: SESSION.index('[[run]]\nid = "R08-01"')].replace("[[run]]", "[run]")
    expected = "run: found a table; allowed: at least one table [[run]], with double brackets"
    assert complaint(tmp_path, content) == expected


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"schema = 1\n[session\n", "this is not TOML: .* line 2"),
        (b"schema = 1\nschema = 1\n", "this is not TOML: Cannot overwrite a value .*line 2"),
        (b'schema = 1\nnote = "\xe9"\n', "line 2: found byte 0xE9, which is not UTF-8; allowed"),
        (b"\xff\xfes\x00", "line 1: found byte 0xFF, which is not UTF-8"),
        (b"a = " + b"[" * 5000, "this is not TOML"),
        (b"a = " + b"9" * 5000, "this is not TOML"),
        (b"", "schema: found nothing; allowed: the number 1"),
    ],
)
def test_text_that_is_no_session_file(tmp_path, content, expected):
    path = tmp_path / "session.toml"
    path.write_bytes(content)
    with pytest.raises(SessionError, match=rf"session\.toml: {expected}"):
        read_session(path)


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(SessionError, match=r"none\.toml: there is no such file"):
        read_session(tmp_path / "none.toml")
    with pytest.raises(SessionError, match=r"found a folder; allowed: a TOML file"):
        read_session(tmp_path)
    with pytest.raises(SessionError, match=r"cannot be read"):
        read_session("a\0b.toml")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(SessionError, match=r"pipe: found something that is not a regular file"):
        read_session(tmp_path / "pipe")


def test_file_that_may_not_be_read(tmp_path):
    path = write_session(tmp_path)
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read every file")
    with pytest.raises(SessionError, match=r"cannot be read: Permission denied"):
        read_session(path)
