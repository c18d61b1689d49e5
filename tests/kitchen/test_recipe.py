import pytest

from moulddesign.core import FileError, SpecError
from moulddesign.kitchen import Recipe

FLOUR = {"food": "wheat flour", "mass_g": 100.0}
PASTE = {"ingredients": [{"food": "date", "mass_g": 100.0}]}


def recipe(*lines, **more):
    return Recipe.of({"crust": {"ingredients": list(lines)}, "filling": PASTE} | more)


def test_file_is_read_with_a_byte_order_mark(tmp_path):
    file = tmp_path / "cakes.toml"
    text = 'crust.ingredients = [{ food = "wheat flour", mass_g = 1 }]\n'
    text += 'filling.ingredients = [{ food = "date", mass_g = 2 }]\n'
    file.write_text(text, encoding="utf-8-sig")
    assert Recipe.read(file).filling.ingredients[0].food == "date"


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        Recipe.read(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ({"food": "wheet flour", "mass_g": 1.0}, "'wheet flour': is not a known ingredient"),
        ({"food": "wheat flour"}, "needs mass_g or percent, and not both"),
        ({"food": "wheat flour", "mass_g": 1.0, "percent": 2.0}, "and not both"),
        ({"food": "wheat flour", "mass_g": -1.0}, r"first ingredient\) = -1.0: must be above 0 g"),
        ({"food": "wheat flour", "mass_g": 0.0}, r"first ingredient\) = 0.0: must be above 0 g"),
        ({"food": "wheat flour", "mass_g": float("nan")}, "must be"),
        ({"food": "wheat flour", "mass_g": "some"}, "must be a number such as 12.5 g"),
        ({"food": "wheat flour", "mas_g": 1.0, "mass_g": 1.0}, "the nearest is mass_g"),
        ({"mass_g": 1.0}, r"food \(the first ingredient\): is missing"),
        (
            {"food": "mine", "mass_g": 1.0, "water": 50.0},
            r"composition \(the first ingredient\).*must sum to 1",
        ),
        ({"food": "mine", "mass_g": 1.0, "density_g_per_ml": 9.0}, "must be at most 3 g/mL"),
    ],
)
def test_a_line_that_cannot_be_is_refused(line, sentence):
    with pytest.raises(SpecError, match=sentence):
        recipe(line)


def test_unknown_ingredients_of_a_file_are_listed_with_their_lines(tmp_path):
    file = tmp_path / "recipe.toml"
    lines = [
        "[crust]",
        "ingredients = [",
        '  { food = "whet flour", mass_g = 100 },',
        '  { food = "honey", mass_g = 70 },',
        '  { food = "oi", percent = 3 },',
        "]",
        "[[filling.ingredients]]",
        'food = "honey"',
    ]
    file.write_text("\n".join(lines))
    with pytest.raises(SpecError) as caught:
        Recipe.read(file)
    told = [line.partition(":")[0].strip() for line in str(caught.value).splitlines()]
    assert told == [f"{file} holds 3 mistakes", "line 3", "line 5", "line 7"]


def test_masses_and_percentages_do_not_mix():
    with pytest.raises(SpecError, match="mass_g in every line or percent in every line"):
        recipe(FLOUR, {"food": "honey", "percent": 70.0})


def test_flours_of_percentages_sum_to_100():
    with pytest.raises(SpecError, match="sum to 100 percent, and they sum to 90"):
        recipe({"food": "wheat flour", "percent": 90.0}, {"food": "honey", "percent": 70.0})


def test_a_recipe_without_crust_is_refused():
    with pytest.raises(SpecError, match=r"crust = .*is missing"):
        Recipe.of({"filling": {"ingredients": [FLOUR]}})


def test_an_ingredient_with_its_own_figures_needs_no_name_that_we_know():
    own = recipe({"food": "orchard jam", "mass_g": 10.0, "water": 40.0, "carbohydrate": 60.0})
    assert own.crust.ingredients[0].known.water == 0.4
