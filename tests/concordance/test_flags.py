"""Each rule fires on what it is about, and not on its nearest neighbour; expectations are drawn by hand."""

from __future__ import annotations

from datetime import date

import pytest

from registry.concordance import flags, proposed, record_own_view
from registry.errors import SiteProblem, UsageProblem
from registry.flagrules import in_force, parse, shipped_expectations, shipped_rules
from registry.people import Role, acting
from registry.store import Registry
from tests.build import Rows, load
from tests.concordance.conftest import AS_OF, RADIOLOGIST, person, undecided

P, F, T, S, R = "procedures", "findings", "targeting", "specimens", "pathology"
CALC = {
    F: {"finding_type": "calcifications", "modality": "mammography", "correlate": "mammography"},
    P: {"guidance": "stereotactic", "tracer": "", "activity_mbq": "", "injected_at": "", "first_scan_at": ""},
}


def rows(*changes: dict[str, dict[str, str]]) -> Rows:
    """The drawn procedure with some cells changed; of specimens the first container."""
    made = undecided()
    for change in changes:
        for table, cells in change.items():
            made[table][0] |= cells
    return made


def fired(registry: Registry, *changes: dict[str, dict[str, str]]) -> set[str]:
    report = load(registry, rows(*changes), today=date(2025, 4, 1))
    assert not report.total.held, report.lines()
    return {one.rule for one in proposed(registry, ["P1"], as_of=AS_OF).get("P1", ())}


#: Rule -> what makes it fire, and the nearest change that must not.
DRAWN = {
    "pathology_unexplained": (
        {
            F: {"finding_type": "mass"},
            R: {"diagnosis": "normal", "lesion": "normal_tissue", "b_category": "B1", "morphology": ""},
        },
        {F: {"finding_type": "mass"}},
    ),
    "pathology_weak": (
        {R: {"lesion": "fibrocystic", "morphology": ""}},
        {R: {"lesion": "fibrocystic", "morphology": ""}, F: {"assessment": "4A"}},
    ),
    "malignant_low_category": (
        {
            F: {"assessment": "3"},
            R: {"diagnosis": "invasive", "lesion": "ductal", "b_category": "B5b", "morphology": "8500/3"},
        },
        {
            F: {"assessment": "4A"},
            R: {"diagnosis": "invasive", "lesion": "ductal", "b_category": "B5b", "morphology": "8500/3"},
        },
    ),
    "insufficient_tissue": (
        {R: {"diagnosis": "insufficient", "lesion": "", "b_category": "B1", "morphology": ""}},
        {R: {"diagnosis": "normal", "lesion": "", "b_category": "B1", "morphology": ""}},
    ),
    "normal_tissue_for_mass": (
        {F: {"finding_type": "mass"}, R: {"diagnosis": "benign", "b_category": "B1"}},
        {F: {"finding_type": "focus"}, R: {"diagnosis": "benign", "b_category": "B1"}},
    ),
    "high_risk_lesion": (
        {
            R: {
                "diagnosis": "high_risk",
                "lesion": "adh",
                "b_category": "B3",
                "morphology": "",
                "atypia": "yes",
            }
        },
        {R: {"diagnosis": "suspicious", "lesion": "", "b_category": "B4", "morphology": ""}},
    ),
    "no_uptake_in_specimen": ({S: {"uptake_seen": "no"}}, {S: {"uptake_seen": "equivocal"}}),
    # An even spread would be 185 MBq / 68 kg = 2.7 kBq/g, in 2.3 g after 130 min (0.44 left) 2.7 kBq: at 0.5
    # counts per second and kBq 1.4 counts in the second, fewer than 2 of background could show.
    "too_few_counts": (
        {
            S: {
                "uptake_seen": "no",
                "counts": "3",
                "background_counts": "2",
                "scan_seconds": "1",
                "calibration_cps_per_kbq": "0.5",
                "background_kind": "empty_tray",
            }
        },
        {S: {"uptake_seen": "no"}},
    ),
    "uptake_without_explanation": (
        {R: {"lesion": "fibrocystic", "morphology": ""}},
        {R: {"lesion": "pash", "morphology": ""}},
    ),
    "calcifications_not_in_specimen": (
        {**CALC, S: {"calcifications_seen": "no"}},
        {**CALC, S: {"calcifications_seen": "yes"}},
    ),
    "calcifications_not_at_histology": (
        {**CALC, R: {"calcifications": "no"}},
        {**CALC, R: {"calcifications": "not_stated"}},
    ),
    "target_not_verified": (
        {
            T: {
                "verification": "not_done",
                "stand_in": "",
                "achieved_x_mm": "",
                "achieved_y_mm": "",
                "achieved_z_mm": "",
                "aperture_judgement": "",
            }
        },
        {},
    ),
    "stand_in_not_matched": (
        {T: {"stand_in": "radioactive_source", "length_matched": "no", "source_id": "SRC1"}},
        {T: {"stand_in": "radioactive_source", "length_matched": "yes", "source_id": "SRC1"}},
    ),
    "outside_aperture": ({T: {"aperture_judgement": "outside"}}, {T: {"aperture_judgement": "edge"}}),
    "target_unchanged": ({P: {"residual": "unchanged"}}, {P: {"residual": "reduced"}}),
    "marker_displaced": (
        {
            P: {
                "marker_reference": "target",
                "marker_shift_x_mm": "0",
                "marker_shift_y_mm": "0",
                "marker_shift_z_mm": "-10.1",
            }
        },
        {
            P: {
                "marker_reference": "target",
                "marker_shift_x_mm": "30",
                "marker_shift_y_mm": "0",
                "marker_shift_z_mm": "-10",
            }
        },
    ),
    "tracer_only_benign": ({}, {F: {"correlate": "mri"}}),
}


