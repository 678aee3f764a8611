"""Between which looks a cancer came to light; days are read off the agreed terms by hand."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pytest

from registry.measures import looks, looks_curve
from tests.measures.build import day
from tests.measures.test_curve import benign

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000


def said(drawn: Drawn, on: int = AS_OF) -> dict[str, tuple[int, int | None]]:
    rows = looks(drawn, as_of=day(on)).rows()
    return {key: (without, found) for key, without, found in rows}


def test_a_cancer_lies_after_the_last_clear_look_before_it(drawn: Drawn):
    benign(drawn, "two looks before")
    drawn.imaging("two looks before", 180)
    drawn.imaging("two looks before", 360)
    drawn.linkage("two looks before", 500, "invasive")
    benign(drawn, "clear again afterwards")
    drawn.imaging("clear again afterwards", 180)
    drawn.linkage("clear again afterwards", 300, "invasive")
    drawn.imaging("clear again afterwards", 700)
    benign(drawn, "clear on the day of the cancer only")
    drawn.linkage("clear on the day of the cancer only", 300, "invasive")
    drawn.imaging("clear on the day of the cancer only", 300)
    drawn.linkage(benign(drawn, "no look before"), 300, "in_situ")
    drawn.excision(benign(drawn, "excised on the day"), 0, "invasive")

    assert said(drawn.built()) == {
        "two looks before": (360, 500),
        "clear again afterwards": (180, 300),
        "clear on the day of the cancer only": (0, 300),
        "no look before": (0, 300),
        "excised on the day": (0, 0),
    }


def test_a_look_that_cannot_show_the_target_is_none(drawn: Drawn):
    drawn.finding("seen by the tracer only", "patient", correlate="none")
    drawn.procedure("one", finding="seen by the tracer only")
    drawn.report("one", "benign")
    drawn.imaging("one", 180, modality="mri")
    drawn.imaging("one", 360, modality="ultrasound")
    drawn.linkage("one", 500, "invasive")

    assert said(drawn.built()) == {"one": (180, 500)}


def test_without_a_cancer_the_looks_end_at_the_last_clear_day_or_at_death(drawn: Drawn):
    drawn.imaging(benign(drawn, "clear"), 400)
    drawn.imaging(benign(drawn, "died before a late report", died=390), 400)
    drawn.imaging(benign(drawn, "died later", died=500), 400)
    benign(drawn, "nothing known")
    drawn.linkage(benign(drawn, "cancer after death", died=200), 300, "invasive")

    assert said(drawn.built()) == {
        "clear": (400, None),
        "died before a late report": (390, None),
        "died later": (400, None),
        "nothing known": (0, None),
        "cancer after death": (0, None),
    }


def test_complete_linkage_is_a_look_at_everybody(drawn: Drawn):
    """Complete up to day 250: clear until then, and not beyond a cancer found before it."""
    drawn.linkage(benign(drawn, "found later"), 300, "invasive")
    drawn.linkage(benign(drawn, "found before"), 200, "invasive")
    drawn.imaging(benign(drawn, "seen later than that"), 280)
    drawn.linkage("seen later than that", 300, "invasive")
    benign(drawn, "nothing known")
    drawn.built()
    drawn.setting("linkage_complete_until", on=250)

    assert said(drawn) == {
        "found later": (250, 300),
        "found before": (0, 200),
        "seen later than that": (280, 300),
        "nothing known": (250, None),
    }


def test_what_is_dated_after_the_as_of_date_was_not_seen(drawn: Drawn):
    drawn.imaging(benign(drawn, "one"), 180)
    drawn.imaging("one", 360)
    drawn.linkage("one", 500, "invasive")
    drawn.built()

    assert said(drawn, 500) == {"one": (360, 500)}
    assert said(drawn, 499) == {"one": (360, None)}
    assert said(drawn, 200) == {"one": (180, None)}


def test_only_those_whom_the_curve_counts(drawn: Drawn):
    benign(drawn, "in it")
    drawn.procedure("repeat", 5, repeat_of="in it")
    drawn.procedure("malignant")
    drawn.report("malignant", "invasive")

    assert set(said(drawn.built())) == {"in it"}


def test_the_curve_by_hand(drawn: Drawn):
    """Cancers in (0, 200] and in (100, 300], and one procedure clear at 600.

    Only (100, 200] holds both cancers: the estimate puts all they have there, 2 of 3.
    """
    drawn.linkage(benign(drawn, "first"), 200, "invasive")
    drawn.imaging(benign(drawn, "second"), 100)
    drawn.linkage("second", 300, "invasive")
    drawn.imaging(benign(drawn, "third"), 600)
    made = looks_curve(drawn.built(), as_of=day(AS_OF))

    ((after, until, before, then),) = made.steps
    assert (after, until, before) == (100, 200, 0.0)
    assert then == pytest.approx(2 / 3)
    assert (made.n, made.cancers, made.between_looks, made.last_look) == (3, 2, 1, 600)


def test_the_share_is_open_inside_a_box_and_unknown_after_the_last_look(drawn: Drawn):
    """One cancer between day 300 and day 400, one procedure clear at 500: nothing, then half of them."""
    drawn.imaging(benign(drawn, "found"), 300)
    drawn.linkage("found", 400, "invasive")
    drawn.imaging(benign(drawn, "clear"), 500)
    made = looks_curve(drawn.built(), as_of=day(AS_OF))

    assert made.at == (365, 730, 1095)
    assert made.read[0] == pytest.approx((0.0, 0.5), abs=1e-6)
    assert made.read[1:] == (None, None)


def test_without_a_cancer_nothing_is_estimated(drawn: Drawn):
    drawn.imaging(benign(drawn, "clear"), 500)
    made = looks_curve(drawn.built(), as_of=day(AS_OF))

    assert (made.reason, made.steps, made.read) == ("no cancer came to light", (), (None, None, None))


def test_without_procedures_nothing_is_estimated(drawn: Drawn):
    assert looks_curve(drawn.built(), as_of=day(AS_OF)).reason == "no procedures"


def found_between(drawn: Drawn, after: int, until: int, clear: int) -> tuple[tuple[float, float] | None, ...]:
    """Readings with one cancer between two looks, and one procedure clear at the last look."""
    drawn.imaging(benign(drawn, "found"), after)
    drawn.linkage("found", until, "invasive")
    drawn.imaging(benign(drawn, "clear"), clear)
    return looks_curve(drawn.built(), as_of=day(AS_OF)).read


@pytest.mark.parametrize(
    ("after", "until", "clear", "at_365", "at_730"),
    [
        # the rise has ended on the day that is read, and is kept afterwards
        (300, 365, 900, (0.5, 0.5), (0.5, 0.5)),
        # it begins on the day that is read: nothing of it yet
        (365, 400, 900, (0.0, 0.0), (0.5, 0.5)),
        # it lies after the day that is read
        (400, 500, 900, (0.0, 0.0), (0.5, 0.5)),
        # the last look is on the day that is read
        (300, 400, 730, (0.0, 0.5), (0.5, 0.5)),
        (300, 400, 729, (0.0, 0.5), None),
    ],
)
def test_readings_at_the_ends_of_a_rise_and_of_the_looks(drawn: Drawn, after, until, clear, at_365, at_730):
    """Half of the two procedures have a cancer, between the two looks and nowhere else."""
    read = found_between(drawn, after, until, clear)

    assert read[0] == pytest.approx(at_365, abs=1e-6)
    assert read[1] == (None if at_730 is None else pytest.approx(at_730, abs=1e-6))


def test_a_look_on_the_day_after_is_a_look_before_the_cancer(drawn: Drawn):
    drawn.imaging(benign(drawn, "found"), 1)
    drawn.linkage("found", 100, "invasive")
    drawn.linkage(benign(drawn, "no look"), 100, "invasive")

    assert looks_curve(drawn.built(), as_of=day(AS_OF)).between_looks == 1


def test_a_cancer_on_the_day_of_the_procedure_is_the_last_look(drawn: Drawn):
    drawn.excision(benign(drawn, "excised on the day"), 0, "invasive")

    assert looks_curve(drawn.built(), as_of=day(AS_OF)).last_look == 0


def test_looks_of_one_site_and_period(drawn: Drawn):
    for key, on, site in (("early", 100, "A"), ("late", 200, "A"), ("elsewhere", 200, "B")):
        drawn.procedure(key, on, site=site)
        drawn.report(key, "benign")
    drawn.built()
    asked = {"as_of": day(AS_OF)}

    for within, start, end, keys in (
        ({"site": "A"}, None, None, {"early", "late"}),
        ({"site": "A"}, day(150), None, {"late"}),
        (None, None, day(150), {"early"}),
    ):
        rows = looks(drawn, **asked, within=within, start=start, end=end)
        assert set(rows.get_column("procedure_id")) == keys
        assert looks_curve(drawn, **asked, within=within, start=start, end=end).n == len(keys)


class TestTooManyLooks:
    """The estimate takes as long as distinct pairs of looks times distinct days with a cancer."""

    def reason(self, drawn: Drawn, monkeypatch: pytest.MonkeyPatch, most: int) -> str:
        monkeypatch.setattr(sys.modules["registry.measures.looks"], "MOST_CELLS", most)
        return looks_curve(drawn, as_of=day(AS_OF)).reason

    def test_pairs_that_are_the_same_count_once(self, drawn: Drawn, monkeypatch: pytest.MonkeyPatch):
        """Pairs (0, 200) twice, (100, 300) and (600, none): three; days 200 and 300: two; six cells."""
        for key in ("first", "like the first"):
            drawn.linkage(benign(drawn, key), 200, "invasive")
        drawn.imaging(benign(drawn, "second"), 100)
        drawn.linkage("second", 300, "invasive")
        drawn.imaging(benign(drawn, "clear"), 600)
        drawn.built()

        assert self.reason(drawn, monkeypatch, 6) == ""
        assert self.reason(drawn, monkeypatch, 5).startswith("too many different looks")

    def test_no_cancer_is_another_pair_than_one_on_the_next_day(self, drawn: Drawn, monkeypatch):
        """Pairs (0, 1) and (0, none), one day: two cells."""
        drawn.linkage(benign(drawn, "found"), 1, "invasive")
        benign(drawn, "nothing known")
        drawn.built()

        assert self.reason(drawn, monkeypatch, 2) == ""
        assert self.reason(drawn, monkeypatch, 1).startswith("too many different looks")
