"""A mistake elsewhere in a study with coupled keys is told where it is, as in any other study."""

from __future__ import annotations

import pytest
from simple_shear import simple_text

from buttress.fe.errors import InputError
from buttress.study.read import parse_study

TEXT = simple_text().replace("top_mm = -25", 'top_mm = "{fracture.shear plane.apex.y} + 23"')


def told(text: str) -> InputError:
    with pytest.raises(InputError) as caught:
        parse_study(text, "s.toml")
    return caught.value


def test_the_study_that_is_broken_below_is_right() -> None:
    assert parse_study(TEXT).coupled


def test_a_table_in_double_brackets() -> None:
    """It was told as a coupled key that refers to nothing, "mesh.size_mm"."""
    assert "[mesh]" not in TEXT
    error = told(TEXT.replace("[[fracture]]", "[[mesh]]\nsize_mm = 4\n\n[[fracture]]", 1))
    assert (error.key, error.message) == ("mesh", "wrong type")
    assert "one table, under a heading in single brackets" in error.expected
    assert error.line


def test_a_fracture_in_single_brackets() -> None:
    error = told(TEXT.replace("[[fracture]]", "[fracture]", 1))
    assert error.key == "fracture"
    assert "[[fracture]]" in error.expected


def test_two_wrong_numbers_of_a_point_have_their_keys() -> None:
    line = next(x for x in TEXT.splitlines() if x.startswith("points_mm"))
    error = told(TEXT.replace(line, 'points_mm = [[2, 15], ["a", "b"]]'))
    assert "key: fracture.shear plane.points_mm.2.1 (line" in error.message
    assert "key: fracture.shear plane.points_mm.2.2 (line" in error.message
    assert not error.key


def test_a_wrong_expression_is_told_where_nothing_else_is_wrong() -> None:
    error = told(TEXT.replace("apex.y", "apex.z"))
    assert error.message.startswith("a coupled key that refers to nothing")


def test_a_construct_without_a_name_is_told_as_that() -> None:
    """It was told as an unknown key: "like", did you mean "like"?"""
    error = told(f'{TEXT}\n[[construct]]\nlike = "antiglide"\n[[construct.screw]]\n'
                 'name = "another"\nlike = "shaft 1"\n')
    assert error.message == "missing key"
    assert error.key.endswith(".name")
    assert error.expected == "a name"
    assert error.line


def test_several_mistakes_of_one_range_stand_below_the_key_that_has_them() -> None:
    error = InputError("2 mistakes\n  one\n  two", file="--vary", key="a.b", value="1:2:3")
    assert str(error) == "--vary: 2 mistakes; key: a.b; value: 1:2:3\n  one\n  two"
