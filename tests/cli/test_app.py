import pytest
from cli.command import moulddesign

from moulddesign.cli.app import app

VERBS = sorted(command.name for command in app.registered_commands)


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_explains_itself_with_an_example(verb):
    code, said, _ = moulddesign(verb, "--help")
    assert code == 0
    assert "Example" in said
    assert "--json" in said


def test_without_a_verb_there_is_help():
    code, said, remarks = moulddesign()
    assert (code, remarks) == (0, "")
    assert all(verb in said for verb in VERBS)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["mkae"], "No such command 'mkae'"),
        (["make", "--wdth", "3"], "No such option: --wdth"),
        (["make", "a.toml", "b.toml"], "unexpected extra argument"),
        (["portion", "--weight"], "requires an argument. Try: moulddesign --help"),
        (["portoin"], "Did you mean 'portion'? Try: moulddesign --help"),
        (
            ["portion", "--weight", "50,5"],
            "--weight = '50,5': must be a number such as 12.5, with a point and without its unit.",
        ),
        (["batch", "--pieces", "2.5"], "--pieces = '2.5': must be a whole number such as 12"),
        (["fit", "--tool", "thumb"], "--tool = 'thumb': must be one of 'ruler', 'caliper'."),
        (
            ["density", "cup", "--cup-water", "a lot"],
            "without its unit. Try: moulddesign density cup --help",
        ),
        (["page", "--port", "70000"], "--port = '70000': must be at most 65535."),
    ],
)
def test_a_slip_of_the_pen_gets_one_sentence(arguments, sentence):
    code, said, remarks = moulddesign(*arguments)
    assert (code, said) == (2, "")
    assert sentence in remarks
    assert remarks.count("\n") == 1


@pytest.mark.parametrize("verb", VERBS)
def test_no_help_loses_words_in_brackets_to_markup(verb):
    # rich reads [word] as markup and drops it
    _, said, _ = moulddesign(verb, "--help")
    assert "[]" not in said
