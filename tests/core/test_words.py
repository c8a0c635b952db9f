from imuproc.core.words import in_a_row, plural, spans, steps_phrase


def test_words_stand_in_a_row_as_in_a_sentence() -> None:
    assert in_a_row(["a"]) == "a"
    assert in_a_row(["a", "b"]) == "a and b"
    assert in_a_row(["a", "b", "c"]) == "a, b and c"


def test_counts_have_their_noun() -> None:
    assert [plural(n, "run") for n in (0, 1, 2)] == ["0 runs", "1 run", "2 runs"]
    assert [plural(n, "stretch") for n in (1, 2)] == ["1 stretch", "2 stretches"]


def test_step_numbers_are_said_as_spans() -> None:
    assert spans([1, 2, 3, 7]) == "1-3, 7"
    assert spans([]) == ""
    assert steps_phrase([4]) == "step 4"
    assert steps_phrase([4, 5]) == "steps 4-5"