@pytest.fixture
def empty(folder) -> Registry:
    with Registry.open(folder, write=True) as opened:
        yield opened


@pytest.mark.parametrize("rule", DRAWN)
def test_a_rule_fires_on_what_it_is_about(empty, rule):
    assert rule in fired(empty, DRAWN[rule][0])


@pytest.mark.parametrize("rule", DRAWN)
def test_a_rule_is_silent_on_its_nearest_neighbour(empty, rule):
    assert rule not in fired(empty, DRAWN[rule][1])


def cancelled(reason: str) -> Rows:
    made = {
        name: lines
        for name, lines in undecided().items()
        if name in ("operators", "sources", "patients", "findings", "procedures")
    }
    kept = ("procedure_id", "finding_id", "site", "operator", "started_at", "guidance")
    made["procedures"] = [
        {key: made["procedures"][0][key] for key in kept} | {"status": "cancelled", "status_reason": reason}
    ]
    return made


@pytest.mark.parametrize(
    ("reason", "speaks"), [("target_not_seen", True), ("no_uptake", True), ("patient", False)]
)
def test_a_procedure_cancelled_because_nothing_was_seen(empty, reason, speaks):
    load(empty, cancelled(reason), today=date(2025, 4, 1))
    found = proposed(empty, ["P1"], as_of=AS_OF).get("P1", ())

    assert [one.rule for one in found] == ["cancelled_unseen"] * speaks


def test_every_rule_is_drawn():
    assert {*DRAWN, "cancelled_unseen"} == set(shipped_rules())


def test_the_reading_without_uptake_is_one_or_the_other_flag(empty):
    both = {"no_uptake_in_specimen", "too_few_counts"}

    assert fired(empty, DRAWN["too_few_counts"][0]) & both == {"too_few_counts"}


def test_a_further_lesion_that_explains_the_finding_is_enough(empty):
    first = {R: {"lesion": "normal_tissue", "diagnosis": "benign", "morphology": ""}}

    assert "pathology_unexplained" in fired(empty, first)
    assert "pathology_unexplained" not in fired(
        empty, first, {R: {"other_lesions": "pash", "version": "2", "status": "amended"}}
    )


def test_a_sentence_names_what_was_seen(empty):
    load(empty, rows(DRAWN["marker_displaced"][0]), today=date(2025, 4, 1))
    said = {one.rule: one for one in proposed(empty, ["P1"], as_of=AS_OF)["P1"]}

    assert said["marker_displaced"].sentence.startswith(
        "The marker lies 10.1 mm from its reference along the axis of compression, more than 10 mm"
    )
    assert said["marker_displaced"].rules == in_force(empty.site.flags).digest


def test_a_report_after_the_day_says_nothing(registry):
    load(
        registry,
        {
            R: [
                {
                    **undecided()[R][0],
                    "version": "2",
                    "status": "amended",
                    "reported_on": "2025-04-02",
                    "diagnosis": "high_risk",
                    "lesion": "adh",
                    "b_category": "B3",
                    "atypia": "yes",
                    "morphology": "8140/1",
                }
            ]
        },
        today=date(2025, 4, 3),
    )

    assert "high_risk_lesion" not in {one.rule for one in proposed(registry, ["P1"], as_of=AS_OF)["P1"]}
    assert "high_risk_lesion" in {
        one.rule for one in proposed(registry, ["P1"], as_of=date(2025, 4, 2))["P1"]
    }


