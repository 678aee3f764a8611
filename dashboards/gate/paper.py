"""The few pages outside the registry itself: plain HTML, no script, the same ink and paper."""

from __future__ import annotations

from html import escape

from dashboards.components import palette
from dashboards.components.markup import Markup, element

_STYLE = f"""
* {{ box-sizing: border-box; }}
body {{ margin: 0; min-height: 100vh; display: grid; place-items: center; padding: 1.5rem; background: {palette.PAPER};
  color: {palette.INK}; font: 16px/1.5 {palette.FONT}; }}
main {{ width: 100%; max-width: 23rem; }}
h1 {{ font: 600 1.55rem/1.25 "Source Serif", Georgia, serif; margin: 0 0 .2rem; }}
p {{ margin: 0 0 1rem; }}
p.service {{ color: {palette.MUTED}; border-bottom: 1px solid {palette.RULE}; padding-bottom: .9rem; margin-bottom: 1.2rem; }}
p.said {{ border-left: 3px solid {palette.CONTRADICTION}; padding: .1rem 0 .1rem .8rem; }}
p.quiet {{ color: {palette.MUTED}; font-size: .85rem; margin: 1.3rem 0 0; }}
label {{ display: block; margin: 0 0 .9rem; }}
input {{ display: block; width: 100%; margin-top: .2rem; padding: .55rem .65rem; font: inherit; color: inherit; background: #FFFFFF;
  border: 1px solid {palette.MUTED}; border-radius: 4px; }}
button {{ font: inherit; padding: .5rem 1.3rem; border-radius: 4px; border: 1px solid {palette.ACCENT}; background: {palette.ACCENT};
  color: {palette.PAPER}; cursor: pointer; }}
button.plain {{ background: transparent; color: {palette.ACCENT}; }}
a {{ color: {palette.ACCENT}; }}
input:focus-visible, button:focus-visible, a:focus-visible {{ outline: 3px solid {palette.ATTENTION}; outline-offset: 2px; }}
"""


def page(title: str, service: str, *body: Markup, onward: str | None = None) -> str:
    """A whole page.

    Parameters
    ----------
    title
        Heading and title of the window.
    service
        Name of the breast service.
    body
        What stands below.
    onward
        Address to which the browser goes by itself.
    """
    refresh = f'<meta http-equiv="refresh" content="0;url={escape(onward)}">' if onward else ""
    main = element("main", element("h1", title), element("p", service, class_="service"), *body)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="icon" href="data:,">'
        f"<title>{escape(title)}</title>{refresh}<style>{_STYLE}</style></head><body>{main}</body></html>"
    )


def field(label: str, name: str, kind: str, autocomplete: str, *, first: bool = False) -> Markup:
    """A labelled input."""
    return element(
        "label",
        label,
        Markup(
            f'<input name="{escape(name)}" type="{escape(kind)}" autocomplete="{escape(autocomplete)}" '
            f'maxlength="1024" required{" autofocus" if first else ""}>'
        ),
    )


def form(action: str, hidden: dict[str, str], *parts: Markup) -> Markup:
    """A form that is sent by POST, with its hidden fields."""
    kept = (
        Markup(f'<input type="hidden" name="{escape(key)}" value="{escape(value)}">')
        for key, value in hidden.items()
    )
    return element("form", *kept, *parts, method="post", action=action)


def said(text: str) -> Markup:
    """Why the page is shown, read aloud at once."""
    return element("p", text, class_="said", role="alert")
