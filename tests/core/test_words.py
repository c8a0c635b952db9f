from imuproc.core.words import format_count, format_spans, format_steps, join_words


def test_words_stand_in_a_row_as_in_a_sentence() -> None:
    assert join_words(["a"]) == "a"
    assert join_words(["a", "b"]) == "a and b"
    assert join_words(["a", "b", "c"]) == "a, b and c"


def test_counts_have_their_noun() -> None:
    assert [format_count(n, "run") for n in (0, 1, 2)] == ["0 runs", "1 run", "2 runs"]
    assert [format_count(n, "stretch") for n in (1, 2)] == ["1 stretch", "2 stretches"]


def test_step_numbers_are_said_as_spans() -> None:
    assert format_spans([1, 2, 3, 7]) == "1-3, 7"
    assert format_spans([]) == ""
    assert format_steps([4]) == "step 4"
    assert format_steps([4, 5]) == "steps 4-5"
