import pytest

from moulddesign.portion import allergen_list, allergens_of_food, food, foods, known_allergens


@pytest.mark.parametrize(
    ("names", "found"),
    [  # Regulation (EU) 1169/2011, Annex II: gluten, egg, peanut, milk, nuts, sesame
        (["bread flour"], ("wheat or another cereal with gluten",)),
        (["salted egg yolk"], ("egg",)),
        (["peanut butter"], ("peanut",)),
        (["butter"], ("milk",)),
        (["rice flour", "coconut milk", "chestnuts", "chestnut paste"], ()),
        (["walnuts", "tahini"], ("nuts", "sesame")),
        (["almond flour", "oat milk"], ("wheat or another cereal with gluten", "nuts")),
        (["goat"], ()),
        (["malt syrup from a farm"], ("wheat or another cereal with gluten",)),
    ],
)
def test_names_point_to_allergens(names, found):
    assert allergen_list(names).found == found


def test_the_fourteen_of_the_eu_and_the_nine_of_the_us():
    # Regulation (EU) 1169/2011, Annex II: fourteen groups, eight nuts named, four cereals here;
    # US: milk, egg, fish, crustaceans, tree nuts, peanuts, wheat, soy, sesame.
    known = known_allergens().values()
    assert len({each.group for each in known if each.eu}) == 14
    assert len({each.group for each in known if each.us}) == 9
    assert sum(each.group == "nuts" and each.eu and each.name != "nuts" for each in known) == 8
    us_cereals = [each.name for each in known if each.us and each.group.endswith("gluten")]
    assert us_cereals == ["wheat"]


@pytest.mark.parametrize("name", sorted({each.name for each in foods().values()}))
def test_a_food_names_allergens_that_are_known(name):
    assert set(food(name).allergens) <= set(known_allergens())


def test_a_food_says_more_of_its_allergens_than_its_name():
    assert allergens_of_food("strong flour") == ("wheat",)
    assert allergens_of_food("something else") == ()


def test_what_only_the_packet_tells_is_asked_for():
    assert allergen_list(["dark chocolate", "honey"]).unknown == ("dark chocolate",)
    assert allergens_of_food("malt syrup") == ("barley",)
