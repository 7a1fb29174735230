"""What the proofs say, word for word: the author's own words, why it matters, how to mend it."""

from textwrap import dedent

from planting import HEAD, PASSES, reading_of

from classifier.key import render
from classifier.key.check import check_reading

KEY = HEAD + dedent("""\
    gate
        duration >= 2 ms
    couplet 1
        1a characteristic_frequency < 20 kHz => 2
        1b characteristic_frequency < 30 kHz => Examplia a
        1c characteristic_frequency < 25 kHz => Examplia b
        1d duration < 1 ms => Examplia b
        1e otherwise => 3
    couplet 2
        2a characteristic_slope < 0 kHz/ms => Examplia a
        2b characteristic_slope < 5 kHz/ms and characteristic_frequency > 21 kHz => 4
        2c duration > 10 ms and duration < 8 ms => Examplia a
        2d otherwise => unidentified "x"
    couplet 3
        3a characteristic_frequency >= 40 kHz ± 1 kHz => Examplia a
        3b characteristic_frequency < 38 kHz ± 1 kHz and duration > 5 ms => Examplia c
    couplet 4
        4a bandwidth < 5 kHz => Examplia a
        4b otherwise => Examplia b
    """)


def test_dead_leads_and_gaps():
    reading = reading_of("", KEY)
    shown = "\n".join(render(each, reading.texts) for each in check_reading(reading))
    assert (
        shown
        == dedent("""\
        planted.key:10:5: error K401 lead-unreachable: no call comes to lead 1c: 1b takes every call that it would take
           10 |     1c characteristic_frequency < 25 kHz => Examplia b
              |     ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
        planted.key:9:5: 1b takes calls before: characteristic_frequency < 30 kHz
            9 |     1b characteristic_frequency < 30 kHz => Examplia a
              |     ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
        help: put 1c before 1b, narrow 1b, or take 1c out
        planted.key:11:5: error K401 lead-unreachable: no call comes to lead 1d: the gate stops every call that it would take
           11 |     1d duration < 1 ms => Examplia b
              |     ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
        help: widen 1d or the gate, or take 1d out
        planted.key:15:5: error K401 lead-unreachable: no call comes to lead 2b: what comes to couplet 2 never meets its condition; with it couplet 4 cannot be reached
           15 |     2b characteristic_slope < 5 kHz/ms and characteristic_frequency > 21 kHz => 4
              |     ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
        planted.key:8:5: only calls of 1a come there: characteristic_frequency < 20 kHz
            8 |     1a characteristic_frequency < 20 kHz => 2
              |     ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
        help: change 2b or the way to it, or take 2b out
        planted.key:16:5: error K401 lead-unreachable: no call comes to lead 2c: no call can meet its condition
           16 |     2c duration > 10 ms and duration < 8 ms => Examplia a
              |     ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
        help: change the condition of 2c, or take the lead out
        planted.key:18:1: error K403 couplet-gap: couplet 3 leaves calls without a lead, such as those with duration from 2 to 5 ms and characteristic_frequency from 30 to 39 kHz: 3a and 3b are both no
           18 | couplet 3
              | ^^^^^^^^^
        call: duration = 4 ms, characteristic_frequency = 34 kHz
        help: such a call ends unidentified without a reason; let the leads meet, or add a last one: 3c otherwise => unidentified "…\"""")
    )


def test_an_unsafe_definite():
    head = (
        'key "d" version 1\ntaxon Examplia a\n    characteristic_frequency 18 to 24 kHz\n    duration 4 to 7 ms\ntaxon Examplia b\n'
    )
    reading = reading_of(
        "couplet 1\n    1a characteristic_frequency < 22 kHz ± 1 kHz => Examplia a\n    1b otherwise => Examplia b\n" + PASSES, head
    )
    (found,) = check_reading(reading)
    assert (
        render(found, reading.texts)
        == dedent("""\
        planted.key:8:5: error K410 definite-unsafe: lead 1b makes calls of `Examplia a` `definite` as `Examplia b`
            8 |     1b otherwise => Examplia b
              |     ^^^^^^^^^^^^^^^^^^^^^^^^^^
        planted.key:3:5: declared ranges of Examplia a
            3 |     characteristic_frequency 18 to 24 kHz
              |     ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
        call: duration = 5.5 ms, characteristic_frequency = 23.5 kHz
        help: keep 1b clear of what `Examplia a` declares (characteristic_frequency 18 to 24 kHz), cap it (`, at most probable`), or end it in a group that holds both""")
    )
