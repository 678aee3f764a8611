"""What must be said beside figures, in one place, so that no page forgets it."""

from __future__ import annotations

import streamlit as st

from dashboards.components.markup import element, show

FOOTER = (
    "An audit of the record. It is no diagnostic device and decides nothing about concordance, biopsy or treatment: "
    "what it points out is a prompt, and the decision belongs to qualified clinicians under their local protocol. "
    "Pseudonyms only; confidential to the service and its quality committee."
)
DEMO = "Invented data: they say nothing about any patient, service, device, operator or way of care."

SMALL = (
    "Small denominators swing widely. Read the interval, not the dot; one figure outside what was expected, among so many "
    "looked at, is a reason to look and not a finding."
)
BENIGN = (
    "A benign result is not proven benign until its follow-up is complete. Repeat biopsy and excision are chosen for a "
    "reason, so these figures describe those who had them; read them with the exclusion flow and with what is not known."
)
CLUSTER = "Several procedures of one patient are not independent; the plain interval assumes that they are."
COMPARE = (
    "Operators and sites differ in the patients they see, in experience and by chance. They stand in the order of their codes; "
    "no order of merit is meant, and none should be read."
)
PUBLISHED = (
    "Published figures come from other patients, devices and definitions: they are context, no pass mark."
)
TRACER = (
    "Tracer uptake is not cancer, and its absence is not benign: in situ and small or low-grade cancers may show none. "
    "No published limit for tracer uptake in specimens was found."
)
GEOMETRY = (
    "Positions are compared after the procedure has been recorded, never while the needle is in place. No depth to set is computed "
    "here, and a position within the aperture does not prove that the target was sampled."
)
PHYSICS = "Lengths in mm in the coordinate frame named; activities are corrected for decay to the time of injection."
RADIATION = "Ionising radiation: specimens and waste stay radioactive until they have decayed; handling follows the local radiation protection rules."
CHAIN = (
    "Checks as they were recorded: they replace no measurement and no rule of radiation protection. Tolerances are the service's own; "
    "a mark outside one is a prompt to look, and what follows is for the medical physicist to decide."
)
DISCORDANCE = "A low discordance rate can mean good sampling or a review that seldom disagrees. Read it beside review coverage and what was found later."
GRADES = "Grades of different scales are never converted; an expected bruise is not recorded."
MORE_CORES = (
    "More cores are usually taken where the target is harder or something is in doubt, so procedures with many cores are other procedures than "
    "those with few (confounding by indication). The curves say nothing about what a further core would have found in any lesion, and name no number of cores to take."
)
RECORD = (
    "The page shows what is recorded, in the order in which it happened. It proposes no diagnosis and no step; "
    "an empty field means that nobody recorded it, not that it did not happen."
)


def caution(*texts: str) -> None:
    """Cautions of a page, as one quiet paragraph each."""
    show(element("div", *(element("p", text) for text in texts), class_="caution", role="note"))


def demo_banner() -> None:
    """The line above every page of a registry with invented data."""
    show(element("p", element("strong", "Demonstration. "), DEMO, class_="demo", role="note"))


def footer(stamp: str) -> None:
    """The line below every page."""
    st.divider()
    show(element("footer", element("p", FOOTER), element("p", stamp, class_="provenance")))
