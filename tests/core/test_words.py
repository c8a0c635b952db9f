from imuproc.core.words import in_a_row, plural


def test_words_stand_in_a_row_as_in_a_sentence() -> None:
    assert in_a_row(["a"]) == "a"
    assert in_a_row(["a", "b"]) == "a and b"
    assert in_a_row(["a", "b", "c"]) == "a, b and c"


def test_counts_have_their_noun() -> None:
    assert [plural(n, "run") for n in (0, 1, 2)] == ["0 runs", "1 run", "2 runs"]
    assert [plural(n, "stretch") for n in (1, 2)] == ["1 stretch", "2 stretches"]
