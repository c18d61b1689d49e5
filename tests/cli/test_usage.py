"""A verb refuses an option that it does not read, one without effect, and one given twice.

The table of verbs and options is the command's own; the test walks through all of it.
"""

import pytest
import typer

from moulddesign.cli.app import command_line
from moulddesign.cli.usage import (
    ALONE,
    RULES,
    UsageError,
    options_by_verb,
    refuse_idle_options,
    usage_sentence,
)
from moulddesign.core import MouldError

COMMAND = command_line()
OPTIONS = {verb: flags for verb, flags in options_by_verb(COMMAND).items() if verb}
EVERY = sorted(set().union(*OPTIONS.values()))


def params(verb):
    here = COMMAND
    for name in verb.split():
        here = here.commands[name]
    return {flag: p for p in here.params for flag in (*p.opts, *p.secondary_opts)}


def error_of(verb, *arguments):
    """Return what a verb's arguments are refused with, or None; the verb does not run."""
    ctx, here = COMMAND.make_context("moulddesign", [], resilient_parsing=True), COMMAND
    *groups, last = verb.split()
    for name in groups:
        here = here.commands[name]
        ctx = here.make_context(name, [], parent=ctx, resilient_parsing=True)
    try:
        here.commands[last].make_context(last, list(arguments), parent=ctx)
    except (MouldError, typer.TyperException) as error:
        return error
    return None


@pytest.mark.parametrize("verb", OPTIONS)
def test_an_option_of_other_verbs_is_refused_and_they_are_named(verb):
    for flag in EVERY:
        if flag in OPTIONS[verb]:
            continue
        sentence = usage_sentence(error_of(verb, flag))
        readers = [other for other, flags in OPTIONS.items() if flag in flags]
        assert sentence.startswith(f"{flag} belongs to ")
        assert all(reader in sentence for reader in readers)
        assert sentence.endswith(f" and does nothing for {verb}; leave it out.")
        assert sentence.count("\n") == 0


@pytest.mark.parametrize("verb", OPTIONS)
def test_an_option_given_twice_is_refused_unless_it_is_repeatable(verb):
    for flag, param in params(verb).items():
        if flag in {"-h", "--help"} or not flag.startswith("--"):
            continue
        once = (flag,) if param.is_flag else (flag, "1")
        error = error_of(verb, *once, *once)
        if getattr(param, "multiple", False):
            assert not (isinstance(error, UsageError) and "given" in str(error))
        else:
            assert isinstance(error, UsageError), (verb, flag, error)
            wanted = "more than once" if param.is_flag else "twice: 1 and 1"
            assert str(error).startswith(f"{max(param.opts, key=len)} was given {wanted}")


def test_both_values_are_told():
    twice = error_of("portion", "--weight", "70", "--weight", "75")
    assert str(twice) == "--weight was given twice: 70 and 75; give it once."
    assert str(error_of("page", "--browser", "--no-browser")).startswith("--browser was given more")
    assert "3 times: 1, 2 and 3;" in str(error_of("portion", *("--loss=1", "--loss=2", "--loss=3")))


def test_every_rule_is_about_options_that_the_verb_has():
    for verb, rules in RULES.items():
        for flag, rule in rules.items():
            named = {flag, *rule.needs, *rule.idle_beside, *filter(None, [rule.unless])}
            assert named <= OPTIONS[verb], (verb, flag)
    assert all(flag in OPTIONS[verb] for verb, flag in ALONE.items())


CASES = [
    (verb, flag, other)
    for verb, rules in RULES.items()
    for flag, rule in rules.items()
    for other in rule.idle_beside
]


@pytest.mark.parametrize(("verb", "flag", "other"), CASES)
def test_an_option_without_effect_beside_another_is_refused(verb, flag, other):
    with pytest.raises(UsageError, match=f"^{flag} does nothing beside --"):
        refuse_idle_options(verb, [flag, other])


@pytest.mark.parametrize(
    ("verb", "flag"), [(v, f) for v, rules in RULES.items() for f, r in rules.items() if r.needs]
)
def test_an_option_without_effect_alone_is_refused(verb, flag):
    needs = RULES[verb][flag].needs
    with pytest.raises(UsageError, match=f"^{flag} does nothing without {needs[0]}"):
        refuse_idle_options(verb, [flag])
    for needed in needs:
        given = [flag, needed]
        while (rule := RULES[verb].get(given[-1])) is not None and rule.needs:
            given.append(rule.needs[0])
        refuse_idle_options(verb, given)


def test_the_schema_is_printed_alone():
    sentence = error_of("make", "--schema", "--kind", "block")
    assert str(sentence) == "--kind does nothing beside --schema; leave one of them out."


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--kind", "block", "--clearance", 0.3), "mould.clearance_mm = 0.3: belongs to the kind"),
        (("--kind", "cast", "--clearance", 0.3), "mould.clearance_mm = 0.3: belongs to the kind"),
        (("--cavities", 2), "mould.cavities = 2: belongs to the kind block, cast or own and does"),
        (("--kind", "cast", "--also-pattern", "sun"), "mould.kind = 'cast': has no stamps to swap"),
        (("--corner-radius", 3), "pastry.corner_radius_mm = 3.0: does nothing for the outline"),
        (("--formats", "3mf", "--paper", "a4"), "--paper = 'a4': does nothing without a card"),
    ],
)
def test_make_refuses_what_its_kind_does_not_read(arguments, sentence):
    with pytest.raises(MouldError) as error:
        COMMAND.main(["make", *map(str, arguments)], standalone_mode=False)
    assert str(error.value).startswith(sentence)


def test_an_option_before_a_verb_of_a_verb_is_refused():
    sentence = error_of("patterns", "--sheet", "a.png", "check", "sun")
    assert str(sentence).startswith("--sheet does nothing before check")