# -- own view first ------------------------------------------------------------------------


def test_flags_come_after_the_own_view(registry):
    with acting(RADIOLOGIST):
        with pytest.raises(UsageProblem, match="record it first"):
            flags(registry, "P1", as_of=AS_OF)
        record_own_view(registry, "P1", "concordant")
        assert {one.rule for one in flags(registry, "P1", as_of=AS_OF)} == {
            "pathology_weak",
            "uptake_without_explanation",
            "tracer_only_benign",
        }


def test_the_own_view_of_another_opens_nothing(registry):
    with acting(RADIOLOGIST):
        record_own_view(registry, "P1", "concordant")
    with acting(person("RA2", Role.RADIOLOGIST)), pytest.raises(UsageProblem):
        flags(registry, "P1", as_of=AS_OF)


def test_after_a_change_of_what_decides_an_own_view_is_due_again(registry):
    with acting(RADIOLOGIST):
        record_own_view(registry, "P1", "concordant")
    load(registry, {P: [{"procedure_id": "P1", "residual": "unchanged"}]}, today=date(2025, 4, 1))
    with acting(RADIOLOGIST), pytest.raises(UsageProblem):
        flags(registry, "P1", as_of=AS_OF)


def test_the_first_view_stands(registry):
    with acting(RADIOLOGIST):
        record_own_view(registry, "P1", None)
        assert record_own_view(registry, "P1", "discordant").determination is None


# -- what a site changes -------------------------------------------------------------------


def rewritten(registry: Registry, text: str) -> Registry:
    path = registry.folder / "site.toml"
    registry.close()
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")
    return Registry.open(path.parent, write=True)


def test_a_rule_that_the_site_switches_off_is_silent(registry):
    with rewritten(registry, '\n[flags]\noff = ["tracer_only_benign"]\n') as opened:
        assert "tracer_only_benign" not in {one.rule for one in proposed(opened, ["P1"], as_of=AS_OF)["P1"]}


def test_what_the_site_expects_comes_before_what_is_shipped(registry):
    own = '\n[[flags.expected]]\nfinding_type = "non_mass"\nsuspicion = "middle"\nlesion = "fibroadenoma"\nexpectation = "unexplained"\n'
    with rewritten(registry, own) as opened:
        said = {one.rule for one in proposed(opened, ["P1"], as_of=AS_OF)["P1"]}

    assert "pathology_unexplained" in said
    assert "pathology_weak" not in said


def test_a_change_of_the_site_changes_the_digest():
    assert in_force(parse({})).digest != in_force(parse({"limits": {"marker_displaced": 12}})).digest


@pytest.mark.parametrize(
    ("section", "said"),
    [
        ({"off": ["nothing"]}, "'nothing' is no rule"),
        ({"off": "all"}, "is not a list of rules"),
        ({"limits": {"target_unchanged": 3}}, "no such rule has a limit"),
        ({"limits": {"marker_displaced": 0}}, "is not a number above 0"),
        ({"expected": [{"finding_type": "mass"}]}, "is not a whole row"),
        (
            {
                "expected": [
                    {"finding_type": "mass", "suspicion": "low", "lesion": "pash", "expectation": "sure"}
                ]
            },
            "'sure' is unknown",
        ),
        ({"rules": 1}, "rules is not a setting"),
    ],
)
def test_what_cannot_be_read_is_named(section, said):
    with pytest.raises(SiteProblem, match=said):
        parse(section)


def test_the_table_of_expectations_is_whole():
    """Every benign and high-risk lesion is judged for every kind of finding at every suspicion."""
    kinds = {key[0] for key in shipped_expectations()}
    lesions = {key[2] for key in shipped_expectations()}

    assert kinds == {"mass", "calcifications", "asymmetry", "distortion", "non_mass", "focus"}
    assert len(shipped_expectations()) == len(kinds) * 3 * len(lesions)


def test_no_lesion_explains_more_at_a_higher_suspicion():
    order = ["expected", "weak", "unexplained"]
    table = {key: order.index(one.expectation) for key, one in shipped_expectations().items()}

    assert all(
        table[kind, "low", lesion] <= table[kind, "middle", lesion] <= table[kind, "high", lesion]
        for kind, _, lesion in table
    )
