"""Results in words: counts always, percentages only where there are enough."""

from dashboards.components import words
from tests.pages.results import proportion

MINIMUM = 10


def plain(text):
    return text.replace(words.NARROW, " ")


def test_a_rate_stands_with_its_counts_its_interval_and_its_method():
    # Wilson interval of 81 of 263: 0.2553 to 0.3662 (Newcombe, Stat Med 1998;17:857, table I, method 3; from memory).
    row = proportion(81, 263, low=0.2553, high=0.3662)

    assert (
        plain(words.figure(row, MINIMUM).sentence)
        == "30.8 %, 81 of 263; 95 % interval 25.5 to 36.6 % (Wilson)."
    )


def test_below_the_minimum_only_counts_are_given():
    row = proportion(3, 7, low=0.158, high=0.750)

    shown = words.figure(row, MINIMUM)

    assert shown.sentence == "3 of 7; too few for a percentage."
    assert (shown.value, shown.low, shown.high) == (None, None, None)


def test_the_minimum_itself_is_enough():
    assert words.figure(proportion(3, 10, low=0.108, high=0.603), MINIMUM).kind == "rate"


def test_no_events_show_a_labelled_upper_bound_and_no_interval():
    # 1 - 0.05 ** (1 / 24) = 0.1173: one-sided upper bound for 0 of 24.
    row = proportion(0, 24, low=0.0, high=0.138, upper_bound_no_events=0.1173)

    assert plain(words.figure(row, MINIMUM).sentence) == "0 of 24; one-sided upper 95 % bound 11.7 %."


def test_an_empty_denominator_is_no_procedures_and_not_zero():
    shown = words.figure(proportion(0, 0), MINIMUM)

    assert shown.sentence == "No procedures."
    assert "%" not in shown.short


def test_what_was_left_out_keeps_its_order_and_drops_zeros():
    assert (
        words.excluded({"not sampled": 12, "repeat procedure": 0, "no pathology report": 4})
        == "Left out: 12 not sampled, 4 no pathology report."
    )


def test_bounds_are_said_where_outcomes_are_unknown():
    row = proportion(1, 10, low=0.0, high=0.4, bounds={"lower": 0.05, "upper": 0.55, "unknown": 10})

    assert "10 procedures is not known" in words.bounds(row)
    assert "5.0 to 55.0" in words.bounds(row)


def test_bounds_are_silent_where_all_is_known():
    assert words.bounds(proportion(1, 10, bounds={"lower": 0.1, "upper": 0.1, "unknown": 0})) == ""


def test_clustering_is_mentioned_only_above_ten_per_cent():
    assert words.clustering(1.10) == ""
    assert "1.11 times" in words.clustering(1.11)
    assert words.clustering(None) == ""


def test_a_quantity_without_limits_says_nothing_of_an_interval():
    row = {
        "n": 2,
        "missing": 1,
        "median": 3.0,
        "lower": None,
        "upper": None,
        "q1": 2.0,
        "q3": 4.0,
        "p5": 2.0,
        "p95": 4.0,
        "confidence": 0.95,
        "unit": "mm",
    }

    assert "interval" not in words.quantity(row)


def test_thousands_are_set_apart_by_a_space_that_does_not_break():
    assert words.count(1234567) == "1\u202f234\u202f567"


def test_two_values_have_a_dash_between_them():
    assert words.between(2.2, 4.25, "mm") == "2.2\u20134.2"


def test_beside_a_minus_the_dash_is_a_word():
    assert words.between(-4.0, 3.94, "mm") == "\u22124.0 to 3.9"


def test_a_date_in_the_name_of_a_period_is_not_broken_at_its_hyphens():
    shown = words.whole_dates("2024-07-01 to 2025-06-30, well-kept")

    assert shown.replace("\u2060", "") == "2024-07-01 to 2025-06-30, well-kept"
    assert shown.count("\u2060-\u2060") == 4
    assert "well-kept" in shown


def _parted(excluded: dict[str, int]) -> str:
    return plain(words.maturity({"numerator": 1, "denominator": 20, "excluded": excluded}))


def test_how_the_procedures_of_a_period_part_names_no_empty_part():
    assert _parted({}) == "All 20 procedures of the period are counted."
    assert _parted({"repeat procedure": 5}) == (
        "Of 25 procedures of the period 20 are counted and 5 are outside the question."
    )
    assert _parted({"not sampled": 5, "window not complete": 3, "no pathology report": 2}) == (
        "Of 30 procedures of the period 20 are counted, 5 are outside the question, 3 are too recent "
        "and of 2 what is asked is not on record."
    )
