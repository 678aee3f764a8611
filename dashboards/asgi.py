"""The page server behind its gate; found and run by the server that ``dashboards.serve`` starts."""

from __future__ import annotations

from starlette.middleware import Middleware
from streamlit.web.server.starlette.starlette_app import App

from dashboards import owned
from dashboards.gate.middleware import Gate
from dashboards.gate.sign_in import SignIn
from dashboards.launch import APP

if owned.desk is None:
    raise RuntimeError("Start the pages with: biopsy-outcomes dashboard FOLDER")

app = App(APP, routes=SignIn(owned.desk).routes(), middleware=[Middleware(Gate, desk=owned.desk)])
