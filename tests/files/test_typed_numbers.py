"""Numbers as they are typed: decimals, fractions, ranges, and what is none of them."""

from __future__ import annotations

import pytest

from projector.files.typed_numbers import typed_number, values_of_range, with_decimals_for_fractions


@pytest.mark.parametrize(
    ("text", "value"),
    [("0.5", 0.5), (" 1/200 ", 0.005), ("-3/4", -0.75), ("1e-3/2", 0.0005), ("7", 7.0), ("2.5/0.5", 5.0)],
)
def test_a_number_may_be_a_fraction(text, value):
    assert typed_number(text) == value


@pytest.mark.parametrize("text", ["", "1/0", "1/2/3", "1_000", "½", "one", "1/", "/2", "٣"])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(ValueError, match=r"not a number|nothing divides|could not convert"):
        typed_number(text)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("-1:1:5", ["-1", "-0.5", "0", "0.5", "1"]),
        ("1/100:1/50:2", ["0.01", "0.02"]),
        ("0:0.3:4", ["0", "0.1", "0.2", "0.3"]),
        ("2:1:3", ["2", "1.5", "1"]),
        ("5", None),
        ("a:b:c", None),
        ("1:2", None),
    ],
)
def test_a_range_is_its_values_as_they_would_be_typed(text, values):
    assert values_of_range(text) == values


@pytest.mark.parametrize("text", ["1:2:1", "1:2:0", "1:2:x", "1:2:-3", "1:2:1001", "nan:1:3"])
def test_a_range_that_is_none_is_refused_with_how_to_write_one(text):
    with pytest.raises(ValueError, match="first:last:count"):
        values_of_range(text)


def test_fractions_in_a_list_are_written_out_and_words_are_left():
    assert with_decimals_for_fractions("[1/2, -3/4,1/8]") == "[0.5, -0.75,0.125]"
    assert with_decimals_for_fractions("{ distance_m = 5/2 }") == "{ distance_m = 2.5 }"
    assert with_decimals_for_fractions("gate/1/2") == "gate/1/2"
