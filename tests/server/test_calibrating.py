"""Which stand belongs to which bow."""

from sensors.wire import Mark
from server.calibrating import PAIR_WITHIN_S, pairs


def mark(kind, start_s, length_s=3.0):
    return Mark(kind=kind, start_s=start_s, end_s=start_s + length_s)


def test_a_bow_belongs_to_the_last_stand_before_it_in_whatever_order_they_come():
    first, again = mark("stand", 1.0), mark("stand", 5.0)
    bow = mark("bow", 9.0)
    assert pairs([bow, again, first]) == [(again, bow)]


def test_a_repeated_calibration_is_a_pair_of_its_own():
    marks = [mark("stand", 1.0), mark("bow", 5.0), mark("stand", 60.0), mark("bow", 65.0)]
    assert pairs(marks) == [(marks[0], marks[1]), (marks[2], marks[3])]


def test_a_bow_without_a_stand_shortly_before_it_is_alone():
    assert pairs([mark("bow", 5.0)]) == []
    assert pairs([mark("bow", 5.0), mark("stand", 9.0)]) == []
    assert pairs([mark("stand", 0.0, 3.0), mark("bow", 3.0 + PAIR_WITHIN_S + 0.1)]) == []
    assert pairs([mark("stand", 1.0), mark("sync", 5.0)]) == []
