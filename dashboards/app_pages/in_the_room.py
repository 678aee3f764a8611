"""Page: what is stamped and judged while a procedure is done, in large type."""

from __future__ import annotations

import streamlit as st

from dashboards.components import room_begin, room_state, room_work
from dashboards.components.markup import element, show

with st.container(key="room"):
    show(
        element(
            "p",
            element("strong", "This page checks the record, not the patient. "),
            "It computes no depth and no position; positions are compared after the procedure is saved.",
            class_="room-caution",
            role="note",
        )
    )
    room_begin.resume()
    if room_state.is_open():
        room_work.work()
    else:
        room_begin.choose()
