"""Every service function, as every role, signed out: what is not allowed is refused before anything is done.

The list is made from the modules, so a service that is added without a line here fails.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
from datetime import UTC, datetime
from pathlib import Path
from unittest.mock import MagicMock

import pytest

import registry as package
from registry.errors import Refused
from registry.people import Action, Actor, Role, acting, deny_by_default
from registry.people.roles import ALLOWED

A = Action
#: Public function that is handed a registry -> what its caller must be allowed to do.
SERVICES = {
    "registry.aggregate.collect.collect": A.AGGREGATES,
    "registry.aggregate.collect.write": A.AGGREGATES,
    "registry.aim.vectors.vectors": A.FIGURES,
    "registry.agreement.agreement": A.PROCEDURES,
    "registry.backup.backup": A.KEEP,
    "registry.checks.check_registry": A.CHECK,
    "registry.cohorts.drawing.draw": A.COHORTS,
    "registry.cohorts.freezing.freeze": A.COHORTS,
    "registry.cohorts.freezing.frozen": A.COHORTS,
    "registry.cohorts.freezing.frozen_file": A.COHORTS,
    "registry.cohorts.models.model": A.COHORTS,
    "registry.cohorts.outcomes.cohort_measures": A.COHORTS,
    "registry.cohorts.outcomes.outcomes": A.COHORTS,
    "registry.concordance.accession.accession": A.IDENTIFIERS,
    "registry.concordance.decision.decide": A.DECIDE,
    "registry.concordance.decision.reviewers": A.RECORD,
    "registry.concordance.flags.flags": A.RECORD,
    "registry.concordance.flags.proposed": A.WORKLISTS,
    "registry.concordance.listing.listed": A.WORKLISTS,
    "registry.concordance.listing.print_list": A.WORKLISTS,
    "registry.concordance.listing.since_printed": A.WORKLISTS,
    "registry.concordance.own_view.own_view": A.RECORD,
    "registry.concordance.own_view.record_own_view": A.DECIDE,
    "registry.concordance.signing.sign": A.SIGN,
    "registry.concordance.signing.standing": A.RECORD,
    "registry.cores.tissue.first_positive": A.FIGURES,
    "registry.cores.tissue.tissue_rows": A.PROCEDURES,
    "registry.cores.usable.no_usable_sample": A.FIGURES,
    "registry.entry.about.about": A.RECORD,
    "registry.entry.drafts.discard": A.ENTER,
    "registry.entry.drafts.draft": A.ENTER,
    "registry.entry.drafts.drafts": A.ENTER,
    "registry.entry.drafts.keep": A.ENTER,
    "registry.entry.room.begun": A.ENTER,
    "registry.entry.room.check_together": A.ENTER,
    "registry.entry.room.findings_without_procedure": A.RECORD,
    "registry.entry.room.habits": A.RECORD,
    "registry.entry.room.save_together": A.ENTER,
    "registry.entry.saving.check": A.ENTER,
    "registry.entry.saving.opened": A.RECORD,
    "registry.entry.saving.save": A.ENTER,
    "registry.erasure.plan.make_plan": A.ERASE,
    "registry.disclosure.release.release": A.EXPORT,
    "registry.follow_up.due.due_by_patient": A.WORKLISTS,
    "registry.follow_up.entry.close": A.ENTER,
    "registry.follow_up.entry.record_contact": A.ENTER,
    "registry.follow_up.entry.record_outside": A.ENTER,
    "registry.follow_up.recall.recall": A.IDENTIFIERS,
    "registry.holds.lift_hold": A.ERASE,
    "registry.holds.set_hold": A.ERASE,
    "registry.intake.accept.accept": A.ENTER,
    "registry.intake.inbox.take_inbox": A.ENTER,
    "registry.intake.one_row.enter": A.ENTER,
    "registry.intake.one_row.enter_together": A.ENTER,
    "registry.intake.quarantine.dismiss": A.WITHDRAW,
    "registry.intake.quarantine.held_file": A.IDENTIFIERS,
    "registry.intake.quarantine.open_rows": A.WORKLISTS,
    "registry.intake.withdrawal.withdraw": A.WITHDRAW,
    "registry.measures.b_category.b_category_table": A.FIGURES,
    "registry.measures.curve.curve": A.FIGURES,
    "registry.measures.effects.clustering": A.FIGURES,
    "registry.measures.effects.clustering_effects": A.FIGURES,
    "registry.measures.evaluation.evaluate": A.FIGURES,
    "registry.measures.listing.exclusion_flow": A.FIGURES,
    "registry.measures.listing.procedures": A.PROCEDURES,
    "registry.measures.looks.looks": A.FIGURES,
    "registry.measures.looks.looks_curve": A.FIGURES,
    **dict.fromkeys(
        [
            f"registry.meetings.lists.{name}"
            for name in ("agenda", "decisions", "listed", "meeting", "open_actions", "sites")
        ],
        A.WORKLISTS,
    ),
    **dict.fromkeys(
        [f"registry.meetings.minutes.{name}" for name in ("draft", "latest", "signed")], A.RECORD
    ),
    "registry.meetings.writing.decide": A.DECIDE,
    "registry.meetings.minutes.amend": A.SIGN,
    "registry.meetings.minutes.sign": A.SIGN,
    **dict.fromkeys(
        [f"registry.meetings.writing.{name}" for name in ("open_meeting", "set_attendance")],
        A.ENTER,
    ),
    "registry.monitoring.adjusted.adjusted": A.PROCEDURES,
    "registry.measures.effects.patients": A.FIGURES,
    "registry.monitoring.later_cancer.later_cancer_by_group": A.FIGURES,
    "registry.monitoring.later_cancer.later_cancer_in_periods": A.FIGURES,
    "registry.monitoring.comparison.compare_groups": A.FIGURES,
    "registry.monitoring.comparison.compare_periods": A.FIGURES,
    "registry.monitoring.cumulative.cumulative": A.PROCEDURES,
    "registry.monitoring.notes.answer": A.OPERATORS,
    "registry.monitoring.notes.answered": A.PROCEDURES,
    "registry.monitoring.notes.notes": A.PROCEDURES,
    "registry.monitoring.watched.watch": A.PROCEDURES,
    "registry.monitoring.weighted.weighted": A.PROCEDURES,
    "registry.package.again.draw_again": A.EXPORT,
    "registry.package.build.export": A.EXPORT,
    "registry.package.counts.write_counts": A.EXPORT,
    "registry.package.listing.exports": A.TRAIL,
    "registry.package.listing.own_exports": A.EXPORT,
    "registry.package.preview.preview": A.COHORTS,
    "registry.people.accounts.add": A.PEOPLE,
    "registry.people.accounts.listed": A.PEOPLE,
    "registry.people.accounts.lock": A.PEOPLE,
    "registry.people.accounts.reset": A.PEOPLE,
    "registry.people.accounts.set_roles": A.PEOPLE,
    "registry.planning.asked.plan": A.FIGURES,
    "registry.planning.volume.volume_of": A.FIGURES,
    "registry.quality.completeness.completeness": A.FIGURES,
    "registry.quality.discordance.denominators": A.FIGURES,
    "registry.quality.lists.b_category_review": A.PROCEDURES,
    "registry.quality.lists.discordant": A.PROCEDURES,
    "registry.quality.lists.not_conclusive": A.FIGURES,
    "registry.quality.yearly.yearly": A.FIGURES,
    "registry.quality.yearly.yearly_rows": A.PROCEDURES,
    "registry.received_files.remove_older": A.KEEP,
    "registry.record.complications_by_grade": A.FIGURES,
    "registry.record.newest_procedures": A.RECORD,
    "registry.record.procedure_record": A.RECORD,
    "registry.record.offsets.offsets": A.RECORD,
    "registry.reports.pack.build.quality_pack": A.PROCEDURES,  # to be shared: a figure
    "registry.reports.pathology_request.pathology_request": A.RECORD,
    "registry.restore.drill": A.KEEP,
    "registry.restore.results": A.KEEP,
    "registry.sampling.calibration.calibration": A.PROCEDURES,
    "registry.sampling.procedure.procedure_estimate": A.RECORD,
    "registry.sampling.summary.sampling_procedures": A.PROCEDURES,
    "registry.sampling.summary.sampling_results": A.FIGURES,
    "registry.snapshot.publish": A.KEEP,
    "registry.timeliness.faults": A.PROCEDURES,
    "registry.timeliness.timeliness": A.FIGURES,
    "registry.trail.choices": A.TRAIL,
    "registry.trail.events": A.TRAIL,
    "registry.units.funnel.funnel": A.FIGURES,
    "registry.units.learning.learning": A.FIGURES,
    "registry.uptake.planning_and_day.lesion_ratios": A.FIGURES,
    "registry.uptake.chain.clock_checks": A.FIGURES,
    "registry.uptake.chain.leak_tests": A.FIGURES,
    "registry.uptake.chain.phantom_checks": A.FIGURES,
    "registry.uptake.constancy.constancy": A.FIGURES,
    "registry.uptake.constancy.sources": A.FIGURES,
    "registry.uptake.diagnosis.readings": A.FIGURES,
    "registry.uptake.dose.visits": A.FIGURES,
    "registry.uptake.scans.scans": A.RECORD,  # of one procedure; of a period it is a figure
    "registry.uptake.summary.summary": A.FIGURES,
    "registry.verify.verify": A.CHECK,
    "registry.verify.verify_trail": A.CHECK,
    "registry.worklists.rows": A.WORKLISTS,
}
#: The same for functions that are handed a folder and open it themselves.
OF_FOLDERS = {
    "registry.doctor.examine": A.KEEP,
    "registry.erasure.run.erase": A.ERASE,
    "registry.recover.look": A.KEEP,
    "registry.recover.recover": A.KEEP,
    "registry.restore.restore": A.KEEP,
    "registry.upgrade.upgrade": A.KEEP,
}
#: Parts of services that ask above, or that tell nothing about anybody; each with the reason.
ASKED_ABOVE = {
    "registry.concordance.basis.bases": "digests, part of the services of concordance",
    "registry.concordance.basis.basis_of": "digests, part of the services of concordance",
    "registry.aggregate.collect.settings": "settings",
    "registry.aggregate.withholding.shown": "part of what writes a file of counts",
    "registry.cores.rows.rows": "rows for the services of cores",
    **dict.fromkeys(
        [f"registry.erasure.copies.{name}" for name in ("aside", "find", "received", "waiting")]
        + [f"registry.erasure.theirs.{name}" for name in ("gather", "widened")],
        "part of an erasure",
    ),
    "registry.disclosure.study_keys.for_project": "part of an export",
    "registry.holds.disagreements": "part of verify",
    "registry.holds.open_holds": "a count without a patient",
    "registry.holds.pseudonym_of": "part of setting a hold and of an erasure",
    "registry.holds.refusal_on_record": "part of a withdrawal and of an erasure",
    "registry.intake.write.next_stamp": "part of a withdrawal and of an erasure",
    "registry.intake.write.record_no_rows": "part of a withdrawal and of an erasure",
    "registry.keeper.backup_place": "a setting",
    "registry.release_ledger.disagreements": "part of verify",
    "registry.received_files.files": "what the trail says of files, without a patient",
    "registry.received_files.remove_gone": "part of an erasure",
    "registry.known.as_known": "the services that are handed what it yields ask",
    "registry.measures.counting.classified": "part of the measures",
    "registry.measures.listing.judged": "part of the services that list or only count procedures",
    "registry.measures.listing.behind": "part of the services that list or only count procedures",
    "registry.quality.yearly.counted": "part of what decides which counts are shared",
    "registry.reports.pack.told.told": "part of the pack",
    "registry.measures.whose.permitted": "asks itself, for the measures",
    **dict.fromkeys(
        [f"registry.meetings.entries.{name}" for name in ("entry_of", "target")], "part of the minutes"
    ),
    "registry.monitoring.model.with_predictors": "part of the monitoring services",
    "registry.package.contents.write": "part of an export",
    "registry.package.place.target": "part of an export",
    "registry.package.rows.treated": "part of an export",
    "registry.people.accounts.recognise": "signing in",
    "registry.people.accounts.verify": "signing in",
    "registry.people.acting.require": "is what asks",
    "registry.people.reads.note_read": "writes the entry of a read",
    "registry.preparation.prepare": "part of opening the folder",
    "registry.provenance.stamp": "names the state of the registry",
    "registry.quality.lists.asked": "part of the services of quality",
    "registry.record.latest_day": "one date without a patient, for the usual as-of date",
    **dict.fromkeys(
        [f"registry.frozen_cohorts.{name}" for name in ("all_of", "disagreements", "keep")],
        "part of the cohorts and of verify",
    ),
    **dict.fromkeys(
        [f"registry.signed_minutes.{name}" for name in ("all_of", "count_of", "disagreements", "keep")],
        "part of the minutes, of verify and of an erasure",
    ),
    "registry.sampling.files.asked": "part of the sampling services",
    "registry.sampling.files.setting": "settings",
    "registry.sampling.scan.known": "part of the sampling services",
    "registry.units.rows.backgrounds": "part of the services of units",
    "registry.uptake.chain.tolerance": "a setting",
    "registry.uptake.words.tolerances": "settings in a sentence",
    "registry.uptake.asking.ask": "part of the uptake services",
}
#: Arguments that must be what they are for the way to the check.
GIVEN = {
    # A stand-in for a path is taken for one, and locks are made under its name.
    "folder": Path("no such folder"),
    "procedure_id": "P1",
    "password": "a sentence is easy to keep",
    "roles": [Role.VIEWER],
    "within": None,
}


class Reached(Exception):
    """The function began to work."""


class Stand:
    """In place of a registry: says the time, keeps no trail, and tells when it is asked for anything."""

    write = False

    @staticmethod
    def clock():
        return datetime(2026, 7, 1, tzinfo=UTC)

    def __getattr__(self, name):
        raise Reached(name)


def functions():
    """Public functions of the package that take a registry, by full name."""
    found = {}
    for module in pkgutil.walk_packages(package.__path__, "registry."):
        if module.name.startswith(
            ("registry.commands", "registry.stats", "registry.__main__", "registry.cli")
        ):
            continue
        path = Path(importlib.util.find_spec(module.name).origin)
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
                kinds = {ast.unparse(one.annotation) for one in given if one.annotation}
                if kinds & {"Registry", "Reader", "Registry | None"} or any(
                    one.arg == "registry" for one in given
                ):
                    found[f"{module.name}.{node.name}"] = module.name
    return found


def call(name):
    """Call a function with a stand-in for its registry, and anything for the rest."""
    place, _, short = name.rpartition(".")
    function = getattr(importlib.import_module(place), short)
    given = {}
    for one in inspect.signature(function).parameters.values():
        if one.name == "registry":
            given[one.name] = Stand()
        elif one.name in GIVEN:
            given[one.name] = GIVEN[one.name]
        elif one.default is inspect.Parameter.empty:
            given[one.name] = MagicMock()
    result = function(**given)
    if inspect.isgenerator(result):
        next(result)


def is_refused(name):
    try:
        call(name)
    except Refused:
        return True
    except Exception:  # it began to work, on stand-ins that are of no use
        return False
    return False


def test_every_public_function_with_a_registry_has_its_line():
    assert set(functions()) == set(SERVICES) | set(ASKED_ABOVE)


def test_no_line_stands_in_both():
    assert set(SERVICES) & set(ASKED_ABOVE) == set()


@pytest.fixture
def denying():
    deny_by_default()
    yield
    deny_by_default(False)


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("name", [*SERVICES, *OF_FOLDERS])
def test_a_role_reaches_what_it_may_and_nothing_else(denying, name, role):
    action = {**SERVICES, **OF_FOLDERS}[name]
    with acting(Actor("ines", frozenset({role}), confirmed_at=Stand.clock())):
        assert is_refused(name) == (action not in ALLOWED[role])


@pytest.mark.parametrize("name", [*SERVICES, *OF_FOLDERS])
def test_nobody_reaches_anything_without_signing_in(denying, name):
    assert is_refused(name)


@pytest.mark.parametrize(
    "name",
    [
        "registry.concordance.signing.sign",
        "registry.disclosure.release.release",
        "registry.package.again.draw_again",
        "registry.package.build.export",
        "registry.package.counts.write_counts",
        "registry.follow_up.recall.recall",
        *(name for name, action in SERVICES.items() if action is A.PEOPLE and not name.endswith("listed")),
    ],
)
def test_an_old_password_is_asked_for_again(denying, name):
    """Exports, and changes to accounts: everything that must not be done from an unattended screen."""
    with acting(Actor("ines", frozenset(Role), confirmed_at=datetime(2026, 6, 30, 23, 54, 59, tzinfo=UTC))):
        assert is_refused(name)
    with acting(Actor("ines", frozenset(Role), confirmed_at=datetime(2026, 6, 30, 23, 55, 0, tzinfo=UTC))):
        assert not is_refused(name)


def test_the_matrix_sees_a_function_that_forgets_to_ask(denying, monkeypatch):
    module = importlib.import_module("registry.worklists")
    monkeypatch.setattr(module, "require", lambda *_, **__: None)

    assert not is_refused("registry.worklists.rows")
