"""Worked examples in a key, and calls typed in by hand."""

import pytest

from classifier.key import has_errors, limits, parse_call, parse_key, read_key, run_examples

KEY = """\
key "K" version 1
taxon A a
taxon B b
taxon C c
group "both" A a, B b
gate
    snr >= 12 dB
couplet 1
    1a duration < 5 ms ± 1 ms => A a, at most probable
    1b duration < 9 ms ± 1 ms => B b
    1c snr < 20 dB => not a bat "rain"
    1d otherwise => unidentified "too long"
example "e" {values} => {outcome}
"""


def failures(values, outcome):
    reading = parse_key(KEY.format(values=values, outcome=outcome))
    assert reading.key is not None, reading.diagnostics
    return [each.message for each in run_examples(reading.key)]


@pytest.mark.parametrize(
    ("values", "outcome"),
    [
        ("duration 3 ms", "A a"),
        ("duration 3 ms", '"both"'),
        ("duration 5 ms", '"both"'),
        ("duration 3 ms", "A a, at most probable"),
        ("duration 5 ms", "among A a"),
        ("duration 5 ms", "among A a, B b"),
        ("duration 3 ms, snr 5 dB", "gated"),
        ("duration 11 ms, snr 15 dB", "not a bat"),
        ("duration 0.011 s, snr 15 dB", 'not a bat "rain"'),
        ("duration 11 ms, snr 25 dB", 'unidentified "too long"'),
        ("duration 3.8 ms ± 0.1 ms", "A a"),
        ("duration missing, snr 30 dB", "among A a, B b"),
    ],
)
def test_examples_that_hold(values, outcome):
    assert failures(values, outcome) == []


@pytest.mark.parametrize(
    ("values", "outcome", "message"),
    [
        ("duration 3 ms", "B b", "must have B b and nothing else, but ends as A a (by 1a)"),
        ("duration 5 ms", "A a", "must have A a and nothing else, but ends as A a or B b (by 1a | 1b)"),
        ("duration 3.9 ms ± 0.1 ms", "A a", "must have A a and nothing else, but ends as A a or B b (by 1a | 1b)"),
        ("duration 3 ms", "among B b", "must have B b among its candidates, but ends as A a (by 1a)"),
        ("duration 3 ms", "A a, at most definite", "must be at most definite, but may become probable"),
        ("duration 3 ms, snr 15 dB", "gated", "must be taken out by the gate, but ends as A a (by 1a)"),
        ("duration 3 ms, snr 5 dB", "A a", "is taken out by the gate: `snr >= 12 dB` is no"),
        (
            "duration 11 ms, snr 25 dB",
            'unidentified "too short"',
            'must end for the reason "too short", but the reason is "too long"',
        ),
        ("duration 11 ms, snr 25 dB", '"both"', 'must have "both" and nothing else, but ends as unidentified (by 1d)'),
    ],
)
def test_examples_that_fail_say_how(values, outcome, message):
    assert failures(values, outcome) == [f'example "e" {message}']


def test_a_failure_shows_its_call_and_where_it_was_unsure():
    (found,) = run_examples(parse_key(KEY.format(values="duration 5 ms", outcome="A a")).key)
    assert found.code == "K501"
    assert found.span.line == 13
    assert found.witness == (("duration", 5.0),)
    assert found.help == "1a is unsure: duration < 5 ms ± 1 ms"


def test_the_wetlands_examples_hold(request):
    key = read_key(request.path.parent / "wetlands.key").key
    assert len(key.examples) == 2
    assert run_examples(key) == []


def test_typed_calls():
    call, found = parse_call("characteristic_frequency = 47 kHz ± 0.2 kHz, duration 5.6 ms, onset = 20 ms, knee_time missing")
    assert found == []
    assert call == {
        "characteristic_frequency": (47.0, 0.2),
        "duration": (5.6, None),
        "onset": (0.02, None),
        "knee_time": (None, None),
    }


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "K101"),
        ("duration", "K101"),
        ("duration = 5 ms,,", "K101"),
        ("duration = 5 ms\nsnr = 3 dB", "K101"),
        ("duration = 5", "K203"),
        ("duration = 5 kHz", "K204"),
        ("duration = 5 msec", "K205"),
        ("duraton = 5 ms", "K201"),
        ("snr 5 dB, snr 6 dB", "K207"),
        ("duration = 5 ms ± -1 ms", "K223"),
        ("x" * 100_000, "K101"),
    ],
)
def test_typed_calls_with_faults(text, code):
    call, found = parse_call(text)
    assert call == {}
    assert [each.code for each in found] == [code]


def chain(couplets, examples):
    """A key of which every couplet is unsure of a call without a signal-to-noise ratio, and examples of such calls."""
    lines = ['key "Chain" version 1', "taxon Examplia vespera", "taxon Examplia matutina"]
    for number in range(1, couplets):
        lines += [f"couplet {number}", f"{number}a snr < 1 dB => Examplia vespera", f"{number}b otherwise => {number + 1}"]
    lines += [f"couplet {couplets}", f"{couplets}a otherwise => Examplia matutina"]
    lines += [f'example "{number}" duration 5 ms => Examplia vespera' for number in range(examples)]
    return parse_key("\n".join(lines)).key


def test_examples_that_take_too_long_are_not_run_and_that_is_an_error():
    couplets = 300
    run = limits.EXAMPLE_STEPS // (3 * couplets) + 1  # two leads and a comparison in each couplet
    found = run_examples(chain(couplets, run + 20))
    assert [each.code for each in found] == ["K501"] * run + ["K322"]
    assert f'from "{run}" on are not run' in found[-1].message
    assert has_errors(found[-1:])


def test_a_failed_example_quotes_a_few_of_its_ways():
    (found,) = run_examples(chain(40, 1))
    assert found.message.count(" | ") == 6
    assert found.message.endswith("| …)")
