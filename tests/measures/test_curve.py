"""Cancer after a benign result over time, by the two estimates that treat the unknown differently.

Times and statuses are read off the agreed definition by hand: 1 cancer, 2 death, 0 neither.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from registry.measures import curve, load_measures
from tests.measures.build import day

if TYPE_CHECKING:
    from tests.measures.build import Drawn

AS_OF = 1000
MEASURE = load_measures()["cancer_after_benign"]


def benign(drawn: Drawn, key: str, on: int = 0, died: int | None = None) -> str:
    drawn.patient(key, died=died)
    drawn.finding(f"finding of {key}", key)
    drawn.procedure(key, on)
    drawn.report(key, "benign")
    return key


def times(drawn: Drawn, estimate: str) -> dict[str, tuple[int, int]]:
    rows = drawn.run(
        f"SELECT procedure_id, {estimate}_days, {estimate}_status FROM ({MEASURE.body}) WHERE excluded_because IS NULL",
        {"as_of": day(AS_OF)},
    )
    return {key: (days, status) for key, days, status in rows}


def drawing(drawn: Drawn) -> Drawn:
    drawn.linkage(benign(drawn, "cancer"), 300, "invasive")
    drawn.linkage(benign(drawn, "cancer, then death", died=400), 300, "invasive")
    drawn.linkage(benign(drawn, "cancer and death on one day", died=300), 300, "invasive")
    drawn.linkage(benign(drawn, "death, then cancer", died=200), 300, "invasive")
    drawn.imaging(benign(drawn, "clear"), 400)
    drawn.imaging(benign(drawn, "clear, then dead", died=500), 400)
    drawn.imaging(benign(drawn, "dead on the last clear day", died=400), 400)
    drawn.imaging(benign(drawn, "dead, then clear by a late report", died=390), 400)
    benign(drawn, "nothing known")
    benign(drawn, "dead, nothing known", died=250)
    benign(drawn, "began on day 900", on=900)
    return drawn.built()


def test_lost_leaves_out_after_the_last_clear_day(drawn: Drawn):
    assert times(drawing(drawn), "lost") == {
        "cancer": (300, 1),
        "cancer, then death": (300, 1),
        "cancer and death on one day": (300, 1),
        # The death on day 200 comes before the cancer, and nothing clears the target up to it.
        "death, then cancer": (0, 0),
        "clear": (400, 0),
        "clear, then dead": (400, 0),
        "dead on the last clear day": (400, 2),
        "dead, then clear by a late report": (390, 2),
        "nothing known": (0, 0),
        "dead, nothing known": (0, 0),
        "began on day 900": (0, 0),
    }


def test_free_follows_to_the_as_of_date_and_counts_every_death(drawn: Drawn):
    assert times(drawing(drawn), "free") == {
        "cancer": (300, 1),
        "cancer, then death": (300, 1),
        "cancer and death on one day": (300, 1),
        "death, then cancer": (200, 2),
        "clear": (1000, 0),
        "clear, then dead": (500, 2),
        "dead on the last clear day": (400, 2),
        "dead, then clear by a late report": (390, 2),
        "nothing known": (1000, 0),
        "dead, nothing known": (250, 2),
        "began on day 900": (100, 0),
    }


def test_complete_linkage_takes_the_place_of_the_last_clear_day(drawn: Drawn):
    """Complete up to day 450."""
    drawing(drawn)
    drawn.setting("linkage_complete_until", on=450)

    assert times(drawn, "lost") == {
        "cancer": (300, 1),
        "cancer, then death": (300, 1),
        "cancer and death on one day": (300, 1),
        "death, then cancer": (200, 2),
        "clear": (450, 0),
        "clear, then dead": (450, 0),
        "dead on the last clear day": (400, 2),
        "dead, then clear by a late report": (390, 2),
        "nothing known": (450, 0),
        "dead, nothing known": (250, 2),
        "began on day 900": (0, 0),
    }


def test_complete_linkage_does_not_shorten_what_is_known_nor_reach_beyond_the_as_of_date(drawn: Drawn):
    drawn.imaging(benign(drawn, "clear"), 400)
    benign(drawn, "nothing known")
    drawn.built()
    drawn.setting("linkage_complete_until", on=300)
    assert times(drawn, "lost") == {"clear": (400, 0), "nothing known": (300, 0)}
    drawn.setting("linkage_complete_until", on=1200)
    assert times(drawn, "lost") == {"clear": (1000, 0), "nothing known": (1000, 0)}


def test_a_death_on_the_day_of_the_procedure_is_on_day_0(drawn: Drawn):
    benign(drawn, "on the day", on=100, died=100)
    # An event of the patient that is dated before this procedure is a fault of the record.
    benign(drawn, "before", on=100, died=90)

    assert times(drawn.built(), "free") == {"on the day": (0, 2), "before": (0, 2)}


def test_an_event_before_a_repeat_leaves_it_at_day_0(drawn: Drawn):
    benign(drawn, "first")
    drawn.imaging("first", 50)
    drawn.procedure("not sampled", 100, repeat_of="first", status="abandoned")
    drawn.procedure("elsewhere", 100)
    drawn.report("elsewhere", "benign")

    assert times(drawn.built(), "lost") == {"first": (50, 0), "elsewhere": (0, 0)}


def test_the_incidence_by_hand(drawn: Drawn):
    """Four units: cancer on day 100, death on day 200, cancer on day 300, and one followed to day 1000.

    free: S is 1, 3/4 after day 100, 1/2 after day 200; incidence 1/4 from day 100, and
    1/4 + 1/2 * 1/2 = 1/2 from day 300.
    """
    drawn.linkage(benign(drawn, "first"), 100, "invasive")
    benign(drawn, "second", died=200)
    drawn.linkage(benign(drawn, "third"), 300, "in_situ")
    benign(drawn, "fourth")
    free = curve(drawn.built(), as_of=day(AS_OF)).estimates["free"]

    assert free.at == (365, 730, 1095)
    assert free.incidence[0] == pytest.approx(1 / 2)
    assert free.at_risk == (1, 1, 0)
    assert free.step_days == (0, 100, 300, 1000), "the last is the end of the follow-up, no step"
    assert free.steps == pytest.approx((0, 1 / 4, 1 / 2, 1 / 2))
    assert free.step_at_risk == (4, 4, 2, 1)
    assert (free.events, free.deaths) == (2, 1)


def test_lost_by_hand(drawn: Drawn):
    """Cancer on day 100 among two at risk, as the other two are known to be clear on day 50 only."""
    drawn.linkage(benign(drawn, "cancer"), 100, "invasive")
    for key in ("clear early", "clear as early"):
        drawn.imaging(benign(drawn, key), 50)
    drawn.imaging(benign(drawn, "clear late"), 400)
    lost = curve(drawn.built(), as_of=day(AS_OF)).estimates["lost"]

    assert lost.incidence[0] == pytest.approx(1 / 2)
    assert lost.at_risk == (1, 0, 0)


def test_a_curve_says_who_is_in_it(drawn: Drawn):
    benign(drawn, "in it")
    drawn.procedure("repeat", 5, repeat_of="in it")
    drawn.procedure("cancelled", status="cancelled")
    drawn.procedure("not reported")
    drawn.procedure("malignant")
    drawn.report("malignant", "invasive")
    made = curve(drawn.built(), as_of=day(AS_OF))

    assert (made.n, made.patients) == (1, 1)
    assert made.excluded == {
        "not sampled": 1,
        "repeat procedure": 1,
        "no pathology report": 1,
        "not a benign result": 1,
    }
    assert made.interval == "log(-log)"


def test_no_units_have_no_incidence(drawn: Drawn):
    made = curve(drawn.built(), as_of=day(AS_OF))

    assert {one.incidence for one in made.estimates.values()} == {(None, None, None)}
    assert {one.at_risk for one in made.estimates.values()} == {(0, 0, 0)}
    assert {one.steps for one in made.estimates.values()} == {(0.0,)}


def test_a_curve_of_one_site_and_period(drawn: Drawn):
    """Two of A, on days 100 and 200, and one of B; A from day 150 on is one procedure."""
    for key, on, site in (("early", 100, "A"), ("late", 200, "A"), ("elsewhere", 200, "B")):
        drawn.procedure(key, on, site=site)
        drawn.report(key, "benign")
    drawn.built()

    assert curve(drawn, as_of=day(AS_OF), within={"site": "A"}).n == 2
    assert curve(drawn, as_of=day(AS_OF), within={"site": "A"}, start=day(150)).n == 1
    assert curve(drawn, as_of=day(AS_OF), end=day(150)).n == 1
