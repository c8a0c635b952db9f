from imuproc.core.words import in_a_row


def test_words_stand_in_a_row_as_in_a_sentence() -> None:
    assert in_a_row(["a"]) == "a"
    assert in_a_row(["a", "b"]) == "a and b"
    assert in_a_row(["a", "b", "c"]) == "a, b and c"
